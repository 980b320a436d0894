// Plain bearings at constant speed: squared-envelope spectra in fixed bands,
// searched for the families of lines that damage to each part makes.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "dryshaft/noise.hpp"
#include "noise/mains.hpp"
#include "noise/peaks.hpp"
#include "noise/search.hpp"

namespace dryshaft {
namespace {

using noise::BandEnvelope;

constexpr double kLowestHz = 500;     // below, the machine's own orders are too strong
constexpr double kHighestOrder = 25;  // of envelope lines
constexpr std::size_t kLongest = std::size_t{1} << 18U;  // samples in a block
// From here on the envelopes of every second block are enough.
constexpr std::size_t kBlocksInFull = 4;
constexpr double kFewestTurns = 20;

// A speed, within these bounds of what was given, at which a bearing would be clear.
std::string other_speed(const std::vector<BandEnvelope>& all_bands, double shaft_hz,
                        std::span<const Bearing* const> bearings, const NoiseOptions& options) {
  constexpr double kLeast = 0.4;
  constexpr double kMost = 2.5;
  // Damage rings: the bands with the sharpest envelopes show it, if any do.
  constexpr std::size_t kSharpest = 10;
  std::vector<const BandEnvelope*> by_kurtosis;
  by_kurtosis.reserve(all_bands.size());
  for (const BandEnvelope& band : all_bands) {
    by_kurtosis.push_back(&band);
  }
  std::ranges::stable_sort(by_kurtosis, std::ranges::greater{}, &BandEnvelope::kurtosis);
  std::vector<BandEnvelope> bands;
  for (std::size_t i = 0; i < std::min(kSharpest, by_kurtosis.size()); ++i) {
    bands.push_back(*by_kurtosis[i]);
  }
  std::size_t lines = 0;  // narrow bands keep fewer
  for (const BandEnvelope& band : bands) {
    lines = std::max(lines, band.spectrum.power.size());
  }
  double best_depth = 2 * options.least_depth;  // a remark must not be an accident
  std::string said;
  // Steps as wide as the slip that each search allows for; the places add up.
  NoiseOptions strict = options;
  const double steps = std::log(kMost / kLeast) / (2 * options.slip);
  strict.false_alarm = options.false_alarm / steps;
  for (double factor = kLeast; factor <= kMost; factor *= 1 + 2 * options.slip) {
    if (std::abs(factor - 1) <= 2 * options.slip) {
      continue;
    }
    const double per_order = shaft_hz * factor / bands.front().spectrum.spacing;
    noise::Mask mask(lines);
    // Neither what the shaft would do at that speed nor at the one given.
    noise::leave_out_shaft(mask, 1, kHighestOrder, per_order);
    constexpr double kOff = 0.02;  // by which the speed given may be off
    constexpr double kWidest = 0.06;
    for (double order = 1 / factor; order < kHighestOrder; order += 1 / factor) {
      mask.leave_out(order * per_order, std::min(kOff * order, kWidest) * per_order,
                     LeftOut::shaft_order);
    }
    const noise::BearingSearch at =
        noise::search_bearings(bands, per_order, kHighestOrder, std::move(mask), bearings, strict);
    for (const Attribution& a : at.named) {
      constexpr std::size_t kEnough = 3;
      if (a.kind != NoiseKind::cage && a.standing >= kEnough && a.depth > best_depth) {
        best_depth = a.depth;
        const double share = factor * a.found_order / a.expected_order;
        said = fmt::format(
            "At {:.3g} times the speed given ({:.0f} rpm) lines would fit the {} of {}: is the "
            "speed "
            "right?",
            share, shaft_hz * 60 * share, title(a.kind), a.part);
      }
    }
  }
  return said;
}

}  // namespace

Result<NoiseReport> listen_to_bearings(const Recording& recording,
                                       const std::vector<Bearing>& bearings, double shaft_rpm,
                                       const NoiseOptions& options) {
  Result<NoiseReport> result;
  if (!(recording.rate >= kLeastSampleRate)) {  // hardly a band is left above `kLowestHz`
    result.diagnostics.push_back(noise::noise_complaint(
        "bad-rate",
        fmt::format("has {:.0f} samples a second; a bearing needs {} or more", recording.rate,
                    kLeastSampleRate),
        noise::kBetterRecorder));
    return result;
  }
  if (std::string what = complaint_about(bearings); !what.empty()) {
    result.diagnostics.push_back(noise::noise_complaint("bad-geometry", std::move(what), {}));
    return result;
  }
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
  const double turns = static_cast<double>(have) / recording.rate * shaft;
  if (turns < kFewestTurns) {
    result.diagnostics.push_back(noise::noise_complaint(
        "too-short",
        fmt::format("holds {:.1f} turns of the shaft; at least {:.0f} are needed", turns,
                    kFewestTurns),
        "record longer, or at a higher speed"));
    return result;
  }
  // One block where it all fits; else the last part block is left out.
  const std::size_t length = noise::fast_length_within(have);
  samples.resize(length);
  noise::Analyser analyser(recording.rate, length, kLowestHz, shaft * kHighestOrder);
  NoiseReport report;
  report.rate = recording.rate;
  report.plain_bearings = true;
  report.false_alarm = options.false_alarm;
  float least = samples[0];
  float most = samples[0];
  do {
    for (const float x : samples) {
      least = std::min(least, x);
      most = std::max(most, x);
    }
    const std::size_t block = analyser.blocks();
    analyser.add(std::span(samples), block < kBlocksInFull || block % 2 == 0);
    report.seconds += static_cast<double>(length) / recording.rate;
    fill();
  } while (have == length);
  if (!(least < most)) {
    result.diagnostics.push_back(noise::noise_complaint("silent", "holds nothing but silence",
                                                        "was the microphone plugged in?"));
    return result;
  }

  report.speed.basis = SpeedBasis::constant;
  report.speed.given_rpm = shaft_rpm;
  double turning = shaft;
  const noise::Spectrum amplitude = analyser.amplitude();
  if (const auto found = noise::refine_speed(amplitude, shaft, options.speed_band)) {
    turning = shaft * found->factor;
    report.speed.shaft_lines = found->lines;
  } else {
    report.limits.emplace_back("No shaft orders stand out, so the speed is used as given.");
  }
  report.speed.used_rpm = report.speed.lowest_rpm = report.speed.highest_rpm = turning * 60;
  report.speed.track = {{0, turning * 60}};

  std::vector<BandEnvelope> bands = analyser.envelopes();
  const double spacing = amplitude.spacing;
  const double per_order = turning / spacing;
  noise::find_floors(bands, per_order);
  const double highest = static_cast<double>(amplitude.power.size()) / per_order;
  noise::Mask mask(amplitude.power.size());
  noise::leave_out_shaft(mask, 1, highest, per_order);
  if (const auto mains = noise::find_mains(amplitude, turning)) {
    noise::leave_out_mains(mask, *mains, spacing);
    report.limits.push_back(
        fmt::format("Mains hum at {:.0f} Hz and its multiples is left out.", *mains));
  }
  std::vector<const Bearing*> all;
  all.reserve(bearings.size());
  for (const Bearing& b : bearings) {
    all.push_back(&b);
  }
  noise::BearingSearch search =
      noise::search_bearings(bands, per_order, highest, std::move(mask), all, options);
  report.named = std::move(search.named);
  report.considered = std::move(search.considered);
  report.decoys = search.decoys;
  noise::find_shared(report.named, all, options, 1 / per_order);
  if (std::string said = noise::beside_cage(report.named); !said.empty()) {
    report.limits.push_back(std::move(said));
  }
  if (report.decoys > noise::kMostDecoys) {
    report.left_open = LeftOpen::lines_everywhere;
  } else if (report.named.empty() && report.speed.shaft_lines == 0) {
    if (std::string said = other_speed(bands, shaft, all, options); !said.empty()) {
      report.limits.push_back(std::move(said));
    }
  }
  noise::describe_spectra(report, amplitude, bands, per_order);
  result.value = std::move(report);
  return result;
}

}  // namespace dryshaft
