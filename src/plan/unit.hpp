// A unit's records as the decision problem behind its plan.
#ifndef DRYSHAFT_PLAN_UNIT_HPP
#define DRYSHAFT_PLAN_UNIT_HPP

#include <array>
#include <optional>
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

// Results of a check that allow the same.
struct ResultGroup {
  Seen seen;  // without `major` and `lost`
  bool clean = false;
  Grade grade = Grade::A;
  std::array<double, 4> damaged{};  // chance of a damaged unit, by `Outlook`
};

// No judgement moves them but by what `Unit::seen_by` does.
struct CheckResults {
  double step_km = 0;
  std::vector<ResultGroup> own;
  std::vector<ResultGroup> renewed;
  std::vector<ResultGroup> closed;  // empty: no bypass is ever allowed
};

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
  // It has broken down: it does not turn, or is more likely broken down than not.
  [[nodiscard]] bool stands() const;
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
  // Gearbox input bearings renewed alone.
  [[nodiscard]] double gear_bearings(const Amounts& amounts, bool in_use) const;
  [[nodiscard]] double hours(TimedWork work) const;
  // That a rebuilt one leaks again while that comes back to whoever did it.
  [[nodiscard]] double comes_back() const;
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
  [[nodiscard]] std::vector<ResultGroup> results(Case base, const Prior& prior,
                                                 double step_km) const;
  [[nodiscard]] const CheckResults& all_results(double step_km) const;
  [[nodiscard]] std::vector<Seen> seen_by(const std::vector<ResultGroup>& groups,
                                          const Doubt& doubt) const;
  [[nodiscard]] bool can_leak(const Case& c) const;
  // The unit after a bypass: what this look has seen lies in its past.
  [[nodiscard]] Case bypassed() const;

  const Knowledge& k_;
  const Model& model_;
  const WorkRules& work_;
  Case case_;
  Prior prior_;
  Verdict verdict_;
  Facts facts_;
  std::string family_;
  mutable std::optional<CheckResults> results_;
};

}  // namespace dryshaft::plan

#endif
