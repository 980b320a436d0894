// What one look says, in the levels of the findings: verdicts and the intervals of
// onsets ask here, so that they cannot read one look in two ways.
#ifndef DRYSHAFT_RECORD_LOOK_HPP
#define DRYSHAFT_RECORD_LOOK_HPP

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/record.hpp"
#include "vocabulary/levels.hpp"

namespace dryshaft {

// Days since 1970-01-01.
inline int day_of(const Record& r) { return static_cast<int>(r.at(Field::date).number); }
// Months since year 0, of such a day.
int month_of(int day);

// Whether a flag is on record as yes.
bool is_true(const Record& r, Field flag);
// Level of a finding by its flag, or by a word that is the id of one of its levels; -1: not
// observed.
int level_of_flag(const Record& r, Field flag);
int level_of_choice(const Record& r, Field field, Finding finding);

// A look at the sensor port. Where the record contradicts itself the worse reading stands, and the
// contradiction is named. What is harmless counts only where the port was checked.
struct PortLook {
  bool made = false;           // checked, and its fluid recorded
  std::optional<Fluid> fluid;  // nothing, here and below: not on record
  std::optional<FluidKind> kind;
  std::string kind_detail;  // how the kind was told, where it was measured
  std::optional<Presence> residue;
  std::optional<Rust> rust;
  std::optional<Debris> debris;
  std::vector<std::string_view> contradictions;
  std::vector<std::string> warnings;
};
PortLook look_at_port(const Record& r);

// Liquid counts as coolant until it is identified as something else.
constexpr bool may_be_coolant(std::optional<Fluid> fluid, std::optional<FluidKind> kind) {
  return fluid.value_or(Fluid::none) != Fluid::none && (!kind || *kind >= FluidKind::emulsion);
}

}  // namespace dryshaft

#endif
