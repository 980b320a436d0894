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

constexpr double kLowestHz = 500;       // below, the machine's own orders are too strong
constexpr double kHighestOrder = 25;    // of envelope lines
constexpr std::size_t kLongest = std::size_t{1} << 19U;  // samples in a block
constexpr double kFewestTurns = 20;
constexpr std::size_t kEnoughStanding = 2;
constexpr double kSame = 0.01;  // of an order: lines of one family, told from another's

constexpr std::array<std::string_view, 4> kKinds = {"outer-race", "inner-race", "element", "cage"};

double order_of(const DefectOrders& orders, NoiseKind kind) {
  switch (kind) {
    case NoiseKind::outer_race:
      return orders.outer_race;
    case NoiseKind::inner_race:
      return orders.inner_race;
    case NoiseKind::element:
      return orders.element;
    case NoiseKind::cage:
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

// Whether a family's lines are those of another that is already named: its
// multiples and their sidebands at shaft and cage speed.
bool explained(double order, const Attribution& by) {
  for (int k = 1; k <= 5; ++k) {
    for (int m = -4; m <= 4; ++m) {
      const double line = by.found_order * k + m;
      if (std::abs(order - line) < kSame * std::max(order, 1.0)) {
        return true;
      }
    }
  }
  return false;
}

}  // namespace

std::string_view name(NoiseKind kind) { return kKinds[static_cast<std::size_t>(kind)]; }

Result<NoiseReport> listen_to_bearings(const Recording& recording,
                                       const std::vector<Bearing>& bearings,
                                       const NoiseOptions& options) {
  Result<NoiseReport> result;
  const double shaft = options.rotor_rpm / 60;
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
    result.diagnostics.push_back(complaint(
        "too-short",
        fmt::format("holds {:.1f} turns of the shaft; at least {:.0f} are needed",
                    static_cast<double>(have) / recording.rate * shaft, kFewestTurns),
        "record longer, or at a higher speed"));
    return result;
  }
  // One block where it all fits; else the last part block is left out.
  const std::size_t length = (have / 2) * 2;
  samples.resize(length);
  Analyser analyser(recording.rate, length, kLowestHz, shaft * kHighestOrder);
  NoiseReport& report = result.value.emplace();
  report.rate = recording.rate;
  do {
    analyser.add(std::span(samples));
    report.seconds += static_cast<double>(length) / recording.rate;
    fill();
  } while (have == length);

  report.speed.given_rpm = report.speed.used_rpm = options.rotor_rpm;
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
    const auto window =
        static_cast<std::size_t>(std::max(60.0, 2 * turning / e.spectrum.spacing));
    floors.push_back(noise_floor(e.spectrum, window));
  }
  const double searches =
      static_cast<double>(envelopes.size() * bearings.size() * kKinds.size());
  std::vector<Attribution> all;
  for (const Bearing& bearing : bearings) {
    const DefectOrders orders = defect_orders(bearing);
    for (std::size_t k = 0; k < kKinds.size(); ++k) {
      Attribution best;
      best.part = bearing.name;
      best.kind = static_cast<NoiseKind>(k);
      best.expected_order = order_of(orders, best.kind);
      for (std::size_t b = 0; b < envelopes.size(); ++b) {
        const Family f = find_family(envelopes[b].spectrum, floors[b], turning,
                                     best.expected_order, options.slip);
        const double p =
            std::min(1.0, f.p_value * searches * static_cast<double>(std::max<std::size_t>(f.places, 1)));
        const bool counts = p <= options.false_alarm && f.standing >= kEnoughStanding;
        if (f.lines > 0 && (counts ? f.depth : 0) >= best.depth) {
          best.found_order = f.order;
          best.depth = counts ? f.depth : 0;
          best.level_db = 10 * std::log10(std::max(f.sum, 1e-9) / static_cast<double>(f.lines));
          best.p_value = p;
          best.band_low_hz = envelopes[b].low;
          best.band_high_hz = envelopes[b].high;
          best.lines = f.lines;
          best.standing = f.standing;
          best.excluded = f.excluded;
        }
      }
      all.push_back(std::move(best));
    }
  }
  std::ranges::stable_sort(all, [](const Attribution& a, const Attribution& b) {
    return a.depth > b.depth;
  });
  for (Attribution& a : all) {
    const bool clear = a.depth >= options.least_depth && a.p_value <= options.false_alarm;
    const bool another = report.named.empty() || !explained(a.found_order, report.named.front());
    // Halfway where nothing is named yet, near certain at full modulation.
    a.confidence = std::clamp(a.depth / (a.depth + options.least_depth), 0.0, 1.0);
    (clear && another ? report.named : report.considered).push_back(std::move(a));
  }
  return result;
}

}  // namespace dryshaft
