// A unit's inspections as a story: earlier grades, what began anew, and whether
// a change is a development or within what the evidence allows.
#ifndef DRYSHAFT_DECIDE_STORY_HPP
#define DRYSHAFT_DECIDE_STORY_HPP

#include <cstddef>
#include <functional>

#include "decide/assess.hpp"

namespace dryshaft {

// So many earlier inspections are graded again, the newest ones: each is judged in the light of all
// before it, so the work would grow with the square of their number.
inline constexpr std::size_t kGradedAgain = 100;

// `seen` and `verdict` are of the newest record. `each` gets the earlier inspections that are
// graded again, oldest first.
using EachEarlier = std::function<void(std::size_t, const Presentation&, const Verdict&)>;
UnitHistory story_of(const History& history, const Knowledge& knowledge, const Model& model,
                     const Presentation& seen, const Verdict& verdict, const EachEarlier& each);

}  // namespace dryshaft

#endif
