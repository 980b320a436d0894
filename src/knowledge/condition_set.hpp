// Conditions as they are tested.
#ifndef DRYSHAFT_KNOWLEDGE_CONDITION_SET_HPP
#define DRYSHAFT_KNOWLEDGE_CONDITION_SET_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// What conditions are tested against. Level -1: not observed.
struct Facts {
  Levels level{};
  std::array<std::uint8_t, kSituationCount> situation{};
  std::array<double, kCauseCount> probability{};
  Grade grade = Grade::A;
};
bool holds(const Condition& condition, const Facts& facts);

// What a condition can ask for, a bit each.
struct AskBits {
  static constexpr std::uint64_t bit(Finding f) {
    return std::uint64_t{1} << static_cast<std::size_t>(f);
  }
  static constexpr std::uint64_t bit(Situation s) {
    return std::uint64_t{1} << (kFindingCount + static_cast<std::size_t>(s));
  }
  static constexpr std::uint64_t kGrade = std::uint64_t{1} << (kFindingCount + kSituationCount);
  static constexpr std::uint64_t kCauses = kGrade << 1U;
};
// All that anything in a condition asks for: nothing else changes whether it holds.
std::uint64_t asks(const Condition& condition);

// Many conditions for testing often: one look-up for each finding and each
// situation that any of them asks for tells which of them still may hold.
class ConditionSet {
 public:
  static constexpr std::size_t kMostRows = 256;
  // Conditions, those inside it and itself: what a set has `kMostRows` of.
  static std::size_t rows(const Condition& condition);

  // Throws std::length_error where the conditions have more than `kMostRows` rows.
  explicit ConditionSet(const std::vector<Condition>& conditions);

  using Bits = std::array<std::uint64_t, kMostRows / 64>;
  // Bit `i` of word `i / 64`: `holds(conditions[i], facts)`. Bits past the last mean nothing.
  [[nodiscard]] Bits holding(const Facts& facts) const;

 private:
  // For one finding, situation or the grade, by its number: which rows allow each value that it
  // can have, word by word.
  struct LookUp {
    std::size_t number;
    std::array<std::array<std::uint64_t, 8>, kMostRows / 64> allow;
  };
  // What a row needs besides: causes, and rows before this one.
  struct Rest {
    std::size_t row;
    std::vector<Condition::CauseIs> causes;
    std::vector<Bits> any;
    Bits none;
  };
  void add(const Condition& condition, std::size_t row);
  static void allow(std::vector<LookUp>& in, std::size_t number, std::size_t row,
                    std::uint8_t values);
  std::size_t rows_ = 0;
  std::vector<LookUp> findings_;
  std::vector<LookUp> situations_;
  std::vector<LookUp> grade_;  // one or none
  std::vector<Rest> rests_;    // of rows inside others first
};

inline constexpr std::size_t kMaxFloors = 64;
// Conditions, counting those inside others (`ConditionSet::rows`): where a grade stays open,
// and where A is sound, each; and all floors together.
inline constexpr std::size_t kMaxVerdictRows = 32;
inline constexpr std::size_t kMaxFloorRows = ConditionSet::kMostRows - 2 * kMaxVerdictRows;

}  // namespace dryshaft

#endif
