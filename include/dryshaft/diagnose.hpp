/// One unit as the grader sees it.
#ifndef DRYSHAFT_DIAGNOSE_HPP
#define DRYSHAFT_DIAGNOSE_HPP

#include <array>
#include <cstddef>
#include <cstdint>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

/// Plain values: copying and changing a case to ask "what if" is cheap and allocates nothing.
struct Case {
  Levels level{};
  std::array<std::uint8_t, kSituationCount> situation{};
  double seal_km = 0;     ///< distance on the seal, assumed where not known
  double seal_years = 0;  ///< age of the seal, assumed where not known
  double port_weight =
      1;  ///< of harmless news from the port: 1 fresh, towards 0 with distance and time

  [[nodiscard]] int at(Finding f) const { return level[static_cast<std::size_t>(f)]; }
  void set(Finding f, int l) { level[static_cast<std::size_t>(f)] = static_cast<std::int8_t>(l); }
  [[nodiscard]] unsigned at(Situation s) const { return situation[static_cast<std::size_t>(s)]; }
  void set(Situation s, auto value) {
    situation[static_cast<std::size_t>(s)] = static_cast<std::uint8_t>(value);
  }
};

/// A case with nothing observed and nothing known.
Case empty_case();

}  // namespace dryshaft

#endif
