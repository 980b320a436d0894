// The states of the process, and how beliefs move among them: the loops that take most of the time
// of a course. The same bytes whatever the processor can do.
#ifndef DRYSHAFT_DIAGNOSE_ROWS_HPP
#define DRYSHAFT_DIAGNOSE_ROWS_HPP

#include <array>
#include <cstddef>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// Seal: tight and `kSealStages`; corrosion and insulation: whole, harmed, broken down.
inline constexpr std::size_t kSealStates = kSealStages + 1;
inline constexpr std::size_t kHarmStates = 3;
inline constexpr std::size_t kCores = kSealStates * kHarmStates * kHarmStates;
inline constexpr std::size_t kRests = 8;
using Cores = std::array<double, kCores>;
// [core][rest], each core's rests side by side
using Rows = std::array<std::array<double, kRests>, kCores>;

// States without a leak, by harm; those with one.
inline constexpr std::size_t kTight = kHarmStates * kHarmStates;
inline constexpr std::size_t kLeaks = kSealStages * kTight;

// States with a leak that follow from one state, in their order; one more makes them even.
using Reached = std::array<double, kLeaks + 1>;
// All states that follow from each. What cannot follow has a chance of 0.
struct CoreChances {
  std::array<std::array<double, kTight + 1>, kTight> harmed{};  // while tight
  std::array<Reached, kTight> begun{};    // of leaks that began in it at an even pace
  std::array<Reached, kTight> late{};     // the same, weighted by how far into the piece
  std::array<Reached, kLeaks> leaking{};  // of those that leak at its beginning
};
// `stay`, `even`, `late`: parts of the tight seals that count for each.
void move_cores(Cores& cores, const CoreChances& by, double stay, double even, double late);

// From a harm of both kinds to one as bad: pairs in the order of what they come to, then of what
// they come from.
struct HarmPair {
  std::size_t to;
  std::size_t from;
};
inline constexpr auto kHarmPairs = [] {
  std::array<HarmPair, 36> pairs{};
  std::size_t n = 0;
  for (std::size_t to = 0; to < kTight; ++to) {
    for (std::size_t from = 0; from <= to; ++from) {
      if (from / kHarmStates <= to / kHarmStates && from % kHarmStates <= to % kHarmStates) {
        pairs.at(n++) = {to, from};
      }
    }
  }
  return pairs;
}();
using HarmChances = std::array<double, kHarmPairs.size()>;
// From stage to stage of the seal, [to][from]: nothing goes back.
using StageChances = std::array<std::array<const HarmChances*, kSealStates>, kSealStates>;
void move_rows(Rows& rows, const StageChances& by);

}  // namespace dryshaft

#endif
