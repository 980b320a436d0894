/// One unit as the grader sees it.
#ifndef DRYSHAFT_DIAGNOSE_HPP
#define DRYSHAFT_DIAGNOSE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

/// What happened to a unit before its newest look; see src/diagnose/course.hpp.
struct Course;

/// Copying and changing a case to ask "what if" is cheap and allocates nothing.
struct Case {
  Levels level{};
  std::array<std::uint8_t, kSituationCount> situation{};
  double seal_km = 0;     ///< distance on the seal, assumed where not known
  double seal_years = 0;  ///< age of the seal, assumed where not known
  /// Findings of earlier looks, as bits: conditions hold by their levels; as evidence they stand in
  /// the course.
  std::uint32_t earlier = 0;
  /// Null: a unit that has never been looked at or worked on before.
  std::shared_ptr<const Course> course;

  [[nodiscard]] int at(Finding f) const { return level[static_cast<std::size_t>(f)]; }
  /// As this look finds it.
  void set(Finding f, int l) {
    level[static_cast<std::size_t>(f)] = static_cast<std::int8_t>(l);
    earlier &= ~(1U << static_cast<unsigned>(f));
  }
  [[nodiscard]] unsigned at(Situation s) const { return situation[static_cast<std::size_t>(s)]; }
  void set(Situation s, auto value) {
    situation[static_cast<std::size_t>(s)] = static_cast<std::uint8_t>(value);
  }
};

/// A case with nothing observed and nothing known.
Case empty_case();

}  // namespace dryshaft

#endif
