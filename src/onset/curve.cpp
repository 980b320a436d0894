#include "onset/curve.hpp"

#include <algorithm>
#include <array>
#include <boost/math/special_functions/erf.hpp>
#include <cmath>
#include <numbers>
#include <tuple>

namespace dryshaft::onset {
namespace {

constexpr double kMinusInfinity = -std::numeric_limits<double>::infinity();
// exp of more overflows, of less vanishes beside 1.
constexpr double kLargestExponent = 700;

// log(1 + exp(x)) and log(1 - exp(x)), x < 0 for the latter.
double log1p_exp(double x) {
  return x > 0 ? x + std::log1p(std::exp(-x)) : std::log1p(std::exp(x));
}
double log1m_exp(double x) {
  return x > -std::numbers::ln2 ? std::log(-std::expm1(x)) : std::log1p(-std::exp(x));
}

// Each density has: log f, its slope and the slope of that; log F, log(1 - F);
// and the log chance between two ends that are well apart.

// Log chance of lying on one side of an end, and its first two derivatives there.
struct OneEnd {
  double value = 0;
  double first = 0;
  double second = 0;
};
// Log chance of lying between two ends, f/P at each with its sign, slopes of log f.
struct TwoEnds {
  double value = 0;
  double low = 0;
  double high = 0;
  double slope_low = 0;
  double slope_high = 0;
  // Ends closer than this, in steps of the density's own slope, are integrated
  // between: a difference of the two ends would lose what both share.
  [[nodiscard]] bool close(double width) const {
    constexpr double kClose = 0.5;
    return width * (1 + std::max(std::abs(slope_low), std::abs(slope_high))) < kClose;
  }
};

// Smallest extreme value: 1 - F = exp(-exp(z)). Log distance of a Weibull curve.
struct ExtremeValue {
  static double log_density(double z) { return z - std::exp(z); }
  static double slope(double z) { return 1 - std::exp(z); }
  static double bend(double z) { return -std::exp(z); }
  static double log_above(double z) { return -std::exp(z); }
  static double log_below(double z) { return log1m_exp(-std::exp(z)); }
  static double log_between(double low, double /*high*/, double width) {
    const double hazard = std::exp(low);
    return -hazard + log1m_exp(-hazard * std::expm1(width));
  }
  // What follows is the same with few exponentials, where none can overflow or vanish.
  static constexpr double kLow = -600;
  static constexpr double kHigh = 6;
  static void above(double z, OneEnd& out) {
    const double hazard = std::exp(z);
    out = {-hazard, -hazard, -hazard};
  }
  static void below(double z, OneEnd& out) {
    const double hazard = std::exp(z);
    const double rise = hazard / std::expm1(hazard);
    out = {std::log(-std::expm1(-hazard)), rise, rise * (1 - hazard - rise)};
  }
  static bool between(double low, double high, double width, TwoEnds& out) {
    const double first = std::exp(low);
    const double last = std::exp(high);
    out.slope_low = 1 - first;
    out.slope_high = 1 - last;
    if (out.close(width)) {
      return false;
    }
    const double grown = std::expm1(last - first);
    out.value = std::log(grown) - last;
    out.high = last / grown;
    out.low = -first - first / grown;
    return true;
  }
};

struct Normal {
  // log of the upper tail. erfc holds to z = 26; beyond stands its asymptotic series
  // (Abramowitz and Stegun 7.1.23, from memory).
  static double log_above(double z) {
    constexpr double kFar = 25;
    if (z < kFar) {
      return std::log(std::erfc(z * std::numbers::sqrt2 / 2) / 2);
    }
    const double s = 1 / (z * z);
    return log_density(z) - std::log(z) + std::log1p(-s * (1 - s * (3 - s * (15 - s * 105))));
  }
  static double log_below(double z) { return log_above(-z); }
  static double log_density(double z) {
    constexpr double kHalfLogTwoPi = 0.91893853320467274178;
    return -z * z / 2 - kHalfLogTwoPi;
  }
  static double slope(double z) { return -z; }
  static double bend(double /*z*/) { return -1; }
  static double log_between(double low, double high, double /*width*/) {
    if (low >= 0) {
      const double tail = log_above(low);
      return tail + log1m_exp(log_above(high) - tail);
    }
    if (high <= 0) {
      return log_between(-high, -low, 0);
    }
    return std::log1p(
        -(std::erfc(-low * std::numbers::sqrt2 / 2) + std::erfc(high * std::numbers::sqrt2 / 2)) /
        2);
  }
  static constexpr double kLow = -25;
  static constexpr double kHigh = 25;
  static double density(double z) {
    constexpr double kRootTwoPi = 0.39894228040143267794;
    return kRootTwoPi * std::exp(-z * z / 2);
  }
  static double tail(double z) { return std::erfc(z * std::numbers::sqrt2 / 2) / 2; }
  static void above(double z, OneEnd& out) {
    const double chance = tail(z);
    const double rise = -density(z) / chance;
    out = {std::log(chance), rise, -rise * (z + rise)};
  }
  static void below(double z, OneEnd& out) {
    above(-z, out);
    out.first = -out.first;
  }
  static bool between(double low, double high, double width, TwoEnds& out) {
    out.slope_low = -low;
    out.slope_high = -high;
    if (out.close(width)) {
      return false;
    }
    const double chance = low > 0    ? tail(low) - tail(high)
                          : high < 0 ? tail(-high) - tail(-low)
                                     : 1 - tail(-low) - tail(high);
    out.value = std::log(chance);
    out.high = density(high) / chance;
    out.low = -density(low) / chance;
    return true;
  }
};

struct Logistic {
  static double log_above(double z) { return -log1p_exp(z); }
  static double log_below(double z) { return -log1p_exp(-z); }
  static double log_density(double z) {
    const double far = std::abs(z);
    return -far - 2 * std::log1p(std::exp(-far));
  }
  static double slope(double z) { return -std::tanh(z / 2); }
  static double bend(double z) { return -2 * std::exp(log_density(z)); }
  static double log_between(double low, double high, double width) {
    return log_below(high) + log_above(low) + log1m_exp(-width);
  }
  static constexpr double kLow = -300;
  static constexpr double kHigh = 300;
  static void above(double z, OneEnd& out) {
    const double odds = std::exp(z);
    const double share = odds / (1 + odds);
    out = {-std::log1p(odds), -share, -share / (1 + odds)};
  }
  static void below(double z, OneEnd& out) {
    above(-z, out);
    out.first = -out.first;
  }
  static bool between(double low, double high, double width, TwoEnds& out) {
    const double first = std::exp(low);
    const double last = std::exp(high);
    out.slope_low = (1 - first) / (1 + first);
    out.slope_high = (1 - last) / (1 + last);
    if (out.close(width)) {
      return false;
    }
    const double gap = last - first;
    out.value = std::log(gap / ((1 + first) * (1 + last)));
    out.high = last * (1 + first) / (gap * (1 + last));
    out.low = -first * (1 + last) / (gap * (1 + first));
    return true;
  }
};

// Gauss-Legendre, 8 points, half of them (they are symmetric about 0).
constexpr std::array<double, 4> kNode = {0.1834346424956498049, 0.5255324099163289858,
                                         0.7966664774136267396, 0.9602898564975362317};
constexpr std::array<double, 4> kNodeWeight = {0.3626837833783619830, 0.3137066458778872873,
                                               0.2223810344533744705, 0.1012285362903762591};
constexpr std::size_t kNodes = 2 * kNode.size();
// Value and derivatives along (a, t) of one row.
struct Row {
  double value = 0;
  double a = 0;
  double t = 0;
  double aa = 0;
  double at = 0;
  double tt = 0;
};

// Of log(t * integral of f(t*y - a) over the row's y), by quadrature; `exact`: of
// log(t * f(t*y - a)). Derivatives are means over the row, so nothing cancels.
template <typename Density, bool kSlopes>
Row close_row(const Cell& c, double a, double t) {
  const bool exact = c.kind == Cell::Kind::exact;
  const std::size_t count = exact ? 1 : kNodes;
  std::array<double, kNodes> y{};
  std::array<double, kNodes> log_f{};
  std::array<double, kNodes> weight{};
  double greatest = kMinusInfinity;
  for (std::size_t i = 0; i < count; ++i) {
    const double side = i % 2 == 0 ? 1 : -1;
    y[i] = exact ? c.high : (c.low + c.high) / 2 + side * kNode[i / 2] * c.span / 2;
    weight[i] = exact ? 1 : kNodeWeight[i / 2] * c.span / 2;
    log_f[i] = Density::log_density(t * y[i] - a);
    greatest = std::max(greatest, log_f[i]);
  }
  double sum = 0;
  for (std::size_t i = 0; i < count; ++i) {
    weight[i] *= std::exp(log_f[i] - greatest);
    sum += weight[i];
  }
  Row row;
  row.value = std::log(t) + greatest + std::log(sum);
  if constexpr (kSlopes) {
    std::array<double, kNodes> of_a{};
    std::array<double, kNodes> of_t{};
    row.tt = -1 / (t * t);
    for (std::size_t i = 0; i < count; ++i) {
      weight[i] /= sum;
      const double z = t * y[i] - a;
      const double slope = Density::slope(z);
      const double bend = Density::bend(z);
      of_a[i] = -slope;
      of_t[i] = slope * y[i];
      row.a += weight[i] * of_a[i];
      row.t += weight[i] * of_t[i];
      row.aa += weight[i] * bend;
      row.at -= weight[i] * bend * y[i];
      row.tt += weight[i] * bend * y[i] * y[i];
    }
    for (std::size_t i = 0; i < count; ++i) {
      const double da = of_a[i] - row.a;
      const double dt = of_t[i] - row.t;
      row.aa += weight[i] * da * da;
      row.at += weight[i] * da * dt;
      row.tt += weight[i] * dt * dt;
    }
    row.t += 1 / t;
  }
  return row;
}

// The same as `above`, `below` and `between` of a density, at any z.
template <typename Density>
OneEnd far_end(double z, double log_chance, double sign) {
  OneEnd end;
  end.value = log_chance;
  const double log_f = Density::log_density(z);
  if (log_f - log_chance > -kLargestExponent) {
    end.first = sign * std::exp(log_f - log_chance);
    end.second = Density::slope(z) * end.first - end.first * end.first;
  }
  return end;
}
template <typename Density>
bool far_between(double low, double high, double width, TwoEnds& out) {
  out.slope_low = Density::slope(low);
  out.slope_high = Density::slope(high);
  if (out.close(width)) {
    return false;
  }
  out.value = Density::log_between(low, high, width);
  out.high = far_end<Density>(high, out.value, 1).first;
  out.low = far_end<Density>(low, out.value, -1).first;
  return true;
}

template <typename Density, bool kSlopes>
Row row_at(const Cell& c, double a, double t) {
  Row row;
  if (c.kind == Cell::Kind::left || c.kind == Cell::Kind::right) {
    const bool below = c.kind == Cell::Kind::left;
    const double y = c.low;  // both ends are the same
    const double z = t * y - a;
    OneEnd end;
    if (z < Density::kLow || z > Density::kHigh) {
      end = far_end<Density>(z, below ? Density::log_below(z) : Density::log_above(z),
                             below ? 1 : -1);
    } else if (below) {
      Density::below(z, end);
    } else {
      Density::above(z, end);
    }
    row.value = end.value;
    if constexpr (kSlopes) {
      row.a = -end.first;
      row.t = end.first * y;
      row.aa = end.second;
      row.at = -end.second * y;
      row.tt = end.second * y * y;
    }
    return row;
  }
  if (c.kind == Cell::Kind::exact) {
    return close_row<Density, kSlopes>(c, a, t);
  }
  const double low = t * c.low - a;
  const double high = t * c.high - a;
  const double width = t * c.span;
  TwoEnds ends;
  const bool apart = low < Density::kLow || high > Density::kHigh
                         ? far_between<Density>(low, high, width, ends)
                         : Density::between(low, high, width, ends);
  if (!apart) {
    return close_row<Density, kSlopes>(c, a, t);
  }
  row.value = ends.value;
  if constexpr (kSlopes) {
    const double up = (ends.slope_high - ends.high) * ends.high;
    const double down = (ends.slope_low - ends.low) * ends.low;
    const double both = -ends.high * ends.low;
    row.a = -(ends.high + ends.low);
    row.t = ends.high * c.high + ends.low * c.low;
    row.aa = up + 2 * both + down;
    row.at = -(up * c.high + both * (c.high + c.low) + down * c.low);
    row.tt = up * c.high * c.high + 2 * both * c.high * c.low + down * c.low * c.low;
  }
  return row;
}

template <typename Density>
double value_of(const Shape& shape, const Cells& cells, const Eigen::VectorXd& at) {
  const double t = at[at.size() - 1];
  double sum = 0;
  double lost = 0;  // Neumaier: as many rows as there are, no digit is lost in their sum
  for (const Cell& c : cells.cells) {
    double a = at[static_cast<Eigen::Index>(c.group)];
    if (shape.numeric) {
      a += at[static_cast<Eigen::Index>(shape.groups)] * c.x;
    }
    const double term = c.weight * row_at<Density, false>(c, a, t).value;
    const double next = sum + term;
    lost += std::abs(sum) >= std::abs(term) ? (sum - next) + term : (term - next) + sum;
    sum = next;
  }
  return std::isfinite(sum) ? sum + lost : kMinusInfinity;
}

template <typename Density>
Slopes slopes_of(const Shape& shape, const Cells& cells, const Eigen::VectorXd& at) {
  const Eigen::Index last = at.size() - 1;
  const auto slope = static_cast<Eigen::Index>(shape.groups);
  const double t = at[last];
  Slopes s;
  s.gradient = Eigen::VectorXd::Zero(at.size());
  const Eigen::Index most = at.size() - slope - 1;  // t among the shared
  s.bend = {Eigen::VectorXd::Zero(slope), Eigen::MatrixXd::Zero(slope, most + 1),
            Eigen::MatrixXd::Zero(most + 1, most + 1)};
  std::vector<Row> sums(shape.groups);
  double lost = 0;
  for (const Cell& c : cells.cells) {
    const auto g = static_cast<Eigen::Index>(c.group);
    const double a = at[g] + (shape.numeric ? at[slope] * c.x : 0);
    const Row r = row_at<Density, true>(c, a, t);
    const double w = c.weight;
    const double next = s.value + w * r.value;
    lost += std::abs(s.value) >= std::abs(w * r.value) ? (s.value - next) + w * r.value
                                                       : (w * r.value - next) + s.value;
    s.value = next;
    Row& sum = sums[c.group];
    sum.a += w * r.a;
    sum.t += w * r.t;
    sum.aa += w * r.aa;
    sum.at += w * r.at;
    sum.tt += w * r.tt;
    if (shape.numeric) {
      s.gradient[slope] += w * r.a * c.x;
      s.bend.shared(0, 0) -= w * r.aa * c.x * c.x;
      s.bend.joint(g, 0) -= w * r.aa * c.x;
      s.bend.shared(0, most) -= w * r.at * c.x;
    }
  }
  for (std::size_t i = 0; i < sums.size(); ++i) {
    const auto g = static_cast<Eigen::Index>(i);
    s.gradient[g] += sums[i].a;
    s.gradient[last] += sums[i].t;
    s.bend.own[g] -= sums[i].aa;
    s.bend.joint(g, most) -= sums[i].at;
    s.bend.shared(most, most) -= sums[i].tt;
  }
  if (shape.numeric) {
    s.bend.shared(most, 0) = s.bend.shared(0, most);
  }
  s.value = std::isfinite(s.value) ? s.value + lost : kMinusInfinity;
  return s;
}

}  // namespace

double value_at(const Shape& shape, const Cells& cells, const Eigen::VectorXd& at) {
  switch (shape.kind) {
    case CurveKind::lognormal:
      return value_of<Normal>(shape, cells, at);
    case CurveKind::log_logistic:
      return value_of<Logistic>(shape, cells, at);
    default:
      return value_of<ExtremeValue>(shape, cells, at);
  }
}

Slopes slopes_at(const Shape& shape, const Cells& cells, const Eigen::VectorXd& at) {
  switch (shape.kind) {
    case CurveKind::lognormal:
      return slopes_of<Normal>(shape, cells, at);
    case CurveKind::log_logistic:
      return slopes_of<Logistic>(shape, cells, at);
    default:
      return slopes_of<ExtremeValue>(shape, cells, at);
  }
}

double log_below(CurveKind kind, double z) {
  return kind == CurveKind::weibull     ? ExtremeValue::log_below(z)
         : kind == CurveKind::lognormal ? Normal::log_below(z)
                                        : Logistic::log_below(z);
}

double log_above(CurveKind kind, double z) {
  return kind == CurveKind::weibull     ? ExtremeValue::log_above(z)
         : kind == CurveKind::lognormal ? Normal::log_above(z)
                                        : Logistic::log_above(z);
}

double log_density(CurveKind kind, double z) {
  return kind == CurveKind::weibull     ? ExtremeValue::log_density(z)
         : kind == CurveKind::lognormal ? Normal::log_density(z)
                                        : Logistic::log_density(z);
}

double z_at(CurveKind kind, double probability) {
  switch (kind) {
    case CurveKind::lognormal:
      return -std::numbers::sqrt2 * boost::math::erfc_inv(2 * probability);
    case CurveKind::log_logistic:
      return std::log(probability) - std::log1p(-probability);
    default:
      return std::log(-std::log1p(-probability));
  }
}

// ------------------------------------------------------------------- cells

Cells cells_of(std::span<const OnsetInterval> rows, std::span<const std::size_t> group,
               std::span<const double> x) {
  Cells out;
  double sum = 0;
  double ends = 0;
  std::vector<Cell>& cells = out.cells;
  cells.reserve(rows.size());
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const OnsetInterval& r = rows[i];
    const bool no_low = r.left <= 0;
    const bool no_high = !std::isfinite(r.right);
    if (!(r.count > 0) || (no_low && no_high)) {
      continue;
    }
    Cell c;
    c.weight = r.count;
    c.group = group.empty() ? 0 : group[i];
    c.x = x.empty() ? 0 : x[i];
    if (no_low) {
      c.kind = Cell::Kind::left;
      c.low = c.high = std::log(r.right);
    } else if (no_high) {
      c.kind = Cell::Kind::right;
      c.low = c.high = std::log(r.left);
    } else {
      c.low = std::log(r.left);
      c.span = std::log1p((r.right - r.left) / r.left);
      c.high = c.low + c.span;
      c.kind = r.left == r.right ? Cell::Kind::exact : Cell::Kind::between;
      if (c.kind == Cell::Kind::exact) {
        out.exact_log += c.weight * c.low;
      }
    }
    sum += c.weight * (c.low + c.high) / 2;
    ends += c.weight;
    cells.push_back(c);
  }
  out.weight = ends;
  const auto key = [](const Cell& c) {
    return std::tuple(c.group, c.x, static_cast<int>(c.kind), c.low, c.span);
  };
  const auto join = [&](std::vector<Cell>& some) {
    std::ranges::sort(some, {}, key);
    std::size_t kept = 0;
    for (const Cell& c : some) {
      if (kept > 0 && key(some[kept - 1]) == key(c)) {
        some[kept - 1].weight += c.weight;
      } else {
        some[kept++] = c;
      }
    }
    some.resize(kept);
  };
  // To sort many rows takes as long as to fit them: worth it only where a sample has equal ones.
  constexpr std::size_t kSample = 1000;
  if (cells.size() > 4 * kSample) {
    std::vector<Cell> sample;
    sample.reserve(kSample);
    for (std::size_t i = 0; i < kSample; ++i) {
      sample.push_back(cells[i * cells.size() / kSample]);
    }
    join(sample);
    constexpr double kManyEqual = 0.95;
    if (static_cast<double>(sample.size()) < kManyEqual * kSample) {
      join(cells);
    }
  } else {
    join(cells);
  }
  if (ends > 0) {
    out.centre = sum / ends;
    for (Cell& c : cells) {
      c.low -= out.centre;
      c.high -= out.centre;
    }
  }
  return out;
}

// ------------------------------------------------------ is there a maximum

// Along a direction (da, dt) the likelihood never falls where each upper end
// rises and each lower one falls: dt*y >= da for all upper ends, <= da for all
// lower ones. With dt = 0 these are the groups with only one kind of end; with
// dt > 0, a distance in each group that lies in all of its intervals. Where no
// interval is closed dt < 0 has to be looked at too: the likelihood is greatest
// at t = 0 unless it rises there, which it does where wet looks came later.
FitStatus status_of(CurveKind kind, const Cells& cells, std::size_t groups, std::size_t* group) {
  struct Ends {
    double least_high = std::numeric_limits<double>::infinity();
    double greatest_low = kMinusInfinity;
    double wet = 0;
    double dry = 0;
    double wet_sum = 0;
    double dry_sum = 0;
    bool closed = false;
  };
  if (cells.cells.empty()) {
    return FitStatus::no_data;
  }
  std::vector<Ends> of(groups);
  for (const Cell& c : cells.cells) {
    Ends& e = of[c.group];
    if (c.kind != Cell::Kind::right) {
      e.least_high = std::min(e.least_high, c.high);
      e.wet += c.weight;
      e.wet_sum += c.weight * c.high;
    }
    if (c.kind != Cell::Kind::left) {
      e.greatest_low = std::max(e.greatest_low, c.low);
      e.dry += c.weight;
      e.dry_sum += c.weight * c.low;
    }
    e.closed = e.closed || c.kind == Cell::Kind::between || c.kind == Cell::Kind::exact;
  }
  const auto all = [&](auto holds) { return std::ranges::all_of(of, holds); };
  if (all([](const Ends& e) { return e.dry == 0; })) {
    return FitStatus::all_left_censored;
  }
  if (all([](const Ends& e) { return e.wet == 0; })) {
    return FitStatus::all_right_censored;
  }
  for (std::size_t i = 0; i < groups; ++i) {
    if (of[i].wet == 0 || of[i].dry == 0) {
      if (group != nullptr) {
        *group = i;
      }
      return FitStatus::group_without_bound;
    }
  }
  if (all([](const Ends& e) { return e.greatest_low <= e.least_high; })) {
    return FitStatus::one_distance;
  }
  if (all([](const Ends& e) { return !e.closed; })) {
    // Slope in t at t = 0, where each group stands at its share of wet looks.
    double rise = 0;
    for (const Ends& e : of) {
      const double n = e.wet + e.dry;
      rise += std::exp(log_density(kind, z_at(kind, e.wet / n))) * n *
              (e.wet_sum / e.wet - e.dry_sum / e.dry);
    }
    if (!(rise > 0)) {
      return FitStatus::not_rising;
    }
  }
  return FitStatus::converged;
}

// ------------------------------------------------------------------- climb

namespace {

// A Newton step: a little of a steepest one where the likelihood is flat to the last digit.
Eigen::VectorXd newton_step(const Slopes& s) {
  const auto rises = [&](const std::optional<Eigen::VectorXd>& step) {
    return step && step->allFinite() && s.gradient.dot(*step) >= 0;
  };
  std::optional<Eigen::VectorXd> step = s.bend.solve(s.gradient);
  if (rises(step)) {
    return *step;
  }
  constexpr double kRidge = 1e-8;
  const double most =
      std::max({s.bend.own.cwiseAbs().maxCoeff(), s.bend.shared.diagonal().cwiseAbs().maxCoeff(),
                std::numeric_limits<double>::min()});
  Arrow ridged = s.bend;
  ridged.own.array() += most * kRidge;
  ridged.shared.diagonal().array() += most * kRidge;
  step = ridged.solve(s.gradient);
  return rises(step) ? *step : s.gradient / most;
}

Eigen::VectorXd newton_step(const Slopes& s, const Eigen::VectorXd& line) {
  const double rise = s.gradient.dot(line);
  const double bend = s.bend.along(line);
  const double length = rise / bend;
  return line * (bend > 0 && std::isfinite(length)
                     ? length
                     : rise / std::max(std::abs(bend), std::numeric_limits<double>::min()));
}

template <typename Step>
Peak climbed(const Shape& shape, const Cells& cells, const Eigen::VectorXd& from,
             const Step& step_at) {
  constexpr int kMostSteps = 200;
  constexpr int kMostHalvings = 60;
  constexpr double kKept = 0.1;      // of t after one step at least
  constexpr double kEnough = 1e-4;   // of the rise that the slope promises (Armijo)
  constexpr double kNearly = 1e-11;  // decrement at which one more whole step ends it
  const Eigen::Index last = from.size() - 1;
  Peak peak;
  peak.at = from;
  peak.slopes = slopes_at(shape, cells, peak.at);
  bool finished = false;
  for (;; ++peak.iterations) {
    const Eigen::VectorXd move = step_at(peak.slopes);
    peak.decrement = std::max(0.0, peak.slopes.gradient.dot(move));
    peak.value = peak.slopes.value;
    if (finished || peak.decrement == 0) {
      peak.converged = true;
      return peak;
    }
    if (peak.iterations == kMostSteps) {
      return peak;
    }
    finished = peak.decrement <= kNearly * (1 + std::abs(peak.value));
    double length = 1;
    if (move[last] < 0) {
      length = std::min(1.0, (1 - kKept) * peak.at[last] / -move[last]);
    }
    Eigen::VectorXd next = peak.at + length * move;
    Slopes there = slopes_at(shape, cells, next);
    const auto rises = [&](double value) {
      return finished || value >= peak.value + kEnough * length * peak.decrement;
    };
    if (!rises(there.value)) {
      int halvings = 0;
      do {
        length /= 2;
        next = peak.at + length * move;
      } while (!rises(value_at(shape, cells, next)) && ++halvings < kMostHalvings);
      if (halvings == kMostHalvings) {
        return peak;
      }
      there = slopes_at(shape, cells, next);
    }
    peak.at = next;
    peak.slopes = std::move(there);
  }
}

// What is left of the shared parameters once the intercepts are solved for (Schur's complement).
Eigen::MatrixXd without_own(const Arrow& a) {
  return a.shared - a.joint.transpose() * a.own.cwiseInverse().asDiagonal() * a.joint;
}

}  // namespace

double Arrow::along(const Eigen::VectorXd& line) const {
  const auto first = line.head(own.size());
  const auto rest = line.tail(shared.rows());
  return first.dot(own.cwiseProduct(first)) + 2 * first.dot(joint * rest) + rest.dot(shared * rest);
}

std::optional<Eigen::VectorXd> Arrow::solve(const Eigen::VectorXd& right) const {
  if (!(own.minCoeff() > 0)) {
    return std::nullopt;
  }
  const Eigen::LDLT<Eigen::MatrixXd> rest(without_own(*this));
  if (!rest.isPositive()) {
    return std::nullopt;
  }
  const Eigen::VectorXd first = right.head(own.size()).cwiseQuotient(own);
  Eigen::VectorXd x(right.size());
  x.tail(shared.rows()) = rest.solve(right.tail(shared.rows()) - joint.transpose() * first);
  x.head(own.size()) = first - (joint * x.tail(shared.rows())).cwiseQuotient(own);
  return x;
}

ArrowInverse::ArrowInverse(const Arrow& arrow)
    : own_(arrow.own.cwiseInverse()),
      joint_(own_.asDiagonal() * arrow.joint),
      shared_(without_own(arrow).inverse()) {}

double ArrowInverse::at(Eigen::Index i, Eigen::Index j) const {
  const Eigen::Index groups = own_.size();
  if (i >= groups && j >= groups) {
    return shared_(i - groups, j - groups);
  }
  if (i >= groups || j >= groups) {
    return -joint_.row(std::min(i, j)).dot(shared_.row(std::max(i, j) - groups));
  }
  return (i == j ? own_[i] : 0) + joint_.row(i).dot(joint_.row(j) * shared_);
}

double ArrowInverse::along(const FewPlaces& row) const {
  double sum = 0;
  for (const auto& [i, x] : row) {
    for (const auto& [j, y] : row) {
      sum += x * y * at(i, j);
    }
  }
  return sum;
}

Peak climb(const Shape& shape, const Cells& cells, const Eigen::VectorXd& from) {
  return climbed(shape, cells, from, [](const Slopes& s) { return newton_step(s); });
}

Peak climb_along(const Shape& shape, const Cells& cells, const Eigen::VectorXd& from,
                 const Eigen::VectorXd& line) {
  return climbed(shape, cells, from, [&](const Slopes& s) { return newton_step(s, line); });
}

}  // namespace dryshaft::onset
