// What of a drive unit can be heard as tones, and at which orders of rotor speed.
#ifndef DRYSHAFT_NOISE_SOURCES_HPP
#define DRYSHAFT_NOISE_SOURCES_HPP

#include <cstddef>
#include <string>
#include <vector>

#include "dryshaft/noise.hpp"

namespace dryshaft::noise {

// A part that makes a tone at `order` and its multiples.
struct Tone {
  PartKind what;
  double order = 0;
  std::size_t multiples = 1;
  double loose = 0;      // share by which it may be off: an asynchronous rotor slips
  bool for_comb = true;  // helps to find the speed
};
std::vector<Tone> tones_of(const Machine& machine);

// Orders of all shafts: rotor, between the stages, wheel.
std::vector<double> shaft_orders(const Machine& machine);

}  // namespace dryshaft::noise

#endif
