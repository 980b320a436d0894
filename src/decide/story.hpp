// A unit's inspections as a story: earlier grades, what began anew, and whether
// a change is a development or within what the evidence allows.
#ifndef DRYSHAFT_DECIDE_STORY_HPP
#define DRYSHAFT_DECIDE_STORY_HPP

#include <cstddef>

#include "decide/assess.hpp"

namespace dryshaft {

// So many earlier inspections are graded again, the newest ones: each is judged in the light of all
// before it, so the work would grow with the square of their number.
inline constexpr std::size_t kGradedAgain = 100;

// `seen` and `verdict` are of the newest record.
UnitHistory story_of(const History& history, const Knowledge& knowledge, const Model& model,
                     const Presentation& seen, const Verdict& verdict);

// The probability that a damaging cause began between two inspections of a unit
// with no repair between them. Joint states at both times are summed over; a
// cause that is present stays. The odds that a cause began are its prior odds
// by now, times the share of its exposure that lies between the inspections:
// of the wear-out hazard for the cause that wears out, of the distance on the
// seal for the others. `then` holds all evidence up to the earlier inspection,
// `now` that of the later one alone.
double began_between(const Knowledge& knowledge, const Model& model, const Case& then,
                     const Case& now);

}  // namespace dryshaft

#endif
