#include "knowledge/safety.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cstddef>
#include <cstdint>

#include "knowledge/condition_set.hpp"

namespace dryshaft::safety {
namespace {

constexpr std::string_view kId =
#include "knowledge/shipped_id.inc"
    ;
constexpr ShippedFile kFiles[] = {
#include "knowledge/shipped_files.inc"
};
constexpr std::string_view kFloors =
#include "knowledge/shipped_floors.inc"
    ;
constexpr std::string_view kGrades =
#include "knowledge/shipped_grades.inc"
    ;

// Many states at once: what each finding (as `Condition::FindingIs` has it), then each situation
// may be.
using Box = std::array<std::uint8_t, kFindingCount + kSituationCount>;
constexpr std::uint8_t kNotObserved = 1;
constexpr std::uint8_t kHarmless = 2;

constexpr std::size_t axis(Finding f) { return static_cast<std::size_t>(f); }
constexpr std::size_t axis(Situation s) { return kFindingCount + static_cast<std::size_t>(s); }

Box everything() {
  const auto all = [](std::size_t values) {
    return static_cast<std::uint8_t>((1U << values) - 1U);
  };
  Box box{};
  for (const FindingSpec& f : findings()) {
    box[axis(f.id)] = all(f.levels.size() + 1);
    if (f.never_absent) {
      box[axis(f.id)] &= static_cast<std::uint8_t>(~kHarmless);
    }
  }
  for (const SituationSpec& s : situations()) {
    box[axis(s.id)] = all(s.values.size());
  }
  return box;
}

// Whether a finding is observed in it that cannot be, next to what the others may be.
bool is_impossible(const Box& box) {
  const auto never_above = [&](Finding f) {
    return (box[axis(f)] & ~(kNotObserved | kHarmless)) == 0;
  };
  return std::ranges::any_of(findings(), [&](const FindingSpec& f) {
    return (box[axis(f.id)] & kNotObserved) == 0 &&
           ((f.detail_of && never_above(*f.detail_of)) ||
            (!f.needs_one_of.empty() && std::ranges::all_of(f.needs_one_of, never_above)));
  });
}

// Whether a condition holds in all states of a box, in none, or in some.
enum class Holds : std::uint8_t { never, sometimes, always };

Holds holds(std::uint8_t may_be, std::uint8_t wanted) {
  return (may_be & wanted) == 0                           ? Holds::never
         : (may_be & ~static_cast<unsigned>(wanted)) == 0 ? Holds::always
                                                          : Holds::sometimes;
}

Holds holds(const Condition& c, const Box& box);

Holds one_holds(const std::vector<Condition>& list, const Box& box) {
  Holds most = Holds::never;
  for (const Condition& c : list) {
    most = std::max(most, holds(c, box));
  }
  return most;
}

Holds holds(const Condition& c, const Box& box) {
  constexpr std::uint8_t kAnyGrade = 0x1F;
  Holds least = c.causes.empty() && c.grades == kAnyGrade ? Holds::always : Holds::sometimes;
  for (const Condition::FindingIs& f : c.findings) {
    least = std::min(least, holds(box[axis(f.finding)], f.levels));
  }
  for (const Condition::SituationIs& s : c.situations) {
    least = std::min(least, holds(box[axis(s.situation)], s.values));
  }
  for (const std::vector<Condition>& list : c.any) {
    least = std::min(least, one_holds(list, box));
  }
  const Holds barred = one_holds(c.none, box);
  return std::min(least, barred == Holds::never    ? Holds::always
                         : barred == Holds::always ? Holds::never
                                                   : Holds::sometimes);
}

// What the condition asks for and the box leaves open; nothing where all is settled.
std::optional<std::size_t> open_axis(const Condition& c, const Box& box) {
  const std::uint64_t asked = asks(c);
  for (std::size_t a = 0; a < box.size(); ++a) {
    if ((asked >> a & 1U) != 0 && std::popcount(box[a]) > 1) {
      return a;
    }
  }
  return std::nullopt;
}

class Search {
 public:
  Search(const Condition& condition, const std::vector<const Condition*>& by)
      : condition_(condition), by_(by) {}

  bool covered(const Box& box) {
    constexpr std::size_t kMostBoxes = 20000;
    if (++boxes_ > kMostBoxes) {
      return false;
    }
    const Holds wanted = holds(condition_, box);
    if (wanted == Holds::never || is_impossible(box)) {
      return true;
    }
    const Condition* open = wanted == Holds::sometimes ? &condition_ : nullptr;
    for (const Condition* c : by_) {
      const Holds held = holds(*c, box);
      if (held == Holds::always) {
        return true;
      }
      if (held == Holds::sometimes && (open == nullptr || !open_axis(*open, box))) {
        open = c;
      }
    }
    const std::optional<std::size_t> axis = open == nullptr ? std::nullopt : open_axis(*open, box);
    return axis && each_covered(box, *axis);
  }

 private:
  bool each_covered(Box box, std::size_t axis) {
    const std::uint8_t values = box[axis];
    for (unsigned left = values; left != 0; left &= left - 1) {
      box[axis] = static_cast<std::uint8_t>(left & ~(left - 1));
      if (!covered(box)) {
        return false;
      }
    }
    return true;
  }

  const Condition& condition_;
  const std::vector<const Condition*>& by_;
  std::size_t boxes_ = 0;
};

}  // namespace

std::string_view shipped_id() { return kId; }
std::span<const ShippedFile> shipped_files() { return kFiles; }
std::string_view shipped_floors() { return kFloors; }
std::string_view shipped_grades() { return kGrades; }

bool is_covered(const Condition& condition, const std::vector<const Condition*>& by) {
  return Search(condition, by).covered(everything());
}

}  // namespace dryshaft::safety
