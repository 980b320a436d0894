#include "noise/search.hpp"

#include <algorithm>
#include <cmath>

namespace dryshaft::noise {
namespace {

// A family that is named takes its lines and their sidebands at shaft speed. A
// line is as wide as the slip makes it: a share of its order.
void leave_out_family(Mask& mask, double order, double highest, double per_order) {
  constexpr int kSidebands = 4;
  constexpr double kWidth = 0.004;
  for (int k = 1; order * k <= highest + kSidebands; ++k) {
    for (int m = -kSidebands; m <= kSidebands; ++m) {
      const double line = order * k + m;
      if (line > 0) {
        mask.leave_out(line * per_order, std::max(kWidth * line * per_order, 2.0),
                       LeftOut::named_already);
      }
    }
  }
}

// Cage lines lie where the floor is steepest, so more of them have to stand.
std::size_t enough(NoiseKind kind) { return kind == NoiseKind::cage ? 3 : 2; }

}  // namespace

double order_of(const DefectOrders& orders, NoiseKind kind) {
  switch (kind) {
    case NoiseKind::outer_race:
      return orders.outer_race;
    case NoiseKind::inner_race:
      return orders.inner_race;
    case NoiseKind::element:
      return orders.element;
    default:
      break;
  }
  return orders.cage;
}

void leave_out_shaft(Mask& mask, double order, double highest, double per_order) {
  for (int k = 1; order * k <= highest; ++k) {
    const double line = order * k;
    const double near = std::min(std::max({0.02, 0.003 * line, 1.5 / per_order}), 0.006 * line);
    mask.leave_out(line * per_order, near * per_order, LeftOut::shaft_order);
  }
}

BearingSearch search_bearings(const std::vector<BandEnvelope>& bands, double per_order,
                              double highest, Mask mask, std::span<const Bearing* const> bearings,
                              const NoiseOptions& options) {
  BearingSearch result;
  std::vector<std::vector<double>> floors;
  floors.reserve(bands.size());
  for (const BandEnvelope& e : bands) {
    floors.push_back(
        noise_floor(e.spectrum, static_cast<std::size_t>(std::max(60.0, 2 * per_order))));
  }
  const double searches =
      static_cast<double>(bands.size() * bearings.size() * kBearingKinds.size());
  std::vector<std::pair<std::size_t, NoiseKind>> left;
  for (std::size_t i = 0; i < bearings.size(); ++i) {
    for (const NoiseKind kind : kBearingKinds) {
      left.emplace_back(i, kind);
    }
  }
  while (!left.empty()) {
    std::vector<Attribution> found;
    found.reserve(left.size());
    for (const auto& [i, kind] : left) {
      Attribution best;
      best.part = bearings[i]->name;
      best.kind = kind;
      best.expected_order = order_of(defect_orders(*bearings[i]), kind);
      best.found_order = best.expected_order;
      bool any = false;
      for (std::size_t b = 0; b < bands.size(); ++b) {
        const Family f = find_family(bands[b].spectrum, floors[b], mask,
                                     {per_order, best.expected_order, options.slip});
        const double p = std::min(1.0, f.p_value * searches * static_cast<double>(f.places));
        const bool counts = p <= options.false_alarm && f.standing >= enough(kind);
        if (f.lines > 0 && (!any || (counts ? f.depth : 0) > best.depth)) {
          any = true;
          best.found_order = f.order;
          best.depth = counts ? f.depth : 0;
          best.level_db = 10 * std::log10(std::max(f.sum, 1e-9) / static_cast<double>(f.lines));
          best.p_value = p;
          best.band_low_hz = bands[b].low;
          best.band_high_hz = bands[b].high;
          best.lines = f.lines;
          best.standing = f.standing;
          best.excluded = f.excluded;
        }
      }
      best.confidence = best.depth / (best.depth + options.least_depth);
      found.push_back(std::move(best));
    }
    const auto first = std::ranges::max_element(found, {}, &Attribution::depth);
    if (first->depth < options.least_depth) {
      std::ranges::stable_sort(found, std::ranges::greater{}, &Attribution::depth);
      result.considered = std::move(found);
      break;
    }
    leave_out_family(mask, first->found_order, highest, per_order);
    left.erase(left.begin() + (first - found.begin()));
    result.named.push_back(std::move(*first));
  }
  return result;
}

void find_shared(std::vector<Attribution>& named, std::span<const Bearing* const> bearings,
                 const NoiseOptions& options, double order_spacing) {
  for (Attribution& a : named) {
    for (const Bearing* bearing : bearings) {
      const DefectOrders orders = defect_orders(*bearing);
      for (const NoiseKind kind : kBearingKinds) {
        const PartKind other{bearing->name, kind};
        const double expected = order_of(orders, kind);
        if (other != a &&
            std::abs(a.found_order - expected) <= options.slip * expected + order_spacing) {
          a.shared_with.push_back(other);
        }
      }
    }
  }
}

Diagnostic noise_complaint(std::string_view code, std::string message, std::string_view hint) {
  Diagnostic d;
  d.code = code;
  d.message = std::move(message);
  d.hint = hint;
  return d;
}

}  // namespace dryshaft::noise
