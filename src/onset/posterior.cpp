// The shipped judgement and the data joined: a Weibull curve whose log shape and
// log scale have independent normal densities before the data.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "base/located_json.hpp"
#include "knowledge/object_view.hpp"
#include "onset/curve.hpp"

namespace dryshaft {
namespace {

using onset::Cells;
using Two = Eigen::Vector2d;

constexpr double kTail95 = 0.025;

class Grid {
 public:
  Grid(std::span<const OnsetInterval> intervals, const OnsetPrior& prior)
      : cells_(onset::cells_of(intervals, {}, {})),
        mean_(std::log(prior.shape), std::log(prior.scale)),
        sd_(prior.sd_log_shape, prior.sd_log_scale) {}

  // Log of prior density times likelihood, the density without its constant.
  [[nodiscard]] double log_density(const Two& at) const {
    const Two far = (at - mean_).cwiseQuotient(sd_);
    double value = -far.squaredNorm() / 2;
    if (!cells_.cells.empty()) {
      const double t = std::exp(at[0]);
      Eigen::VectorXd where(2);
      where << t * (at[1] - cells_.centre), t;
      value += onset::value_at({.kind = CurveKind::weibull}, cells_, where) - cells_.exact_log;
    }
    return value;
  }

  // The peak and the spread around it, by Newton steps.
  // `also`: another place to begin at, where that is likelier than the judgement's middle.
  void aim(const std::optional<Two>& also) {
    Two at = mean_;
    double value = log_density(at);
    if (also && log_density(*also) > value) {
      at = *also;
      value = log_density(at);
    }
    constexpr int kMostSteps = 100;
    for (int step = 0; step < kMostSteps; ++step) {
      Two slope;
      derivatives(at, slope, bend_);
      // Where the surface is not hollow the prior's own bend stands in.
      Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> solver(bend_);
      const double least = 0.05 / std::max(sd_[0], sd_[1]) / std::max(sd_[0], sd_[1]);
      const Two bends = solver.eigenvalues().cwiseMax(least);
      const Eigen::Matrix2d& axes = solver.eigenvectors();
      axes_ = axes * bends.cwiseSqrt().cwiseInverse().asDiagonal();
      Two move = axes_ * (axes_.transpose() * slope);
      constexpr double kLongest = 1;  // where the surface is not hollow a step can be far too long
      move *= std::min(1.0, kLongest / std::max(move.norm(), kLongest));
      // Turned, so that no two points of the grid have the same shape or the same scale.
      axes_ = axes_ * Eigen::Rotation2Dd(0.5).toRotationMatrix();
      double length = 1;
      Two next = at + move;
      double there = log_density(next);
      while (!(there >= value) && length > 1e-9) {
        length /= 2;
        next = at + length * move;
        there = log_density(next);
      }
      if (!(there >= value)) {
        break;
      }
      const bool done = length * std::abs(slope.dot(move)) < 1e-9;
      at = next;
      value = there;
      if (done) {
        break;
      }
    }
    peak_ = at;
    top_ = value;
  }

  // `half` points on each side of the peak, `step` standard deviations apart.
  struct Points {
    std::vector<WeibullCloud::Point> all;
    std::vector<WeibullCloud::Point> coarse;  // every second one in both directions
    double edge = 0;                          // share of the weight in the outermost rows
    double log_sum = 0;  // log of the sum of densities times the area of a cell
  };
  [[nodiscard]] Points points(int half, double step) const {
    Points p;
    double sum = 0;
    double coarse = 0;
    double edge = 0;
    for (int i = -half; i <= half; ++i) {
      for (int j = -half; j <= half; ++j) {
        const Two at = peak_ + axes_ * Two(i * step, j * step);
        const double weight = std::exp(log_density(at) - top_);
        sum += weight;
        edge += std::abs(i) == half || std::abs(j) == half ? weight : 0;
        p.all.push_back({at[0], at[1], weight});
        if (i % 2 == 0 && j % 2 == 0) {
          p.coarse.push_back(p.all.back());
          coarse += weight;
        }
      }
    }
    for (WeibullCloud::Point& q : p.all) {
      q.weight /= sum;
    }
    for (WeibullCloud::Point& q : p.coarse) {
      q.weight /= coarse;
    }
    p.edge = edge / sum;
    p.log_sum = top_ + std::log(sum) + std::log(std::abs(axes_.determinant()) * step * step);
    return p;
  }

  [[nodiscard]] std::size_t rows() const { return cells_.cells.size(); }
  // Log of the integral of the prior's density as `log_density` has it.
  [[nodiscard]] double log_prior_sum() const {
    return std::log(2 * std::numbers::pi * sd_[0] * sd_[1]);
  }

 private:
  // Slope and bend along (log shape, log scale), from those along (a, t): t is the shape, and
  // a = t * (log scale - centre).
  void derivatives(const Two& at, Two& slope, Eigen::Matrix2d& bend) const {
    slope = -(at - mean_).cwiseQuotient(sd_.cwiseProduct(sd_));
    bend = sd_.cwiseProduct(sd_).cwiseInverse().asDiagonal();
    if (cells_.cells.empty()) {
      return;
    }
    const double t = std::exp(at[0]);
    const double a = t * (at[1] - cells_.centre);
    Eigen::VectorXd where(2);
    where << a, t;
    const onset::Slopes s = onset::slopes_at({.kind = CurveKind::weibull}, cells_, where);
    const double of_shape = s.gradient[1] * t + s.gradient[0] * a;
    const double of_scale = s.gradient[0] * t;
    slope += Two(of_shape, of_scale);
    const double both = (s.bend.joint(0, 0) * t + s.bend.own[0] * a) * t - of_scale;
    bend(0, 0) += s.bend.along(where) - of_shape;
    bend(1, 1) += s.bend.own[0] * t * t;
    bend(0, 1) += both;
    bend(1, 0) += both;
  }

  Cells cells_;
  Two mean_;
  Two sd_;
  Two peak_ = Two::Zero();
  double top_ = 0;
  Eigen::Matrix2d bend_ = Eigen::Matrix2d::Identity();
  Eigen::Matrix2d axes_ = Eigen::Matrix2d::Identity();
};

double weibull_hazard(const WeibullCloud::Point& p, double log_at) {
  constexpr double kFar = 690;  // exp of more is no number
  return std::exp(std::clamp(std::exp(p.log_shape) * (log_at - p.log_scale), -kFar, kFar));
}

// Mean, median and central 95 % of a value of each point.
template <typename Value>
WeibullCloud::Summary summary_of(const std::vector<WeibullCloud::Point>& points,
                                 const Value& value) {
  std::vector<std::pair<double, double>> sorted;
  sorted.reserve(points.size());
  WeibullCloud::Summary out;
  for (const WeibullCloud::Point& p : points) {
    sorted.emplace_back(value(p), p.weight);
    out.mean += p.weight * sorted.back().first;
  }
  std::ranges::sort(sorted);
  const auto at = [&](double share) {
    // Half of a point's weight lies below its value.
    double below = 0;
    double last = sorted.front().first;
    double last_below = 0;
    for (const auto& [x, weight] : sorted) {
      const double here = below + weight / 2;
      if (here >= share) {
        const double part = here > last_below ? (share - last_below) / (here - last_below) : 1;
        return last + part * (x - last);
      }
      below += weight;
      last = x;
      last_below = here;
    }
    return last;
  };
  out.median = at(0.5);
  out.range = {at(kTail95), at(1 - kTail95)};
  return out;
}

}  // namespace

double WeibullCloud::hazard(double at) const {
  if (!(at > 0)) {
    return 0;
  }
  // -log of the mean of exp(-H): from the least H on, so that none vanishes; through
  // expm1 where H is small.
  const double log_at = std::log(at);
  double least = kNoEnd;
  for (const Point& p : points_) {
    least = p.weight > 0 ? std::min(least, weibull_hazard(p, log_at)) : least;
  }
  double rest = 0;
  for (const Point& p : points_) {
    rest += p.weight > 0 ? p.weight * std::expm1(least - weibull_hazard(p, log_at)) : 0;
  }
  return least - std::log1p(rest);
}

double WeibullCloud::probability(double at) const { return -std::expm1(-hazard(at)); }

WeibullCloud::Summary WeibullCloud::shape() const {
  return summary_of(points_, [](const Point& p) { return std::exp(p.log_shape); });
}
WeibullCloud::Summary WeibullCloud::scale() const {
  return summary_of(points_, [](const Point& p) { return std::exp(p.log_scale); });
}
WeibullCloud::Summary WeibullCloud::probability_at(double at) const {
  return summary_of(points_, [log_at = std::log(at)](const Point& p) {
    return -std::expm1(-weibull_hazard(p, log_at));
  });
}
WeibullCloud::Summary WeibullCloud::quantile(double probability) const {
  return summary_of(points_, [z = onset::z_at(CurveKind::weibull, probability)](const Point& p) {
    return std::exp(p.log_scale + z * std::exp(-p.log_shape));
  });
}

OnsetPosterior onset_posterior(std::span<const OnsetInterval> intervals, const OnsetPrior& prior) {
  constexpr double kReach = 8;         // standard deviations on each side, to begin with
  constexpr double kLeastEdge = 1e-7;  // weight that may lie at the edge
  constexpr double kLeastChange = 1e-4;
  OnsetPosterior out;
  Grid nothing({}, prior);
  nothing.aim({});
  constexpr int kPriorHalf = 32;
  out.prior = WeibullCloud(nothing.points(kPriorHalf, kReach / kPriorHalf).all);
  Grid grid(intervals, prior);
  const CurveFit fit = fit_curve(CurveKind::weibull, intervals);
  grid.aim(fit.status == FitStatus::converged
               ? std::optional<Two>(Two(std::log(fit.shape), std::log(fit.scale)))
               : std::nullopt);
  // Many rows make a peak that is close to normal, where a coarser grid is as good.
  constexpr std::size_t kManyRows = 5000;
  const bool many = grid.rows() > kManyRows;
  int half = many ? 10 : 32;
  double reach = many ? 6.5 : kReach;
  for (int attempt = 0;; ++attempt) {
    Grid::Points points = grid.points(half, reach / half);
    const WeibullCloud fine(std::move(points.all));
    const WeibullCloud coarse(std::move(points.coarse));
    out.edge = points.edge;
    out.change = 0;
    for (const double p : {0.02, 0.1, 0.3, 0.5, 0.8}) {
      const double at = fine.quantile(p).median;
      out.change = std::max(out.change, std::abs(fine.probability(at) - coarse.probability(at)));
    }
    out.log_evidence = points.log_sum - grid.log_prior_sum();
    out.checked = out.edge < kLeastEdge && out.change < kLeastChange;
    if (out.checked || attempt == 3) {
      out.posterior = fine;
      return out;
    }
    if (out.edge >= kLeastEdge) {
      reach *= 1.6;
    }
    half = half * 8 / 5;
  }
}

// ------------------------------------------------------------------- prior

Result<OnsetPriorWidths> load_onset_prior(const NamedText& file) {
  Result<OnsetPriorWidths> result;
  const located::Document document(file.text, {.source = file.name}, kDataLimits,
                                   result.diagnostics);
  if (!document.usable()) {
    return result;
  }
  OnsetPriorWidths widths;
  ObjectView view(document, document.root(), result.diagnostics);
  if (!view.is_object()) {
    return result;
  }
  ItemReader items;
  view.word("format", {"dryshaft-onset-prior/1"});
  items.read(view, widths);
  constexpr double kNarrowest = 0.01;
  constexpr double kWidest = 3;
  widths.sd_log_shape = view.number("sd_log_shape", kNarrowest, kWidest);
  widths.sd_log_scale = view.number("sd_log_scale", kNarrowest, kWidest);
  view.done();
  if (!result.has_errors()) {
    result.value = std::move(widths);
  }
  return result;
}

std::optional<OnsetPrior> onset_prior(const Knowledge& knowledge, const OnsetPriorWidths& widths,
                                      OnsetAxis axis) {
  const std::optional<Wear>& wear =
      knowledge.causes[static_cast<std::size_t>(Cause::seal_leak)].wear;
  if (!wear || axis == OnsetAxis::plain) {
    return std::nullopt;
  }
  return OnsetPrior{wear->shape, axis == OnsetAxis::km ? wear->scale_km : wear->scale_years,
                    widths.sd_log_shape, widths.sd_log_scale};
}

}  // namespace dryshaft
