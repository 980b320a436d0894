// The step estimate (Turnbull 1976): the chance in each innermost interval that
// makes the data likeliest, found by constrained Newton steps on a small set of
// intervals (Wang 2008, from memory), and stopped by its optimality conditions.
// Each round takes time in proportion to the rows and to what ties the set together.
#include <Eigen/Dense>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <numeric>
#include <optional>
#include <tuple>
#include <utility>

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

// Equations in running sums of chances: sum number i goes up to chance i, that one included, and
// each row ties two sums together. Few ties are a sparse matrix, many a full one.
class Ties {
 public:
  Ties(Eigen::Index sums, std::size_t spans)
      : sums_(sums), full_(static_cast<double>(spans) * kFull > static_cast<double>(sums * sums)) {
    if (full_) {
      matrix_ = Eigen::MatrixXd::Zero(sums, sums);
    } else {
      terms_.reserve(3 * (spans + static_cast<std::size_t>(sums)));
    }
  }

  // Of chances from `first` up to `past`.
  void add(Eigen::Index first, Eigen::Index past, double bend) {
    put(past - 1, past - 1, bend);
    if (first > 0) {
      put(first - 1, first - 1, bend);
      put(past - 1, first - 1, -bend);
    }
  }

  Eigen::VectorXd solve(const Eigen::VectorXd& right) {
    if (full_) {
      const auto m = static_cast<double>(sums_);
      work_ = m * m * m / 3;
      const Eigen::LLT<Eigen::MatrixXd> solved(matrix_);
      return solved.info() == Eigen::Success ? Eigen::VectorXd(solved.solve(right))
                                             : Eigen::VectorXd(matrix_.ldlt().solve(right));
    }
    Eigen::SparseMatrix<double> equations(sums_, sums_);
    equations.setFromTriplets(terms_.begin(), terms_.end());
    const Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solved(equations);
    const auto& lower = solved.matrixL().nestedExpression();
    for (Eigen::Index i = 0; i < sums_; ++i) {
      const auto column =
          static_cast<double>(lower.outerIndexPtr()[i + 1] - lower.outerIndexPtr()[i]);
      work_ += column * column;
    }
    return solved.solve(right);
  }

  [[nodiscard]] double work() const { return work_; }

 private:
  static constexpr double kFull = 8;
  void put(Eigen::Index row, Eigen::Index column, double bend) {
    if (full_) {
      matrix_(row, column) += bend;
    } else {
      terms_.emplace_back(row, column, bend);
    }
  }

  Eigen::Index sums_;
  bool full_;
  Eigen::MatrixXd matrix_;  // its lower half
  std::vector<Eigen::Triplet<double>> terms_;
  double work_ = 0;
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
      const std::vector<Span> spans = spans_of();
      if (too_many(spans)) {
        share_out();
      } else {
        newton(spans);
      }
    }
  }

  [[nodiscard]] const std::vector<std::size_t>& support() const { return support_; }
  [[nodiscard]] const std::vector<double>& probability() const { return probability_; }
  [[nodiscard]] double log_likelihood() const { return value_; }
  [[nodiscard]] double gap() const { return gap_; }
  [[nodiscard]] bool converged() const { return converged_; }
  [[nodiscard]] int rounds() const { return rounds_; }
  [[nodiscard]] double work() const { return work_; }

 private:
  // Rows of the same part of the support, as far as the quadratic knows them: it holds
  // bend * (sum of chances from `first` up to `past`)^2 / 2.
  struct Span {
    std::size_t first = 0;
    std::size_t past = 0;
    double bend = 0;
  };

  // One for all rows of the same part; rows stand by where they begin.
  std::vector<Span> spans_of() {
    std::vector<Span> spans;
    std::vector<double> bend(support_.size() + 1, 0);  // by end, of those that begin alike
    std::vector<std::size_t> ends;
    std::size_t begin = 0;
    const auto take = [&] {
      for (const std::size_t past : ends) {
        spans.push_back({begin, past, std::exchange(bend[past], 0)});
      }
      ends.clear();
    };
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      const std::size_t first = where_[p_.rows[i].first];
      const std::size_t past = where_[p_.rows[i].last + 1];
      if (weight_[i] > 0 && past > first) {
        if (first != begin) {
          take();
          begin = first;
        }
        if (bend[past] == 0) {
          ends.push_back(past);
        }
        bend[past] += weight_[i] / (chance_[i] * chance_[i]);
      }
    }
    take();
    work_ += static_cast<double>(p_.rows.size());
    return spans;
  }

  // Too many that tie chances together, for one system of equations: many of them, and not with
  // their neighbours alone. Then others are exact, and the self-consistent steps are quick.
  [[nodiscard]] bool too_many(const std::vector<Span>& spans) const {
    constexpr std::size_t kMostAtOnce = 2500;
    constexpr double kMostTerms = 1e9;
    if (support_.size() <= kMostAtOnce) {
      return false;
    }
    std::size_t wide = 0;
    std::vector<std::size_t> reach(support_.size(), 0);  // of each chance, back to another one
    for (const Span& s : spans) {
      if (s.first > 0 && s.past > s.first + 1 && s.past < support_.size()) {
        ++wide;
        reach[s.past - 1] = std::max(reach[s.past - 1], s.past - s.first);
      }
    }
    double terms = 0;
    for (const std::size_t r : reach) {
      terms += static_cast<double>(r) * static_cast<double>(r);
    }
    return wide > kMostAtOnce && terms > kMostTerms;
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
    work_ += static_cast<double>(p_.rows.size() + p_.innermost.size());
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

  // The quadratic that touches the likelihood, made greatest over chances that
  // are not negative.
  void newton(const std::vector<Span>& spans) {
    const auto k = static_cast<Eigen::Index>(support_.size());
    Eigen::VectorXd from(k);
    Eigen::VectorXd wanted(k);  // greatest of wanted'q less the spans
    for (Eigen::Index j = 0; j < k; ++j) {
      from[j] = probability_[static_cast<std::size_t>(j)];
      wanted[j] = 2 * slope_[support_[static_cast<std::size_t>(j)]] - all_;
    }
    const auto rises = [&](const Eigen::VectorXd& to) {
      double rise = 0;
      for (Eigen::Index j = 0; j < k; ++j) {
        rise += (slope_[support_[static_cast<std::size_t>(j)]] - all_) * (to[j] - from[j]);
      }
      return rise > 0;
    };
    std::optional<Eigen::VectorXd> to = best_of(spans, wanted, from);
    if (!to || !rises(*to)) {
      to = better_of(spans, wanted, from);
    }
    to ? take_step(from, *to) : share_out();
  }

  // From `q` to where the quadratic is greatest over the chances in `in`; the others are 0. In
  // terms of running sums of chances a span is the difference of two of them, so that the
  // equations are sparse: as many terms as there are different spans, and quick to solve where
  // most are exact or open. The way there is solved for, not the end: it grows short, so that no
  // digits of `q` are lost in those sums.
  Eigen::VectorXd way_from(const Eigen::VectorXd& q, const std::vector<Span>& spans,
                           const Eigen::VectorXd& wanted, const std::vector<Eigen::Index>& in) {
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
    Ties ties(m, spans.size());
    for (const Span& s : spans) {
      const Eigen::Index first = before[s.first];
      const Eigen::Index past = before[s.past];
      if (past > first) {
        const double pull = s.bend * chances.of(s.first, s.past);
        ties.add(first, past, s.bend);
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
      ties.add(i, i + 1, kRidge * bend);
    }
    pull[m] = 0;
    Eigen::VectorXd way = ties.solve(pull.head(m) - pull.tail(m));
    work_ += static_cast<double>(spans.size()) + ties.work();
    for (Eigen::Index i = m - 1; i > 0; --i) {
      way[i] -= way[i - 1];
    }
    return way;
  }

  // All that would become negative are left out at once, until none does (block pivoting, Kim and
  // Park 2011, from memory); what should not have been comes back with the next round. Few
  // systems are solved, where leaving out one at a time takes as many as there are chances.
  std::optional<Eigen::VectorXd> best_of(const std::vector<Span>& spans,
                                         const Eigen::VectorXd& wanted,
                                         const Eigen::VectorXd& from) {
    constexpr int kMostExchanges = 30;
    Eigen::VectorXd q = from;
    std::vector<Eigen::Index> in(static_cast<std::size_t>(q.size()));
    std::iota(in.begin(), in.end(), Eigen::Index{0});
    for (int round = 0; round < kMostExchanges && !in.empty(); ++round) {
      const Eigen::VectorXd there = q(in) + way_from(q, spans, wanted, in);
      if (!there.allFinite()) {
        return std::nullopt;
      }
      if (there.minCoeff() >= 0) {
        q(in) = there;
        return q;
      }
      std::vector<Eigen::Index> kept;
      for (std::size_t i = 0; i < in.size(); ++i) {
        if (there[static_cast<Eigen::Index>(i)] > 0) {
          kept.push_back(in[i]);
        } else {
          q[in[i]] = 0;
        }
      }
      in = std::move(kept);
    }
    return std::nullopt;
  }

  // The same by an active set (Lawson and Hanson 1974, from memory), as far as a few exchanges go:
  // each goes up, until a chance would become negative, which is left out.
  std::optional<Eigen::VectorXd> better_of(const std::vector<Span>& spans,
                                           const Eigen::VectorXd& wanted,
                                           const Eigen::VectorXd& from) {
    constexpr int kMostExchanges = 24;
    Eigen::VectorXd q = from;
    std::vector<Eigen::Index> in(static_cast<std::size_t>(q.size()));
    std::iota(in.begin(), in.end(), Eigen::Index{0});
    for (int round = 0; round < kMostExchanges && !in.empty(); ++round) {
      const Eigen::VectorXd way = way_from(q, spans, wanted, in);
      if (!way.allFinite()) {
        return std::nullopt;
      }
      double length = 1;
      for (std::size_t i = 0; i < in.size(); ++i) {
        const double here = q[in[i]];
        const double along = way[static_cast<Eigen::Index>(i)];
        if (here + along < 0) {
          length = std::min(length, here / -along);
        }
      }
      std::vector<Eigen::Index> kept;
      for (std::size_t i = 0; i < in.size(); ++i) {
        const double along = way[static_cast<Eigen::Index>(i)];
        const double there = q[in[i]] + along;
        const double next = q[in[i]] + length * along;
        const bool out = there <= 0 && next <= 1e-14 * std::abs(there);
        q[in[i]] = out ? 0 : std::max(0.0, next);
        if (!out) {
          kept.push_back(in[i]);
        }
      }
      if (length == 1 && kept.size() == in.size()) {
        break;
      }
      in = std::move(kept);
    }
    return q;
  }

  // Where the whole step lowers the likelihood, those chances go half of it at first that have
  // taken most of its chance from a row; then all do. The likelihood is no sum of many rows to the
  // last digit: next to the greatest one the whole step may seem to lower it by so much.
  void take_step(const Eigen::VectorXd& from, const Eigen::VectorXd& to) {
    constexpr int kLocal = 6;
    constexpr double kRounding = 1e-13;
    constexpr double kNear = 1e-9;
    const double slack = gap_ < kNear * all_ ? kRounding * std::abs(value_) : 0;
    const auto k = static_cast<std::size_t>(from.size());
    std::vector<double> next(k);
    std::vector<double> chance(chance_.size());
    std::vector<double> length(k, 1);
    for (int halvings = 0; halvings < 60; ++halvings) {
      double sum = 0;
      for (std::size_t s = 0; s < k; ++s) {
        const auto e = static_cast<Eigen::Index>(s);
        next[s] = std::max(0.0, from[e] + length[s] * (to[e] - from[e]));
        sum += next[s];
      }
      if (sum > 0) {
        for (double& x : next) {
          x /= sum;
        }
        if (evaluate(next, chance) > value_ - slack) {
          keep(next);
          return;
        }
      }
      if (halvings >= kLocal || !shorten(chance, length)) {
        for (double& x : length) {
          x /= 2;
        }
      }
    }
    share_out();
  }

  // Halves the way of each chance in a row that has lost most of its own; false where none has.
  bool shorten(const std::vector<double>& chance, std::vector<double>& length) const {
    constexpr double kMost = 0.3;  // of what it had
    std::vector<int> in(length.size() + 1, 0);
    bool any = false;
    for (std::size_t i = 0; i < p_.rows.size(); ++i) {
      if (weight_[i] > 0 && chance[i] < kMost * chance_[i]) {
        ++in[where_[p_.rows[i].first]];
        --in[where_[p_.rows[i].last + 1]];
        any = true;
      }
    }
    int rows = 0;
    for (std::size_t s = 0; s < length.size(); ++s) {
      rows += in[s];
      length[s] /= rows > 0 ? 2 : 1;
    }
    return any;
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
  double work_ = 0;
};

}  // namespace

StepEstimate step_estimate(std::span<const OnsetInterval> intervals, std::size_t resamples,
                           const std::function<void(std::size_t done)>& told) {
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
  out.work = finder.work();
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
    out.work += again.work();
    if (told) {
      told(b + 1);
    }
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
