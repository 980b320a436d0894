// From records to a case.
#ifndef DRYSHAFT_DIAGNOSE_PRESENT_HPP
#define DRYSHAFT_DIAGNOSE_PRESENT_HPP

#include <array>
#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnose.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"

namespace dryshaft {

// Where a finding's level came from.
struct Observed {
  std::string since;   //< date of the earlier inspection it was carried over from; empty: this one
  std::string detail;  //< more than the level says, such as a resistance; or empty
  std::optional<std::size_t> record;  //< that it is from, where all records are of one unit
};

// Everything that the newest record says in the light of the older ones.
struct Presentation {
  Case facts;
  std::array<Observed, kFindingCount> observed;
  std::vector<std::string_view> contradictions;  //< ids
  std::vector<std::string> warnings;
  std::optional<double> odometer_km;
  std::optional<double> seal_km;  //< where known, not assumed
  bool seal_renewed = false;      //< counted from a renewal of the seal
  // The port check that counts, as seen from the newest record; both 0 where that holds it, or
  // where none is on record.
  std::optional<std::size_t> port_record;
  double port_days_ago = 0;
  double port_km_ago = 0;
  std::string family;
  std::string vehicle;
};

// Turns a unit's records (`count` oldest ones of the history) into a case as
// of the day `today` (days since 1970-01-01). Pure. Where the records contradict
// each other as to which unit they are of, good news counts that all units have,
// and bad news of each; of records that are set aside, bad news alone.
Presentation present(const History& history, std::size_t count, const Knowledge& knowledge,
                     int today);

// The same for each inspection but the newest, from `first` on, oldest first, as of its own day:
// `take` gets its place in the history with it. Reads each record once.
void present_earlier(const History& history, std::size_t first, const Knowledge& knowledge,
                     const std::function<void(std::size_t, const Presentation&)>& take);

// Insulation resistance corrected to 40 deg C by the two published rules.
// Source: IEEE Std 43 (formulas from memory); valid from 10 to 85 deg C. Above, a winding counts
// as no warmer; below, the halving rule goes on, and the other takes the winding to be at 10 deg
// C.
double insulation_halving_factor(double winding_c);
double insulation_thermosetting_factor(double winding_c);

}  // namespace dryshaft

#endif
