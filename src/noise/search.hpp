// The search for bearings in envelope spectra: the clearest part is named
// first, and what it accounts for is left out of the next search.
#ifndef DRYSHAFT_NOISE_SEARCH_HPP
#define DRYSHAFT_NOISE_SEARCH_HPP

#include <array>
#include <cmath>
#include <span>
#include <vector>

#include "dryshaft/noise.hpp"
#include "noise/lines.hpp"
#include "noise/rivals.hpp"
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

// Decoys are orders that belong to no part, spread evenly over a range. Where lines fit nearly
// everything - a comb's, or those of clicks that come far slower than any part's -, whatever names
// a part would name many of them as well.
template <typename Fits>
double share_of_decoys(double low, double high, Fits fits) {
  constexpr int kDecoys = 64;
  int fitting = 0;
  for (int i = 0; i < kDecoys; ++i) {
    fitting += fits(low * std::pow(high / low, (i + 0.5) / kDecoys)) ? 1 : 0;
  }
  return static_cast<double>(fitting) / kDecoys;
}
// Share of decoys from which on nothing is named. Of invented recordings in which one bearing's
// fault was named it was at most 0.19, and 0.08 on test rigs.
inline constexpr double kMostDecoys = 0.25;

struct BearingSearch {
  std::vector<Attribution> named;
  std::vector<Attribution> considered;
  // What a bearing would have been named for, if its lines were not a slower thing's.
  std::vector<Comb> combs;
  double decoys = 0;       // share named beside the first part; above kMostDecoys nothing is
  std::size_t places = 0;  // looked at for families, in all
};
// `per_order`: lines of the spectra for one order; `highest`: order up to which lines are kept.
// `off`: share by which the speed may be off.
BearingSearch search_bearings(const std::vector<BandEnvelope>& bands, double per_order,
                              double highest, Mask mask, std::span<const Bearing* const> bearings,
                              const NoiseOptions& options, double off = 0);

struct LinesOf {
  double width = kLineWidth;  // as a share of their order
  double off = 0;     // share by which the speed, and so the spacing of sidebands, may be off
  int sidebands = 4;  // on each side
};
// All that a part of a bearing accounts for, found at an order.
void leave_out_lines_of(Mask& mask, const Bearing& bearing, NoiseKind kind, double order,
                        double highest, double per_order, const LinesOf& lines = {});

// How far lines beside an order, `spacing` apart, stand out: mean log of power over floor.
double sidebands(const Spectrum& spectrum, const std::vector<double>& floor, double order,
                 double spacing, double per_order);

// The comb whose lines a family's are, if any: its other lines stand nearly as high. `cage`: order
// of the bearing's cage; 0: the family is the cage's own, or nobody's.
Comb slower_thing(const Combs& combs, const Family& family, const Mask& mask, double cage);

// Which other parts' expected orders lie as near to what was found.
void find_shared(std::vector<Attribution>& named, std::span<const Bearing* const> bearings,
                 const NoiseOptions& options, double order_spacing);

// What was not looked for where a cage is named; else empty.
std::string beside_cage(const std::vector<Attribution>& named);

Diagnostic noise_complaint(std::string_view code, std::string message, std::string_view hint);
// The hint where a recording has too few samples a second.
inline constexpr std::string_view kBetterRecorder = "record with a phone or an audio recorder";

}  // namespace dryshaft::noise

#endif
