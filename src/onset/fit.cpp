// Curves by maximum likelihood, their intervals, and groups compared.
#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "base/number.hpp"
#include "base/sentence.hpp"
#include "onset/curve.hpp"

namespace dryshaft {
namespace {

using onset::Cells;
using onset::Peak;
using onset::Shape;

// 95 % quantile of chi-squared with 1 degree of freedom.
constexpr double kChiSquared95 = 3.841458820694124;

Eigen::VectorXd start_of(const Shape& shape, const Cells& cells) {
  // The peak of a sample of many rows is close to that of all.
  constexpr std::size_t kSample = 1500;
  if (shape.size() == 2 && cells.cells.size() > 4 * kSample) {
    Cells sample;
    sample.centre = cells.centre;
    for (std::size_t i = 0; i < kSample; ++i) {
      sample.cells.push_back(cells.cells[i * cells.cells.size() / kSample]);
      sample.weight += sample.cells.back().weight;
    }
    if (onset::status_of(shape.kind, sample, 1, nullptr) == FitStatus::converged) {
      return onset::climb(shape, sample, start_of(shape, sample)).at;
    }
  }
  double squares = 0;
  for (const onset::Cell& c : cells.cells) {
    squares += c.weight * (c.low * c.low + c.high * c.high) / 2;
  }
  constexpr double kLeastSpread = 1e-6;
  Eigen::VectorXd at = Eigen::VectorXd::Zero(shape.size());
  at[at.size() - 1] = 1 / std::max(kLeastSpread, std::sqrt(squares / cells.weight));
  return at;
}

}  // namespace

std::string_view name(CurveKind kind) {
  switch (kind) {
    case CurveKind::lognormal:
      return "lognormal";
    case CurveKind::log_logistic:
      return "log-logistic";
    default:
      return "weibull";
  }
}

std::string_view name(FitStatus status) {
  switch (status) {
    case FitStatus::converged:
      return "converged";
    case FitStatus::no_data:
      return "no-data";
    case FitStatus::all_left_censored:
      return "all-left-censored";
    case FitStatus::all_right_censored:
      return "all-right-censored";
    case FitStatus::one_distance:
      return "one-distance";
    case FitStatus::not_rising:
      return "not-rising";
    case FitStatus::group_without_bound:
      return "group-without-bound";
    default:
      return "not-converged";
  }
}

std::string_view explain(FitStatus status) {
  switch (status) {
    case FitStatus::converged:
      return "the likelihood has one greatest value, and it was found";
    case FitStatus::no_data:
      return "no interval holds any information";
    case FitStatus::all_left_censored:
      return "every seal leaked at its first check: how long before is not known";
    case FitStatus::all_right_censored:
      return "no leak was seen: nothing shows how far away the first one is";
    case FitStatus::one_distance:
      return "one distance lies in all intervals, so the curve that fits best is a step there: "
             "the data separate dry from wet completely, and the slope has no bound";
    case FitStatus::not_rising:
      return "no seal was seen both dry and wet, and wet checks came no later than dry ones: the "
             "data show no rise with distance";
    case FitStatus::group_without_bound:
      return "one group has only leaks that were there at the first check, or none at all: its "
             "factor has no bound";
    default:
      return "the greatest likelihood was not reached within the bound on steps";
  }
}

CurveFit fit_curve(CurveKind kind, std::span<const OnsetInterval> intervals) {
  const Cells cells = onset::cells_of(intervals, {}, {});
  CurveFit fit;
  fit.kind = kind;
  fit.status = onset::status_of(kind, cells, 1, nullptr);
  if (fit.status != FitStatus::converged) {
    return fit;
  }
  const Shape shape{.kind = kind};
  const Peak peak = onset::climb(shape, cells, start_of(shape, cells));
  fit.iterations = peak.iterations;
  fit.decrement = peak.decrement;
  const double a = peak.at[0];
  const double t = peak.at[1];
  // Observed information, turned from (a, t) into (mu, log sigma): the score is 0 at the peak.
  const onset::ArrowInverse known(peak.slopes.bend);
  Eigen::Matrix2d inverse;
  inverse << known.at(0, 0), known.at(0, 1), known.at(1, 0), known.at(1, 1);
  Eigen::Matrix2d jacobian;
  jacobian << 1 / t, -a / (t * t), 0, -1 / t;
  const Eigen::Matrix2d variance = jacobian * inverse * jacobian.transpose();
  if (!peak.converged || !variance.allFinite() || !(variance(0, 0) > 0) || !(variance(1, 1) > 0)) {
    fit.status = FitStatus::not_converged;
    return fit;
  }
  fit.mu = cells.centre + a / t;
  fit.sigma = 1 / t;
  fit.log_likelihood = peak.value - cells.exact_log;
  fit.var_mu = variance(0, 0);
  fit.cov_mu_log_sigma = variance(0, 1);
  fit.var_log_sigma = variance(1, 1);
  fit.shape = kind == CurveKind::lognormal ? fit.sigma : t;
  fit.scale = std::exp(fit.mu);
  fit.se_shape = fit.shape * std::sqrt(fit.var_log_sigma);
  fit.se_scale = fit.scale * std::sqrt(fit.var_mu);
  return fit;
}

double curve_probability(CurveKind kind, double shape, double scale, double at) {
  if (!(at > 0)) {
    return 0;
  }
  const double t = kind == CurveKind::lognormal ? 1 / shape : shape;
  return std::isfinite(at) ? std::exp(onset::log_below(kind, t * std::log(at / scale))) : 1;
}

double curve_quantile(CurveKind kind, double shape, double scale, double probability) {
  const double sigma = kind == CurveKind::lognormal ? shape : 1 / shape;
  return scale * std::exp(sigma * onset::z_at(kind, probability));
}

double curve_log_likelihood(CurveKind kind, std::span<const OnsetInterval> intervals, double shape,
                            double scale) {
  const Cells cells = onset::cells_of(intervals, {}, {});
  const double t = kind == CurveKind::lognormal ? 1 / shape : shape;
  Eigen::VectorXd at(2);
  at << t * (std::log(scale) - cells.centre), t;
  return onset::value_at({.kind = kind}, cells, at) - cells.exact_log;
}

// -------------------------------------------------------- profile intervals

namespace {

class Profiles {
 public:
  Profiles(const CurveFit& fit, std::span<const OnsetInterval> intervals)
      : cells_(onset::cells_of(intervals, {}, {})), shape_{.kind = fit.kind} {
    const double t = 1 / fit.sigma;
    peak_.resize(2);
    peak_ << t * (fit.mu - cells_.centre), t;
    greatest_ = onset::value_at(shape_, cells_, peak_);
    sd_log_t_ = std::sqrt(fit.var_log_sigma);
    variance_ << fit.var_mu, fit.cov_mu_log_sigma, fit.cov_mu_log_sigma, fit.var_log_sigma;
  }

  // Of log t, t = 1/sigma.
  Interval95 log_steepness() {
    const auto drop = [&](double log_t) {
      const double t = std::exp(log_t);
      Eigen::VectorXd from(2);
      from << peak_[0] / peak_[1] * t, t;
      return drop_of(onset::climb_along(shape_, cells_, from, Eigen::Vector2d(1, 0)).value);
    };
    return ends(std::log(peak_[1]), sd_log_t_, kFarLog, drop);
  }

  // Of the log distance, less the centre, at which the curve stands at `z`.
  Interval95 log_distance(double z) {
    const double at = (peak_[0] + z) / peak_[1];
    // mu + sigma * z, by the delta method
    const Eigen::Vector2d by(1, z / peak_[1]);
    return ends(at, std::sqrt(by.dot(variance_ * by)), kFarLog,
                [&](double y) { return through(y, z); });
  }

  // Of z at a log distance less the centre.
  Interval95 z_at_distance(double y) {
    const double z = peak_[1] * y - peak_[0];
    const Eigen::Vector2d by(-peak_[1], -z);
    return ends(z, std::sqrt(by.dot(variance_ * by)), kFarZ,
                [&](double other) { return through(y, other); });
  }

  [[nodiscard]] double centre() const { return cells_.centre; }

 private:
  static constexpr double kFarLog = 23;  // ten decades
  static constexpr double kFarZ = 300;

  [[nodiscard]] double drop_of(double value) const { return 2 * (greatest_ - value); }

  // The greatest likelihood of the curves that stand at `z` at log distance `y`.
  double through(double y, double z) {
    // a = t*y - z: along t alone
    Eigen::VectorXd from(2);
    from << along_ * y - z, along_;
    const Peak peak = onset::climb_along(shape_, cells_, from, Eigen::Vector2d(y, 1));
    if (peak.converged) {
      along_ = peak.at[1];
    }
    return drop_of(peak.value);
  }

  // Where the likelihood has dropped by half the quantile, on both sides.
  template <typename Drop>
  Interval95 ends(double at, double sd, double far, const Drop& drop) {
    const auto end = [&](double sign) {
      along_ = peak_[1];
      double inside = at;
      double at_inside = -kChiSquared95;
      double step = 1.5 * (sd > 1e-9 ? sd : 1e-9);  // rounding may leave a variance below 0
      double outside = at;
      for (;;) {
        outside = at + sign * step;
        const double value = drop(outside) - kChiSquared95;
        if (value >= 0) {
          const auto function = [&](double x) { return drop(x) - kChiSquared95; };
          std::uintmax_t steps = 60;
          const auto close_enough = [](double a, double b) {
            return std::abs(a - b) <= 1e-9 * (1 + std::abs(a));
          };
          const double low = std::min(inside, outside);
          const double high = std::max(inside, outside);
          const double at_low = sign > 0 ? at_inside : value;
          const double at_high = sign > 0 ? value : at_inside;
          const auto root = boost::math::tools::toms748_solve(function, low, high, at_low, at_high,
                                                              close_enough, steps);
          return (root.first + root.second) / 2;
        }
        if (step > far) {
          return sign * kNoEnd;
        }
        inside = outside;
        at_inside = value;
        step *= 1.6;
      }
    };
    const double low = end(-1);
    return {low, end(1)};
  }

  Cells cells_;
  Shape shape_;
  Eigen::VectorXd peak_;
  Eigen::Matrix2d variance_;
  double greatest_ = 0;
  double sd_log_t_ = 0;
  double along_ = 1;
};

}  // namespace

CurveIntervals curve_intervals(const CurveFit& fit, std::span<const OnsetInterval> intervals,
                               std::span<const double> distances,
                               std::span<const double> probabilities) {
  Profiles profiles(fit, intervals);
  CurveIntervals out;
  const Interval95 t = profiles.log_steepness();
  out.shape = fit.kind == CurveKind::lognormal ? Interval95{std::exp(-t.high), std::exp(-t.low)}
                                               : Interval95{std::exp(t.low), std::exp(t.high)};
  const auto distance = [&](double z) {
    const Interval95 y = profiles.log_distance(z);
    return Interval95{std::exp(y.low + profiles.centre()), std::exp(y.high + profiles.centre())};
  };
  out.scale = distance(0);
  for (const double at : distances) {
    const Interval95 z = profiles.z_at_distance(std::log(at) - profiles.centre());
    out.probability.push_back(
        {std::isfinite(z.low) ? std::exp(onset::log_below(fit.kind, z.low)) : 0,
         std::isfinite(z.high) ? std::exp(onset::log_below(fit.kind, z.high)) : 1});
  }
  for (const double p : probabilities) {
    out.quantile.push_back(distance(onset::z_at(fit.kind, p)));
  }
  return out;
}

// ------------------------------------------------------------------ groups

namespace {

// Rows whose group is known, with the number of the group, or the number that it is.
struct Grouped {
  std::vector<OnsetInterval> rows;
  std::vector<std::size_t> group;
  std::vector<double> x;
  std::vector<std::string> names;
  bool numeric = false;
  double left_out = 0;
};

Grouped in_groups(std::span<const OnsetInterval> intervals) {
  // A number of which there are more different values than this is a number, not a name.
  constexpr std::size_t kMostNames = 8;
  Grouped out;
  std::map<double, std::string> spelling;  // 1, 1.0 and 1e0 are one group: the shortest names it
  bool numbers = true;
  for (const OnsetInterval& r : intervals) {
    if (r.group.empty()) {
      out.left_out += r.count;
      continue;
    }
    out.rows.push_back(r);
    const std::optional<double> number = number_in(r.group);
    numbers = numbers && number.has_value();
    if (!number) {
      continue;
    }
    std::string& shortest = spelling.try_emplace(*number, r.group).first->second;
    if (std::tuple(r.group.size(), std::string_view(r.group)) <
        std::tuple(shortest.size(), std::string_view(shortest))) {
      shortest = r.group;
    }
  }
  std::set<std::string> names;
  for (OnsetInterval& r : out.rows) {
    if (const std::optional<double> number = number_in(r.group)) {
      r.group = spelling.at(*number);
    }
    names.insert(r.group);
  }
  out.numeric = numbers && names.size() > kMostNames;
  out.names.assign(names.begin(), names.end());
  for (const OnsetInterval& r : out.rows) {
    if (out.numeric) {
      out.x.push_back(*number_in(r.group));
    } else {
      out.group.push_back(static_cast<std::size_t>(std::ranges::lower_bound(out.names, r.group) -
                                                   out.names.begin()));
    }
  }
  return out;
}

struct StandardErrors {
  double mu = 0;
  double log_sigma = 0;
  std::vector<double> factor;  // of each log factor, 0 for the reference; or of the slope
  [[nodiscard]] bool known() const {
    const auto is = [](double x) { return std::isfinite(x) && x > 0; };
    return is(mu) && is(log_sigma) && is(factor.back()) &&
           std::ranges::all_of(factor.begin() + 1, factor.end(), is);
  }
};

// By the delta method, from (a..., t) into mu of the reference, log factors or the slope, and log
// sigma. A number stands `spread` wide around `centre`: mu is that at 0, the slope for one more.
StandardErrors errors_of(const Shape& shape, const Peak& peak, double centre, double spread) {
  const onset::ArrowInverse inverse(peak.slopes.bend);
  const Eigen::Index last = shape.size() - 1;
  const double t = peak.at[last];
  const auto of = [&](const onset::ArrowInverse::FewPlaces& row) {
    return std::sqrt(inverse.along(row));
  };
  const auto by_t = [&](double at) { return -at / (t * t); };
  StandardErrors out;
  out.log_sigma = of({{last, -1 / t}});
  if (shape.numeric) {
    const double by_slope = 1 / t / spread;
    const double slope_by_t = by_t(peak.at[1]) / spread;
    out.mu =
        of({{0, 1 / t}, {1, -centre * by_slope}, {last, by_t(peak.at[0]) - centre * slope_by_t}});
    out.factor = {of({{1, by_slope}, {last, slope_by_t}})};
    return out;
  }
  out.mu = of({{0, 1 / t}, {last, by_t(peak.at[0])}});
  out.factor = {0};
  for (Eigen::Index i = 1; i < last; ++i) {  // a factor is a difference of two groups
    out.factor.push_back(of({{i, 1 / t}, {0, -1 / t}, {last, by_t(peak.at[i] - peak.at[0])}}));
  }
  return out;
}

}  // namespace

OnsetRegression fit_regression(CurveKind kind, std::span<const OnsetInterval> intervals) {
  Grouped data = in_groups(intervals);
  OnsetRegression out;
  out.kind = kind;
  out.numeric = data.numeric;
  out.count_without_group = data.left_out;
  double centre = 0;
  double spread = 1;
  if (data.numeric) {
    const auto [least, most] = std::ranges::minmax(data.x);
    centre = least / 2 + most / 2;
    spread = most / 2 - least / 2;
    for (double& x : data.x) {
      x = (x - centre) / spread;
    }
  }
  const std::size_t groups = data.numeric ? 1 : data.names.size();
  const Cells cells = onset::cells_of(data.rows, data.group, data.x);
  if (!data.numeric) {
    for (const std::string& group : data.names) {
      out.groups.push_back({.name = group});
    }
    for (std::size_t i = 0; i < data.rows.size(); ++i) {
      out.groups[data.group[i]].count += data.rows[i].count;
    }
  } else {
    out.groups.push_back({.name = "one more", .count = cells.weight});
  }
  if (cells.cells.empty() || (!data.numeric && groups < 2)) {
    return out;
  }
  std::size_t unbounded = 0;
  out.status = onset::status_of(kind, cells, groups, &unbounded);
  if (out.status == FitStatus::group_without_bound) {
    out.unbounded = data.names[unbounded];
  }
  if (out.status != FitStatus::converged) {
    return out;
  }
  const Shape shape{.kind = kind, .groups = groups, .numeric = data.numeric};
  const Peak peak = onset::climb(shape, cells, start_of(shape, cells));
  const CurveFit without = fit_curve(kind, data.rows);
  const double t = peak.at[shape.size() - 1];
  const StandardErrors errors = errors_of(shape, peak, centre, spread);
  if (!peak.converged || !errors.known() || without.status != FitStatus::converged) {
    out.status = FitStatus::not_converged;
    return out;
  }
  const double slope = data.numeric ? peak.at[1] / t / spread : 0;
  out.shape = kind == CurveKind::lognormal ? 1 / t : t;
  out.mu = cells.centre + peak.at[0] / t - slope * centre;
  out.log_sigma = -std::log(t);
  out.se_mu = errors.mu;
  out.se_log_sigma = errors.log_sigma;
  for (std::size_t i = 0; i < out.groups.size(); ++i) {
    OnsetRegression::Group& g = out.groups[i];
    const auto at = static_cast<Eigen::Index>(i);
    g.log_factor = data.numeric ? slope : (peak.at[at] - peak.at[0]) / t;
    g.se_log_factor = errors.factor[i];
    g.factor = std::exp(g.log_factor);
    g.scale = std::exp(out.mu + (data.numeric ? 0 : g.log_factor));
  }
  out.log_likelihood = peak.value - cells.exact_log;
  out.log_likelihood_without = without.log_likelihood;
  out.degrees = static_cast<int>(shape.size()) - 2;
  out.ratio = std::max(0.0, 2 * (out.log_likelihood - out.log_likelihood_without));
  out.p_value = boost::math::gamma_q(out.degrees / 2.0, out.ratio / 2);
  return out;
}

}  // namespace dryshaft
