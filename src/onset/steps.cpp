// The step estimate (Turnbull 1976): the chance in each innermost interval that
// makes the data likeliest, found by constrained Newton steps on a small set of
// intervals (Wang 2008, from memory), and stopped by its optimality conditions.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <tuple>

#include "dryshaft/onset.hpp"
#include "base/draw.hpp"

namespace dryshaft {
namespace {

// An end of an interval, in order. Intervals hold their right end and not their
// left one; an exact distance t is the interval from just before t to t.
struct StepEnd {
  double at = 0;
  int place = 0;  // at the same distance: 0 just before it, 1 it, 2 just after it
  [[nodiscard]] auto key() const { return std::tuple(at, place); }
};

struct Innermost {
  StepEnd left;
  StepEnd right;
};

// A row in terms of innermost intervals: it holds those from `first` to `last`.
struct StepRow {
  std::size_t first = 0;
  std::size_t last = 0;
  double weight = 0;
};

struct StepProblem {
  std::vector<Innermost> innermost;
  std::vector<StepRow> rows;
  std::vector<std::size_t> row_of;  // of each interval that was given; `npos`: says nothing
  double weight = 0;
};

StepEnd left_end(const OnsetInterval& r) {
  return {std::max(0.0, r.left), r.left == r.right ? 0 : 2};
}
StepEnd right_end(const OnsetInterval& r) { return {r.right, 1}; }

StepProblem problem_of(std::span<const OnsetInterval> intervals) {
  StepProblem p;
  struct Mark {
    StepEnd end;
    bool is_right;
  };
  std::vector<Mark> marks;
  marks.reserve(2 * intervals.size());
  for (const OnsetInterval& r : intervals) {
    if (r.count > 0) {
      marks.push_back({left_end(r), false});
      marks.push_back({right_end(r), true});
    }
  }
  std::ranges::sort(marks, {}, [](const Mark& m) { return m.end.key(); });
  // A left end that is followed at once by a right one.
  const Mark* left = nullptr;
  for (const Mark& m : marks) {
    if (!m.is_right) {
      left = &m;
    } else if (left != nullptr) {
      p.innermost.push_back({left->end, m.end});
      left = nullptr;
    }
  }
  p.row_of.assign(intervals.size(), 0);
  std::vector<std::tuple<std::size_t, std::size_t, std::size_t>> rows;
  rows.reserve(intervals.size());
  for (std::size_t i = 0; i < intervals.size(); ++i) {
    if (!(intervals[i].count > 0)) {
      continue;
    }
    const auto first = std::ranges::lower_bound(p.innermost, left_end(intervals[i]).key(), {},
                                                [](const Innermost& in) { return in.left.key(); });
    const auto past = std::ranges::upper_bound(p.innermost, right_end(intervals[i]).key(), {},
                                               [](const Innermost& in) { return in.right.key(); });
    rows.emplace_back(first - p.innermost.begin(), past - p.innermost.begin() - 1, i);
  }
  std::ranges::sort(rows);
  for (const auto& [first, last, i] : rows) {
    if (p.rows.empty() || p.rows.back().first != first || p.rows.back().last != last) {
      p.rows.push_back({first, last, 0});
    }
    p.rows.back().weight += intervals[i].count;
    p.row_of[i] = p.rows.size() - 1;
    p.weight += intervals[i].count;
  }
  return p;
}

class StepFinder {
 public:
  StepFinder(const StepProblem& problem, std::span<const double> weight)
      : p_(problem), weight_(weight), chance_(problem.rows.size()) {
    for (const double w : weight) {
      all_ += w;
    }
  }

  void find() {
    constexpr int kMostRounds = 500;
    start();
    for (rounds_ = 0; rounds_ < kMostRounds; ++rounds_) {
      slopes();
      if (gap_ <= tolerance()) {
        converged_ = true;
        break;
      }
      widen();
      if (support_.size() > kMostAtOnce) {
        share_out();
      } else {
        newton();
      }
    }
  }

  [[nodiscard]] const std::vector<std::size_t>& support() const { return support_; }
  [[nodiscard]] const std::vector<double>& probability() const { return probability_; }
  [[nodiscard]] double log_likelihood() const { return value_; }
  [[nodiscard]] double gap() const { return gap_; }
  [[nodiscard]] bool converged() const { return converged_; }
  [[nodiscard]] int rounds() const { return rounds_; }

 private:
  // More intervals than this in one system of equations take too long; then
  // most data are exact, and the self-consistent steps are quick.
  static constexpr std::size_t kMostAtOnce = 2500;
  [[nodiscard]] double tolerance() const { return 1e-9 * (1 + all_ * 1e-4); }

  // Enough innermost intervals that each row holds one: the last ones that can wait no longer.
  void start() {
    std::vector<std::size_t> order;
    order.reserve(p_.rows.size());
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      if (weight_[i] > 0) {
        order.push_back(i);
      }
    }
    std::ranges::sort(order, {}, [&](std::size_t i) { return p_.rows[i].last; });
    support_.clear();
    for (const std::size_t i : order) {
      if (support_.empty() || support_.back() < p_.rows[i].first) {
        support_.push_back(p_.rows[i].last);
      }
    }
    probability_.assign(support_.size(), 1 / static_cast<double>(support_.size()));
    value_ = evaluate(probability_, chance_);
  }

  // The rows' ends in terms of the support: [first, last).
  void place() {
    where_.assign(p_.innermost.size() + 1, 0);
    std::size_t s = 0;
    for (std::size_t j = 0; j <= p_.innermost.size(); ++j) {
      where_[j] = s;
      s += s < support_.size() && support_[s] == j ? 1 : 0;
    }
  }

  // Log likelihood less the weight times the sum of chances: greatest where that sum is 1.
  double evaluate(const std::vector<double>& probability, std::vector<double>& chance) {
    place();
    std::vector<double> below(probability.size() + 1, 0);
    for (std::size_t s = 0; s < probability.size(); ++s) {
      below[s + 1] = below[s] + probability[s];
    }
    double sum = 0;
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      const std::size_t first = where_[p_.rows[i].first];
      const std::size_t last = where_[p_.rows[i].last + 1];
      // Few terms are added up, so that small chances are not lost in a difference.
      constexpr std::size_t kFew = 16;
      double chance_here = 0;
      if (last - first <= kFew) {
        for (std::size_t s = first; s < last; ++s) {
          chance_here += probability[s];
        }
      } else {
        chance_here = below[last] - below[first];
      }
      chance[i] = chance_here;
      if (weight_[i] > 0) {
        sum += chance_here > 0 ? weight_[i] * std::log(chance_here)
                               : -std::numeric_limits<double>::infinity();
      }
    }
    return sum;
  }

  // How much each innermost interval would add to the likelihood: sum of weight/chance over the
  // rows that hold it. At the greatest likelihood none exceeds the weight of all
  // rows, and those with a chance reach it (Karush, Kuhn, Tucker). Since the
  // likelihood is concave it can rise by no more than the greatest excess.
  void slopes() {
    slope_.assign(p_.innermost.size() + 1, 0);
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      if (weight_[i] > 0) {
        const double share = weight_[i] / chance_[i];
        slope_[p_.rows[i].first] += share;
        slope_[p_.rows[i].last + 1] -= share;
      }
    }
    double sum = 0;
    double greatest = 0;
    for (double& s : slope_) {
      sum += s;
      s = sum;
      greatest = std::max(greatest, s);
    }
    slope_.pop_back();
    gap_ = std::max(0.0, greatest - all_);
  }

  // The steepest innermost interval between each two of the support joins it.
  void widen() {
    std::vector<std::size_t> wider;
    std::vector<double> chances;
    std::size_t s = 0;
    std::size_t best = p_.innermost.size();
    const auto take = [&] {
      if (best < p_.innermost.size() && slope_[best] > all_) {
        wider.push_back(best);
        chances.push_back(0);
      }
      best = p_.innermost.size();
    };
    for (std::size_t j = 0; j < p_.innermost.size(); ++j) {
      if (s < support_.size() && support_[s] == j) {
        take();
        wider.push_back(j);
        chances.push_back(probability_[s++]);
      } else if (best == p_.innermost.size() || slope_[j] > slope_[best]) {
        best = j;
      }
    }
    take();
    support_ = std::move(wider);
    probability_ = std::move(chances);
    place();
  }

  // The quadratic that touches the likelihood, made greatest over chances that
  // are not negative, by an active set (Lawson and Hanson 1974, from memory).
  void newton() {
    const auto k = static_cast<Eigen::Index>(support_.size());
    // bend(j, l) = sum of weight/chance^2 over rows that hold both: by sums over a square.
    Eigen::MatrixXd bend = Eigen::MatrixXd::Zero(k + 1, k + 1);
    Eigen::VectorXd slope(k);
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      const std::size_t first = where_[p_.rows[i].first];
      const std::size_t last = where_[p_.rows[i].last + 1];
      if (weight_[i] > 0 && last > first) {
        bend(static_cast<Eigen::Index>(first), static_cast<Eigen::Index>(last) - 1) +=
            weight_[i] / (chance_[i] * chance_[i]);
      }
    }
    for (Eigen::Index j = 0; j < k; ++j) {         // rows that begin by j
      for (Eigen::Index l = k - 1; l >= 0; --l) {  // and end at l or later
        const double above = j > 0 ? bend(j - 1, l) : 0;
        const double right = l + 1 < k ? bend(j, l + 1) : 0;
        const double both = j > 0 && l + 1 < k ? bend(j - 1, l + 1) : 0;
        bend(j, l) += above + right - both;
      }
    }
    Eigen::MatrixXd full(k, k);
    for (Eigen::Index j = 0; j < k; ++j) {
      for (Eigen::Index l = j; l < k; ++l) {
        full(j, l) = full(l, j) = bend(j, l);
      }
    }
    for (Eigen::Index j = 0; j < k; ++j) {
      slope[j] = slope_[support_[static_cast<std::size_t>(j)]];
    }
    Eigen::VectorXd from(k);
    for (Eigen::Index j = 0; j < k; ++j) {
      from[j] = probability_[static_cast<std::size_t>(j)];
    }
    // Greatest of (2*slope - all)'q - q'bend q/2.
    const Eigen::VectorXd wanted = 2 * slope - Eigen::VectorXd::Constant(k, all_);
    const Eigen::VectorXd to = best_of(full, wanted, from);
    take_step(from, to);
  }

  static Eigen::VectorXd best_of(const Eigen::MatrixXd& bend, const Eigen::VectorXd& wanted,
                                 const Eigen::VectorXd& from) {
    const Eigen::Index k = from.size();
    std::vector<Eigen::Index> in;
    for (Eigen::Index j = 0; j < k; ++j) {
      in.push_back(j);
    }
    Eigen::VectorXd q = from;
    constexpr double kRidge = 1e-13;  // rows may not tell two intervals apart
    for (Eigen::Index round = 0; round < 3 * k + 10; ++round) {
      const auto m = static_cast<Eigen::Index>(in.size());
      Eigen::MatrixXd part = bend(in, in);
      part.diagonal() *= 1 + kRidge;
      const Eigen::VectorXd there = part.ldlt().solve(wanted(in));
      // As far as no chance becomes negative.
      double length = 1;
      for (Eigen::Index i = 0; i < m; ++i) {
        const double here = q[in[static_cast<std::size_t>(i)]];
        if (there[i] < 0) {
          length = std::min(length, here / (here - there[i]));
        }
      }
      if (!there.allFinite()) {
        return from;
      }
      std::vector<Eigen::Index> kept;
      for (Eigen::Index i = 0; i < m; ++i) {
        const Eigen::Index j = in[static_cast<std::size_t>(i)];
        const double here = q[j] + length * (there[i] - q[j]);
        const bool out = there[i] <= 0 && (here <= 0 || here <= 1e-14 * std::abs(there[i]));
        q[j] = out ? 0 : std::max(0.0, here);
        if (!out) {
          kept.push_back(j);
        }
      }
      if (length == 1 && kept.size() == in.size()) {
        break;
      }
      in = std::move(kept);
      if (in.empty()) {
        return from;
      }
    }
    return q;
  }

  void take_step(const Eigen::VectorXd& from, const Eigen::VectorXd& to) {
    const auto k = static_cast<std::size_t>(from.size());
    std::vector<double> next(k);
    std::vector<double> chance(chance_.size());
    double length = 1;
    for (int halvings = 0; halvings < 60; ++halvings, length /= 2) {
      double sum = 0;
      for (std::size_t s = 0; s < k; ++s) {
        const auto e = static_cast<Eigen::Index>(s);
        next[s] = std::max(0.0, from[e] + length * (to[e] - from[e]));
        sum += next[s];
      }
      if (!(sum > 0)) {
        continue;
      }
      for (double& x : next) {
        x /= sum;
      }
      const double value = evaluate(next, chance);
      if (value > value_) {
        keep(next);
        return;
      }
    }
    share_out();
  }

  // One self-consistent step (Efron 1967, Turnbull 1976): never lowers the likelihood.
  void share_out() {
    std::vector<double> next(support_.size());
    double sum = 0;
    for (std::size_t s = 0; s < support_.size(); ++s) {
      // A newcomer needs something to be multiplied.
      const double had = probability_[s] > 0 ? probability_[s] : 1e-6;
      next[s] = had * slope_[support_[s]] / all_;
      sum += next[s];
    }
    for (double& x : next) {
      x /= sum;
    }
    keep(next);
  }

  void keep(const std::vector<double>& next) {
    constexpr double kNothing = 1e-16;
    std::vector<std::size_t> support;
    std::vector<double> chances;
    for (std::size_t s = 0; s < next.size(); ++s) {
      if (next[s] > kNothing) {
        support.push_back(support_[s]);
        chances.push_back(next[s]);
      }
    }
    support_ = std::move(support);
    probability_ = std::move(chances);
    value_ = evaluate(probability_, chance_);
  }

  const StepProblem& p_;
  std::span<const double> weight_;
  double all_ = 0;
  std::vector<std::size_t> support_;
  std::vector<double> probability_;
  std::vector<std::size_t> where_;
  std::vector<double> chance_;
  std::vector<double> slope_;
  double value_ = 0;
  double gap_ = 0;
  bool converged_ = false;
  int rounds_ = 0;
};

}  // namespace

StepEstimate step_estimate(std::span<const OnsetInterval> intervals, std::size_t resamples) {
  StepEstimate out;
  const StepProblem problem = problem_of(intervals);
  if (problem.rows.empty()) {
    return out;
  }
  std::vector<double> weight;
  weight.reserve(problem.rows.size());
  for (const StepRow& r : problem.rows) {
    weight.push_back(r.weight);
  }
  StepFinder finder(problem, weight);
  finder.find();
  out.log_likelihood = finder.log_likelihood();
  out.gap = finder.gap();
  out.converged = finder.converged();
  out.iterations = finder.rounds();
  double below = 0;
  for (std::size_t s = 0; s < finder.support().size(); ++s) {
    const Innermost& in = problem.innermost[finder.support()[s]];
    const double p = finder.probability()[s];
    below = s + 1 == finder.support().size() ? 1 : std::min(1.0, below + p);
    out.steps.push_back({in.left.at, in.right.at, p, below, {0, 1}});
  }
  // Whole units, drawn with replacement; a sum of counts that is no whole number has no units.
  constexpr double kMostUnits = 20000;
  if (resamples == 0 || problem.weight > kMostUnits || problem.weight < 2 ||
      problem.weight != std::floor(problem.weight)) {
    return out;
  }
  std::vector<double> up_to(weight.size());
  std::partial_sum(weight.begin(), weight.end(), up_to.begin());
  constexpr std::uint64_t kSeed = 20260302;
  draw::Run draws(kSeed);
  std::vector<std::vector<double>> found(out.steps.size());
  for (std::size_t b = 0; b < resamples; ++b) {
    std::vector<double> drawn(weight.size(), 0);
    for (double u = 0; u < problem.weight; ++u) {
      const auto at = std::ranges::upper_bound(up_to, draws.next() * problem.weight);
      drawn[static_cast<std::size_t>(
          std::min(at - up_to.begin(), static_cast<std::ptrdiff_t>(drawn.size()) - 1))] += 1;
    }
    StepFinder again(problem, drawn);
    again.find();
    std::size_t s = 0;
    double f = 0;
    for (std::size_t i = 0; i < out.steps.size(); ++i) {
      while (s < again.support().size() &&
             problem.innermost[again.support()[s]].right.at <= out.steps[i].right) {
        f += again.probability()[s++];
      }
      found[i].push_back(f);
    }
  }
  constexpr double kTail = 0.025;
  for (std::size_t i = 0; i < out.steps.size(); ++i) {
    std::ranges::sort(found[i]);
    const auto n = static_cast<double>(resamples - 1);
    out.steps[i].below_95 = {
        std::clamp(found[i][static_cast<std::size_t>(std::floor(kTail * n))], 0.0, 1.0),
        std::clamp(found[i][static_cast<std::size_t>(std::ceil((1 - kTail) * n))], 0.0, 1.0)};
  }
  out.resamples = resamples;
  return out;
}

std::pair<double, double> step_probability(const StepEstimate& steps, double at) {
  double least = 0;
  double most = 0;
  for (const StepEstimate::Step& s : steps.steps) {
    least = s.right <= at ? s.below : least;
    most = s.left < at || s.right <= at ? s.below : most;
  }
  return {least, std::max(least, most)};
}

}  // namespace dryshaft
