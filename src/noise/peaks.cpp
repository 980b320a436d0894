#include "noise/peaks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "noise/describe.hpp"

namespace dryshaft::noise {
namespace {

constexpr std::size_t kPoints = 1600;  // of a curve
constexpr std::size_t kMostLines = 20;

}  // namespace

std::vector<Known> known_orders(const std::vector<Attribution>& named, double highest,
                                double per_order) {
  constexpr int kSidebands = 3;
  std::vector<Known> known;
  for (const Attribution& a : named) {
    const int sidebands = of_bearing(a.kind) ? kSidebands : 0;
    const std::string part = phrase(a);
    for (int k = 1; a.found_order > 0 && a.found_order * k <= highest; ++k) {
      for (int m = -sidebands; m <= sidebands; ++m) {
        const double order = a.found_order * k + m;
        known.push_back({order, std::max(0.002 * order, 1.5 / per_order),
                         m == 0 ? fmt::format("{} x {}", k, part)
                                : fmt::format("{} x {}, {} {} x shaft", k, part,
                                              m < 0 ? "less" : "plus", std::abs(m))});
      }
    }
  }
  // The line itself before the sidebands of another.
  std::ranges::stable_sort(known, {},
                           [](const Known& k) { return k.what.find(',') != std::string::npos; });
  for (int k = 1; k <= highest; ++k) {
    known.push_back({static_cast<double>(k), std::max(0.003 * k, 1.5 / per_order),
                     fmt::format("{} x shaft", k)});
  }
  return known;
}

std::string fits(const std::vector<Known>& known, double order) {
  const auto found = std::ranges::find_if(
      known, [&](const Known& k) { return std::abs(order - k.order) <= k.near; });
  return found == known.end() ? std::string() : found->what;
}

OrderCurve curve(const Spectrum& spectrum, const std::vector<double>& floor, double per_order) {
  OrderCurve c;
  const std::size_t n = spectrum.power.size();
  const std::size_t step = std::max<std::size_t>((n + kPoints - 1) / kPoints, 1);
  c.order_spacing = static_cast<double>(step) / per_order;
  c.level_db.reserve(n / step + 1);
  for (std::size_t i = 0; i < n; i += step) {
    double top = 0;
    for (std::size_t j = i; j < std::min(i + step, n); ++j) {
      top = std::max(top, spectrum.power[j] / floor[j]);
    }
    c.level_db.push_back(static_cast<float>(std::max(decibels(top), -20.0)));
  }
  return c;
}

std::vector<NoiseLine> strongest(const Spectrum& spectrum, const std::vector<double>& floor,
                                 double per_order, double shaft_hz, std::size_t most,
                                 const std::vector<Known>& known, const ShareOf& share) {
  std::vector<std::pair<double, std::size_t>> peaks;
  const std::vector<double>& p = spectrum.power;
  const double stands = standing_level(spectrum.blocks);
  // Below an order of 0.1 there is drift, no line.
  for (auto i = static_cast<std::size_t>(std::max(0.1 * per_order, 2.0)); i + 1 < p.size(); ++i) {
    const double q = p[i] / floor[i];
    if (q > stands && p[i] >= p[i - 1] && p[i] > p[i + 1]) {
      peaks.emplace_back(q, i);
    }
  }
  std::ranges::sort(peaks, [](const auto& a, const auto& b) {
    return a.first != b.first ? a.first > b.first : a.second < b.second;
  });
  std::vector<NoiseLine> lines;
  for (const auto& [q, i] : peaks) {
    // A line and the foot of its window are one.
    const double order = static_cast<double>(i) / per_order;
    const bool again = std::ranges::any_of(lines, [&](const NoiseLine& l) {
      return std::abs(l.order - order) < std::max(3 / per_order, 0.003 * order);
    });
    if (again) {
      continue;
    }
    NoiseLine line;
    line.order = order;
    line.hz = order * shaft_hz;
    line.level_db = decibels(q);
    line.p_value =
        std::min(1.0, chance_of_sum(q, 1, spectrum.blocks) * static_cast<double>(p.size()));
    line.share = share ? share(i) : -1;
    line.fits = fits(known, order);
    lines.push_back(std::move(line));
    if (lines.size() == most) {
      break;
    }
  }
  return lines;
}

std::size_t band_to_show(const std::vector<BandEnvelope>& bands,
                         const std::vector<Attribution>& named) {
  const auto bearing = std::ranges::find_if(
      named, [](const Attribution& a) { return of_bearing(a.kind) && a.band_high_hz > 0; });
  std::size_t best = 0;
  double most = -1;
  for (std::size_t b = 0; b < bands.size(); ++b) {
    if (bearing != named.end()) {
      if (bands[b].low == bearing->band_low_hz && bands[b].high == bearing->band_high_hz) {
        return b;
      }
      continue;
    }
    if (bands[b].kurtosis > most) {
      most = bands[b].kurtosis;
      best = b;
    }
  }
  return best;
}

void describe_spectra(NoiseReport& report, const Spectrum& amplitude,
                      const std::vector<BandEnvelope>& bands, double per_order) {
  const double shaft_hz = report.speed.used_rpm / 60;
  const auto window = static_cast<std::size_t>(std::max(60.0, 2 * per_order));
  const auto highest = static_cast<double>(amplitude.power.size()) / per_order;
  const std::vector<Known> known = known_orders(report.named, highest, per_order);
  const std::vector<double> floor = noise_floor(amplitude, window);
  report.order_spectrum = curve(amplitude, floor, per_order);
  report.lines = strongest(amplitude, floor, per_order, shaft_hz, kMostLines, known, {});
  if (bands.empty()) {
    return;
  }
  const BandEnvelope& band = bands[band_to_show(bands, report.named)];
  report.envelope_spectrum = curve(band.spectrum, band.floor, per_order);
  report.envelope_low_hz = band.low;
  report.envelope_high_hz = band.high;
  for (NoiseLine& line :
       strongest(band.spectrum, band.floor, per_order, shaft_hz, kMostLines, known, {})) {
    line.in_envelope = true;
    report.lines.push_back(std::move(line));
  }
}

}  // namespace dryshaft::noise
