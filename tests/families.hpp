// The families of the example scenario, for tests that read records without the rule data.
#ifndef DRYSHAFT_TESTS_FAMILIES_HPP
#define DRYSHAFT_TESTS_FAMILIES_HPP

#include "dryshaft/record.hpp"

namespace dryshaft::test {

inline const ReadOptions kFamilies = {
    .families = {{"plover-2", {"Tarn", "Corrie"}}, {"dunlin-1", {}}, {"generic", {}}}};

}  // namespace dryshaft::test

#endif
