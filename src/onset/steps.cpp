// The step estimate (Turnbull 1976): the chance in each innermost interval that
// makes the data likeliest, found by constrained Newton steps on a small set of
// intervals (Wang 2008, from memory), and stopped by its optimality conditions.
#include <Eigen/Dense>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <tuple>

#include "base/draw.hpp"
#include "dryshaft/onset.hpp"

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

// Sums over parts of a list.
class Sums {
 public:
  explicit Sums(std::span<const double> values) : values_(values), below_(values.size() + 1, 0) {
    std::partial_sum(values.begin(), values.end(), below_.begin() + 1);
  }
  [[nodiscard]] double of(std::size_t first, std::size_t past) const {
    // Few terms are added up, so that small ones are not lost in a difference.
    constexpr std::size_t kFew = 16;
    return past - first > kFew
               ? below_[past] - below_[first]
               : std::accumulate(values_.begin() + static_cast<std::ptrdiff_t>(first),
                                 values_.begin() + static_cast<std::ptrdiff_t>(past), 0.0);
  }

 private:
  std::span<const double> values_;
  std::vector<double> below_;
};

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
      if (wide_rows() > kMostAtOnce) {
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
  // More rows than this that tie intervals together, in one system of equations, take too long;
  // then others are exact, and the self-consistent steps are quick.
  static constexpr std::size_t kMostAtOnce = 2500;
  [[nodiscard]] std::size_t wide_rows() const {
    std::size_t wide = 0;
    for (std::size_t i = 0; i < p_.rows.size() && support_.size() > kMostAtOnce; ++i) {
      const std::size_t first = where_[p_.rows[i].first];
      const std::size_t past = where_[p_.rows[i].last + 1];
      wide += weight_[i] > 0 && first > 0 && past > first + 1 && past < support_.size() ? 1 : 0;
    }
    return wide;
  }
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
    const Sums sums(probability);
    double sum = 0;
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      const double chance_here = sums.of(where_[p_.rows[i].first], where_[p_.rows[i].last + 1]);
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

  // Rows of the same part of the support, as far as the quadratic knows them: it holds
  // bend * (sum of chances from `first` up to `past`)^2 / 2.
  struct Span {
    std::size_t first = 0;
    std::size_t past = 0;
    double bend = 0;
  };

  // The quadratic that touches the likelihood, made greatest over chances that
  // are not negative, by an active set (Lawson and Hanson 1974, from memory).
  void newton() {
    std::vector<Span> spans;
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      const std::size_t first = where_[p_.rows[i].first];
      const std::size_t past = where_[p_.rows[i].last + 1];
      if (weight_[i] > 0 && past > first) {
        spans.push_back({first, past, weight_[i] / (chance_[i] * chance_[i])});
      }
    }
    const auto k = static_cast<Eigen::Index>(support_.size());
    Eigen::VectorXd from(k);
    Eigen::VectorXd wanted(k);  // greatest of wanted'q less the spans
    for (Eigen::Index j = 0; j < k; ++j) {
      from[j] = probability_[static_cast<std::size_t>(j)];
      wanted[j] = 2 * slope_[support_[static_cast<std::size_t>(j)]] - all_;
    }
    take_step(from, best_of(spans, wanted, from));
  }

  // From `q` to where the quadratic is greatest over the chances in `in`; the others are 0. In
  // terms of running sums of chances a span is the difference of two of them, so that the
  // equations are sparse: as many terms as there are different spans, and quick to solve where
  // most are exact or open. The way there is solved for, not the end: it grows short, so that no
  // digits of `q` are lost in those sums.
  static Eigen::VectorXd way_from(const Eigen::VectorXd& q, const std::vector<Span>& spans,
                                  const Eigen::VectorXd& wanted,
                                  const std::vector<Eigen::Index>& in) {
    const auto m = static_cast<Eigen::Index>(in.size());
    const Sums chances(std::span(q.data(), static_cast<std::size_t>(q.size())));
    // How many of `in` stand before each chance; and what all spans make of each chance.
    std::vector<Eigen::Index> before(static_cast<std::size_t>(q.size()) + 1, 0);
    for (const Eigen::Index j : in) {
      before[static_cast<std::size_t>(j) + 1] = 1;
    }
    std::partial_sum(before.begin(), before.end(), before.begin());
    Eigen::VectorXd held = Eigen::VectorXd::Zero(m + 1);
    Eigen::VectorXd bent = Eigen::VectorXd::Zero(m + 1);
    // Sum number i goes up to chance i of `in`, that one included.
    std::vector<Eigen::Triplet<double>> terms;
    terms.reserve(3 * spans.size() + 3 * in.size());
    const auto add = [&terms](Eigen::Index first, Eigen::Index past, double bend) {
      terms.emplace_back(past - 1, past - 1, bend);
      if (first > 0) {
        terms.emplace_back(first - 1, first - 1, bend);
        terms.emplace_back(past - 1, first - 1, -bend);
      }
    };
    for (const Span& s : spans) {
      const Eigen::Index first = before[s.first];
      const Eigen::Index past = before[s.past];
      if (past > first) {
        const double pull = s.bend * chances.of(s.first, s.past);
        add(first, past, s.bend);
        held[first] += pull;
        held[past] -= pull;
        bent[first] += s.bend;
        bent[past] -= s.bend;
      }
    }
    constexpr double kRidge = 1e-13;  // rows may not tell two intervals apart
    Eigen::VectorXd pull(m + 1);
    double bend = 0;
    double hold = 0;
    for (Eigen::Index i = 0; i < m; ++i) {
      bend += bent[i];
      hold += held[i];
      pull[i] = wanted[in[static_cast<std::size_t>(i)]] - hold;
      add(i, i + 1, kRidge * bend);
    }
    pull[m] = 0;
    Eigen::SparseMatrix<double> equations(m, m);
    equations.setFromTriplets(terms.begin(), terms.end());
    const Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solved(equations);
    Eigen::VectorXd way = solved.solve(pull.head(m) - pull.tail(m));
    for (Eigen::Index i = m - 1; i > 0; --i) {
      way[i] -= way[i - 1];
    }
    return way;
  }

  static Eigen::VectorXd best_of(const std::vector<Span>& spans, const Eigen::VectorXd& wanted,
                                 const Eigen::VectorXd& from) {
    const Eigen::Index k = from.size();
    std::vector<Eigen::Index> in;
    for (Eigen::Index j = 0; j < k; ++j) {
      in.push_back(j);
    }
    Eigen::VectorXd q = from;
    for (Eigen::Index round = 0; round < 3 * k + 10; ++round) {
      const auto m = static_cast<Eigen::Index>(in.size());
      const Eigen::VectorXd there = q(in) + way_from(q, spans, wanted, in);
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
