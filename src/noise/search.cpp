#include "noise/search.hpp"

#include <algorithm>
#include <cmath>

#include "noise/fourier.hpp"
#include "noise/peaks.hpp"

namespace dryshaft::noise {
namespace {

constexpr double kWidthOfCage = 0.01;   // it has play, so its lines are broad
constexpr double kCageSlips = 0.015;    // share
constexpr int kFarSidebands = 6;        // of a loud part
constexpr double kOthersWidth = 0.012;  // with that of a track that is off for a while

// A family that is named takes its lines and their sidebands at shaft speed,
// an element's also those at cage speed. A line is as wide as the slip makes it: a share of its
// order.
void leave_out_family(Mask& mask, double order, double spacing, double highest, double per_order,
                      const LinesOf& lines) {
  for (int k = 0; order * k <= highest + lines.sidebands; ++k) {
    for (int m = -lines.sidebands; m <= lines.sidebands; ++m) {
      if (k == 0 && spacing == 1 && lines.off == 0) {
        continue;  // the shaft's own, left out anyway
      }
      const double line = order * k + m * spacing;
      if (line > 0) {
        const double near = lines.width * line + lines.off * std::abs(m) * spacing;
        mask.leave_out(line * per_order, std::max(near * per_order, 2.0), LeftOut::named_already);
      }
    }
  }
}

}  // namespace

void leave_out_lines_of(Mask& mask, const Bearing& bearing, NoiseKind kind, double order,
                        double highest, double per_order, const LinesOf& lines) {
  if (kind == NoiseKind::cage) {
    leave_out_family(mask, order, order, highest, per_order,
                     {kWidthOfCage, lines.off, lines.sidebands});
    return;
  }
  leave_out_family(mask, order, 1, highest, per_order, lines);
  if (kind == NoiseKind::element) {
    // The cage slips too, and turns slowly: it has more sidebands. Blows on the two races differ.
    const LinesOf of_cage{lines.width, lines.off + kCageSlips, 2 * lines.sidebands};
    const double cage = defect_orders(bearing).cage;
    leave_out_family(mask, order, cage, highest, per_order, of_cage);
    leave_out_family(mask, order / 2, cage, highest, per_order, of_cage);
  }
}

double sidebands(const Spectrum& spectrum, const std::vector<double>& floor, double order,
                 double spacing, double per_order) {
  constexpr double kMostOfLog = 4;
  double sum = 0;
  int lines = 0;
  for (int k = 1; k <= 2; ++k) {
    for (const int m : {-2, -1, 1, 2}) {
      const double place = (order * k + m * spacing) * per_order;
      const auto i = static_cast<std::size_t>(std::max(std::lround(place), 1L));
      if (i + 1 < spectrum.power.size()) {
        double top = 0;
        for (std::size_t j = i - 1; j <= i + 1; ++j) {
          top = std::max(top, spectrum.power[j] / floor[j]);
        }
        sum += std::clamp(std::log(std::max(top, 1e-9)), 0.0, kMostOfLog);
        ++lines;
      }
    }
  }
  return lines > 0 ? sum / lines : 0;
}

namespace {

constexpr double kOfDeepest = 0.5;  // depth of what explains the deepest family as its sidebands
constexpr double kOfCage = 0.25;  // depth of an element's own lines beside those of its cage's turn
constexpr double kSame = 0.01;    // share by which orders of one family differ at most
constexpr double kSameDepth = 0.8;  // of the deepest

// Cage lines lie where the floor is steepest, so more of them have to stand.
std::size_t enough(NoiseKind kind) { return kind == NoiseKind::cage ? 3 : 2; }

// Whether two orders lie one or two turns of the shaft apart.
bool beside_by_turns(double one, double other, double per_order) {
  const double apart = std::abs(one - other);
  const double near = std::max(2 / per_order, 0.01 * std::max(one, other));
  return std::abs(apart - 1) < near || std::abs(apart - 2) < near;
}

// Whether `order` lies clearly between two multiples of `of`.
bool no_multiple(double order, double of, double per_order) {
  const double multiple = order / of;
  const double apart = std::abs(multiple - std::round(multiple)) * of;
  return apart > 3 / per_order;
}

// Whether multiples of a cage's turn stand up to high ones and fall off evenly: a rattling cage's
// do. Where a race or an element sounds with the cage's turn, the first do, and others again only
// around its own line. `elements`: at that multiple the outer race is met.
bool rattles(const BandEnvelope& band, const Mask& mask, double order, double per_order,
             int elements) {
  constexpr int kHigh = 4;  // these have to stand
  constexpr int kHighest = 7;
  constexpr int kMost = 13;      // up to here none may stand out again
  constexpr double kRise = 2.0;  // of power over floor, over the least before
  const double stands = standing_level(band.spectrum.blocks);
  double least = 1e300;
  int high = 0;
  int high_standing = 0;
  for (int k = 1; k <= kMost; ++k) {
    const std::size_t i = nearest_whole(order * k * per_order);
    if (i + 1 >= band.spectrum.power.size() || !mask.free(i)) {
      continue;
    }
    double top = 0;
    for (std::size_t j = i - 1; j <= i + 1; ++j) {
      top = std::max(top, band.spectrum.power[j] / band.floor[j]);
    }
    if (top > kRise * std::max(least, stands)) {
      return false;
    }
    least = std::min(least, top);
    if (k >= kHigh && k <= std::min(kHighest, elements - 1)) {
      ++high;
      high_standing += top > stands ? 1 : 0;
    }
  }
  return high > 0 && 3 * high_standing >= 2 * high;
}

// Whether a family of a bearing's lines is clear enough for its part to be named, depth aside.
bool is_clear(const Family& f, double p_value, std::size_t enough, const NoiseOptions& options) {
  return p_value <= options.false_alarm && f.first && f.standing >= enough;
}

// Share of decoys, from a little below to a little above all orders of races and elements, that
// would be named. `combs`: those of the bands; nullptr: slower things do not stand in the way.
double decoys_named(const std::vector<BandEnvelope>& bands, const std::vector<Combs>* combs,
                    double per_order, double highest, const Mask& mask,
                    std::span<const Bearing* const> bearings, double searches,
                    const NoiseOptions& options) {
  constexpr double kBeyond = 1.2;
  double low = highest / 2;  // what lies beyond the spectrum is not looked for
  double high = 0;
  for (const Bearing* bearing : bearings) {
    const DefectOrders orders = defect_orders(*bearing);
    low = std::min({low, orders.outer_race, orders.element});
    high = std::max({high, orders.inner_race, orders.element});
  }
  high = std::min(high * kBeyond, highest);
  return share_of_decoys(low / kBeyond, high, [&](double order) {
    for (std::size_t b = 0; b < bands.size(); ++b) {
      const Family f =
          find_family(bands[b].spectrum, bands[b].floor, mask, {per_order, order, options.slip});
      if (f.depth >= options.least_depth &&
          is_clear(f, f.p_value * searches * static_cast<double>(f.places),
                   enough(NoiseKind::outer_race), options) &&
          (combs == nullptr || slower_thing((*combs)[b], f, mask, 0).spacing == 0)) {
        return true;
      }
    }
    return false;
  });
}

}  // namespace

Comb slower_thing(const Combs& combs, const Family& family, const Mask& mask, double cage) {
  constexpr double kAsHigh = 0.5;  // of the family's own level in dB
  // An element's blows on both races differ, so that half its order is its own as well.
  const std::array own = {1.0, cage, family.order / 2};
  Comb comb = combs.around(family, mask, std::span(own).first(cage > 0 ? 3 : 1));
  return comb.share >= kAsHigh ? comb : Comb{};
}

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

void find_floors(std::vector<BandEnvelope>& bands, double per_order) {
  constexpr double kFewest = 60;
  for (BandEnvelope& band : bands) {
    band.floor =
        noise_floor(band.spectrum, static_cast<std::size_t>(std::max(kFewest, 2 * per_order)));
  }
}

BearingSearch search_bearings(const std::vector<BandEnvelope>& bands, double per_order,
                              double highest, Mask mask, std::span<const Bearing* const> bearings,
                              const NoiseOptions& options, double off) {
  BearingSearch result;
  const double searches =
      static_cast<double>(bands.size() * bearings.size() * kBearingKinds.size());
  std::vector<Combs> combs;
  combs.reserve(bands.size());
  for (const BandEnvelope& band : bands) {
    combs.emplace_back(band.spectrum, band.floor, per_order, kLineWidth);
  }
  std::vector<std::pair<std::size_t, NoiseKind>> left;
  for (std::size_t i = 0; i < bearings.size(); ++i) {
    for (const NoiseKind kind : kBearingKinds) {
      left.emplace_back(i, kind);
    }
  }
  while (!left.empty()) {
    std::vector<Mask> masks(bands.size(), mask);
    for (std::size_t b = 0; b < bands.size(); ++b) {
      masks[b].take_feet(bands[b].spectrum, bands[b].floor);
    }
    bool refused = false;  // some part's lines, for what else is heard
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
        const Family f = find_family(bands[b].spectrum, bands[b].floor, masks[b],
                                     {per_order, best.expected_order, options.slip});
        result.places += f.places;
        const double places = searches * static_cast<double>(f.places);
        double p = std::min(1.0, f.p_value * places);
        const bool stands = is_clear(f, p, enough(kind), options) && f.depth >= options.least_depth;
        if (stands) {
          Mask others = masks[b];
          leave_out_lines_of(others, *bearings[i], kind, f.order, highest, per_order,
                             {kOthersWidth, off, kFarSidebands});
          others.take_feet(bands[b].spectrum, bands[b].floor);
          p = std::clamp(chance_of_others(bands[b].spectrum, bands[b].floor, others, f) * places, p,
                         1.0);
        }
        bool counts = is_clear(f, p, enough(kind), options) &&
                      (kind != NoiseKind::cage ||
                       rattles(bands[b], masks[b], f.order, per_order, bearings[i]->elements));
        if (counts && f.depth >= options.least_depth) {
          const double cage = kind == NoiseKind::element ? defect_orders(*bearings[i]).cage : 0;
          if (Comb comb = slower_thing(combs[b], f, masks[b], cage); comb.spacing > 0) {
            counts = false;
            comb.p_value = p;
            comb.band_low = bands[b].low;
            comb.band_high = bands[b].high;
            result.combs.push_back(comb);
          }
        }
        refused = refused || (stands && !counts);
        if (f.lines > 0 && (!any || (counts ? f.depth : 0) > best.depth)) {
          any = true;
          best.found_order = f.order;
          best.depth = counts ? f.depth : 0;
          best.level_db = decibels(f.sum / static_cast<double>(f.lines));
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
    auto first = std::ranges::max_element(found, {}, &Attribution::depth);
    if (first->depth < options.least_depth) {
      if (refused && result.named.empty()) {
        result.decoys =
            decoys_named(bands, nullptr, per_order, highest, mask, bearings, searches, options);
      }
      std::ranges::stable_sort(found, std::ranges::greater{}, &Attribution::depth);
      result.considered = std::move(found);
      break;
    }
    // A rattling cage's multiples fit races and elements too, and those lines may be its deepest.
    const auto rattling = std::ranges::max_element(
        found, {}, [](const Attribution& a) { return a.kind == NoiseKind::cage ? a.depth : -1; });
    if (rattling->kind == NoiseKind::cage && rattling->depth >= options.least_depth &&
        rattling->depth >= kOfDeepest * first->depth) {
      first = rattling;
    }
    // A damaged element is heard once a turn of the cage as well, but its own line is no multiple
    // of that.
    if (first->kind == NoiseKind::cage) {
      auto apart = found.end();
      for (auto a = found.begin(); a != found.end(); ++a) {
        if (a->kind == NoiseKind::element && a->depth >= kOfCage * first->depth &&
            no_multiple(a->found_order, first->found_order, per_order) &&
            (apart == found.end() || a->depth > apart->depth)) {
          apart = a;
        }
      }
      first = apart != found.end() ? apart : first;
    }
    // So do the sidebands of an inner race, which lie shaft orders beside its own lines.
    for (auto a = found.begin(); a != found.end() && first->kind != NoiseKind::cage; ++a) {
      if (a->kind == NoiseKind::inner_race && first->kind != NoiseKind::inner_race &&
          a->depth >= kOfDeepest * first->depth &&
          beside_by_turns(a->found_order, first->found_order, per_order)) {
        first = a;
        break;
      }
    }
    // Parts that fit the same lines are told apart by their sidebands: an inner race turns with the
    // shaft, an element with the cage, an outer race with neither.
    auto chosen = first;
    double most = -1e9;
    for (auto a = found.begin(); a != found.end() && first->kind != NoiseKind::cage; ++a) {
      if (a->kind == NoiseKind::cage || a->depth < kSameDepth * first->depth ||
          std::abs(a->found_order - first->found_order) > kSame * first->found_order) {
        continue;
      }
      const auto place = static_cast<std::size_t>(a - found.begin());
      const std::size_t b = band_to_show(bands, {*a});
      const auto beside = [&](double spacing) {
        return sidebands(bands[b].spectrum, bands[b].floor, a->found_order, spacing, per_order);
      };
      const double shaft = beside(1);
      const double cage = beside(defect_orders(*bearings[left[place].first]).cage);
      const double fit = a->kind == NoiseKind::inner_race ? shaft - cage
                         : a->kind == NoiseKind::element  ? cage - shaft
                                                          : -std::max(shaft, cage) / 2;
      // Of equals, the one whose order it misses least.
      const double missed = std::abs(a->found_order / a->expected_order - 1) / options.slip;
      if (fit - missed / 4 > most) {
        most = fit - missed / 4;
        chosen = a;
      }
    }
    const bool cage = chosen->kind == NoiseKind::cage;
    leave_out_lines_of(mask,
                       *bearings[left[static_cast<std::size_t>(chosen - found.begin())].first],
                       chosen->kind, chosen->found_order, highest, per_order);
    if (result.named.empty()) {
      result.decoys =
          decoys_named(bands, &combs, per_order, highest, mask, bearings, searches, options);
      if (result.decoys > kMostDecoys) {
        std::ranges::stable_sort(found, std::ranges::greater{}, &Attribution::depth);
        result.considered = std::move(found);
        break;
      }
    }
    if (cage) {
      // Its multiples are everywhere, and broad: nothing can be told beside them.
      result.named.push_back(std::move(*chosen));
      found.erase(chosen);
      std::ranges::stable_sort(found, std::ranges::greater{}, &Attribution::depth);
      result.considered = std::move(found);
      break;
    }
    // What else fits that family is no second one.
    for (std::size_t i = found.size(); i-- > 0;) {
      if (found[i].kind != NoiseKind::cage && &found[i] != &*chosen &&
          std::abs(found[i].found_order - chosen->found_order) < kSame * chosen->found_order) {
        left.erase(left.begin() + static_cast<std::ptrdiff_t>(i));
      }
    }
    const auto its_place = std::ranges::find_if(left, [&](const auto& l) {
      return bearings[l.first]->name == chosen->part && l.second == chosen->kind;
    });
    left.erase(its_place);
    result.named.push_back(std::move(*chosen));
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

std::string beside_cage(const std::vector<Attribution>& named) {
  return std::ranges::find(named, NoiseKind::cage, &Attribution::kind) == named.end()
             ? std::string()
             : "Lines of the cage's turn stand at all of its multiples, so races and elements were "
               "not searched beside it.";
}

Diagnostic noise_complaint(std::string_view code, std::string message, std::string_view hint) {
  Diagnostic d;
  d.code = code;
  d.message = std::move(message);
  d.hint = hint;
  return d;
}

}  // namespace dryshaft::noise
