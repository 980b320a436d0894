// Hum of the mains: lines at multiples of 50 or 60 Hz.
#ifndef DRYSHAFT_NOISE_MAINS_HPP
#define DRYSHAFT_NOISE_MAINS_HPP

#include <optional>

#include "noise/lines.hpp"

namespace dryshaft::noise {

// 50 or 60, where at least three of its first six multiples stand and are no
// orders of a shaft that turns at `shaft_hz`. The spectrum is one over frequency.
std::optional<double> find_mains(const Spectrum& amplitude, double shaft_hz);
void leave_out_mains(Mask& mask, double mains_hz, double spacing_hz);

}  // namespace dryshaft::noise

#endif
