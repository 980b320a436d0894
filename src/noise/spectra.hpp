// What the analysis looks at: the amplitude spectrum of a recording, and the
// spectrum of the squared envelope in each of a fixed set of bands.
#ifndef DRYSHAFT_NOISE_SPECTRA_HPP
#define DRYSHAFT_NOISE_SPECTRA_HPP

#include <cstddef>
#include <map>
#include <span>
#include <vector>

#include "noise/fourier.hpp"

namespace dryshaft::noise {

// Power of spectral lines, averaged over blocks; line `i` is at `i * spacing`.
struct Spectrum {
  double spacing = 0;  // between lines, in the unit of the sampling rate
  double blocks = 0;   // independent ones that were averaged
  std::vector<double> power;
};

// The squared envelope of one band, divided by its mean.
struct BandEnvelope {
  double low = 0;  // edges of the band
  double high = 0;
  double kurtosis = 0;        // mean of its square: 2 for Gaussian noise, more for impulses
  Spectrum spectrum;          // |2/N DFT|^2: the squared depth of modulation at each line
  std::vector<double> floor;  // of the noise at each line; see find_floors
};

// The bands do not depend on what is looked for: the range up to half the
// sampling rate in 1, 2, 3, 4, 6, 8 and 12 equal parts, above `lowest`.
std::vector<std::pair<double, double>> bands(double rate, double lowest);

// Takes blocks of `length` samples and averages their spectra.
class Analyser {
 public:
  // `rate`: samples a second, or a revolution. `highest`: no line above it is kept.
  Analyser(double rate, std::size_t length, double lowest, double highest);
  // `length` samples; `envelopes`: false leaves the envelopes of this block out.
  void add(std::span<const float> block, bool envelopes = true);

  [[nodiscard]] std::size_t length() const { return length_; }
  [[nodiscard]] std::size_t blocks() const { return blocks_; }
  // Amplitude spectrum with a Hann window, up to `highest`.
  [[nodiscard]] Spectrum amplitude() const;
  [[nodiscard]] std::vector<BandEnvelope> envelopes() const;

 private:
  struct Band {
    double low = 0;
    double high = 0;
    std::size_t first = 0;  // bins
    std::size_t count = 0;
    std::size_t length = 0;  // of the band's own signal
    std::size_t kept = 0;    // lines
    double fourth = 0;
    std::vector<double> power;
  };
  // Transforms of one length, for all bands that have it.
  struct Transforms {
    InverseTransform inverse;
    RealTransform forward;
  };
  void envelope(Band& band);

  double rate_;
  std::size_t length_;
  std::size_t kept_;
  std::size_t blocks_ = 0;
  std::size_t envelope_blocks_ = 0;
  RealTransform whole_;
  std::vector<std::complex<float>> bins_;
  std::vector<double> amplitude_;
  std::vector<Band> bands_;
  std::map<std::size_t, Transforms> transforms_;
  std::vector<std::complex<float>> in_;
  std::vector<std::complex<float>> signal_;
  std::vector<float> squared_;
  std::vector<std::complex<float>> lines_;
};

}  // namespace dryshaft::noise

#endif
