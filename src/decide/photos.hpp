// The photographs of a unit's looks, as a report has them.
#ifndef DRYSHAFT_DECIDE_PHOTOS_HPP
#define DRYSHAFT_DECIDE_PHOTOS_HPP

#include <vector>

#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

// Newest look first, each look's in the order of the record.
std::vector<PhotoShown> photos_of(const History& history);

}  // namespace dryshaft

#endif
