#include "noise/bank.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "noise/angle.hpp"

namespace dryshaft::noise {
namespace {

// A fast length that a sixteenth of goes into, so that the margins are whole.
std::size_t length_for(double bins) {
  const auto sixteenth = static_cast<std::size_t>(std::max(std::lround(bins / 16), 1L));
  return 16 * fast_length(sixteenth);
}

}  // namespace

BandBank::BandBank(double rate, double width, double lowest, double highest)
    : rate_(rate),
      length_(length_for(width / rate * static_cast<double>(kBlock))),
      shape_(length_),
      in_(length_),
      signal_(length_),
      inverse_(length_) {
  const double bin = rate / static_cast<double>(kBlock);
  const auto last = static_cast<std::size_t>(std::min(highest / bin, kBlock / 2.0));
  for (auto first = static_cast<std::size_t>(lowest / bin); first + length_ <= last;
       first += length_ / 2) {
    first_.push_back(first);
    bands_.push_back(
        {static_cast<double>(first) * bin, static_cast<double>(first + length_) * bin});
  }
  for (std::size_t k = 0; k < length_; ++k) {
    const double x = (static_cast<double>(k) + 0.5) / static_cast<double>(length_);
    shape_[k] = static_cast<float>(std::sin(std::numbers::pi * x));
  }
}

double BandBank::envelope_rate() const {
  return rate_ * static_cast<double>(length_) / static_cast<double>(kBlock);
}

std::size_t BandBank::stride() const { return Resampler::padded(bands_.size()); }

// The bins of a band alone, moved down to frequency 0, are its analytic signal
// at a lower rate. Folding is slight: the band's edges are faded out.
void BandBank::add(std::span<const std::complex<float>> bins, std::vector<float>& out) {
  const std::size_t margin = length_ * kMargin / kBlock;
  const std::size_t good = length_ - 2 * margin;
  const std::size_t begin = out.size();
  const std::size_t stride = this->stride();
  out.resize(begin + good * stride);
  for (std::size_t b = 0; b < bands_.size(); ++b) {
    for (std::size_t k = 0; k < length_; ++k) {
      in_[k] = bins[first_[b] + k] * shape_[k];
    }
    inverse_.inverse(in_, signal_);
    float* to = out.data() + begin + b;
    for (std::size_t i = 0; i < good; ++i) {
      const std::complex<float> z = signal_[margin + i];
      *to = z.real() * z.real() + z.imag() * z.imag();
      to += stride;
    }
  }
}

}  // namespace dryshaft::noise
