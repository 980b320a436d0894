#include "noise/spectra.hpp"

#include <algorithm>
#include <cmath>

namespace dryshaft::noise {
namespace {

// Filters near half the sampling rate show the converter, not the machine.
constexpr double kTop = 0.98;
constexpr double kNarrowest = 300;  // Hz; narrower bands hold too few lines

}  // namespace

std::vector<std::pair<double, double>> bands(double rate, double lowest) {
  std::vector<std::pair<double, double>> out;
  for (const int parts : {1, 2, 3, 4, 6, 8, 12}) {
    const double width = rate / 2 / parts;
    for (int i = 0; i < parts; ++i) {
      const double low = std::max(i * width, lowest);
      const double high = std::min((i + 1) * width, rate / 2 * kTop);
      if (high - low > kNarrowest) {
        out.emplace_back(low, high);
      }
    }
  }
  return out;
}

Analyser::Analyser(double rate, std::size_t length, double lowest, double highest)
    : rate_(rate),
      length_(length),
      kept_(std::min(length / 2 + 1,
                     static_cast<std::size_t>(highest / rate * static_cast<double>(length)) + 1)),
      whole_(length),
      bins_(length / 2 + 1),
      amplitude_(kept_) {
  const auto n = static_cast<double>(length);
  std::size_t longest = 0;
  for (const auto& [low, high] : bands(rate, lowest)) {
    Band band;
    band.low = low;
    band.high = high;
    band.first = static_cast<std::size_t>(low / rate * n);
    band.count = static_cast<std::size_t>(high / rate * n) - band.first;
    // Lines that are kept must not fold onto each other; what folds onto them from differences as
    // wide as the band is a small share of the noise.
    band.kept = std::min(kept_, band.count);
    band.length = fast_length(std::max(band.count, 2 * band.kept));
    band.power.assign(band.kept, 0);
    longest = std::max(longest, band.length);
    if (!transforms_.contains(band.length)) {
      transforms_.emplace(band.length,
                          Transforms{InverseTransform(band.length), RealTransform(band.length)});
    }
    bands_.push_back(std::move(band));
  }
  in_.resize(longest);
  signal_.resize(longest);
  squared_.resize(longest);
  lines_.resize(longest / 2 + 1);
}

void Analyser::add(std::span<const float> block, bool envelopes) {
  whole_.forward(block, bins_);
  bins_[0] = 0;
  // A Hann window, as its three lines in frequency.
  for (std::size_t k = 1; k + 1 < bins_.size() && k < kept_; ++k) {
    amplitude_[k] += std::norm(0.5F * bins_[k] - 0.25F * (bins_[k - 1] + bins_[k + 1]));
  }
  ++blocks_;
  if (!envelopes) {
    return;
  }
  ++envelope_blocks_;
  for (Band& band : bands_) {
    envelope(band);
  }
}

// The bins of the band alone, moved down to frequency 0, are its analytic
// signal at a lower rate; its squared magnitude is the squared envelope.
void Analyser::envelope(Band& band) {
  const std::size_t n = band.length;
  std::copy_n(bins_.begin() + static_cast<std::ptrdiff_t>(band.first), band.count, in_.begin());
  std::fill(in_.begin() + static_cast<std::ptrdiff_t>(band.count),
            in_.begin() + static_cast<std::ptrdiff_t>(n), std::complex<float>());
  const Transforms& transforms = transforms_.at(n);
  transforms.inverse.inverse(std::span(in_).first(n), std::span(signal_).first(n));
  double mean = 0;
  for (std::size_t i = 0; i < n; ++i) {
    squared_[i] = std::norm(signal_[i]);
    mean += squared_[i];
  }
  mean /= static_cast<double>(n);
  if (!(mean > 0)) {
    return;  // silence has no envelope
  }
  double fourth = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double e = squared_[i] / mean;
    fourth += e * e;
    squared_[i] = static_cast<float>(e - 1);
  }
  band.fourth += fourth / static_cast<double>(n);
  transforms.forward.forward(std::span(squared_).first(n), std::span(lines_).first(n / 2 + 1));
  const double scale = 4 / (static_cast<double>(n) * static_cast<double>(n));
  for (std::size_t k = 0; k < band.kept; ++k) {
    band.power[k] += std::norm(lines_[k]) * scale;
  }
}

Spectrum Analyser::amplitude() const {
  Spectrum s{rate_ / static_cast<double>(length_), static_cast<double>(blocks_), amplitude_};
  for (double& p : s.power) {
    p /= static_cast<double>(std::max<std::size_t>(blocks_, 1));
  }
  return s;
}

std::vector<BandEnvelope> Analyser::envelopes() const {
  std::vector<BandEnvelope> out;
  out.reserve(bands_.size());
  const auto blocks = static_cast<double>(std::max<std::size_t>(envelope_blocks_, 1));
  for (const Band& band : bands_) {
    BandEnvelope e{band.low,
                   band.high,
                   band.fourth / blocks,
                   {rate_ / static_cast<double>(length_), blocks, band.power},
                   {}};
    for (double& p : e.spectrum.power) {
      p /= blocks;
    }
    out.push_back(std::move(e));
  }
  return out;
}

}  // namespace dryshaft::noise
