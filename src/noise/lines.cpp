#include "noise/lines.hpp"

#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>

namespace dryshaft::noise {
namespace {

constexpr std::size_t kShaftLines = 5;
constexpr std::size_t kMostHarmonics = 4;
// A line that one in a million noise lines reaches (one block).
constexpr double kStands = 14;
// One strong line must not make a comb: each counts for this much at the most.
constexpr double kMostOfOne = 200;
constexpr double kStep = 0.25;  // of a line's spacing, at the highest harmonic

double at(const std::vector<double>& values, double place) {
  const auto i = static_cast<std::size_t>(std::lround(place));
  return i < values.size() ? values[i] : 0;
}

}  // namespace

std::vector<double> noise_floor(const Spectrum& spectrum, std::size_t window) {
  const std::vector<double>& p = spectrum.power;
  const std::size_t n = p.size();
  std::vector<double> floor(n);
  if (n == 0) {
    return floor;
  }
  const auto blocks = static_cast<double>(std::max<std::size_t>(spectrum.blocks, 1));
  const double median_of_noise = boost::math::gamma_p_inv(blocks, 0.5) / blocks;
  const std::size_t step = std::max<std::size_t>(window / 4, 1);
  std::vector<double> place;
  std::vector<double> level;
  std::vector<double> around;
  for (std::size_t c = 0;; c = std::min(c + step, n - 1)) {
    const std::size_t from = c > window / 2 ? c - window / 2 : 0;
    const std::size_t to = std::min(c + window / 2 + 1, n);
    around.assign(p.begin() + static_cast<std::ptrdiff_t>(from),
                  p.begin() + static_cast<std::ptrdiff_t>(to));
    const auto middle = around.begin() + static_cast<std::ptrdiff_t>(around.size() / 2);
    std::nth_element(around.begin(), middle, around.end());
    place.push_back(static_cast<double>(c));
    level.push_back(std::max(*middle / median_of_noise, 1e-300));
    if (c == n - 1) {
      break;
    }
  }
  std::size_t k = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const auto x = static_cast<double>(i);
    while (k + 2 < place.size() && place[k + 1] < x) {
      ++k;
    }
    const double t = place.size() < 2 || place[k + 1] <= place[k]
                         ? 0
                         : std::clamp((x - place[k]) / (place[k + 1] - place[k]), 0.0, 1.0);
    floor[i] = place.size() < 2 ? level[0] : level[k] + t * (level[k + 1] - level[k]);
  }
  return floor;
}

double chance_of_sum(double sum, std::size_t lines, std::size_t blocks) {
  if (lines == 0 || !(sum > 0)) {
    return 1;
  }
  const auto b = static_cast<double>(std::max<std::size_t>(blocks, 1));
  return boost::math::gamma_q(b * static_cast<double>(lines), b * sum);
}

bool is_shaft_order(double order, double order_spacing) {
  const double off = std::abs(order - std::round(order));
  return std::round(order) >= 1 && off < std::max({0.02, 0.003 * order, 1.5 * order_spacing}) &&
         off < 0.006 * order;
}

namespace {

// A factor near `factor` by the peaks of the shaft's lines: least squares over
// those that stand, each peak the top of a parabola through logarithms.
double refined(const Spectrum& amplitude, const std::vector<double>& floor, double shaft_hz,
               double factor) {
  double up = 0;
  double down = 0;
  for (std::size_t k = 1; k <= kShaftLines; ++k) {
    const auto order = static_cast<double>(k);
    const auto middle = std::lround(factor * shaft_hz * order / amplitude.spacing);
    long top = middle;
    for (long i = middle - 3; i <= middle + 3; ++i) {
      if (at(amplitude.power, static_cast<double>(i)) >
          at(amplitude.power, static_cast<double>(top))) {
        top = i;
      }
    }
    const auto t = static_cast<double>(top);
    const double here = at(amplitude.power, t);
    const double before = at(amplitude.power, t - 1);
    const double after = at(amplitude.power, t + 1);
    if (top < 1 || here < kStands * at(floor, t) || !(before > 0 && after > 0)) {
      continue;
    }
    const double curve = std::log(before) - 2 * std::log(here) + std::log(after);
    const double shift = curve < 0 ? 0.5 * (std::log(before) - std::log(after)) / curve : 0.0;
    up += order * (t + shift) * amplitude.spacing;
    down += order * order * shaft_hz;
  }
  return down > 0 ? up / down : factor;
}

}  // namespace

std::optional<SpeedFound> refine_speed(const Spectrum& amplitude, double shaft_hz, double most) {
  const double line = amplitude.spacing;
  const auto window = static_cast<std::size_t>(std::max(60.0, 2 * shaft_hz / line));
  const std::vector<double> floor = noise_floor(amplitude, window);
  const double step = 0.2 * line / (shaft_hz * static_cast<double>(kShaftLines));
  SpeedFound best;
  double best_sum = 0;
  std::size_t places = 0;
  for (double factor = 1 - most; factor <= 1 + most; factor += step) {
    double sum = 0;
    std::size_t lines = 0;
    for (std::size_t k = 1; k <= kShaftLines; ++k) {
      const double place = factor * shaft_hz * static_cast<double>(k) / line;
      const double q = at(amplitude.power, place) / std::max(at(floor, place), 1e-300);
      sum += std::min(q, kMostOfOne);
      lines += q > kStands ? 1 : 0;
    }
    ++places;
    if (lines > best.lines || (lines == best.lines && sum > best_sum)) {
      best = {factor, lines, 1};
      best_sum = sum;
    }
  }
  best.p_value = std::min(
      1.0, static_cast<double>(places) * chance_of_sum(best_sum, kShaftLines, amplitude.blocks));
  best.factor = refined(amplitude, floor, shaft_hz, best.factor);
  constexpr std::size_t kEnough = 4;
  return best.lines >= kEnough ? std::optional(best) : std::nullopt;
}

bool Taken::holds(double order, double order_spacing) const {
  // A line is as wide as the slip makes it: a share of its order.
  const double near = std::max(0.004 * order, 2 * order_spacing);
  const auto next = std::lower_bound(orders.begin(), orders.end(), order - near);
  return next != orders.end() && *next <= order + near;
}

void Taken::family(double order, double highest) {
  constexpr int kSidebands = 4;
  for (int k = 1; order * k <= highest + kSidebands; ++k) {
    for (int m = -kSidebands; m <= kSidebands; ++m) {
      if (order * k + m > 0) {
        orders.push_back(order * k + m);
      }
    }
  }
  std::ranges::sort(orders);
}

Family find_family(const Spectrum& spectrum, const std::vector<double>& floor, double shaft_hz,
                   double expected_order, double slip, const Taken& taken) {
  const double line = spectrum.spacing;
  const double step =
      kStep * line / (expected_order * shaft_hz * static_cast<double>(kMostHarmonics));
  Family best;
  std::size_t places = 0;
  for (double s = -slip; s <= slip; s += step) {
    Family f;
    f.order = expected_order * (1 + s);
    double power = 0;
    for (std::size_t k = 1; k <= kMostHarmonics; ++k) {
      const double order = f.order * static_cast<double>(k);
      const double place = order * shaft_hz / line;
      if (place + 1 >= static_cast<double>(spectrum.power.size())) {
        break;
      }
      if (is_shaft_order(order, line / shaft_hz)) {
        f.excluded.push_back(k);
        continue;
      }
      if (taken.holds(order, line / shaft_hz)) {
        f.shared.push_back(k);
        continue;
      }
      const double p = at(spectrum.power, place);
      const double q = p / at(floor, place);
      f.sum += q;
      power += p;
      ++f.lines;
      f.standing += q > kStands ? 1 : 0;
    }
    f.depth = std::sqrt(power);
    ++places;
    if (f.sum > best.sum) {
      best = std::move(f);
    }
  }
  best.places = places;
  best.p_value = chance_of_sum(best.sum, best.lines, spectrum.blocks);
  return best;
}

}  // namespace dryshaft::noise
