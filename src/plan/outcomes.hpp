// All joint outcomes of looking at some findings.
#ifndef DRYSHAFT_PLAN_OUTCOMES_HPP
#define DRYSHAFT_PLAN_OUTCOMES_HPP

#include <span>

#include "diagnose/model.hpp"

namespace dryshaft::plan {

// Calls `leaf(case)` for each; what does not exist then, such as the kind of no fluid, stays open.
template <typename Leaf>
void each_outcome(std::span<const Finding> looked, Case& c, const Leaf& leaf) {
  if (looked.empty()) {
    leaf(c);
    return;
  }
  const Finding f = looked.front();
  if (!exists(f, c.level)) {
    each_outcome(looked.subspan(1), c, leaf);
    return;
  }
  for (std::size_t l = 0; l < spec(f).levels.size(); ++l) {
    c.set(f, static_cast<int>(l));
    each_outcome(looked.subspan(1), c, leaf);
  }
  c.set(f, -1);
}

}  // namespace dryshaft::plan

#endif
