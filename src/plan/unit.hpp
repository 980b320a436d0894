// A unit's records as the decision problem behind its plan.
#ifndef DRYSHAFT_PLAN_UNIT_HPP
#define DRYSHAFT_PLAN_UNIT_HPP

#include <string_view>
#include <utility>
#include <vector>

#include "decide/assess.hpp"
#include "diagnose/ahead.hpp"
#include "dryshaft/plan.hpp"
#include "plan/decision.hpp"

namespace dryshaft::plan {

// How far judgement may be off, in odds or as a factor; 1: as it stands.
struct Doubt {
  double leaking = 1;  // odds that it leaks now
  double damaged = 1;  // odds that it is damaged now
  double onset = 1;    // factor of the hazard
  double delay = 1;    // factor of the distances from stage to stage of a leak, and to damage
  double running = 1;  // factor of the distance from damage to breakdown
  double missed = 1;   // odds that a check misses a leak
  double major = 1;    // odds of major parts
  double lost = 1;     // odds of a unit beyond repair
};

// One amount for each price.
using Amounts = std::array<double, kPriceCount>;

inline constexpr double kMinutesPerHour = 60;
// Chances that it leaks and nothing is hurt yet, and that something is hurt.
std::pair<double, double> leaking_and_damaged(const Posterior& posterior);

// Everything of a unit that its plan depends on.
class Unit {
 public:
  Unit(const History& history, const Grader& grader, const WorkRules& work,
       std::optional<int> today);

  [[nodiscard]] const Facts& facts() const { return facts_; }
  [[nodiscard]] const Verdict& verdict() const { return verdict_; }
  [[nodiscard]] const Case& as_case() const { return case_; }
  [[nodiscard]] const Prior& prior() const { return prior_; }
  [[nodiscard]] const std::string& family() const { return family_; }
  [[nodiscard]] bool ungraded() const;
  // Why an option is not allowed; empty: it is.
  [[nodiscard]] std::vector<PlanReason> barred(const PlanOptionRule& rule, bool owner) const {
    return barred(rule, facts_, owner);
  }
  // `recheck_km`: to the next look, as a report has it of the unit as it is now.
  [[nodiscard]] Problem problem(double horizon_km, const Doubt& doubt,
                                std::optional<double> recheck_km) const;
  // That it breaks down within so many km if nothing is done.
  [[nodiscard]] double breaks_down(double km) const;
  // Labour and time out of use are in them; `in_use`: the car is, so a day without it counts.
  [[nodiscard]] Costs costs(const Amounts& amounts, bool in_use) const;
  [[nodiscard]] double hours(TimedWork work) const;
  // How a damaged unit of these facts turns out.
  [[nodiscard]] const OutlookChances& outlook(const Facts& facts) const;

 private:
  [[nodiscard]] std::vector<PlanReason> barred(const PlanOptionRule& rule, const Facts& facts,
                                               bool owner) const;
  [[nodiscard]] bool allowed(OptionRole option, const Facts& facts) const {
    return barred(work_.option(option), facts, false).empty();
  }
  [[nodiscard]] Ahead ahead(const Case& c, const Verdict& verdict) const;
  [[nodiscard]] std::size_t steps_to_recheck(const Case& c, const Verdict& verdict,
                                             double step_km) const;
  [[nodiscard]] Seen known(const Facts& facts, std::size_t most_steps, const Doubt& doubt) const;
  [[nodiscard]] std::vector<Seen> results(Case base, const Prior& prior, const Problem& problem,
                                          const Doubt& doubt) const;
  [[nodiscard]] bool can_leak() const;

  const Knowledge& k_;
  const Model& model_;
  const WorkRules& work_;
  Case case_;
  Prior prior_;
  Verdict verdict_;
  Facts facts_;
  std::string family_;
};

}  // namespace dryshaft::plan

#endif
