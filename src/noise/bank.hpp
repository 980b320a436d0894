// A bank of overlapping bands: the squared envelope of each, as a stream.
#ifndef DRYSHAFT_NOISE_BANK_HPP
#define DRYSHAFT_NOISE_BANK_HPP

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

#include "noise/fourier.hpp"

namespace dryshaft::noise {

// Neighbouring bands of one width, each half over the next.
class BandBank {
 public:
  struct Band {
    double low = 0;  // Hz
    double high = 0;
  };
  // Bands of about `width` Hz between `lowest` and `highest` Hz.
  BandBank(double rate, double width, double lowest, double highest);

  [[nodiscard]] const std::vector<Band>& bands() const { return bands_; }
  [[nodiscard]] double envelope_rate() const;
  [[nodiscard]] std::size_t stride() const;
  // Samples of the spectrum's block, of which the middle is good.
  [[nodiscard]] static std::size_t block_length() { return kBlock; }
  [[nodiscard]] static std::size_t hop() { return kBlock - 2 * kMargin; }
  // `bins`: spectrum of `block_length` samples. Appends the squared envelopes of the
  // block's middle to `out`, instant by instant: one value for each band, then
  // zeros up to `stride` values.
  void add(std::span<const std::complex<float>> bins, std::vector<float>& out);

 private:
  static constexpr std::size_t kBlock = std::size_t{1} << 14U;
  static constexpr std::size_t kMargin = kBlock / 16;  // at each end, left out

  double rate_;
  std::size_t length_ = 0;  // of a band's own signal, a multiple of 16
  std::vector<std::size_t> first_;
  std::vector<Band> bands_;
  std::vector<float> shape_;
  std::vector<std::complex<float>> in_;
  std::vector<std::complex<float>> signal_;
  InverseTransform inverse_;
};

}  // namespace dryshaft::noise

#endif
