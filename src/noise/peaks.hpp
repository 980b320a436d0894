// What a reader sees of the spectra: curves and their strongest lines.
#ifndef DRYSHAFT_NOISE_PEAKS_HPP
#define DRYSHAFT_NOISE_PEAKS_HPP

#include <functional>
#include <string>
#include <vector>

#include "noise/lines.hpp"
#include "noise/search.hpp"

namespace dryshaft::noise {

// An order that is accounted for.
struct Known {
  double order = 0;
  double near = 0;  // half the width of its place
  std::string what;
};
// Orders of the named bearings with their multiples and sidebands, then of the shaft.
std::vector<Known> known_orders(const std::vector<Attribution>& named, double highest,
                                double per_order);
std::string fits(const std::vector<Known>& known, double order);

// Share of the time in which a line stands; negative: not worked out.
using ShareOf = std::function<double(std::size_t line)>;

OrderCurve curve(const Spectrum& spectrum, const std::vector<double>& floor, double per_order);
// The strongest lines of a spectrum, at most `most`, strongest first.
std::vector<NoiseLine> strongest(const Spectrum& spectrum, const std::vector<double>& floor,
                                 double per_order, double shaft_hz, std::size_t most,
                                 const std::vector<Known>& known, const ShareOf& share);

// The band that shows the first named bearing, else the one whose lines stand out most.
std::size_t band_to_show(const std::vector<BandEnvelope>& bands,
                         const std::vector<Attribution>& named);

// Curves and lines of a recording of plain bearings; both spectra have the same lines.
void describe_spectra(NoiseReport& report, const Spectrum& amplitude,
                      const std::vector<BandEnvelope>& bands, double per_order);

}  // namespace dryshaft::noise

#endif
