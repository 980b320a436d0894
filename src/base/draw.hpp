// Draws that are the same on every machine: numbers that look random and depend
// on nothing but a text and a count.
#ifndef DRYSHAFT_BASE_DRAW_HPP
#define DRYSHAFT_BASE_DRAW_HPP

#include <cstdint>
#include <string_view>

namespace dryshaft::draw {

// FNV-1a (Fowler, Noll, Vo; constants from memory), going on from an earlier hash.
constexpr std::uint64_t hashed(std::string_view text, std::uint64_t z = 0xCBF29CE484222325U) {
  for (const char c : text) {
    z = (z ^ static_cast<unsigned char>(c)) * 0x100000001B3U;
  }
  return z;
}

// The draw of that number after `z`: SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
constexpr std::uint64_t mixed(std::uint64_t z, std::uint64_t number) {
  z += (number + 1) * 0x9E3779B97F4A7C15U;
  z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
  z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
  return z ^ (z >> 31U);
}

// A run of even numbers in [0, 1).
class Run {
 public:
  explicit constexpr Run(std::uint64_t seed) : seed_(seed) {}
  constexpr double next() { return static_cast<double>(mixed(seed_, number_++) >> 11U) * 0x1p-53; }

  // The same in (0, 1], for logarithms.
  constexpr double inside() { return next() + 0x1p-54; }

 private:
  std::uint64_t seed_;
  std::uint64_t number_ = 0;
};

}  // namespace dryshaft::draw

#endif
