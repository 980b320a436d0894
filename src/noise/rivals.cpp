#include "noise/rivals.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "noise/fourier.hpp"

namespace dryshaft::noise {
namespace {

constexpr double kLeastOrder = 0.05;  // slower than this turns nothing in a car
constexpr double kLeastLines = 6;     // between two lines of a comb, or they cannot be told apart
constexpr int kNeighbours = 6;        // on each side
constexpr std::size_t kAround = 3;    // of a family, around which neighbours are looked at
constexpr std::size_t kFewest = 8;    // neighbours that a comb has to have
constexpr double kSameLevel = 0.9;    // of the best comb's, at which a denser one is preferred
constexpr int kFar = 4;               // sidebands seldom reach that far
constexpr double kOwnShare = 0.015;
constexpr double kOwnLines = 1.5;  // by which a spacing differs at least from the family's own

}  // namespace

Combs::Combs(const Spectrum& spectrum, const std::vector<double>& floor, double per_order,
             double width)
    : spectrum_(spectrum),
      per_order_(per_order),
      width_(width),
      stands_(std::log(standing_level(spectrum.blocks))),
      level_(spectrum.power.size()) {
  const std::vector<double>& power = spectrum.power;
  std::vector<float> single(power.size());
  for (std::size_t i = 0; i < power.size(); ++i) {
    single[i] = static_cast<float>(std::log(std::max(power[i] / floor[i], 1.0)));
  }
  for (std::size_t i = 0; i < power.size(); ++i) {
    level_[i] = single[i];
    if (i > 0) {
      level_[i] = std::max(level_[i], single[i - 1]);
    }
    if (i + 1 < power.size()) {
      level_[i] = std::max(level_[i], single[i + 1]);
    }
  }
}

std::size_t Combs::line(double order) const { return nearest_whole(order * per_order_); }

bool Combs::whole(double order) const {
  return std::abs(order - std::round(order)) < std::max(2.5 / per_order_, width_ * order);
}

std::vector<std::size_t> Combs::multiples(const Family& family, const Mask& mask) const {
  std::vector<std::size_t> best;
  for (std::size_t k = 1; line(family.order * static_cast<double>(k)) < level_.size(); ++k) {
    if (mask.free(line(family.order * static_cast<double>(k)))) {
      best.push_back(k);
    }
  }
  const auto height = [&](std::size_t k) {
    return level_[line(family.order * static_cast<double>(k))];
  };
  std::ranges::stable_sort(best, std::ranges::greater{}, height);
  best.resize(std::min(best.size(), kAround));
  return best;
}

Comb Combs::around(const Family& family, const Mask& mask, std::span<const double> own) const {
  const double b = family.order;
  const std::vector<std::size_t> best_multiples = multiples(family, mask);
  double cap = 0;
  for (const std::size_t k : best_multiples) {
    cap += level_[line(b * static_cast<double>(k))] / static_cast<double>(best_multiples.size());
  }
  // The family's own multiples are no neighbours.
  const auto multiple = [&](double order) {
    const double off = std::abs(order - b * std::round(order / b));
    return off * per_order_ < std::max(2.0, width_ * order * per_order_);
  };
  const auto is_own = [&](double spacing) {
    return std::ranges::any_of(own, [&](double o) {
      const double times = std::max(std::round(spacing / o), 0.5);
      return std::abs(spacing - times * o) < std::max(kOwnLines / per_order_, kOwnShare * spacing);
    });
  };
  std::vector<Comb> all;
  const double least = std::max(kLeastOrder, kLeastLines / per_order_);
  const double step = 0.15 / per_order_;
  for (double s = least; s <= b / 2 + 2 * step; s += step) {
    if (is_own(s)) {
      continue;
    }
    Comb comb{.spacing = s};
    std::array<double, 2> sums{};  // of near neighbours and of far ones
    std::array<std::size_t, 2> counts{};
    double power = 0;
    for (const std::size_t k : best_multiples) {
      for (int m = -kNeighbours; m <= kNeighbours; ++m) {
        const double order = b * static_cast<double>(k) + m * s;
        if (m == 0 || order < s / 2) {
          continue;
        }
        const std::size_t i = line(order);
        if (i >= level_.size() || !mask.free(i) || whole(order) || multiple(order)) {
          continue;
        }
        const std::size_t far = std::abs(m) >= kFar ? 1 : 0;
        sums[far] += std::min(double{level_[i]}, cap);
        ++counts[far];
        power += spectrum_.power[i];
        comb.standing += level_[i] > stands_ ? 1 : 0;
      }
    }
    comb.lines = counts[0] + counts[1];
    if (comb.lines >= kFewest && counts[0] > 0 && counts[1] > 0) {
      comb.level = std::min(sums[0] / static_cast<double>(counts[0]),
                            sums[1] / static_cast<double>(counts[1]));
      comb.depth = std::sqrt(power);
      all.push_back(comb);
    }
  }
  if (all.empty()) {
    return {};
  }
  const double best = std::ranges::max_element(all, {}, &Comb::level)->level;
  // The first of those that are as good, and the best place there.
  auto found =
      std::ranges::find_if(all, [&](const Comb& c) { return c.level >= kSameLevel * best; });
  while (found + 1 != all.end() && (found + 1)->level > found->level) {
    ++found;
  }
  found->share = cap > 0 ? found->level / cap : 0;
  return *found;
}

Comb Combs::at(double spacing, const Mask& mask, std::size_t but, bool beside) const {
  Comb comb{.spacing = spacing};
  double sum = 0;
  double power = 0;
  for (std::size_t k = 1;; ++k) {
    const double order = spacing * (static_cast<double>(k) + (beside ? 0.5 : 0));
    const std::size_t i = line(order);
    if (i + 1 >= level_.size()) {
      break;
    }
    if (!mask.free(i) || whole(order) || (but > 0 && k % but == 0)) {
      continue;
    }
    sum += level_[i];
    power += spectrum_.power[i];
    comb.standing += level_[i] > stands_ ? 1 : 0;
    ++comb.lines;
  }
  comb.level = comb.lines > 0 ? sum / static_cast<double>(comb.lines) : 0;
  comb.depth = std::sqrt(power);
  return comb;
}

}  // namespace dryshaft::noise
