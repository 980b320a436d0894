// What happened to a unit before its newest look, as the process takes it.
#ifndef DRYSHAFT_DIAGNOSE_COURSE_HPP
#define DRYSHAFT_DIAGNOSE_COURSE_HPP

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "diagnose/life.hpp"
#include "dryshaft/diagnose.hpp"
#include "dryshaft/record.hpp"
#include "record/events.hpp"

namespace dryshaft {

// Driven from one moment to another; then, perhaps, work; then, perhaps, a look.
struct Leg {
  Clock from;
  Clock to;
  bool bypassed_on_the_way = false;  // nobody knows when
  bool new_seal = false;
  std::uint8_t ends = 0;            // causes, as bits
  Levels seen{};                    // a look; nothing observed: none
  std::optional<std::size_t> look;  // its last record
};

struct Course {
  std::vector<Leg> legs;
  Clock end;  // where the last leg leaves the unit
};

// A look, by the last of its records.
struct PastLook {
  std::size_t record = 0;
  Levels seen{};
};

// How a unit stands at its newest look.
struct Standing {
  double fitted_km = 0;      // odometer when it went in
  std::size_t first = 0;     // of its records; those before tell of the unit that was there before
  double odometer_km = 0;    // assumed where it is not known
  std::size_t newest = 0;    // the first record of the newest look
  std::optional<int> built;  // month since year 0
  Cooling cooling = Cooling::unknown;
  bool contradicted = false;  // what is on file of its cooling cannot be
  Bearings rotor = Bearings::unknown;
  Bearings gear = Bearings::unknown;
  Bearings rotor_built = Bearings::unknown;  // as its family was built
  Bearings gear_built = Bearings::unknown;
};

// The course of one unit up to its newest look, with the clock at that look. `records` stand
// oldest first, work told as fields too; `works` are of them; `looks` are those of this unit before
// the newest, in order. Where distance or day of something is not known, it is put between what is:
// work without either right before the look that follows. Time goes with the number of records.
struct CourseToNow {
  Course course;
  Clock now;
};
CourseToNow course_of(std::span<const Record> records, std::span<const UnitEvent> works,
                      std::span<const PastLook> looks, const Standing& unit, double km_per_year);

}  // namespace dryshaft

#endif
