// Levels of findings by name, harmless first, each where the vocabulary's table has it:
// vocabulary.cpp holds them against it. A case keeps them as numbers, -1: not observed.
#ifndef DRYSHAFT_VOCABULARY_LEVELS_HPP
#define DRYSHAFT_VOCABULARY_LEVELS_HPP

#include <cstdint>
#include <optional>

namespace dryshaft {

// Of what is there or not: residue, noise, an earlier finding, what an opening showed.
enum class Presence : std::uint8_t { absent, present };
enum class Fluid : std::uint8_t { none, film, droplets, pooled };
enum class FluidKind : std::uint8_t { gear_oil, water, emulsion, coolant };
enum class Rust : std::uint8_t { none, light, heavy };
enum class Debris : std::uint8_t { none, fine, chips };
enum class Isolation : std::uint8_t { none, elsewhere, stored, active };
enum class Insulation : std::uint8_t { sound, below_ieee43, below_500, below_100 };
enum class Rotation : std::uint8_t { free, stiff, seized };
// Of what drags, and of an isolation fault.
enum class FaultPlace : std::uint8_t { elsewhere, unit };
// A shutdown is explained once the fault memory has been read.
enum class Shutdown : std::uint8_t { no, explained, yes };
enum class GearOil : std::uint8_t { normal, low, metallic, milky };
enum class NoiseLoad : std::uint8_t { otherwise, under_load };
enum class Loss : std::uint8_t { none, some, marked };
// Who looked: a situation, and a field's words.
enum class By : std::uint8_t { technician, intake, owner, unknown };

constexpr int level_of(auto named) { return static_cast<int>(named); }

// Nothing: not observed.
template <typename Named>
constexpr std::optional<Named> named_level(int level) {
  return level < 0 ? std::nullopt : std::optional(static_cast<Named>(level));
}
template <typename Named>
constexpr int level_of(std::optional<Named> named) {
  return named ? level_of(*named) : -1;
}

}  // namespace dryshaft

#endif
