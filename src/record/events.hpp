// A unit's looks and the work on it as one list, in the order in which they happened.
#ifndef DRYSHAFT_RECORD_EVENTS_HPP
#define DRYSHAFT_RECORD_EVENTS_HPP

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/index.hpp"
#include "dryshaft/record.hpp"

namespace dryshaft {

struct UnitEvent {
  std::optional<Work> work;      // none: a look
  std::optional<int> day;        // none: only the distance of the work is known
  std::optional<double> km;      // none: not known
  std::size_t record = 0;        // the look, or the first record that tells of the work
  std::size_t looks_before = 0;  // of the records, in this order
  // Records tell different details of the work, which are left out here.
  bool disagrees = false;
};

struct UnitEvents {
  std::vector<UnitEvent> happened;
  // Work that cannot have been done when the records say so: misplaced in its own record, or with a
  // distance that the readings before and after its day do not allow.
  std::vector<UnitEvent> doubted;
};

// The events of one unit's records, which stand oldest first. By day, then by distance; work on the
// day of a look comes after it, unless its distance is lower; work told later stands where it
// belongs. Of what was done at one time, another unit that went in comes first: the rest was done
// to that one.
//
// Work without a day was done at the inspection, or, where its distance is below that of the
// inspection, after the last look (or dated work) with no greater reading; another unit also after
// work of which only the day is known. Work of an earlier day
// has the distance that it says, and else none: that of the inspection is not its own. The same
// work told twice (what was done, day and distance) counts once, also where one record leaves out
// day or distance.
//
// The order of records of one day and reading among each other decides nothing. Time goes with the
// number of events, sorting apart.
UnitEvents unit_events(std::span<const Record* const> records);
UnitEvents unit_events(std::span<const Record> records);
// What happened without the looks: the work, in order.
std::vector<UnitEvent> works_of(std::span<const Record> records);

// Kinds of work as a set.
template <typename... Works>
constexpr std::uint32_t bits_of(Works... did) {
  return ((1U << idx(did)) | ...);
}

}  // namespace dryshaft

#endif
