// An enumerator as the index of its row in a table.
#ifndef DRYSHAFT_BASE_INDEX_HPP
#define DRYSHAFT_BASE_INDEX_HPP

#include <cstddef>

namespace dryshaft {

constexpr std::size_t idx(auto e) { return static_cast<std::size_t>(e); }

}  // namespace dryshaft

#endif
