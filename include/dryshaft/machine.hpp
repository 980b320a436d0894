/// The inside of a drive unit, as far as it can be heard: motor, gears, bearings.
///
/// An order is a frequency divided by the frequency of the reference shaft,
/// here always the rotor (with which the gearbox input shaft turns).
#ifndef DRYSHAFT_MACHINE_HPP
#define DRYSHAFT_MACHINE_HPP

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"

namespace dryshaft {

/// A rolling bearing with its outer ring at rest. Lengths in any one unit.
struct Bearing {
  std::string name;
  int elements = 0;  ///< rolling elements in a row
  double element_diameter = 0;
  double pitch_diameter = 0;
  double contact_deg = 0;  ///< contact angle, degrees
};

/// Orders at which a bearing repeats itself, with no slip; reference: its shaft.
struct DefectOrders {
  double outer_race = 0;  ///< BPFO: elements pass a place on the outer race
  double inner_race = 0;  ///< BPFI: elements pass a place on the inner race
  double element = 0;     ///< 2 x BSF: a place on an element meets both races each turn
  double spin = 0;        ///< BSF: an element turns about itself
  double cage = 0;        ///< FTF
};

/// With r = element / pitch diameter x cos(contact): outer n/2 (1-r), inner
/// n/2 (1+r), spin (1-r^2) pitch / (2 element), cage (1-r)/2.
/// Source: Randall and Antoni 2011, MSSP 25(2) 485-520 (formulas as quoted there, from memory).
DefectOrders defect_orders(const Bearing& bearing);

/// `NAME=n:d:D:angle` or `n:d:D:angle`: elements, element diameter, pitch
/// diameter (same unit), contact angle in degrees. What is wrong is said in words.
Result<Bearing> parse_bearing(std::string_view text);
/// What is wrong with its numbers (see `geometry`), or an empty text.
std::string complaint_about(const Bearing& bearing);

/// Two gears in mesh: teeth of the one that drives, on the motor's side, and of the driven one.
struct GearStage {
  int driving = 0;
  int driven = 0;
};

/// What a family's recordings are judged by. 0 or empty: not known.
struct Machine {
  int pole_pairs = 0;
  int stator_slots = 0;
  int rotor_bars = 0;             ///< of a cage rotor
  std::vector<GearStage> stages;  ///< from the rotor to the wheels
  std::vector<Bearing> rotor_bearings;
  std::vector<Bearing> gear_bearings;  ///< of the gearbox input shaft

  /// Turns of the rotor for one of the wheels.
  [[nodiscard]] double ratio() const;
};

/// What is taken for a bearing or a gearing. It holds every one that a drive unit has room for, and
/// bounds the time that a recording takes: no order lies too near 0, none is too great, and they
/// are not too many.
namespace geometry {
inline constexpr int kLeastElements = 3;
inline constexpr int kMostElements = 200;
inline constexpr double kLeastDiameter = 1e-3;  ///< of element or pitch, in any unit
inline constexpr double kMostDiameter = 1e5;
inline constexpr double kLeastPitch = 1.25;  ///< pitch diameter, in diameters of an element
inline constexpr double kMostPitch = 100;
inline constexpr double kDegreesBelow = 90;  ///< of contact
inline constexpr std::size_t kMostBearings = 16;
inline constexpr std::size_t kMostGearPairs = 8;
inline constexpr int kMostTeeth = 1000;
inline constexpr double kMostRatio = 100;  ///< of any shaft's speed to another's
}  // namespace geometry

/// What is wrong with the number of bearings of a machine; or an empty text.
std::string complaint_about_count(std::size_t bearings);
/// What is wrong with their number, or with one of them, which is named; or an empty text.
std::string complaint_about(const std::vector<Bearing>& bearings);
/// What is wrong with the gear pairs, or an empty text.
std::string complaint_about(const std::vector<GearStage>& stages);
/// Of its gears, then of all its bearings together.
std::string complaint_about(const Machine& machine);

}  // namespace dryshaft

#endif
