#include "dryshaft/vocabulary.hpp"

#include <algorithm>

namespace dryshaft {
namespace {

constexpr std::size_t index(auto value) { return static_cast<std::size_t>(value); }

// ------------------------------------------------- words that fields take

constexpr Choice kBearings[] = {
    {"steel", "steel balls, as in early builds"},
    {"hybrid", "ceramic (silicon nitride) balls in steel rings"},
};
constexpr Choice kCooling[] = {
    {"wet", "coolant runs through the rotor shaft"},
    {"bypassed", "the rotor circuit has been bypassed"},
    {"factory-dry", "built without coolant in the rotor shaft"},
};
constexpr Choice kBy[] = {
    {"technician", "a technician"},
    {"intake", "the intake desk of a workshop"},
    {"owner", "the owner"},
};
constexpr Choice kFluid[] = {
    {"none", "dry"},
    {"film", "a film of liquid"},
    {"droplets", "droplets of liquid"},
    {"pooled", "liquid standing in the port"},
};
constexpr Choice kFluidKind[] = {
    {"coolant", "coolant"},
    {"gear-oil", "gear oil"},
    {"emulsion", "milky or emulsified"},
    {"water", "clear water"},
};
constexpr Choice kCorrosion[] = {
    {"none", "no rust"},
    {"light", "light rust"},
    {"heavy", "heavy rust"},
};
constexpr Choice kDebris[] = {
    {"none", "no debris"},
    {"fine", "fine iron fuzz"},
    {"chips", "metal chips"},
};
constexpr Choice kOnset[] = {
    {"gradual", "came on slowly"},
    {"sudden", "came on suddenly"},
    {"always", "has always been there"},
};
constexpr Choice kWhen[] = {
    {"accelerating", "while accelerating"},
    {"steady", "at a steady speed"},
    {"coasting", "while coasting with no power"},
    {"regenerating", "while slowing down on the motor"},
};
constexpr Choice kLevel[] = {
    {"faint", "a faint noise"},
    {"clear", "a clear noise"},
    {"loud", "a loud noise"},
};
constexpr Choice kRotation[] = {
    {"free", "turns freely"},
    {"stiff", "turns stiffly"},
    {"seized", "does not turn"},
};
constexpr Choice kIsolation[] = {
    {"none", "no isolation fault"},
    {"stored", "a stored isolation fault"},
    {"active", "an active isolation fault"},
};
constexpr Choice kTeardown[] = {
    {"absent", "not there when the unit was opened"},
    {"present", "found when the unit was opened"},
};

using enum FieldType;

// `not-examined` at a teardown is one more word for "not observed"; the reader knows it.
constexpr FieldSpec teardown(Field id, std::string_view pointer, std::string_view title,
                             std::string_view question) {
  return {.id = id,
          .pointer = pointer,
          .type = choice,
          .title = title,
          .question = question,
          .choices = kTeardown};
}

constexpr std::array<FieldSpec, kFieldCount> kFields = {{
    {.id = Field::format,
     .pointer = "/format",
     .type = text,
     .title = "record format",
     .question = "Which record format is this?",
     .required = true},
    {.id = Field::unit_id,
     .pointer = "/unit/id",
     .type = text,
     .title = "unit id",
     .question = "What is the unit called in your records?",
     .max_length = 64,
     .required = true},
    {.id = Field::family,
     .pointer = "/unit/family",
     .type = text,
     .title = "drive-unit family",
     .question = "Which family of drive unit is it?"},
    {.id = Field::vehicle,
     .pointer = "/unit/vehicle",
     .type = text,
     .title = "vehicle",
     .question = "Which car is it in?"},
    {.id = Field::built,
     .pointer = "/unit/built",
     .type = month,
     .title = "built",
     .question = "When was the unit built (year, or year and month)?"},
    {.id = Field::rotor_bearings,
     .pointer = "/unit/rotor_bearings",
     .type = choice,
     .title = "rotor bearings",
     .question = "What are the balls of the rotor bearings made of?",
     .choices = kBearings},
    {.id = Field::gear_bearings,
     .pointer = "/unit/gear_bearings",
     .type = choice,
     .title = "gearbox input bearings",
     .question = "What are the balls of the gearbox input bearings made of?",
     .choices = kBearings},
    {.id = Field::rotor_cooling,
     .pointer = "/unit/rotor_cooling",
     .type = choice,
     .title = "rotor cooling",
     .question = "Does coolant run through the rotor shaft?",
     .choices = kCooling},
    {.id = Field::bypass_keeps_crossover,
     .pointer = "/unit/bypass_keeps_crossover",
     .type = flag,
     .title = "crossover pipe kept",
     .question = "Did the bypass keep the crossover pipe?"},
    {.id = Field::fitted_odometer_km,
     .pointer = "/unit/fitted_odometer_km",
     .type = number,
     .title = "odometer when fitted",
     .question = "What did the odometer say when this unit went in?",
     .unit = "km",
     .minimum = 0,
     .miles_too = true},
    {.id = Field::seal_renewed_odometer_km,
     .pointer = "/unit/seal_renewed_odometer_km",
     .type = number,
     .title = "odometer when the seal was renewed",
     .question = "What did the odometer say when the rotor shaft seal was last renewed?",
     .unit = "km",
     .minimum = 0,
     .miles_too = true},
    {.id = Field::system_voltage_v,
     .pointer = "/unit/system_voltage_v",
     .type = number,
     .title = "system voltage",
     .question = "What is the working voltage of the high-voltage system?",
     .unit = "V",
     .minimum = 0,
     .minimum_excluded = true},
    {.id = Field::date,
     .pointer = "/inspection/date",
     .type = date,
     .title = "inspection date",
     .question = "On which day was this seen?",
     .required = true},
    {.id = Field::odometer_km,
     .pointer = "/inspection/odometer_km",
     .type = number,
     .title = "odometer",
     .question = "What does the odometer say?",
     .unit = "km",
     .minimum = 0,
     .miles_too = true},
    {.id = Field::by,
     .pointer = "/inspection/by",
     .type = choice,
     .title = "inspected by",
     .question = "Who looked?",
     .choices = kBy},
    {.id = Field::port_checked,
     .pointer = "/inspection/port/checked",
     .type = flag,
     .title = "sensor port checked",
     .question = "Was the rotor-speed sensor taken out and looked at?"},
    {.id = Field::port_fluid,
     .pointer = "/inspection/port/fluid",
     .type = choice,
     .title = "liquid at the port",
     .question = "Was there liquid on the sensor's tip or in the port?",
     .choices = kFluid},
    {.id = Field::port_fluid_kind,
     .pointer = "/inspection/port/fluid_kind",
     .type = choice,
     .title = "kind of liquid",
     .question = "What kind of liquid was it?",
     .choices = kFluidKind},
    {.id = Field::port_dried_residue,
     .pointer = "/inspection/port/dried_residue",
     .type = flag,
     .title = "dried residue",
     .question = "Were there dried tracks or crust on the tip?"},
    {.id = Field::port_corrosion,
     .pointer = "/inspection/port/corrosion",
     .type = choice,
     .title = "rust on the tip",
     .question = "Was there rust on the tip?",
     .choices = kCorrosion},
    {.id = Field::port_debris,
     .pointer = "/inspection/port/debris",
     .type = choice,
     .title = "debris on the tip",
     .question = "Was there iron fuzz or chips on the tip?",
     .choices = kDebris},
    {.id = Field::port_glycol_percent,
     .pointer = "/inspection/port/glycol_percent",
     .type = number,
     .title = "glycol by refractometer",
     .question = "How much glycol did the refractometer show?",
     .unit = "% by volume",
     .minimum = 0,
     .maximum = 100},
    {.id = Field::noise_present,
     .pointer = "/inspection/noise/present",
     .type = flag,
     .title = "noise",
     .question = "Is there a whine, tone or hum that should not be there?"},
    {.id = Field::noise_onset,
     .pointer = "/inspection/noise/onset",
     .type = choice,
     .title = "how the noise began",
     .question = "How did the noise begin?",
     .choices = kOnset},
    {.id = Field::noise_onset_odometer_km,
     .pointer = "/inspection/noise/onset_odometer_km",
     .type = number,
     .title = "odometer when the noise began",
     .question = "What did the odometer say when the noise began?",
     .unit = "km",
     .minimum = 0,
     .miles_too = true},
    {.id = Field::noise_when,
     .pointer = "/inspection/noise/when",
     .type = choices,
     .title = "when the noise is heard",
     .question = "When do you hear it?",
     .choices = kWhen},
    {.id = Field::noise_pitch_follows_speed,
     .pointer = "/inspection/noise/pitch_follows_speed",
     .type = flag,
     .title = "pitch follows road speed",
     .question = "Does its pitch rise and fall with the speed of the car?"},
    {.id = Field::noise_level,
     .pointer = "/inspection/noise/level",
     .type = choice,
     .title = "loudness",
     .question = "How loud is it?",
     .choices = kLevel},
    {.id = Field::noise_changes_with_steering_or_surface,
     .pointer = "/inspection/noise/changes_with_steering_or_surface",
     .type = flag,
     .title = "changes with steering or road surface",
     .question = "Does it change when you steer, or on another road surface?"},
    {.id = Field::rotation,
     .pointer = "/inspection/rotation",
     .type = choice,
     .title = "rotation by hand",
     .question = "How does the unit turn?",
     .choices = kRotation},
    {.id = Field::fault_isolation,
     .pointer = "/inspection/faults/isolation",
     .type = choice,
     .title = "isolation fault",
     .question = "Does the car report an isolation fault?",
     .choices = kIsolation},
    {.id = Field::fault_shutdown,
     .pointer = "/inspection/faults/shutdown",
     .type = flag,
     .title = "shutdown",
     .question = "Has the drive shut itself down?"},
    {.id = Field::fault_reduced_power,
     .pointer = "/inspection/faults/reduced_power",
     .type = flag,
     .title = "reduced power",
     .question = "Has the car reported reduced power?"},
    {.id = Field::insulation_resistance_mohm,
     .pointer = "/inspection/insulation/resistance_mohm",
     .type = number,
     .title = "insulation resistance, winding to casing",
     .question = "What insulation resistance was measured between winding and casing?",
     .unit = "megohm",
     .minimum = 0},
    {.id = Field::insulation_test_voltage_v,
     .pointer = "/inspection/insulation/test_voltage_v",
     .type = number,
     .title = "insulation test voltage",
     .question = "At which test voltage?",
     .unit = "V",
     .minimum = 0,
     .minimum_excluded = true},
    {.id = Field::insulation_winding_temp_c,
     .pointer = "/inspection/insulation/winding_temp_c",
     .type = number,
     .title = "winding temperature",
     .question = "How warm was the winding?",
     .unit = "deg C",
     .minimum = -60,
     .maximum = 250},
    {.id = Field::coolant_loss_ml_per_1000km,
     .pointer = "/inspection/coolant/loss_ml_per_1000km",
     .type = number,
     .title = "coolant loss",
     .question = "How much coolant goes missing?",
     .unit = "ml per 1000 km",
     .minimum = 0},
    {.id = Field::coolant_outside_leak_seen,
     .pointer = "/inspection/coolant/outside_leak_seen",
     .type = flag,
     .title = "coolant leak outside",
     .question = "Has a coolant leak been seen on the outside?"},
    {.id = Field::teardown_date,
     .pointer = "/teardown/date",
     .type = date,
     .title = "opened on",
     .question = "On which day was the unit opened?"},
    teardown(Field::teardown_seal_leak, "/teardown/seal-leak", "opened: shaft seal",
             "Had coolant passed the rotor shaft seal?"),
    teardown(Field::teardown_rotor_bearing_corrosion, "/teardown/rotor-bearing-corrosion",
             "opened: rotor bearing corrosion", "Were the rotor bearings rusted?"),
    teardown(Field::teardown_rotor_bearing_erosion, "/teardown/rotor-bearing-erosion",
             "opened: rotor bearing erosion", "Were the rotor bearings etched by current?"),
    teardown(Field::teardown_gear_bearing_erosion, "/teardown/gear-bearing-erosion",
             "opened: gearbox bearing erosion",
             "Were the gearbox input bearings etched by current?"),
    teardown(Field::teardown_insulation_loss, "/teardown/insulation-loss", "opened: insulation",
             "Was the insulation of the winding or inverter damaged?"),
    teardown(Field::teardown_outside_noise, "/teardown/outside-noise", "noise traced outside",
             "Did the noise turn out to come from outside the unit?"),
    {.id = Field::note,
     .pointer = "/note",
     .type = text,
     .title = "note",
     .question = "Anything else worth writing down?"},
}};

constexpr std::array<CauseSpec, kCauseCount> kCauses = {{
    {Cause::seal_leak, "seal-leak", Field::teardown_seal_leak},
    {Cause::rotor_bearing_corrosion, "rotor-bearing-corrosion",
     Field::teardown_rotor_bearing_corrosion},
    {Cause::rotor_bearing_erosion, "rotor-bearing-erosion", Field::teardown_rotor_bearing_erosion},
    {Cause::gear_bearing_erosion, "gear-bearing-erosion", Field::teardown_gear_bearing_erosion},
    {Cause::insulation_loss, "insulation-loss", Field::teardown_insulation_loss},
    {Cause::outside_noise, "outside-noise", Field::teardown_outside_noise},
}};

// ------------------------------------------------ levels of the findings

constexpr Choice kKindLevels[] = {
    {"gear-oil", "gear oil"},
    {"water", "clear water, 0 % glycol by refractometer"},
    {"emulsion", "milky or emulsified"},
    {"coolant", "coolant"},
};
constexpr Choice kAbsentPresent[] = {{"absent", "absent"}, {"present", "present"}};
constexpr Choice kNoYes[] = {{"no", "no"}, {"yes", "yes"}};
constexpr Choice kInsulationLevels[] = {
    {"sound", "above the IEEE 43 minimum and 500 ohm/V"},
    {"below-ieee43", "below the IEEE 43 minimum at 40 deg C"},
    {"below-500", "below 500 ohm/V"},
    {"below-100", "below 100 ohm/V"},
};
constexpr Choice kNoiseLoad[] = {
    {"otherwise", "not strongest under load, or heard just as well when coasting"},
    {"under-load", "heard under load and gone when coasting"},
};
constexpr Choice kOnsetLevels[] = {{"gradual", "came on slowly"}, {"sudden", "came on suddenly"}};
constexpr Choice kLossLevels[] = {
    {"none", "none worth naming"},
    {"some", "some coolant goes missing"},
    {"marked", "much coolant goes missing"},
};

constexpr Field kFromFluid[] = {Field::port_fluid, Field::port_fluid_kind,
                                Field::port_glycol_percent};
constexpr Field kFromResidue[] = {Field::port_dried_residue};
constexpr Field kFromRust[] = {Field::port_corrosion};
constexpr Field kFromDebris[] = {Field::port_debris};
constexpr Field kFromIsolation[] = {Field::fault_isolation};
constexpr Field kFromInsulation[] = {Field::insulation_resistance_mohm,
                                     Field::insulation_test_voltage_v,
                                     Field::insulation_winding_temp_c, Field::system_voltage_v};
constexpr Field kFromRotation[] = {Field::rotation};
constexpr Field kFromNoise[] = {Field::noise_present};
constexpr Field kFromWhen[] = {Field::noise_when};
constexpr Field kFromPitch[] = {Field::noise_pitch_follows_speed};
constexpr Field kFromSteering[] = {Field::noise_changes_with_steering_or_surface};
constexpr Field kFromOnset[] = {Field::noise_onset};
constexpr Field kFromLevel[] = {Field::noise_level};
constexpr Field kFromLoss[] = {Field::coolant_loss_ml_per_1000km, Field::coolant_outside_leak_seen};
constexpr Field kFromShutdown[] = {Field::fault_shutdown};
constexpr Field kFromReduced[] = {Field::fault_reduced_power};
constexpr Field kFromT1[] = {Field::teardown_seal_leak};
constexpr Field kFromT2[] = {Field::teardown_rotor_bearing_corrosion};
constexpr Field kFromT3[] = {Field::teardown_rotor_bearing_erosion};
constexpr Field kFromT4[] = {Field::teardown_gear_bearing_erosion};
constexpr Field kFromT5[] = {Field::teardown_insulation_loss};
constexpr Field kFromT6[] = {Field::teardown_outside_noise};

constexpr std::array<FindingSpec, kFindingCount> kFindings = {{
    {Finding::port_fluid, "port-fluid", "liquid at the port", kFluid, true, true, kFromFluid},
    {Finding::port_fluid_kind, "port-fluid-kind", "kind of liquid", kKindLevels, false, true,
     kFromFluid, Finding::port_fluid},
    {Finding::port_residue, "port-residue", "dried residue on the tip", kAbsentPresent, true, true,
     kFromResidue},
    {Finding::port_rust, "port-rust", "rust on the tip", kCorrosion, true, true, kFromRust},
    {Finding::port_debris, "port-debris", "debris on the tip", kDebris, true, true, kFromDebris},
    {Finding::isolation_fault, "isolation-fault", "isolation fault", kIsolation, true, false,
     kFromIsolation},
    {Finding::insulation, "insulation", "insulation resistance", kInsulationLevels, true, false,
     kFromInsulation},
    {Finding::rotation, "rotation", "rotation by hand", kRotation, true, false, kFromRotation},
    {Finding::noise, "noise", "noise", kAbsentPresent, true, false, kFromNoise},
    {Finding::noise_load, "noise-load", "noise by load", kNoiseLoad, false, false, kFromWhen,
     Finding::noise},
    {Finding::noise_pitch, "noise-pitch", "pitch follows road speed", kNoYes, false, false,
     kFromPitch, Finding::noise},
    {Finding::noise_outside, "noise-outside", "noise changes with steering or surface", kNoYes,
     false, false, kFromSteering, Finding::noise},
    {Finding::noise_onset, "noise-onset", "how the noise began", kOnsetLevels, false, false,
     kFromOnset, Finding::noise},
    {Finding::noise_level, "noise-level", "loudness of the noise", kLevel, false, false, kFromLevel,
     Finding::noise},
    {Finding::coolant_loss, "coolant-loss", "unexplained coolant loss", kLossLevels, true, false,
     kFromLoss},
    {Finding::shutdown, "shutdown", "drive shut itself down", kNoYes, true, false, kFromShutdown},
    {Finding::reduced_power, "reduced-power", "reduced power", kNoYes, true, false, kFromReduced},
    {Finding::earlier_coolant, "earlier-coolant", "coolant at an earlier check, seal not renewed",
     kAbsentPresent, true, false, kFromFluid, std::nullopt, true},
    {Finding::opened_seal_leak, "opened-seal-leak", "opened: shaft seal", kAbsentPresent, true,
     false, kFromT1, std::nullopt, true},
    {Finding::opened_rotor_bearing_corrosion, "opened-rotor-bearing-corrosion",
     "opened: rotor bearing corrosion", kAbsentPresent, true, false, kFromT2, std::nullopt, true},
    {Finding::opened_rotor_bearing_erosion, "opened-rotor-bearing-erosion",
     "opened: rotor bearing erosion", kAbsentPresent, true, false, kFromT3, std::nullopt, true},
    {Finding::opened_gear_bearing_erosion, "opened-gear-bearing-erosion",
     "opened: gearbox bearing erosion", kAbsentPresent, true, false, kFromT4, std::nullopt, true},
    {Finding::opened_insulation_loss, "opened-insulation-loss", "opened: insulation",
     kAbsentPresent, true, false, kFromT5, std::nullopt, true},
    {Finding::opened_outside_noise, "opened-outside-noise", "noise traced outside", kAbsentPresent,
     false, false, kFromT6, std::nullopt, true},
}};

// ---------------------------------------------------- situations, grades

constexpr Choice kCoolingValues[] = {
    kCooling[0], kCooling[1], kCooling[2], {"unknown", "rotor cooling not known"}};
constexpr Choice kBearingValues[] = {
    kBearings[0], kBearings[1], {"unknown", "bearing material not known"}};
constexpr Choice kCrossoverValues[] = {
    {"kept", "the bypass kept the crossover pipe"},
    {"dropped", "the bypass removed the crossover pipe"},
    {"unknown", "not known"},
};
constexpr Choice kMagnetValues[] = {
    {"yes", "the rotor carries permanent magnets"},
    {"no", "the rotor carries no permanent magnets"},
    {"unknown", "not known"},
};
constexpr Choice kConfigurationValues[] = {
    {"consistent", "nothing contradicts the configuration on file"},
    {"contradicted", "a finding or the family contradicts the rotor cooling on file"},
};
constexpr Choice kPortCheckValues[] = {
    {"fresh", "made, and recent enough to rely on"},
    {"stale", "made too far or too long ago to rely on"},
    {"not-made", "not made, or what was seen is not on record"},
};
constexpr Choice kRiskValues[] = {{"low", "low"}, {"raised", "raised"}, {"high", "high"}};
constexpr Choice kByValues[] = {kBy[0], kBy[1], kBy[2], {"unknown", "not known"}};

constexpr std::array<SituationSpec, kSituationCount> kSituations = {{
    {Situation::rotor_cooling, "rotor_cooling", kCoolingValues},
    {Situation::rotor_bearings, "rotor_bearings", kBearingValues},
    {Situation::gear_bearings, "gear_bearings", kBearingValues},
    {Situation::crossover, "crossover", kCrossoverValues},
    {Situation::rotor_magnets, "rotor_magnets", kMagnetValues},
    {Situation::configuration, "configuration", kConfigurationValues},
    {Situation::port_check, "port_check", kPortCheckValues},
    {Situation::risk, "risk", kRiskValues},
    {Situation::by, "by", kByValues},
}};

constexpr std::array<std::string_view, kGradeCount> kGrades = {"A", "B", "C", "D", "U"};
constexpr std::array<std::string_view, kUrgencyCount> kUrgencies = {"now", "soon", "planned",
                                                                    "routine"};

constexpr bool rows_stand_in_enum_order(const auto& table) {
  for (std::size_t i = 0; i < table.size(); ++i) {
    if (index(table[i].id) != i) {
      return false;
    }
  }
  return true;
}
static_assert(rows_stand_in_enum_order(kFields));
static_assert(rows_stand_in_enum_order(kCauses));
static_assert(rows_stand_in_enum_order(kFindings));
static_assert(rows_stand_in_enum_order(kSituations));
static_assert(std::ranges::all_of(kFindings, [](const FindingSpec& f) {
  return f.levels.size() >= 2 && f.levels.size() <= kMaxLevels;
}));

template <typename E, typename Table>
std::optional<E> row_named(const Table& table, std::string_view wanted) {
  const auto row = std::ranges::find(table, wanted, [](const auto& r) { return r.name; });
  return row == table.end() ? std::nullopt : std::optional<E>(row->id);
}

template <typename E, std::size_t N>
std::optional<E> word_index(const std::array<std::string_view, N>& words, std::string_view wanted) {
  const auto word = std::ranges::find(words, wanted);
  return word == words.end() ? std::nullopt
                             : std::optional<E>(static_cast<E>(word - words.begin()));
}

}  // namespace

std::span<const FieldSpec, kFieldCount> fields() { return kFields; }
const FieldSpec& spec(Field field) { return kFields[index(field)]; }

std::optional<Field> field_at(std::string_view pointer) {
  for (const FieldSpec& f : kFields) {
    if (f.pointer == pointer) {
      return f.id;
    }
    if (f.miles_too && pointer.size() == f.pointer.size() && pointer.ends_with("_mi") &&
        f.pointer.starts_with(pointer.substr(0, pointer.size() - 2))) {
      return f.id;
    }
  }
  return std::nullopt;
}

std::span<const CauseSpec, kCauseCount> causes() { return kCauses; }
std::string_view name(Cause cause) { return kCauses[index(cause)].name; }
std::optional<Cause> cause_named(std::string_view wanted) {
  return row_named<Cause>(kCauses, wanted);
}

std::span<const FindingSpec, kFindingCount> findings() { return kFindings; }
const FindingSpec& spec(Finding finding) { return kFindings[index(finding)]; }
std::string_view name(Finding finding) { return kFindings[index(finding)].name; }
std::optional<Finding> finding_named(std::string_view wanted) {
  return row_named<Finding>(kFindings, wanted);
}

std::span<const SituationSpec, kSituationCount> situations() { return kSituations; }
const SituationSpec& spec(Situation situation) { return kSituations[index(situation)]; }

std::string_view name(Grade grade) { return kGrades[index(grade)]; }
std::optional<Grade> grade_named(std::string_view wanted) {
  return word_index<Grade>(kGrades, wanted);
}
int severity(Grade grade) { return grade == Grade::U ? 2 : static_cast<int>(grade); }

std::string_view name(Urgency urgency) { return kUrgencies[index(urgency)]; }
std::optional<Urgency> urgency_named(std::string_view wanted) {
  return word_index<Urgency>(kUrgencies, wanted);
}

}  // namespace dryshaft
