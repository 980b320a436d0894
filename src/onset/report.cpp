// Everything that a report on onsets holds, put together.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/sentence.hpp"
#include "onset/recheck.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

// Where the curves are looked at when nobody says where: usual ages and distances, or, on a
// plain axis, quarters of the range that was looked at.
std::vector<double> usual_distances(const OnsetData& data) {
  if (data.axis == OnsetAxis::km) {
    return {50000, 100000, 150000, 200000, 250000, 300000};
  }
  if (data.axis == OnsetAxis::years) {
    return {5, 10, 15, 20};
  }
  double last = 0;
  for (const OnsetInterval& r : data.intervals) {
    last = std::max({last, r.left, std::isfinite(r.right) ? r.right : 0});
  }
  return last > 0 ? std::vector<double>{last / 4, last / 2, last * 3 / 4, last}
                  : std::vector<double>{};
}

void count_kinds(OnsetReport& report) {
  for (const OnsetInterval& r : report.data.intervals) {
    const bool open = !std::isfinite(r.right);
    (open                ? report.right_censored
     : r.left == r.right ? report.exact
     : r.left <= 0       ? report.left_censored
                         : report.between) += r.count;
  }
}

// The curve against the steps, at the ends of steps, where the steps say something.
std::optional<OnsetReport::Gap> gap_of(const CurveFit& fit, const StepEstimate& steps) {
  if (fit.status != FitStatus::converged || steps.steps.empty()) {
    return std::nullopt;
  }
  OnsetReport::Gap gap;
  for (const StepEstimate::Step& s : steps.steps) {
    if (!std::isfinite(s.right)) {
      continue;
    }
    const double curve = curve_probability(fit.kind, fit.shape, fit.scale, s.right);
    if (std::abs(curve - s.below) > gap.largest) {
      gap.largest = std::abs(curve - s.below);
      gap.at = s.right;
    }
    if (steps.resamples > 0 && (curve < s.below_95.low || curve > s.below_95.high)) {
      gap.inside = false;
    }
  }
  return gap;
}

void grade_table(OnsetReport& report) {
  const bool by_km = report.data.axis == OnsetAxis::km;
  const double from = by_km ? 1000 : 0.1;
  const double to = by_km ? 1.6e6 : 160;
  constexpr int kPoints = 65;
  double before = 0;
  for (int i = 0; i < kPoints; ++i) {
    const double at = from * std::pow(to / from, i / (kPoints - 1.0));
    const double hazard = report.joined->posterior.hazard(at);
    // Rises, as far as a double can show it; beyond lies certainty.
    constexpr double kLeast = 1e-290;
    constexpr double kMost = 1e6;
    if (hazard > std::max(before, kLeast) && hazard < kMost) {
      report.grader.emplace_back(at, hazard);
      before = hazard;
    }
  }
  if (report.grader.size() < 2) {
    report.grader.clear();
  }
}

void limits_of(OnsetReport& report) {
  std::vector<std::string>& limits = report.limits;
  const OnsetData& d = report.data;
  const double leaks = report.left_censored + report.between + report.exact;
  const double all = leaks + report.right_censored;
  if (d.axis != OnsetAxis::plain) {
    limits.emplace_back(
        "A unit comes on record at its first port check, dry or wet. So a wet first check shows a "
        "leak before it, and no unit is missing because it was dry or wet. Units scrapped before "
        "any check are missing: leaks then seem rarer than they are.");
    limits.emplace_back(
        "A dry check counts as dry. A check can miss a leak; then the leak began earlier than its "
        "interval shows. The recheck distances allow for missed leaks.");
  }
  constexpr double kFewLeaks = 10;
  if (leaks < kFewLeaks) {
    limits.push_back(
        fmt::format("Only {} of {} leaked: the data alone show little of the shape of the curve.",
                    words::count(static_cast<std::size_t>(leaks), "seal", "seals"), grouped(all)));
  }
  if (report.left_censored > leaks / 2 && leaks > 0) {
    limits.emplace_back(
        "More than half of the leaks were there at the first check: how long before is not known.");
  }
  double last = 0;
  std::size_t worse = 0;
  std::size_t assumed = 0;
  for (const OnsetInterval& r : d.intervals) {
    last = std::max({last, r.left, std::isfinite(r.right) ? r.right : 0});
    worse += r.worse_reading ? 1 : 0;
    assumed += r.assumed ? 1 : 0;
  }
  const std::string reach = d.axis == OnsetAxis::km      ? words::distance(last, Units::km)
                            : d.axis == OnsetAxis::years ? fmt::format("{:.1f} years", last)
                                                         : fmt::format("{:.6g}", last);
  if (last > 0) {
    limits.push_back(fmt::format(
        "No check lies beyond {}: the numbers there come from the curve alone.", reach));
  }
  const auto residue =
      static_cast<std::size_t>(std::ranges::count(d.left_out, "residue-alone", &OnsetLeftOut::id));
  if (residue > 0) {
    limits.push_back(fmt::format(
        "{} dried residue alone. That is no leak by itself: wash water and old spills leave it as "
        "well. Where liquid was found later, the leak may have begun before.",
        words::count(residue, "port check showed", "port checks showed")));
  }
  if (worse > 0) {
    limits.push_back(
        fmt::format("{} records that can be read in two ways, such as a dry tip with glycol or "
                    "heavy rust on it. The worse reading counts.",
                    words::count(worse, "leak comes from", "leaks come from")));
  }
  if (assumed > 0) {
    limits.push_back(
        fmt::format("The latest start of {} is not on record. It is taken from what a grade on "
                    "that day assumes of the seal.",
                    words::count(assumed, "leak", "leaks")));
  }
  if (d.cooling_unknown > 0) {
    limits.push_back(
        fmt::format("It is not known whether coolant runs through the rotor of {}. A dry rotor "
                    "cannot leak: leaks then seem rarer than they are.",
                    words::count(d.cooling_unknown, "unit", "units")));
  }
  if (report.joined && !report.joined->checked) {
    limits.emplace_back("The joined curve was not calculated to full accuracy.");
  }
  if (!report.steps.converged && !report.steps.steps.empty()) {
    limits.emplace_back("The step estimate did not reach its optimum.");
  }
  if (report.options.prior) {
    limits.emplace_back(
        "The joined curve is a Weibull curve; where the steps differ from it, trust the steps.");
  }
  if (d.axis == OnsetAxis::km) {
    limits.emplace_back(
        "Distance alone is fitted. When the result is used to grade, the rules' own part for age "
        "still applies: the worse reading counts.");
  } else if (d.axis == OnsetAxis::years) {
    limits.emplace_back(
        "Age alone is fitted. When the result is used to grade, the rules' own part for distance "
        "still applies: the worse reading counts.");
  }
}

}  // namespace

OnsetOptions onset_options(const Knowledge& knowledge, OnsetAxis axis,
                           const std::optional<OnsetPriorWidths>& widths) {
  OnsetOptions out;
  if (axis == OnsetAxis::plain) {
    return out;
  }
  if (widths) {
    out.prior = onset_prior(knowledge, *widths, axis);
  }
  out.rules = std::make_shared<const Knowledge>(knowledge);
  return out;
}

OnsetReport fit_onset(OnsetData data, const OnsetOptions& options,
                      const std::function<void(std::size_t done, std::size_t of)>& told) {
  OnsetReport r;
  r.data = std::move(data);
  r.options = options;
  const std::vector<OnsetInterval>& rows = r.data.intervals;
  if (r.options.distances.empty()) {
    r.options.distances = usual_distances(r.data);
  }
  r.probabilities = {0.01, 0.1, 0.5};
  count_kinds(r);
  std::size_t done = 0;
  const std::size_t stages = kCurveCount + 3 + r.options.resamples;
  const auto tell = [&] {
    if (told) {
      told(++done, stages);
    }
  };
  for (std::size_t i = 0; i < kCurveCount; ++i) {
    const auto kind = static_cast<CurveKind>(i);
    r.curves.at(i) = fit_curve(kind, rows);
    const CurveFit& fit = r.curves.at(i);
    if (fit.status == FitStatus::converged) {
      r.intervals.at(i) = curve_intervals(fit, rows, r.options.distances, r.probabilities);
      if (!r.best ||
          fit.log_likelihood > r.curves.at(static_cast<std::size_t>(*r.best)).log_likelihood) {
        r.best = kind;
      }
    }
    if (!r.data.by.empty()) {
      r.regressions.push_back(fit_regression(kind, rows));
    }
    tell();
  }
  r.steps = step_estimate(rows, r.options.resamples, [&](std::size_t /*made*/) { tell(); });
  done = kCurveCount + r.options.resamples;  // be it that none could be made
  for (std::size_t i = 0; i < kCurveCount; ++i) {
    r.fit.at(i) = gap_of(r.curves.at(i), r.steps);
  }
  tell();
  if (r.options.prior) {
    r.joined = onset_posterior(rows, *r.options.prior);
    grade_table(r);
  }
  tell();
  onset::plan_rechecks(r);
  limits_of(r);
  tell();
  return r;
}

}  // namespace dryshaft
