// The steps of the argument about risk and grade; each enumerates all that it
// can depend on.
#ifndef DRYSHAFT_PROVE_ARGUMENT_HPP
#define DRYSHAFT_PROVE_ARGUMENT_HPP

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "prove/space.hpp"

namespace dryshaft::proof {

// How causes and findings fall apart.
struct Structure {
  std::uint32_t damaging = 0;          // causes marked damaging "yes"
  std::uint32_t mixed = 0;             // findings of the mixed component
  std::uint32_t pure = 0;              // findings that carry evidence on damaging causes alone
  std::uint32_t explaining = 0;        // findings by which the grade does not go
  std::vector<std::string> obstacles;  // why the argument does not apply
  std::uint64_t states = 0;
};
Structure structure_of(const Space& space);

struct Step {
  std::uint64_t states = 0;
  std::vector<std::string> failures;  // the first few, in words
  void fail(std::string what) {
    if (!failed_enough()) {
      failures.push_back(std::move(what));
    }
  }
  // No use in looking for more.
  [[nodiscard]] bool failed_enough() const {
    constexpr std::size_t kShown = 5;
    return failures.size() >= kShown;
  }
};

// Levels of unordered findings with which the risk is never above that of not
// knowing, whatever else is observed; bit l stands for level l.
using BestLevels = std::array<std::uint8_t, kFindingCount>;

// Findings on damaging causes alone: likelihood ratios against the empty state, breakdowns too.
Step pure_rises(const Space& space, const Structure& structure);
Step pure_unknown(const Space& space, const Structure& structure, BestLevels& best);
// The mixed component, enumerated as one, for any distribution of the causes that are not
// damaging, as long as it is independent of the others.
Step mixed_rises(const Space& space, const Structure& structure);
Step mixed_unknown(const Space& space, const Structure& structure, BestLevels& best);
// Wear-out against distance and age.
Step wear_rises(const Space& space);
// The process: before evidence leak and harm are independent of the other causes; a later stage
// shows more and harms faster; nothing heals, and what was worse stays worse.
Step groups_apart(const Space& space);
Step stages_in_order(const Knowledge& k);
Step process_keeps_order(const Space& space);
// Floors and the last step to a grade.
Step floors_rise(const Space& space);
Step floors_unknown(const Space& space, const BestLevels& best);
Step floors_with_older_look(const Space& space);
// Grade A needs a check made, dry and clean; B a fresh one.
Step sound_means_clean(const Space& space);
// The next look (dates.cpp). By grade and by how far damage is unlikely: never beyond the longest
// interval, never later for a worse grade, never sooner where damage comes later.
Step intervals_in_order(const Space& space);
// In a unit without harm the seal keeps its order: for any wear-out, and every distance.
Step unharmed_seal_in_order(const Space& space);
// There, each finding tells of the leak or of what comes without one; a worse level, more of a
// leak.
Step unharmed_looks_apart(const Space& space);
// Advice to look again: a worse level asks for it no later, in that grade and every worse one.
Step looks_asked_in_order(const Space& space);
// The same look, that tells no more for a leak than against it, when it is older.
inline constexpr double kOldestKm = 1'000'000;
inline constexpr double kOldestYears = 50;
Step older_look_no_later(const Space& space);
// Whether a condition holds in no state without one of its rivals: for every
// value of what it mentions, whatever the rest may be. `before_grade`: asked with
// grade A, as floors are. False as well where those are too many to enumerate.
bool holds_nowhere(const Knowledge& k, const Condition& when,
                   const std::vector<const Condition*>& rivals, bool before_grade,
                   std::uint64_t& states);
// In each grade and situation an action holds, whatever else is observed.
Step always_an_action(const Space& space);

}  // namespace dryshaft::proof

#endif
