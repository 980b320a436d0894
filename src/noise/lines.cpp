#include "noise/lines.hpp"

#include <algorithm>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>

namespace dryshaft::noise {
namespace {

constexpr std::size_t kShaftLines = 5;
// A line that one in a million noise lines reaches (one block).
constexpr double kStands = 14;
// One strong line must not make a comb: each counts for this much at the most.
constexpr double kMostOfShaftLine = 200;

double at(const std::vector<double>& values, double place) {
  const auto i = static_cast<std::size_t>(std::lround(place));
  return i < values.size() ? values[i] : 0;
}

}  // namespace

std::vector<double> noise_floor(const Spectrum& spectrum, std::size_t window,
                                std::size_t a_window) {
  const std::vector<double>& p = spectrum.power;
  const std::size_t n = p.size();
  std::vector<double> floor(n);
  if (n == 0) {
    return floor;
  }
  const double blocks = std::max(spectrum.blocks, 1.0);
  const double median_of_noise = boost::math::gamma_p_inv(blocks, 0.5) / blocks;
  const std::size_t step = std::max<std::size_t>(window / a_window, 1);
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

double chance_of_sum(double sum, std::size_t lines, double blocks) {
  if (lines == 0 || !(sum > 0)) {
    return 1;
  }
  const double b = std::max(blocks, 1.0);
  return boost::math::gamma_q(b * static_cast<double>(lines), b * sum);
}

double decibels(double ratio) {
  constexpr double kLeast = 1e-9;
  return 10 * std::log10(std::max(ratio, kLeast));
}

double standing_level(double blocks) {
  constexpr double kOneIn = 1e-6;
  const double b = std::max(blocks, 1.0);
  return boost::math::gamma_q_inv(b, kOneIn) / b;
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
  for (double factor = 1 - most; factor <= 1 + most; factor += step) {
    double sum = 0;
    std::size_t lines = 0;
    for (std::size_t k = 1; k <= kShaftLines; ++k) {
      const double place = factor * shaft_hz * static_cast<double>(k) / line;
      const double q = at(amplitude.power, place) / std::max(at(floor, place), 1e-300);
      sum += std::min(q, kMostOfShaftLine);
      lines += q > kStands ? 1 : 0;
    }
    if (lines > best.lines || (lines == best.lines && sum > best_sum)) {
      best = {factor, lines};
      best_sum = sum;
    }
  }
  best.factor = refined(amplitude, floor, shaft_hz, best.factor);
  constexpr std::size_t kEnough = 4;
  return best.lines >= kEnough ? std::optional(best) : std::nullopt;
}

void Mask::leave_out(double place, double near, LeftOut why) {
  const auto from = static_cast<std::size_t>(std::max(std::ceil(place - near), 0.0));
  for (std::size_t i = from; i < why_.size() && static_cast<double>(i) <= place + near; ++i) {
    if (why_[i] == kFree) {
      why_[i] = static_cast<std::uint8_t>(why);
    }
  }
}

void Mask::take_feet(const Spectrum& spectrum, const std::vector<double>& floor) {
  const std::vector<double>& p = spectrum.power;
  const double stands = standing_level(spectrum.blocks);
  const std::size_t n = std::min(why_.size(), p.size());
  const std::vector<std::uint8_t> before = why_;
  // From the line `from`, whose neighbour towards `step` is free.
  const auto walk = [&](std::size_t from, std::ptrdiff_t step) {
    auto at = static_cast<std::ptrdiff_t>(from);
    for (std::ptrdiff_t next = at + step; next >= 0 && next < static_cast<std::ptrdiff_t>(n);
         at = next, next += step) {
      const auto i = static_cast<std::size_t>(next);
      if (before[i] != kFree || p[i] >= p[static_cast<std::size_t>(at)] ||
          p[i] <= stands * floor[i]) {
        return;
      }
      why_[i] = before[from];
    }
  };
  for (std::size_t i = 0; i < n; ++i) {
    if (before[i] != kFree && p[i] > stands * floor[i]) {
      if (i > 0 && before[i - 1] == kFree) {
        walk(i, -1);
      }
      if (i + 1 < n && before[i + 1] == kFree) {
        walk(i, 1);
      }
    }
  }
}

Family find_family(const Spectrum& spectrum, const std::vector<double>& floor, const Mask& mask,
                   const FamilySearch& search) {
  constexpr double kStep = 0.25;  // of a line's spacing, at the highest multiple
  if (search.expected_order * (1 - search.slip) * search.per_order + 1 >=
      static_cast<double>(spectrum.power.size())) {
    return {};  // it lies beyond the spectrum
  }
  const double stands = standing_level(spectrum.blocks);
  const double step =
      kStep / (search.expected_order * search.per_order * static_cast<double>(search.multiples));
  Family best;
  std::size_t places = 0;
  for (double s = -search.slip; s <= search.slip; s += step) {
    Family f;
    f.order = search.expected_order * (1 + s);
    double power = 0;
    double weights = 0;
    for (std::size_t k = 1; k <= search.multiples; ++k) {
      const double place = f.order * static_cast<double>(k) * search.per_order;
      if (place + 1 >= static_cast<double>(spectrum.power.size())) {
        break;
      }
      const auto line = nearest_whole(place);
      if (!mask.free(line)) {
        f.first = f.first || k == 1;
        continue;
      }
      const double p = spectrum.power[line];
      const double q = std::min(p / floor[line], search.most_of_one);
      f.sum += q;
      f.looked_at.push_back({line, q});
      power += p;
      ++f.lines;
      if (q > stands) {
        ++f.standing;
        f.first = f.first || k == 1;
        f.centre += q * static_cast<double>(k);
        weights += q;
      }
    }
    f.depth = std::sqrt(power);
    f.centre = weights > 0 ? f.centre / weights : 0;
    ++places;
    if (f.sum > best.sum) {
      best = std::move(f);
    }
  }
  for (std::size_t k = 1; k <= search.multiples; ++k) {
    const auto line = nearest_whole(best.order * static_cast<double>(k) * search.per_order);
    if (line + 1 < spectrum.power.size() && !mask.free(line)) {
      best.excluded.push_back({k, mask.why(line)});
    }
  }
  best.places = places;
  best.p_value = chance_of_sum(best.sum, best.lines, spectrum.blocks);
  return best;
}

double chance_of_others(const Spectrum& spectrum, const std::vector<double>& floor,
                        const Mask& others, const Family& family) {
  const double blocks = std::max(spectrum.blocks, 1.0);
  const double stands = standing_level(blocks);
  const std::size_t n = spectrum.power.size();
  // Up to each line: how many are free, and how many of these stand.
  std::vector<std::pair<std::uint32_t, std::uint32_t>> up_to(n + 1);
  double logs = 0;  // of power over what makes a line stand
  for (std::size_t i = 0; i < n; ++i) {
    up_to[i + 1] = up_to[i];
    if (i > 0 && others.free(i)) {
      ++up_to[i + 1].first;
      if (const double q = spectrum.power[i] / floor[i]; q > stands) {
        ++up_to[i + 1].second;
        logs += std::log(q / stands);
      }
    }
  }
  constexpr double kFewLogs = 0.3;  // where few stand, strong ones are taken for rare
  const double steepness = (up_to[n].second + 1) / (logs + kFewLogs);
  const double everywhere = static_cast<double>(up_to[n].second) / std::max(up_to[n].first, 1U);
  constexpr double kAround = 1.5;  // of a line's order, up and down
  constexpr std::size_t kFewest = 150;
  double sum = 0;
  for (const Family::Line& line : family.looked_at) {
    const auto place = static_cast<double>(line.place);
    const auto low =
        std::min(nearest_whole(place / kAround), line.place - std::min(line.place, kFewest));
    const auto high = std::min(std::max(nearest_whole(place * kAround), line.place + kFewest), n);
    const double free = up_to[high].first - up_to[low].first;
    const double standing = up_to[high].second - up_to[low].second;
    const double by_noise = boost::math::gamma_q(blocks, blocks * line.over);
    const double share = std::max(free > 0 ? standing / free : 1, everywhere);
    const double by_lines = share * std::pow(std::max(line.over / stands, 1.0), -steepness);
    sum -= std::log(std::clamp(std::max(by_noise, by_lines), 1e-300, 1.0));
  }
  const auto lines = static_cast<double>(family.looked_at.size());
  return lines > 0 ? boost::math::gamma_q(lines, sum) : 1;
}

}  // namespace dryshaft::noise
