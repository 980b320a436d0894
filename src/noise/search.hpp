// The search for bearings in envelope spectra: the clearest part is named
// first, and what it accounts for is left out of the next search.
#ifndef DRYSHAFT_NOISE_SEARCH_HPP
#define DRYSHAFT_NOISE_SEARCH_HPP

#include <array>
#include <span>
#include <vector>

#include "dryshaft/noise.hpp"
#include "noise/lines.hpp"
#include "noise/spectra.hpp"

namespace dryshaft::noise {

inline constexpr std::array kBearingKinds = {NoiseKind::outer_race, NoiseKind::inner_race,
                                             NoiseKind::element, NoiseKind::cage};
double order_of(const DefectOrders& orders, NoiseKind kind);

// Lines of a shaft: each multiple of `order` up to `highest`, as wide as a slight error of the
// speed makes it.
void leave_out_shaft(Mask& mask, double order, double highest, double per_order);

// Fills each band's `floor`.
void find_floors(std::vector<BandEnvelope>& bands, double per_order);

struct BearingSearch {
  std::vector<Attribution> named;
  std::vector<Attribution> considered;
};
// `per_order`: lines of the spectra for one order; `highest`: order up to which lines are kept.
BearingSearch search_bearings(const std::vector<BandEnvelope>& bands, double per_order,
                              double highest, Mask mask, std::span<const Bearing* const> bearings,
                              const NoiseOptions& options);

// Which other parts' expected orders lie as near to what was found.
void find_shared(std::vector<Attribution>& named, std::span<const Bearing* const> bearings,
                 const NoiseOptions& options, double order_spacing);

// What was not looked for where a cage is named; else empty.
std::string beside_cage(const std::vector<Attribution>& named);

Diagnostic noise_complaint(std::string_view code, std::string message, std::string_view hint);
// The hint where a recording has too few samples a second.
inline constexpr std::string_view kBetterRecorder = "record with a phone or a sound recorder";

}  // namespace dryshaft::noise

#endif
