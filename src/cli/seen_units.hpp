// Which units a long input has shown, in a fixed memory.
#ifndef DRYSHAFT_CLI_SEEN_UNITS_HPP
#define DRYSHAFT_CLI_SEEN_UNITS_HPP

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string_view>
#include <vector>

namespace dryshaft::cli {

// A set of hashes of 64 bits: of as many units as it holds, two share one with a chance of less
// than one in ten million. At most 24 MiB while it grows.
class SeenUnits {
 public:
  static constexpr std::size_t kMost = 1'500'000;

  // False where the unit was there before. Once `full`, what is new is not kept.
  bool add(std::string_view unit) {
    const std::uint64_t hash = hash_of(unit);
    std::uint64_t* const place = place_of(hash);
    if (*place != kNothing) {
      return false;
    }
    if (!full()) {
      *place = hash;
      if (++count_ > slots_.size() / 4 * 3) {
        grow();
      }
    }
    return true;
  }
  [[nodiscard]] bool full() const { return count_ >= kMost; }

 private:
  static constexpr std::uint64_t kNothing = 0;

  static std::uint64_t hash_of(std::string_view unit) {
    const std::uint64_t hash = std::hash<std::string_view>()(unit);
    return hash == kNothing ? 1 : hash;
  }
  // Where it stands, or would.
  std::uint64_t* place_of(std::uint64_t hash) {
    std::size_t at = hash & (slots_.size() - 1);
    while (slots_[at] != kNothing && slots_[at] != hash) {
      at = (at + 1) & (slots_.size() - 1);
    }
    return &slots_[at];
  }
  void grow() {
    std::vector<std::uint64_t> before(slots_.size() * 2, kNothing);
    before.swap(slots_);
    for (const std::uint64_t hash : before) {
      if (hash != kNothing) {
        *place_of(hash) = hash;
      }
    }
  }

  std::vector<std::uint64_t> slots_ = std::vector<std::uint64_t>(1024, kNothing);
  std::size_t count_ = 0;
};

}  // namespace dryshaft::cli

#endif
