// Plain bearings at constant speed: squared-envelope spectra in fixed bands,
// searched for the families of lines that damage to each part makes.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "dryshaft/noise.hpp"
#include "noise/lines.hpp"
#include "noise/spectra.hpp"

namespace dryshaft {
namespace {

using namespace noise;

constexpr double kLowestHz = 500;     // below, the machine's own orders are too strong
constexpr double kHighestOrder = 25;  // of envelope lines
constexpr std::size_t kLongest = std::size_t{1} << 19U;  // samples in a block
constexpr double kFewestTurns = 20;

constexpr std::array kKinds = {NoiseKind::outer_race, NoiseKind::inner_race, NoiseKind::element,
                               NoiseKind::cage};

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

Diagnostic complaint(std::string_view code, std::string message, std::string_view hint) {
  Diagnostic d;
  d.code = code;
  d.message = std::move(message);
  d.hint = hint;
  return d;
}

// Cage lines lie where the floor is steepest, so more of them have to stand.
std::size_t enough(NoiseKind kind) { return kind == NoiseKind::cage ? 3 : 2; }

}  // namespace

Result<NoiseReport> listen_to_bearings(const Recording& recording,
                                       const std::vector<Bearing>& bearings, double shaft_rpm,
                                       const NoiseOptions& options) {
  Result<NoiseReport> result;
  const double shaft = shaft_rpm / 60;
  std::vector<float> samples(kLongest);
  std::size_t have = 0;
  const auto fill = [&] {
    have = 0;
    for (std::size_t got = 1; got > 0 && have < samples.size(); have += got) {
      got = recording.read(std::span(samples).subspan(have));
    }
  };
  fill();
  if (static_cast<double>(have) / recording.rate * shaft < kFewestTurns) {
    result.diagnostics.push_back(
        complaint("too-short",
                  fmt::format("holds {:.1f} turns of the shaft; at least {:.0f} are needed",
                              static_cast<double>(have) / recording.rate * shaft, kFewestTurns),
                  "record longer, or at a higher speed"));
    return result;
  }
  // One block where it all fits; else the last part block is left out.
  const std::size_t length = fast_length_within(have);
  samples.resize(length);
  Analyser analyser(recording.rate, length, kLowestHz, shaft * kHighestOrder);
  NoiseReport& report = result.value.emplace();
  report.rate = recording.rate;
  do {
    analyser.add(std::span(samples));
    report.seconds += static_cast<double>(length) / recording.rate;
    fill();
  } while (have == length);

  report.speed.given_rpm = report.speed.used_rpm = shaft_rpm;
  double turning = shaft;
  if (const auto found = refine_speed(analyser.amplitude(), shaft, options.speed_band)) {
    turning = shaft * found->factor;
    report.speed.used_rpm = turning * 60;
    report.speed.shaft_lines = found->lines;
  } else {
    report.limits.emplace_back("no shaft orders stand out, so the speed is taken as given");
  }

  const std::vector<BandEnvelope> envelopes = analyser.envelopes();
  std::vector<std::vector<double>> floors;
  floors.reserve(envelopes.size());
  for (const BandEnvelope& e : envelopes) {
    const auto window = static_cast<std::size_t>(std::max(60.0, 2 * turning / e.spectrum.spacing));
    floors.push_back(noise_floor(e.spectrum, window));
  }
  const double searches = static_cast<double>(envelopes.size() * bearings.size() * kKinds.size());
  // The clearest is named first; what it accounts for is left out of the next search.
  Taken taken;
  std::vector<std::pair<std::size_t, NoiseKind>> left;
  for (std::size_t i = 0; i < bearings.size(); ++i) {
    for (const NoiseKind kind : kKinds) {
      left.emplace_back(i, kind);
    }
  }
  while (!left.empty()) {
    std::vector<Attribution> found;
    for (const auto& [i, kind] : left) {
      Attribution best;
      best.part = bearings[i].name;
      best.kind = kind;
      best.expected_order = order_of(defect_orders(bearings[i]), kind);
      bool any = false;
      for (std::size_t b = 0; b < envelopes.size(); ++b) {
        const Family f = find_family(envelopes[b].spectrum, floors[b], turning, best.expected_order,
                                     options.slip, taken);
        const double places = static_cast<double>(std::max<std::size_t>(f.places, 1));
        const double p = std::min(1.0, f.p_value * searches * places);
        const bool counts = p <= options.false_alarm && f.standing >= enough(kind);
        if (f.lines > 0 && (!any || (counts ? f.depth : 0) > best.depth)) {
          any = true;
          best.found_order = f.order;
          best.depth = counts ? f.depth : 0;
          best.level_db = 10 * std::log10(std::max(f.sum, 1e-9) / static_cast<double>(f.lines));
          best.p_value = p;
          best.band_low_hz = envelopes[b].low;
          best.band_high_hz = envelopes[b].high;
          best.lines = f.lines;
          best.standing = f.standing;
          best.excluded.clear();
          for (const std::size_t multiple : f.excluded) {
            best.excluded.push_back({multiple, LeftOut::shaft_order});
          }
        }
      }
      best.confidence = best.depth / (best.depth + options.least_depth);
      found.push_back(std::move(best));
    }
    const auto first = std::ranges::max_element(found, {}, &Attribution::depth);
    if (first->depth < options.least_depth) {
      std::ranges::stable_sort(found, std::ranges::greater{}, &Attribution::depth);
      report.considered = std::move(found);
      break;
    }
    taken.family(first->found_order, kHighestOrder);
    left.erase(left.begin() + (first - found.begin()));
    report.named.push_back(std::move(*first));
  }
  return result;
}

}  // namespace dryshaft
