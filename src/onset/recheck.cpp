// How often to look, and what it saves: by the grader's own process, worn by the joined curve.
#include "onset/recheck.hpp"

#include <algorithm>
#include <cmath>

#include "base/index.hpp"
#include "decide/assess.hpp"
#include "diagnose/ahead.hpp"
#include "diagnose/model.hpp"

namespace dryshaft::onset {
namespace {

constexpr double kStepKm = 500;     // of intervals
constexpr double kMostLooks = 600;  // what was seen before so many says nothing any more

Knowledge worn_by(const OnsetReport& report, bool by_km) {
  Knowledge own = *report.options.rules;
  Wear& wear = *own.causes[idx(Cause::seal_leak)].wear;
  wear.table.clear();
  for (const auto& [at, hazard] : report.grader) {
    wear.table.push_back({at, hazard});
  }
  wear.table_by_years = !by_km;
  return own;
}

// A unit whose port has been looked at in full, and found dry and clean.
Case found_dry() {
  Case c = empty_case();
  c.set(Situation::rotor_cooling, Cooling::wet);
  c.set(Situation::port_check, PortCheck::fresh);
  for (const FindingSpec& f : findings()) {
    if (f.at_port && f.ordered) {
      c.set(f.id, 0);
    }
  }
  return c;
}

class Planner {
 public:
  Planner(OnsetReport& report, bool by_km)
      : r_(report),
        k_(worn_by(report, by_km)),
        model_(k_),
        km_per_year_(k_.settings.km_per_year),
        unit_km_(by_km ? 1 : km_per_year_),
        longest_(k_.grades[idx(Grade::A)].recheck_km.value_or(0)) {}

  void plan(double until, double step) {
    for (double at = 0; at <= until; at += step) {
      const double km = at * unit_km_;
      OnsetRecheck row;
      row.at = at;
      row.leak_by = r_.joined->posterior.probability(at);
      row.first = next_look(seen_at(km)) / unit_km_;
      row.regular = regular(km) / unit_km_;
      r_.rechecks.push_back(row);
    }
    OnsetPlan plan;
    plan.until = until;
    // Each look as far after the last as the table says there.
    const auto next_after = [&](double at) {
      const auto i = std::min(static_cast<std::size_t>(at / step), r_.rechecks.size() - 2);
      const OnsetRecheck& a = r_.rechecks[i];
      const OnsetRecheck& b = r_.rechecks[i + 1];
      return at + a.regular + (b.regular - a.regular) * (at - a.at) / step;
    };
    for (double at = next_after(0); at <= until; at = next_after(at)) {
      plan.looks.push_back(at);
    }
    follow(plan);
    r_.plan = plan;
  }

 private:
  [[nodiscard]] Clock clock_at(double km) const { return Clock{}.later(km, km / km_per_year_); }

  [[nodiscard]] Case seen_at(double km) const {
    Case c = dry_;
    c.seal_km = km;
    c.seal_years = km / km_per_year_;
    return c;
  }

  // As a report on the unit would have it.
  [[nodiscard]] double next_look(const Case& c) const {
    const Verdict verdict = judge(k_, model_, c);
    const double limit = k_.grades[idx(verdict.grade)].recheck_km.value_or(0);
    if (verdict.grade != Grade::A && verdict.grade != Grade::B) {
      return limit;
    }
    const Ahead ahead(model_.life(), verdict.posterior.belief, clock_of(c), km_per_year_);
    const double safe =
        ahead.safe_km(k_.settings.damage_target, longest_, kStepKm, ahead.unharmed());
    return std::min(limit, std::max(k_.settings.recheck_least_km, safe));
  }

  // The longest interval at which a seal that has been looked at so often all along may go on.
  [[nodiscard]] double regular(double km) const {
    double low = 1;  // steps
    double high = std::floor(longest_ / kStepKm) + 1;
    while (high - low > 1) {
      const double middle = std::floor((low + high) / 2);
      const double every = middle * kStepKm;
      (next_look(seen_every(every, km)) >= every ? low : high) = middle;
    }
    return low * kStepKm;
  }

  [[nodiscard]] Case seen_every(double every, double km) const {
    Course course;
    const double before = std::clamp(std::ceil(km / every) - 1, 0.0, kMostLooks);
    for (double at = km - every * before; at < km; at += every) {
      Leg& leg = course.legs.emplace_back();
      leg.from = course.end;
      leg.to = course.end = clock_at(at);
      leg.seen = dry_.level;
      leg.look = course.legs.size() - 1;
    }
    Case c = seen_at(km);
    if (!course.legs.empty()) {
      c.course = std::make_shared<const Course>(std::move(course));
    }
    return c;
  }

  // A hundred new seals, each until it is damaged or a look shows what ails it.
  void follow(OnsetPlan& plan) const {
    constexpr double kUnits = 100;
    Belief belief = model_.life().newborn();
    const Belief dry = model_.likelihood(dry_.level);
    double left = kUnits;
    double before = 0;
    const auto drive_to = [&](double at) {
      model_.life().drive(belief, clock_at(before * unit_km_), clock_at(at * unit_km_));
      before = at;
      plan.damaged += take_out(belief, left, [](std::size_t core, std::size_t) {
        return core % core_of(1, 0, 0) != 0 ? 1.0 : 0.0;
      });
    };
    for (const double at : plan.looks) {
      drive_to(at);
      plan.checks += left;
      // What is there anyway is left aside.
      plan.found += take_out(belief, left, [&](std::size_t core, std::size_t r) {
        return 1 - dry.at[core][r] / dry.at[core_of(0, 0, 0)][r];
      });
    }
    drive_to(plan.until);
    Belief alone = model_.life().newborn();
    model_.life().drive(alone, clock_at(0), clock_at(plan.until * unit_km_));
    plan.without = kUnits * chances(alone).damaged;
  }

  // Takes the part `share` of each state out of `left` units, and returns how many these are.
  template <typename Share>
  static double take_out(Belief& belief, double& left, Share share) {
    double out = 0;
    for (std::size_t core = 0; core < kCores; ++core) {
      for (std::size_t r = 0; r < kRests; ++r) {
        const double gone = belief.at[core][r] * share(core, r);
        belief.at[core][r] -= gone;
        out += gone;
      }
    }
    for (auto& row : belief.at) {
      for (double& p : row) {
        p = out < 1 ? p / (1 - out) : p;
      }
    }
    const double units = left * out;
    left -= units;
    return units;
  }

  OnsetReport& r_;
  Knowledge k_;
  Model model_;
  Case dry_ = found_dry();
  double km_per_year_;
  double unit_km_;  // of the axis
  double longest_;
};

}  // namespace

void plan_rechecks(OnsetReport& report) {
  if (!report.joined || report.grader.empty() || !report.options.rules) {
    return;
  }
  const bool by_km = report.data.axis == OnsetAxis::km;
  Planner(report, by_km).plan(by_km ? 300000 : 20, by_km ? 25000 : 2);
}

}  // namespace dryshaft::onset
