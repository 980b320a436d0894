// All joint outcomes of looking at some findings.
#ifndef DRYSHAFT_PLAN_OUTCOMES_HPP
#define DRYSHAFT_PLAN_OUTCOMES_HPP

#include <span>

#include "diagnose/model.hpp"

namespace dryshaft::plan {

// Calls `leaf(case, weight)` for each, where `weight` has been through
// `times(weight, finding, level)` for every finding that exists then.
template <typename Weight, typename Times, typename Leaf>
void each_outcome(std::span<const Finding> looked, Case& c, const Weight& weight,
                  const Times& times, const Leaf& leaf) {
  if (looked.empty()) {
    leaf(c, weight);
    return;
  }
  const Finding f = looked.front();
  if (!exists(f, c.level)) {
    each_outcome(looked.subspan(1), c, weight, times, leaf);
    return;
  }
  for (std::size_t l = 0; l < spec(f).levels.size(); ++l) {
    const Weight next = times(weight, f, static_cast<int>(l));
    c.set(f, static_cast<int>(l));
    each_outcome(looked.subspan(1), c, next, times, leaf);
  }
  c.set(f, -1);
}

}  // namespace dryshaft::plan

#endif
