#include "decide/dates.hpp"

#include <algorithm>
#include <cmath>

#include "base/index.hpp"

namespace dryshaft {
namespace {

// To what a unit of this grade is given.
void shorten(const Settings& s, const GradeRule& rule, double safe_km, NextLook& look) {
  if (!rule.recheck_km || !rule.recheck_days || safe_km >= *rule.recheck_km) {
    return;
  }
  const double km = std::max(s.recheck_least_km, safe_km);
  const double share = safe_km / *rule.recheck_km;
  const double days = std::max(
      s.recheck_least_days, std::floor(*rule.recheck_days * share / kLookStepDays) * kLookStepDays);
  if (km >= *look.km && days >= *look.days) {
    return;
  }
  look.km = std::min(*look.km, km);
  look.days = std::min(*look.days, days);
  look.shortened = true;
}

}  // namespace

// The longest interval of the grade, shortened where damage may have begun by then. What is found
// besides makes no unit wait longer: no grade's limits are later than those of a better one.
NextLook interval_of(const Knowledge& knowledge, Grade grade, double safe_km) {
  const GradeRule& rule = knowledge.grades[idx(grade)];
  NextLook look;
  if (!rule.recheck_km || !rule.recheck_days) {
    return look;
  }
  look.km = rule.recheck_km;
  look.days = rule.recheck_days;
  for (std::size_t g = 0; waits(grade) && g <= idx(grade); ++g) {
    shorten(knowledge.settings, knowledge.grades[g], safe_km, look);
  }
  return look;
}

// In grade U, advice on the first check.
NextLook next_look(const Knowledge& knowledge, const Facts& facts, double safe_km) {
  NextLook look = interval_of(knowledge, facts.grade, safe_km);
  const std::string& action =
      knowledge.action(facts.grade == Grade::U ? ActionRole::look_at_port : ActionRole::look_again)
          .id;
  for (const Advice& a : knowledge.advice) {
    if (look.km && a.within_km && a.within_days && *a.within_km < *look.km && a.action == action &&
        holds(a.when, facts)) {
      look.km = a.within_km;
      look.days = std::min(*a.within_days, *look.days);
      look.sooner = &a;
    }
  }
  return look;
}

double safe_km(const Knowledge& knowledge, const Ahead& ahead, Grade grade, double unharmed,
               double gone) {
  double most = 0;
  for (std::size_t g = 0; g <= idx(grade); ++g) {
    most = std::max(most, knowledge.grades[g].recheck_km.value_or(0));
  }
  const double so_far = std::floor(gone / kLookStepKm) * kLookStepKm;
  return so_far + ahead.safe_km(knowledge.settings.damage_target, std::max(0.0, most - so_far),
                                kLookStepKm, unharmed);
}

}  // namespace dryshaft
