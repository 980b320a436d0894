// Lines against the noise floor around them, and families of lines.
#ifndef DRYSHAFT_NOISE_LINES_HPP
#define DRYSHAFT_NOISE_LINES_HPP

#include <cstddef>
#include <optional>
#include <vector>

#include "noise/spectra.hpp"

namespace dryshaft::noise {

// Mean power of the noise at each line: the median over `window` lines around
// it, divided by the median of what noise of mean 1 has there (Gamma with as
// many degrees of shape as blocks were averaged).
std::vector<double> noise_floor(const Spectrum& spectrum, std::size_t window);

// The chance that noise alone makes the sum of `lines` normalised lines, each
// averaged over `blocks` blocks, reach `sum`: a Gamma tail.
double chance_of_sum(double sum, std::size_t lines, std::size_t blocks);

// A speed that a comb of shaft orders fits.
struct SpeedFound {
  double factor = 1;  // true over nominal
  std::size_t lines = 0;
  double p_value = 1;
};

// The factor, within `most` of 1, at which lines at 1 to 5 times the shaft
// frequency stand out most in the amplitude spectrum. Nothing: no such comb.
std::optional<SpeedFound> refine_speed(const Spectrum& amplitude, double shaft_hz, double most);

// A family of lines at 1, 2, ... times an order.
struct Family {
  double order = 0;                   // found
  std::size_t lines = 0;              // looked at: those that are no shaft orders
  std::size_t standing = 0;           // of these, lines that stand out each by itself
  double sum = 0;                     // of power over floor
  double depth = 0;                   // root of the summed power: depth of modulation
  double p_value = 1;                 // of the sum, for one place looked at
  std::size_t places = 0;             // looked at
  std::vector<std::size_t> excluded;  // multiples that coincide with a shaft order
  std::vector<std::size_t> shared;    // multiples that coincide with what is taken
};

// Orders at which lines are accounted for already: a family that was named,
// with its multiples and their sidebands at shaft speed.
struct Taken {
  std::vector<double> orders;
  [[nodiscard]] bool holds(double order, double order_spacing) const;
  void family(double order, double highest);
};

// The best place for a family within `slip` of the expected order.
Family find_family(const Spectrum& spectrum, const std::vector<double>& floor, double shaft_hz,
                   double expected_order, double slip, const Taken& taken);

// Whether an order lies so near a multiple of the shaft's that it cannot be told from it.
bool is_shaft_order(double order, double order_spacing);

}  // namespace dryshaft::noise

#endif
