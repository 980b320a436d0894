// Which of the rules that differ moves a unit: each is tried alone.
#ifndef DRYSHAFT_COMPARE_TRIALS_HPP
#define DRYSHAFT_COMPARE_TRIALS_HPP

#include <vector>

#include "dryshaft/compare.hpp"

namespace dryshaft {

// What moved of a unit; of one that did not, what it is.
UnitChange change_of(const Report& before, const Report& after);

// Lists in `changes.rules` what differs, and in each unit what that does. `reports` are of
// `before`.
void try_changes(Changes& changes, const std::vector<History>& units, const Side& before,
                 const Side& after, const std::vector<Report>& reports);

}  // namespace dryshaft

#endif
