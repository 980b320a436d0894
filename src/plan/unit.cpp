#include "plan/unit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "base/index.hpp"
#include "base/odds.hpp"
#include "plan/outcomes.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft::plan {
namespace {

// Decisions are made at multiples of at most this distance: the longest way that
// the shipped rules leave to a unit of grade C.
constexpr double kLongestStepKm = 1500;
// Distances to the next check that are tried, in steps: each about a quarter more than the last.
constexpr std::size_t kWaits[] = {1, 2, 3, 4, 5, 6, 8, 10, 13, 16, 20, 25, 32, 40, 50, 64, 80, 100};
// Steps in which the past of the seal is gone through.
constexpr std::size_t kPastSteps = 60;

constexpr auto kLeak = std::size_t{1} << idx(Cause::seal_leak);
constexpr auto kRust = std::size_t{1} << idx(Cause::rotor_bearing_corrosion);
constexpr auto kInsulation = std::size_t{1} << idx(Cause::insulation_loss);

}  // namespace

std::pair<double, double> leaking_and_damaged(const Posterior& posterior) {
  double leaking = 0;
  double damaged = 0;
  for (std::size_t s = 0; s < kStateCount; ++s) {
    if ((s & (kRust | kInsulation)) != 0) {
      damaged += posterior.state[s];
    } else if ((s & kLeak) != 0) {
      leaking += posterior.state[s];
    }
  }
  return {leaking, damaged};
}

Unit::Unit(const History& history, const Grader& grader, const WorkRules& work,
           std::optional<int> today)
    : k_(grader.knowledge()), model_(grader.model()), work_(work) {
  const int date = static_cast<int>(history.records.back().at(Field::date).number);
  const int day = today.value_or(date);
  const History judged = date > day ? as_of(history, day) : history;
  const Presentation seen = present(judged, judged.records.size(), k_, day);
  case_ = seen.facts;
  verdict_ = judge(k_, model_, case_);
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
    for (const Advice& a : k_.advice) {
      if ((!a.within_km && !a.within_days) || !holds(a.when, facts)) {
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

bool Unit::can_leak() const {
  const std::optional<Wear>& wear = k_.causes[idx(Cause::seal_leak)].wear;
  return wear && (wear->cooling >> case_.at(Situation::rotor_cooling) & 1U) != 0;
}

Seen Unit::known(const Facts& facts, double step_km, const Doubt& doubt) const {
  Seen s;
  if (allowed(OptionRole::wait, facts)) {
    constexpr double kRounding = 1e-9;
    s.most_steps = static_cast<std::size_t>(
        std::floor(k_.grades[idx(facts.grade)].recheck_km.value_or(0) / step_km + kRounding));
  }
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
std::vector<Seen> Unit::results(Case base, const Problem& p, const Doubt& doubt) const {
  constexpr std::array kLooked = {Finding::port_fluid, Finding::port_fluid_kind,
                                  Finding::port_residue, Finding::port_rust};
  for (const FindingSpec& f : findings()) {
    if (f.at_port) {
      base.set(f.id, -1);
    }
  }
  base.set(Situation::port_check, PortCheck::fresh);
  base.port_weight = 1;
  struct Group {
    Seen seen;
    bool clean = false;
    Grade grade = Grade::A;
    double damaged = 0;
  };
  std::vector<Group> groups;
  const auto leaf = [&](const Case& c, const std::array<double, 3>& chance) {
    const Verdict verdict = judge(k_, model_, c);
    const Facts facts = facts_of(c, verdict);
    const Seen seen = known(facts, p.step_km, doubt);
    const bool clean = std::ranges::all_of(kLooked, [&](Finding f) { return c.at(f) <= 0; });
    auto group = std::ranges::find_if(groups, [&](const Group& g) {
      return g.clean == clean && g.grade == verdict.grade && g.seen.allowed == seen.allowed &&
             g.seen.most_steps == seen.most_steps;
    });
    if (group == groups.end() && groups.size() < kMostResults) {
      groups.push_back({seen, clean, verdict.grade, 0});
      group = groups.end() - 1;
      group->seen.major = 0;
      group->seen.lost = 0;
    } else if (group == groups.end()) {
      group = groups.end() - 1;  // the strictest of both
      group->seen.most_steps = std::min(group->seen.most_steps, seen.most_steps);
      for (std::size_t w = 0; w < kWorkCount; ++w) {
        group->seen.allowed[w] = group->seen.allowed[w] && seen.allowed[w];
      }
      group->seen.allowed[idx(Work::rebuild)] = true;
    }
    group->seen.chance[0] += chance[0];
    for (std::size_t s = 1; s <= p.leak_stages; ++s) {
      group->seen.chance[s] += chance[1];
    }
    if (p.breakdown_km > 0) {
      group->seen.chance[p.last()] += chance[2];
    }
    group->damaged += chance[2];
    group->seen.major += chance[2] * seen.major;
    group->seen.lost += chance[2] * seen.lost;
  };
  const std::array<std::size_t, 3> states = {0, kLeak, kLeak | kRust};
  each_outcome(
      kLooked, base, std::array<double, 3>{1, 1, 1},
      [&](std::array<double, 3> chance, Finding f, int level) {
        for (std::size_t i = 0; i < states.size(); ++i) {
          chance.at(i) *= model_.likelihood(f, level)[states.at(i)];
        }
        return chance;
      },
      leaf);
  std::ranges::stable_sort(groups, [](const Group& a, const Group& b) {
    return std::pair(!a.clean, a.grade) < std::pair(!b.clean, b.grade);
  });
  std::vector<Seen> all;
  for (Group& g : groups) {
    if (g.damaged > 0) {
      g.seen.major /= g.damaged;
      g.seen.lost /= g.damaged;
    }
    all.push_back(g.seen);
  }
  // A check that misses a leak more or less often shows the rest less or more often.
  for (std::size_t s = 1; s <= p.leak_stages && doubt.missed != 1; ++s) {
    const double clean = all.front().chance[s];
    const double now = with_odds(clean, doubt.missed);
    for (Seen& seen : all) {
      seen.chance[s] *= clean < 1 ? (1 - now) / (1 - clean) : 1;
    }
    all.front().chance[s] = now;
  }
  return all;
}

// The posterior by stage. How far a leak has come is what the wear of the seal
// and the delay leave open: the same steps, from a new seal to today.
Row Unit::start(const Problem& p, const Doubt& doubt) const {
  const auto [wet, hurt] = leaking_and_damaged(verdict_.posterior);
  const double damaged = with_odds(hurt, doubt.damaged);
  const double share = hurt < 1 ? wet / (1 - hurt) : 0;
  const double leaking = (1 - damaged) * with_odds(share, doubt.leaking);
  Row at{};
  at[0] = std::max(0.0, 1 - damaged - leaking);
  at[p.last()] += damaged;
  Row past{};
  past[0] = 1;
  Problem steps = p;
  steps.step_km = case_.seal_km / static_cast<double>(kPastSteps);
  double hazard = 0;
  for (std::size_t i = 1; i <= kPastSteps && case_.seal_km > 0; ++i) {
    const double done = static_cast<double>(i) / static_cast<double>(kPastSteps);
    const double to =
        doubt.onset * model_.wear_hazard(case_.seal_km * done, case_.seal_years * done);
    const Motion m = motion(steps, to - hazard, true);
    hazard = to;
    Row next{};
    for (std::size_t from = 0; from < p.stages(); ++from) {
      for (std::size_t s = from; s < p.stages(); ++s) {
        next[s] += past[from] * m.to[from][s];
      }
    }
    past = next;
  }
  double begun = 0;
  for (std::size_t s = 1; s <= p.leak_stages; ++s) {
    begun += past[s];
  }
  for (std::size_t s = 1; s <= p.leak_stages; ++s) {
    at[s] += leaking * (begun > 0 ? past[s] / begun : (s == 1 ? 1 : 0));
  }
  return at;
}

Problem Unit::problem(double horizon_km, const Doubt& doubt) const {
  const Settings& s = k_.settings;
  Problem p;
  p.leak_stages = std::min(static_cast<std::size_t>(s.leak_to_damage_stages), kMostLeakStages);
  p.steps = static_cast<std::size_t>(std::ceil(horizon_km / kLongestStepKm));
  p.step_km = horizon_km / static_cast<double>(p.steps);
  p.stage_km = doubt.delay * s.leak_to_damage_km / static_cast<double>(p.leak_stages);
  p.breakdown_km = doubt.running * work_.damage_to_breakdown_km;
  p.leak_goes_on = can_leak();
  p.harm_left = with_odds(work_.harm_left_by_bypass, doubt.harm);
  const auto hazards = [&](double km, double years) {
    std::vector<double> steps;
    double before = model_.wear_hazard(km, years);
    for (std::size_t i = 1; i <= p.steps; ++i) {
      const double on = static_cast<double>(i) * p.step_km;
      const double after = model_.wear_hazard(km + on, years + on / s.km_per_year);
      steps.push_back(doubt.onset * std::max(0.0, after - before));
      before = after;
    }
    return steps;
  };
  if (can_leak()) {
    p.onset = hazards(case_.seal_km, case_.seal_years);
    p.onset_renewed = hazards(0, 0);
  }
  p.waits.assign(std::begin(kWaits), std::end(kWaits));
  p.start = start(p, doubt);
  p.now = known(facts_, p.step_km, doubt);
  p.seen = results(case_, p, doubt);
  // A rebuilt unit: nothing hurt, nothing heard, hybrid bearings, dry.
  Case renewed = case_;
  renewed.level.fill(-1);
  renewed.set(Finding::noise, level_of(Presence::absent));
  renewed.set(Situation::rotor_bearings, Bearings::hybrid);
  renewed.set(Situation::gear_bearings, Bearings::hybrid);
  renewed.set(Situation::configuration, Configuration::consistent);
  renewed.seal_km = 0;
  renewed.seal_years = 0;
  p.seen_renewed = results(renewed, p, doubt);
  return p;
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
