// Direct comparison of neighbouring states by the full model: what a proof
// claims, tried one state at a time, and the smallest state that breaks it.
#ifndef DRYSHAFT_PROVE_SWEEP_HPP
#define DRYSHAFT_PROVE_SWEEP_HPP

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <vector>

#include "decide/dates.hpp"
#include "prove/space.hpp"

namespace dryshaft::proof {

enum class Aim : std::uint8_t {
  worse_finding,  // a worse value of an ordered finding
  not_observed,
  unchecked_a,  // A without a check made, dry and clean; B without a fresh one
  no_action,
  later_look,  // for a worse value of an ordered finding
};
inline constexpr std::size_t kAimCount = static_cast<std::size_t>(Aim::later_look) + 1;
using Aims = std::uint32_t;
constexpr Aims only(Aim aim) { return 1U << static_cast<unsigned>(aim); }
// All but the dates, which take a way ahead each.
inline constexpr Aims kOfGrades = only(Aim::later_look) - 1;

struct Breach {
  Aim aim = Aim::worse_finding;
  Draft bad;                  // looks better than it may, or lacks something
  std::optional<Draft> than;  // what it ought not to look better than
  std::size_t findings = 0;
};

struct Sweep {
  std::uint64_t states = 0;
  std::array<std::optional<Breach>, kAimCount> smallest;
};

struct Reach {
  std::size_t findings = 2;        // at most, besides the base
  std::size_t fewest = 0;          // at least
  std::size_t configurations = 0;  // of those that a record can describe; 0: all
  std::size_t distances = 0;       // likewise
  Aims aims = kOfGrades;
};

using Spread = std::function<void(std::size_t, const std::function<void(std::size_t)>&)>;

Sweep sweep(const Space& space, const Reach& reach, const Spread& spread);
// The smallest breach of one aim: with none or one finding besides a base, in every
// configuration that a record can describe; with two, in a few; with three, in one,
// but for dates.
std::optional<Breach> smallest_breach(const Space& space, Aim aim, const Spread& spread);
// The breach as the full model finds it there, or nothing.
std::optional<Breach> confirmed(const Space& space, const Breach& breach);
// The same breach with every finding left out that it does not need.
Breach shrunk(const Space& space, Breach breach);

// When a unit is looked at again whose port was looked at today.
NextLook next_look(const Space& space, const Case& c, const Verdict& verdict);

// What grade A needs, whatever the rule data say.
bool made_dry_and_clean(const Levels& level, PortCheck check);

}  // namespace dryshaft::proof

#endif
