// Draws of the programs that make examples: integers from SplitMix64 (Steele, Lea, Flood 2014;
// constants from memory) with a fixed seed, so that the same bytes come out on every machine.
#ifndef DRYSHAFT_EXAMPLES_DRAW_HPP
#define DRYSHAFT_EXAMPLES_DRAW_HPP

#include <cstddef>
#include <cstdint>

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : state_(seed) {}

  // From 0 to `count` - 1. The slight unevenness of the remainder does not matter here.
  int below(int count) { return static_cast<int>(next() % static_cast<std::uint64_t>(count)); }
  int between(int low, int high) { return low + below(high - low + 1); }
  bool percent(int chance) { return below(100) < chance; }
  template <std::size_t N>
  const char* one_of(const char* const (&words)[N]) {
    return words[static_cast<std::size_t>(below(static_cast<int>(N)))];
  }

 private:
  std::uint64_t next() {
    state_ += 0x9E3779B97F4A7C15U;
    std::uint64_t z = state_;
    z = (z ^ (z >> 30U)) * 0xBF58476D1CE4E5B9U;
    z = (z ^ (z >> 27U)) * 0x94D049BB133111EBU;
    return z ^ (z >> 31U);
  }
  std::uint64_t state_;
};

#endif
