// How often to look, and what it saves, by the joined curve.
#include <algorithm>
#include <array>
#include <cmath>

#include "diagnose/delay.hpp"
#include "onset/recheck.hpp"

namespace dryshaft::onset {
namespace {

using delay::LeakToDamage;

// A cumulative hazard in a table, straight in logs: a cloud takes too long to ask often.
class HazardTable {
 public:
  HazardTable(const WeibullCloud& cloud, double from, double to) : log_from_(std::log(from)) {
    constexpr int kPoints = 400;
    step_ = (std::log(to) - log_from_) / (kPoints - 1);
    for (int i = 0; i < kPoints; ++i) {
      log_hazard_.push_back(std::log(cloud.hazard(std::exp(log_from_ + step_ * i))));
    }
  }
  double operator()(double at) const {
    if (!(at > 0)) {
      return 0;
    }
    const double place = (std::log(at) - log_from_) / step_;
    const double first =
        std::clamp(std::floor(place), 0.0, static_cast<double>(log_hazard_.size()) - 2);
    const auto i = static_cast<std::size_t>(first);
    return std::exp(log_hazard_[i] + (place - first) * (log_hazard_[i + 1] - log_hazard_[i]));
  }

 private:
  double log_from_;
  double step_ = 0;
  std::vector<double> log_hazard_;
};

// The greatest x from `least` to `most` at which `holds`, which stops holding once; else `least`.
template <typename Holds>
double greatest(double least, double most, const Holds& holds) {
  if (!(least < most) || !holds(least)) {
    return least;
  }
  if (holds(most)) {
    return most;
  }
  double low = least;
  double high = most;
  for (int i = 0; i < 50; ++i) {
    const double middle = (low + high) / 2;
    (holds(middle) ? low : high) = middle;
  }
  return low;
}

}  // namespace

void plan_rechecks(OnsetReport& report) {
  const OnsetOptions& o = report.options;
  if (!report.joined || !(o.leak_to_damage > 0) || !(o.target > 0) || !(o.least > 0)) {
    return;
  }
  const LeakToDamage slow{o.leak_to_damage, o.stages};
  const bool by_km = report.data.axis == OnsetAxis::km;
  const double step = by_km ? 25000 : 2;
  const double until = by_km ? 300000 : 20;
  const double longest = until;
  const HazardTable hazard(report.joined->posterior, until * 1e-4, until * 4);
  // Looks every `x` up to `at`, the last one there.
  const auto looks_by = [&](double at, double x) {
    std::vector<double> looks;
    for (double then = at; then > 0 && at - then <= delay::longest(slow) + x; then -= x) {
      looks.push_back(then);
    }
    std::ranges::reverse(looks);
    return looks;
  };
  for (double at = 0; at <= until; at += step) {
    OnsetRecheck row;
    row.at = at;
    row.leak_by = -std::expm1(-hazard(at));
    const std::array<double, 1> once = {at};
    row.first = greatest(o.least, longest, [&](double x) {
      return delay::chance_of_damage(
                 hazard, at > 0 ? std::span<const double>(once) : std::span<const double>(), x,
                 o.misses, slow) <= o.target;
    });
    row.regular = greatest(o.least, longest, [&](double x) {
      return delay::chance_of_damage(hazard, looks_by(at, x), x, o.misses, slow) <= o.target;
    });
    report.rechecks.push_back(row);
  }
  OnsetPlan plan;
  plan.until = until;
  // Each look as far after the last as the table says there.
  const auto next_after = [&](double at) {
    const auto i = std::min(static_cast<std::size_t>(at / step), report.rechecks.size() - 2);
    const OnsetRecheck& a = report.rechecks[i];
    const OnsetRecheck& b = report.rechecks[i + 1];
    return at + a.regular + (b.regular - a.regular) * (at - a.at) / step;
  };
  for (double at = next_after(0); at <= until; at = next_after(at)) {
    plan.looks.push_back(at);
  }
  // Leaks, by where they begin, and the looks that follow until one finds them.
  constexpr int kParts = 2000;
  double left = 1;
  for (int i = 0; i < kParts; ++i) {
    const double begin = until * i / kParts;
    const double end = until * (i + 1) / kParts;
    const double then = std::exp(-hazard(end));
    const double share = left - then;
    left = then;
    const double middle = (begin + end) / 2;
    plan.without += share * delay::damaged_by(slow, until - middle);
    double unseen = 1;
    double damaged_before = 0;
    double checks = 0;
    for (const double at : plan.looks) {
      if (at < middle) {
        checks += 1;
        continue;
      }
      const double damaged = delay::damaged_by(slow, at - middle);
      plan.damaged += share * unseen * (damaged - damaged_before);
      checks += unseen * (1 - damaged);
      plan.found += share * unseen * (1 - damaged) * (1 - o.misses);
      unseen *= o.misses;  // these go on
      damaged_before = damaged;
    }
    plan.damaged += share * unseen * (delay::damaged_by(slow, until - middle) - damaged_before);
    plan.checks += share * checks;
  }
  plan.checks += left * static_cast<double>(plan.looks.size());
  constexpr double kUnits = 100;
  plan.checks *= kUnits;
  plan.found *= kUnits;
  plan.damaged *= kUnits;
  plan.without *= kUnits;
  report.plan = plan;
}

}  // namespace dryshaft::onset
