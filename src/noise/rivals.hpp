// What else makes families of lines: things that knock more slowly than the part of a bearing, so
// that one of their many multiples lies on its order.
#ifndef DRYSHAFT_NOISE_RIVALS_HPP
#define DRYSHAFT_NOISE_RIVALS_HPP

#include <cstddef>
#include <span>
#include <vector>

#include "noise/lines.hpp"

namespace dryshaft::noise {

inline constexpr double kLineWidth = 0.004;  // of a bearing's line, as a share of its order

// Lines at one spacing.
struct Comb {
  double spacing = 0;  // order; 0: none
  std::size_t lines = 0;
  std::size_t standing = 0;  // of these
  double level = 0;          // mean log of power over floor
  double share = 0;          // of a family's level
  double depth = 0;          // root of the summed power
  double p_value = 1;        // of the family whose lines these are
  double band_low = 0;       // Hz; 0 to 0: in the sound itself
  double band_high = 0;
};

// Combs in one spectrum.
class Combs {
 public:
  // Both live as long as this. `width`: of lines, as a share of their order.
  Combs(const Spectrum& spectrum, const std::vector<double>& floor, double per_order, double width);

  // The comb to which the lines of a family belong as well as their neighbours do: those stand
  // `spacing` apart on both sides. `own`: spacings of the family's own sidebands. The level is the
  // neighbours', `share` it over that of the family.
  [[nodiscard]] Comb around(const Family& family, const Mask& mask,
                            std::span<const double> own) const;
  // All multiples of `spacing`, save those of `but` times it (0: none). `beside`: as many places
  // half way to the next instead.
  [[nodiscard]] Comb at(double spacing, const Mask& mask, std::size_t but,
                        bool beside = false) const;

 private:
  // The multiples of a family that show it best.
  [[nodiscard]] std::vector<std::size_t> multiples(const Family& family, const Mask& mask) const;
  [[nodiscard]] bool whole(double order) const;  // a line of the shaft itself
  [[nodiscard]] std::size_t line(double order) const;

  const Spectrum& spectrum_;
  double per_order_;
  double width_;
  double stands_;
  std::vector<float> level_;  // log of power over floor: the best of a line and its neighbours
};

}  // namespace dryshaft::noise

#endif
