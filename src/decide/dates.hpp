// When to look again, as a function of all that it depends on: the proofs enumerate its arguments.
#ifndef DRYSHAFT_DECIDE_DATES_HPP
#define DRYSHAFT_DECIDE_DATES_HPP

#include <optional>

#include "diagnose/ahead.hpp"
#include "dryshaft/knowledge.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft {

// Whole steps are all that is printed of distance and days.
inline constexpr double kLookStepKm = 500;
inline constexpr double kLookStepDays = 5;

// Whether a unit of this grade waits for its next look, and no work for it.
constexpr bool waits(Grade grade) { return grade == Grade::A || grade == Grade::B; }

// From the last look at the port of a unit that waits, else from now.
struct NextLook {
  std::optional<double> km;  // nothing, as in `days`: the work comes first
  std::optional<double> days;
  bool shortened = false;          // damage may have begun before the grade's longest interval ends
  const Advice* sooner = nullptr;  // what asks for it sooner than that
};

// `safe_km`: so far damage is unlikely to have begun, counted for a unit that waits alone.
NextLook interval_of(const Knowledge& knowledge, Grade grade, double safe_km);
// The same, or sooner where advice says so. `facts` are of a judged case.
NextLook next_look(const Knowledge& knowledge, const Facts& facts, double safe_km);

// The greatest distance from the last look at the port, `gone` km ago, within which damage reaches
// its target no sooner. `unharmed`: the chance that there was none at that look.
double safe_km(const Knowledge& knowledge, const Ahead& ahead, Grade grade, double unharmed,
               double gone);

}  // namespace dryshaft

#endif
