#include "plan/unit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <numeric>

#include "base/index.hpp"
#include "base/odds.hpp"
#include "decide/assess.hpp"
#include "decide/orders.hpp"
#include "diagnose/course.hpp"
#include "dryshaft/record.hpp"
#include "plan/outcomes.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft::plan {
namespace {

// Decisions are made at multiples of at most this distance: the longest way that
// the shipped rules leave to a unit of grade C.
constexpr double kLongestStepKm = 1500;
// Distances to the next check that are tried, in steps: each about a quarter more than the last.
constexpr std::size_t kWaits[] = {1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 32, 40, 50, 64, 80, 100};

static_assert(kMostLeakStages == kSealStages);
constexpr std::size_t kDamaged = kSealStages + 1;  // the stage

// States as a look sees them, by harm and whether coolant has reached the tip.
constexpr auto kRust = std::size_t{1} << idx(Cause::rotor_bearing_corrosion);
constexpr auto kReached = std::size_t{1} << idx(Cause::seal_leak);

// A belief by stage.
Row stages_of(const Belief& belief) {
  Row at{};
  for (std::size_t seal = 0; seal < kSealStates; ++seal) {
    const auto& whole = belief.at[core_of(seal, 0, 0)];
    at[seal] = std::accumulate(whole.begin(), whole.end(), 0.0);
  }
  at[kDamaged] = chances(belief).damaged;
  return at;
}

std::size_t whole_steps(double km, double step_km) {
  constexpr double kRounding = 1e-9;
  return static_cast<std::size_t>(std::floor(km / step_km + kRounding));
}

// Those of the list, and the longest that anything leaves.
std::vector<std::size_t> waits_up_to(const Problem& p) {
  std::vector<std::size_t> waits(std::begin(kWaits), std::end(kWaits));
  waits.push_back(p.now.most_steps);
  for (const std::vector<Seen>* list : p.all_seen()) {
    for (const Seen& s : *list) {
      waits.push_back(s.most_steps);
    }
  }
  std::ranges::sort(waits);
  waits.erase(std::unique(waits.begin(), waits.end()), waits.end());
  return waits;
}

double leaking(const Row& at) {
  return std::accumulate(at.begin() + 1, at.begin() + kDamaged, 0.0);
}

// The same in doubt.
Row start(const Belief& belief, const Doubt& doubt) {
  Row at = stages_of(belief);
  const double whole = at[0] + leaking(at);
  const double share = whole > 0 ? leaking(at) / whole : 0;
  at[kDamaged] = with_odds(at[kDamaged], doubt.damaged);
  const double leaks = (1 - at[kDamaged]) * with_odds(share, doubt.leaking);
  const double scale = share > 0 ? leaks / leaking(at) : 0;
  for (std::size_t seal = 1; seal < kSealStates; ++seal) {
    at[seal] *= scale;
  }
  at[0] = 1 - at[kDamaged] - leaks;
  return at;
}

}  // namespace

std::pair<double, double> leaking_and_damaged(const Posterior& posterior) {
  const Row at = stages_of(posterior.belief);
  return {leaking(at), at[kDamaged]};
}

Unit::Unit(const History& history, const Grader& grader, const WorkRules& work,
           std::optional<int> today)
    : k_(grader.knowledge()), model_(grader.model()), work_(work) {
  require_valid(history);
  const int date = static_cast<int>(history.records.back().at(Field::date).number);
  const int day = today.value_or(date);
  const History judged = date > day ? as_of(history, day) : history;
  const Presentation seen = present(judged, judged.records.size(), k_, day);
  case_ = seen.facts;
  prior_ = model_.prior(case_);
  verdict_ = judge(k_, model_, case_, prior_);
  facts_ = facts_of(case_, verdict_);
  family_ = seen.family;
}

bool Unit::ungraded() const { return holds(k_.settings.ungraded, facts_); }

std::vector<PlanReason> Unit::barred(const PlanOptionRule& rule, const Facts& facts,
                                     bool owner) const {
  std::vector<PlanReason> why;
  const auto say = [&](const std::string& id, const std::string& text, const std::string& plain) {
    why.push_back({id, owner ? plain : text});
  };
  if (rule.drives) {
    // Safety first: what the rules say of driving holds whatever it costs.
    const std::string& stop = k_.action(ActionRole::stop).id;
    for (const Advice& a : k_.advice) {
      if (a.action == stop && holds(a.when, facts)) {
        say(a.id, a.reason, a.plain);
      }
    }
    const GradeRule& grade = k_.grades[idx(facts.grade)];
    if (why.empty() && !grade.recheck_km) {
      say(grade.id, grade.meaning, grade.owner_meaning);
    }
    if (why.empty() && holds(k_.settings.ungraded, facts)) {
      say(k_.settings.ungraded_id, k_.settings.ungraded_reason, k_.settings.ungraded_plain);
    }
  }
  if (rule.waits && why.empty()) {
    // Work that the rules want by a date is not put off because that is cheaper.
    for (const Advice* holding : advice_that_holds(k_, facts, {})) {
      const Advice& a = *holding;
      if (!a.within_km && !a.within_days) {
        continue;
      }
      const bool work = std::ranges::any_of(work_.options, [&](const PlanOptionRule& o) {
        return !o.waits && k_.action(a.action)->minutes <= 0 &&
               std::ranges::find(o.actions, a.action) != o.actions.end();
      });
      if (work) {
        why.push_back({a.id, owner ? a.plain : a.reason, a.within_km, a.within_days});
      }
    }
    std::ranges::stable_sort(why, {}, [](const PlanReason& r) {
      return r.within_km.value_or(std::numeric_limits<double>::infinity());
    });
  }
  for (const PlanBar& bar : rule.bars) {
    if (holds(bar.when, facts)) {
      say(bar.id, bar.reason, bar.plain);
    }
  }
  if (rule.by_advice && why.empty()) {
    const bool advised = std::ranges::any_of(k_.advice, [&](const Advice& a) {
      return a.action == rule.actions.front() && holds(a.when, facts);
    });
    if (!advised && !(rule.also_where && holds(*rule.also_where, facts))) {
      const ActionRule& action = *k_.action(rule.actions.front());
      say(action.id, action.reason, rule.otherwise_plain);
    }
  }
  return why;
}

const OutlookChances& Unit::outlook(const Facts& facts) const {
  Outlook worst = Outlook::routine;
  bool any = false;
  for (const OutlookRule& rule : k_.outlooks) {
    if (holds(rule.when, facts)) {
      worst = any ? std::max(worst, rule.outlook) : rule.outlook;
      any = true;
    }
  }
  return work_.chances.at(idx(any ? worst : Outlook::unknown));
}

bool Unit::can_leak(const Case& c) const {
  const std::optional<Wear>& wear = k_.causes[idx(Cause::seal_leak)].wear;
  return wear && (wear->cooling >> c.at(Situation::rotor_cooling) & 1U) != 0;
}

bool Unit::stands() const {
  return case_.at(Finding::rotation) == level_of(Rotation::seized)
             ? case_.at(Finding::drag_place) != level_of(FaultPlace::elsewhere)
             : chances(verdict_.posterior.belief).broken >= 0.5;
}

Case Unit::bypassed() const {
  Case after = case_;
  after.set(Situation::rotor_cooling, Cooling::bypassed);
  Leg leg;
  leg.from = case_.course ? case_.course->end : Clock{};
  leg.to = clock_of(case_);
  leg.from.cooling = leg.to.cooling;
  leg.from.rotor = leg.to.rotor;
  leg.from.gear = leg.to.gear;
  leg.ends = static_cast<std::uint8_t>(1U << idx(Cause::seal_leak));
  leg.seen.fill(-1);
  for (const FindingSpec& f : findings()) {
    if ((case_.earlier >> idx(f.id) & 1U) == 0) {
      leg.seen[idx(f.id)] = case_.level[idx(f.id)];
      after.earlier |= 1U << idx(f.id);
    }
  }
  auto course = std::make_shared<Course>(case_.course ? *case_.course : Course{});
  course->end = clock_of(after);
  course->legs.push_back(leg);
  after.course = std::move(course);
  return after;
}

Ahead Unit::ahead(const Case& c, const Verdict& verdict) const {
  return {model_.life(), verdict.posterior.belief, clock_of(c), k_.settings.km_per_year};
}

double Unit::breaks_down(double km) const { return ahead(case_, verdict_).within(km).breakdown; }

// From a look to the next one, as a report has it: the grade's longest distance, less where damage
// may have begun by then or the rules ask for it sooner.
std::size_t Unit::steps_to_recheck(const Case& c, const Verdict& verdict, double step_km) const {
  const Facts facts = facts_of(c, verdict);
  double km = k_.grades[idx(verdict.grade)].recheck_km.value_or(0);
  if (verdict.grade <= Grade::B) {
    const Ahead then = ahead(c, verdict);
    km = std::min(km,
                  std::max(k_.settings.recheck_least_km,
                           then.safe_km(k_.settings.damage_target, km, step_km, then.unharmed())));
  }
  for (const Advice& a : k_.advice) {
    if (a.within_km && *a.within_km < km && holds(a.when, facts) &&
        k_.action(ActionRole::look_again).id == a.action) {
      km = *a.within_km;
    }
  }
  return whole_steps(km, step_km);
}

Seen Unit::known(const Facts& facts, std::size_t most_steps, const Doubt& doubt) const {
  Seen s;
  s.most_steps = most_steps;
  const bool rebuild = allowed(OptionRole::rebuild, facts);
  const bool replace = allowed(OptionRole::replace, facts);
  s.allowed[idx(Work::bypass)] = allowed(OptionRole::bypass, facts);
  s.allowed[idx(Work::rebuild_bypass)] = allowed(OptionRole::rebuild_and_bypass, facts);
  s.allowed[idx(Work::major_parts)] = replace;
  s.allowed[idx(Work::new_unit)] = replace;
  // Something can always be done.
  s.allowed[idx(Work::rebuild)] =
      rebuild || (!replace && s.most_steps == 0 && !s.allowed[idx(Work::bypass)] &&
                  !s.allowed[idx(Work::rebuild_bypass)]);
  const OutlookChances& chances = outlook(facts);
  s.major = with_odds(chances.major_parts, doubt.major);
  s.lost = with_odds(chances.beyond_repair, doubt.lost);
  return s;
}

// Every joint result of a port check, judged as if it were seen now; those that
// allow the same are taken together.
std::vector<ResultGroup> Unit::results(Case base, const Prior& prior, double step_km) const {
  constexpr std::array kLooked = {Finding::port_fluid, Finding::port_fluid_kind,
                                  Finding::port_residue, Finding::port_rust};
  for (const FindingSpec& f : findings()) {
    if (f.at_port) {
      base.set(f.id, -1);
    }
  }
  base.set(Situation::port_check, PortCheck::fresh);
  std::vector<ResultGroup> groups;
  // What is damaged by a leak is taken to drip, and to rust; where none can be, rust alone shows.
  const std::size_t behind = can_leak(base) ? kSealStages : 0;
  // All that one look sees of the tip goes by whether coolant has reached it.
  const auto chance = [&](const Case& c, std::size_t seal, std::size_t harm) {
    double dry = 1;
    double reached = 1;
    for (const Finding f : kLooked) {
      if (c.at(f) >= 0) {
        dry *= model_.likelihood(f, c.at(f))[harm];
        reached *= model_.likelihood(f, c.at(f))[harm | kReached];
      }
    }
    return dry + model_.reaches(seal) * (reached - dry);
  };
  const auto leaf = [&](const Case& c) {
    const Verdict verdict = judge(k_, model_, c, prior);
    const Facts facts = facts_of(c, verdict);
    const bool waits = allowed(OptionRole::wait, facts);
    const Seen seen = known(facts, waits ? steps_to_recheck(c, verdict, step_km) : 0, {});
    const bool clean = std::ranges::all_of(kLooked, [&](Finding f) { return c.at(f) <= 0; });
    auto group = std::ranges::find_if(groups, [&](const ResultGroup& g) {
      return g.clean == clean && g.grade == verdict.grade && g.seen.allowed == seen.allowed &&
             g.seen.most_steps == seen.most_steps;
    });
    if (group == groups.end() && groups.size() < kMostResults) {
      groups.push_back({.seen = seen, .clean = clean, .grade = verdict.grade});
      group = groups.end() - 1;
    } else if (group == groups.end()) {
      group = groups.end() - 1;  // the strictest of both
      group->seen.most_steps = std::min(group->seen.most_steps, seen.most_steps);
      for (std::size_t w = 0; w < kWorkCount; ++w) {
        group->seen.allowed[w] = group->seen.allowed[w] && seen.allowed[w];
      }
      group->seen.allowed[idx(Work::rebuild)] = true;
    }
    for (std::size_t seal = 0; seal < kSealStates; ++seal) {
      group->seen.chance[seal] += chance(c, seal, 0);
    }
    const double damaged = chance(c, behind, kRust);
    group->seen.chance[kDamaged] += damaged;
    group->damaged.at(static_cast<std::size_t>(&outlook(facts) - work_.chances.data())) += damaged;
  };
  each_outcome(kLooked, base, leaf);
  std::ranges::stable_sort(groups, [](const ResultGroup& a, const ResultGroup& b) {
    return std::pair(!a.clean, a.grade) < std::pair(!b.clean, b.grade);
  });
  return groups;
}

std::vector<Seen> Unit::seen_by(const std::vector<ResultGroup>& groups, const Doubt& doubt) const {
  std::vector<Seen> all;
  for (const ResultGroup& g : groups) {
    Seen& seen = all.emplace_back(g.seen);
    seen.major = 0;
    seen.lost = 0;
    for (std::size_t o = 0; o < g.damaged.size() && seen.chance[kDamaged] > 0; ++o) {
      const double share = g.damaged[o] / seen.chance[kDamaged];
      seen.major += share * with_odds(work_.chances[o].major_parts, doubt.major);
      seen.lost += share * with_odds(work_.chances[o].beyond_repair, doubt.lost);
    }
  }
  // A check that misses a leak more or less often shows the rest less or more often.
  for (std::size_t s = 1; s <= kSealStages && doubt.missed != 1 && !all.empty(); ++s) {
    const double clean = all.front().chance[s];
    const double now = with_odds(clean, doubt.missed);
    for (Seen& seen : all) {
      seen.chance[s] *= clean < 1 ? (1 - now) / (1 - clean) : 1;
    }
    all.front().chance[s] = now;
  }
  return all;
}

const CheckResults& Unit::all_results(double step_km) const {
  if (results_ && results_->step_km == step_km) {
    return *results_;
  }
  CheckResults& r = results_.emplace();
  r.step_km = step_km;
  r.own = results(case_, prior_, step_km);
  // A rebuilt unit: nothing hurt, nothing heard, hybrid bearings, dry.
  Case renewed = case_;
  renewed.course = nullptr;
  renewed.earlier = 0;
  renewed.level.fill(-1);
  renewed.set(Finding::noise, level_of(Presence::absent));
  renewed.set(Situation::rotor_bearings, Bearings::hybrid);
  renewed.set(Situation::gear_bearings, Bearings::hybrid);
  renewed.set(Situation::configuration, Configuration::consistent);
  renewed.seal_km = 0;
  renewed.seal_years = 0;
  r.renewed = results(renewed, model_.prior(renewed), step_km);
  const auto bypasses = [](const ResultGroup& g) { return g.seen.allowed[idx(Work::bypass)]; };
  if (allowed(OptionRole::bypass, facts_) || std::ranges::any_of(r.own, bypasses) ||
      std::ranges::any_of(r.renewed, bypasses)) {
    const Case closed = bypassed();
    r.closed = results(closed, model_.prior(closed), step_km);
  }
  return r;
}

Problem Unit::problem(double horizon_km, const Doubt& doubt,
                      std::optional<double> recheck_km) const {
  const Settings& s = k_.settings;
  const Life& life = model_.life();
  Problem p;
  p.leak_stages = kSealStages;
  p.steps = static_cast<std::size_t>(std::ceil(horizon_km / kLongestStepKm));
  p.step_km = horizon_km / static_cast<double>(p.steps);
  const double working = life.working_km(1, 1 / s.km_per_year);  // in one that is driven
  for (std::size_t seal = 0; seal < kSealStates; ++seal) {
    p.next[seal] = working * life.leaves(seal) / doubt.delay;
    p.harm[seal] = working * life.harms(seal) / doubt.delay;
  }
  p.breakdown_km = doubt.running / (working * life.breaks_down());
  const auto hazards = [&](double km, double years) {
    std::vector<double> steps;
    double before = life.wear_hazard(km, years);
    for (std::size_t i = 1; i <= p.steps; ++i) {
      const double on = static_cast<double>(i) * p.step_km;
      const double after = life.wear_hazard(km + on, years + on / s.km_per_year);
      steps.push_back(doubt.onset * std::max(0.0, after - before));
      before = after;
    }
    return steps;
  };
  if (can_leak(case_)) {
    p.onset = hazards(case_.seal_km, case_.seal_years);
    p.onset_renewed = hazards(0, 0);
    // Some leak from the start.
    p.onset_renewed.front() -= std::log1p(-chances(life.newborn()).cause[idx(Cause::seal_leak)]);
  }
  p.start = start(verdict_.posterior.belief, doubt);
  const bool waits = recheck_km && allowed(OptionRole::wait, facts_);
  // The first look is the report's, as near as the steps come.
  p.first_steps = waits ? static_cast<std::size_t>(std::lround(*recheck_km / p.step_km)) : 0;
  p.now = known(facts_, p.first_steps, doubt);
  const CheckResults& results = all_results(p.step_km);
  p.seen = seen_by(results.own, doubt);
  p.seen_renewed = seen_by(results.renewed, doubt);
  p.seen_closed = seen_by(results.closed, doubt);
  p.waits = waits_up_to(p);
  return p;
}

double Unit::comes_back() const {
  if (!can_leak(case_)) {
    return 0;
  }
  const Settings& s = k_.settings;
  const Life& life = model_.life();
  const double years = std::min(s.comeback_days / kDaysPerYear, s.comeback_km / s.km_per_year);
  const double at_once = chances(life.newborn()).cause[idx(Cause::seal_leak)];
  return 1 - (1 - at_once) * std::exp(-life.wear_hazard(years * s.km_per_year, years));
}

double Unit::hours(TimedWork work) const {
  const Family& family = k_.family(family_);
  if (family.service) {
    for (const auto& [named, hours] : family.service->hours) {
      if (named == name(work)) {
        return hours;
      }
    }
  }
  return work_.times.at(idx(work)).hours;
}

double Unit::gear_bearings(const Amounts& amounts, bool in_use) const {
  constexpr TimedWork kWork = TimedWork::gear_bearings;
  return amounts[idx(PriceKind::gear_bearings)] + hours(kWork) * amounts[idx(PriceKind::hour)] +
         (in_use ? work_.times.at(idx(kWork)).days * amounts[idx(PriceKind::downtime_day)] : 0);
}

Costs Unit::costs(const Amounts& amounts, bool in_use) const {
  const auto price = [&](PriceKind kind) { return amounts[idx(kind)]; };
  const auto out_of_use = [&](TimedWork work) {
    return in_use ? work_.times.at(idx(work)).days * price(PriceKind::downtime_day) : 0;
  };
  const auto time = [&](TimedWork work) {
    return hours(work) * price(PriceKind::hour) + out_of_use(work);
  };
  Costs c;
  c.check = price(PriceKind::check) +
            price(PriceKind::hour) * k_.action(ActionRole::look_at_port).minutes / kMinutesPerHour;
  c.bypass = price(PriceKind::bypass) + time(TimedWork::bypass);
  c.rebuild =
      price(PriceKind::rebuild) + price(PriceKind::gear_bearings) + time(TimedWork::rebuild);
  c.bypass_in_rebuild = price(PriceKind::bypass) + time(TimedWork::bypass_in_rebuild);
  c.major_parts = price(PriceKind::major_parts) + time(TimedWork::major_parts);
  c.beyond_repair = price(PriceKind::replacement) + out_of_use(TimedWork::exchange);
  c.new_unit = price(PriceKind::replacement) + time(TimedWork::exchange);
  c.core = price(PriceKind::core);
  c.breakdown = price(PriceKind::loss) + time(TimedWork::breakdown);
  const OutlookChances& found = work_.chances.at(idx(Outlook::major_parts));
  c.end_major = found.major_parts;
  c.end_lost = found.beyond_repair;
  return c;
}

}  // namespace dryshaft::plan
