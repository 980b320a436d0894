#include "dryshaft/vocabulary.hpp"

#include <algorithm>
#include <limits>
#include <utility>

#include "vocabulary/levels.hpp"

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
    {"technician", "a technician", "a workshop or a technician"},
    {"intake", "the intake desk of a workshop", {}, false},
    {"owner", "the owner", "somebody else"},
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
    {"emulsion", "milky or emulsified", "something milky"},
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
    {"gradual", "came on slowly", "slowly, over weeks or longer"},
    {"sudden", "came on suddenly", "from one day to the next"},
    {"always", "has always been there", "it has always been there, as far as is known"},
};
constexpr Choice kWhen[] = {
    {"accelerating", "while accelerating", "while speeding up"},
    {"steady", "at a steady speed"},
    {"coasting", "while coasting with no power", "while rolling freely, without power"},
    {"regenerating", "while slowing down on the motor", "while the motor slows the car down"},
};
constexpr Choice kLevel[] = {
    {"faint", "a faint noise", "faint: heard only if you listen for it"},
    {"clear", "a clear noise", "clear: you notice it, and can talk over it"},
    {"loud", "a loud noise", "loud: you have to raise your voice"},
};
constexpr Choice kRecordedBearing[] = {
    {"none", "no clear line of this bearing"},
    {"shared", "lines that this bearing and another part fit equally"},
    {"clear", "clear lines of this bearing"},
};
constexpr Choice kRecordedOther[] = {
    {"none", "no other source stands out"},
    {"electrical", "a tone of the motor's current"},
    {"mesh", "a gear-mesh tone"},
    {"wheel", "a tone of wheel or tyre"},
};
constexpr Choice kRecordedPattern[] = {
    {"single-defect", "like those of one defect"},
    {"washboard", "like those of many near-equal flutes"},
};
constexpr Choice kRotation[] = {
    {"free", "turns freely"},
    {"stiff", "turns stiffly"},
    {"seized", "does not turn"},
};
constexpr Choice kIsolation[] = {
    {"none", "no isolation fault", "no such warning"},
    {"stored", "a stored isolation fault", "it came up before, but not now"},
    {"active", "an active isolation fault", "it is showing now"},
};
constexpr Choice kPlace[] = {
    {"elsewhere", "elsewhere in the car"},
    {"unit", "in the drive unit"},
};
constexpr Choice kGearOil[] = {
    {"normal", "clear, and at its level"},
    {"low", "below its level"},
    {"metallic", "with a metallic shine, or metal in it"},
    {"milky", "milky"},
};
constexpr Choice kTeardown[] = {
    {"absent", "not there when the unit was opened"},
    {"present", "found when the unit was opened"},
};

constexpr Choice kDid[] = {
    {"seal-renewed", "rotor shaft seal replaced", "the seal on the motor's shaft was replaced"},
    {"rotor-bearings-renewed", "rotor bearings replaced",
     "the bearings in which the motor turns were replaced"},
    {"gear-bearings-renewed", "gearbox input bearings replaced",
     "the bearings where the motor drives the gearbox were replaced"},
    {"rotor-circuit-bypassed", "rotor circuit bypassed",
     "the coolant was led past the motor's shaft"},
    {"rotor-circuit-restored", "rotor circuit restored",
     "the coolant was led through the motor's shaft again"},
    {"winding-dried", "winding dried", "the motor's winding was dried"},
    {"major-parts-replaced", "major parts replaced",
     "large parts of the motor or gearbox were replaced"},
    {"unit-replaced", "drive unit replaced", "the whole drive unit was replaced"},
    {"cooling-bled", "cooling circuit bled", "air was let out of the cooling"},
    {"coolant-leak-repaired", "coolant leak repaired", "a coolant leak was repaired"},
    {"gear-oil-changed", "gear oil changed", "the oil of the gearbox was changed"},
    {"gear-oil-seal-renewed", "gear oil seal replaced",
     "a seal that keeps the oil in the gearbox was replaced"},
    {"port-cleaned", "sensor port cleaned", "the opening for the speed sensor was cleaned"},
    {"fault-repaired-elsewhere", "fault repaired outside the drive unit",
     "a fault was repaired elsewhere in the car"},
    {"noise-repaired-elsewhere", "source of a noise repaired outside the drive unit",
     "what made a noise was repaired elsewhere in the car"},
    {"unit-sold", "drive unit sold", "the drive unit was sold", false},
    {"unit-scrapped", "drive unit scrapped", "the drive unit was scrapped", false},
    {"unit-returned", "drive unit returned to its owner", "the drive unit went back to its owner",
     false},
};
static_assert(std::size(kDid) == kDidCount);
constexpr Choice kDoneBy[] = {
    {"here", "done here"},
    {"elsewhere", "done elsewhere"},
};

// What an owner can say of the coolant topped up. The numbers are the harmful end of each answer,
// at 15 000 km a year [judgement].
constexpr Rough kToppedUp[] = {
    {"none", "never, as far as I know", 0},
    {"some", "now and then: up to a litre in a year", 65},
    {"much", "more than a litre in a year", 100},
};

// Words on which further questions depend.
constexpr std::string_view kIfYes[] = {kNoYes[1].id};
constexpr std::string_view kIfBegan[] = {kOnset[0].id, kOnset[1].id};
constexpr std::string_view kIfLiquid[] = {kFluid[1].id, kFluid[2].id, kFluid[3].id};
constexpr std::string_view kIfBypassed[] = {kCooling[1].id};
constexpr OnlyIf kIfNoise = {Field::noise_present, kIfYes};
constexpr OnlyIf kIfLooked = {Field::port_checked, kIfYes};

// Beyond these a number is a slip, or in another unit [judgement]: no electric car has gone so far
// or holds so high a voltage, and insulation testers end at 15 kV and at a teraohm.
constexpr double kMostKm = 2'000'000;
constexpr double kMostSystemV = 1'500;
constexpr double kMostTestV = 15'000;
constexpr double kMostMegohm = 1'000'000;
constexpr double kMostLossMl = 100'000;

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

constexpr std::array<FieldSpec, kFieldCount + kEntryFieldCount> kFields = {{
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
     .required = true,
     .form = {.part = FormPart::car,
              .ask = "What do you call this car?",
              .help = "A name that no other car has: best the number plate. Use the same name each "
                      "time.",
              .sample = "blue Tarn, number plate HL 0147"}},
    {.id = Field::family,
     .pointer = "/unit/family",
     .type = text,
     .title = "drive-unit family",
     .question = "Which family of drive unit is it?"},
    {.id = Field::vehicle,
     .pointer = "/unit/vehicle",
     .type = text,
     .title = "vehicle",
     .question = "Which car is it in?",
     .form = {.part = FormPart::car,
              .ask = "Which of these cars is it?",
              .help = "The drive unit is motor and gearbox in one housing. If the car is not in "
                      "the list, choose that you do not know."}},
    {.id = Field::built,
     .pointer = "/unit/built",
     .type = month,
     .title = "built",
     .question = "When was the unit built (year, or year and month)?",
     .form = {.part = FormPart::car,
              .ask = "When was the car built?",
              .help = "The year, or year and month, as the car's papers have it. If its drive unit "
                      "came from another car, leave this blank.",
              .sample = "2017 or 2017-05"}},
    {.id = Field::rotor_bearings,
     .pointer = "/unit/rotor_bearings",
     .type = choice,
     .title = "rotor bearings",
     .question = "What are the balls of the rotor bearings made of?",
     .choices = kBearings,
     .form = {.part = FormPart::papers,
              .ask = "Do the papers say what the balls of the rotor bearings are made of?",
              .help = "Bearings are the rings with balls in which the rotor turns. Ceramic ones "
                      "are often called hybrid.",
              .only_if = kIfLooked}},
    {.id = Field::gear_bearings,
     .pointer = "/unit/gear_bearings",
     .type = choice,
     .title = "gearbox input bearings",
     .question = "What are the balls of the gearbox input bearings made of?",
     .choices = kBearings,
     .form = {.part = FormPart::papers,
              .ask = "Do the papers say what the balls of the gearbox input bearings are made of?",
              .help = "They stay steel unless a rebuild has changed them.",
              .only_if = kIfLooked}},
    {.id = Field::rotor_cooling,
     .pointer = "/unit/rotor_cooling",
     .type = choice,
     .title = "rotor cooling",
     .question = "Does coolant run through the rotor shaft?",
     .choices = kCooling,
     .form = {.part = FormPart::papers,
              .ask = "Do the papers say how the motor's rotor is cooled?",
              .help =
                  "The rotor is the part of the motor that turns. In some units coolant runs "
                  "through its shaft. Bypassed means that a workshop has led the coolant past it.",
              .only_if = kIfLooked}},
    {.id = Field::bypass_keeps_crossover,
     .pointer = "/unit/bypass_keeps_crossover",
     .type = flag,
     .title = "crossover pipe kept",
     .question = "Did the bypass keep the crossover pipe?",
     .form = {.part = FormPart::papers,
              .ask = "Do the papers of the bypass say that the crossover pipe was kept?",
              .help = "Without that pipe, air can stay trapped in the cooling.",
              .only_if = {Field::rotor_cooling, kIfBypassed}}},
    {.id = Field::fitted_odometer_km,
     .pointer = "/unit/fitted_odometer_km",
     .type = number,
     .title = "odometer when fitted",
     .question = "What did the odometer say when this unit went in?",
     .unit = "km",
     .minimum = 0,
     .maximum = kMostKm,
     .miles_too = true,
     .form = {.part = FormPart::car,
              .ask = "Was the drive unit ever replaced? What did the odometer say then?",
              .help = "The drive unit is motor and gearbox in one housing. Write 0 if the car "
                      "still has its first one. If you do not know, leave this blank.",
              .needs_history = true,
              .no_means = "0"}},
    {.id = Field::seal_renewed_odometer_km,
     .pointer = "/unit/seal_renewed_odometer_km",
     .type = number,
     .title = "odometer when the seal was replaced",
     .question = "What did the odometer say when the rotor shaft seal was last replaced?",
     .unit = "km",
     .minimum = 0,
     .maximum = kMostKm,
     .miles_too = true,
     .form = {.part = FormPart::papers,
              .ask = "Has a workshop replaced the seal on the motor's shaft? What did the odometer "
                     "say then?",
              .help =
                  "This seal keeps coolant out of the motor. If it was replaced, the workshop's "
                  "bill says so. If not, or if you do not know, leave this blank.",
              .needs_history = true,
              .no_means = ""}},
    {.id = Field::system_voltage_v,
     .pointer = "/unit/system_voltage_v",
     .type = number,
     .title = "system voltage",
     .question = "What is the working voltage of the high-voltage system?",
     .unit = "V",
     .minimum = 0,
     .minimum_excluded = true,
     .maximum = kMostSystemV},
    {.id = Field::date,
     .pointer = "/inspection/date",
     .type = date,
     .title = "inspection date",
     .question = "On which day was this seen?",
     .required = true,
     .form = {.part = FormPart::reading,
              .ask = "Which day is it today?",
              .help = "Year, month, day.",
              .sample = "2026-03-18",
              .again = "On which day was the port checked?",
              .again_help =
                  "The workshop's bill says. If you know only roughly, give the earliest day that "
                  "it can have been. Without a day, a dry port does not count for the car."}},
    {.id = Field::odometer_km,
     .pointer = "/inspection/odometer_km",
     .type = number,
     .title = "odometer",
     .question = "What does the odometer say?",
     .unit = "km",
     .minimum = 0,
     .maximum = kMostKm,
     .miles_too = true,
     .form = {.part = FormPart::reading,
              .ask = "What does the odometer say?",
              .help =
                  "The odometer shows how far the car has gone in all. The whole number is enough.",
              .again = "What did the odometer say on that day?",
              .again_help = "The workshop's bill often says."}},
    {.id = Field::by,
     .pointer = "/inspection/by",
     .type = choice,
     .title = "inspected by",
     .question = "Who did the inspection?",
     .choices = kBy,
     .form = {.again = "Who checked the port?",
              .again_help = "It counts the same; it helps whoever reads the report."}},
    {.id = Field::port_checked,
     .pointer = "/inspection/port/checked",
     .type = flag,
     .title = "sensor port checked",
     .question = "Was the rotor-speed sensor taken out and looked at?",
     .form = {.part = FormPart::port,
              .ask = "Has a workshop checked the speed sensor's port on the motor?",
              .help = "A small sensor sits in an opening of the motor's housing, its port. If "
                      "coolant gets past the seal on the motor's shaft, it shows on the sensor's "
                      "tip long before the car shows anything. This is a job for a workshop: do "
                      "not do it yourself for this form."}},
    {.id = Field::port_fluid,
     .pointer = "/inspection/port/fluid",
     .type = choice,
     .title = "liquid at the port",
     .question = "Was there liquid on the sensor's tip or in the port?",
     .choices = kFluid,
     .form = {.part = FormPart::port,
              .ask = "Was there liquid on the sensor's tip or in the port?",
              .help = "The workshop's bill or photo may show it.",
              .only_if = kIfLooked}},
    {.id = Field::port_fluid_kind,
     .pointer = "/inspection/port/fluid_kind",
     .type = choice,
     .title = "kind of liquid",
     .question = "What kind of liquid was it?",
     .choices = kFluidKind,
     .form = {.part = FormPart::port,
              .help = "Coolant is thin, often coloured, and feels slippery. Gear oil is thicker "
                      "and smells of oil. If nobody was sure, say that you do not know.",
              .only_if = {Field::port_fluid, kIfLiquid}}},
    {.id = Field::port_dried_residue,
     .pointer = "/inspection/port/dried_residue",
     .type = flag,
     .title = "dried residue",
     .question = "Was there dried residue on the tip?",
     .form = {.part = FormPart::port,
              .help = "Liquid that dries leaves a pale or coloured crust.",
              .only_if = kIfLooked}},
    {.id = Field::port_corrosion,
     .pointer = "/inspection/port/corrosion",
     .type = choice,
     .title = "rust on the tip",
     .question = "Was there rust on the tip?",
     .choices = kCorrosion,
     .form = {.part = FormPart::port,
              .help = "Light: brown specks, or a bloom that wipes off. Heavy: brown all over, "
                      "pitted or flaking. In doubt, take it for heavy.",
              .only_if = kIfLooked}},
    {.id = Field::port_debris,
     .pointer = "/inspection/port/debris",
     .type = choice,
     .title = "debris on the tip",
     .question = "Was there iron fuzz or chips on the tip?",
     .choices = kDebris,
     .form = {.part = FormPart::port,
              .help = "The tip is magnetic. Fine fuzz like dust is one thing; pieces that you can "
                      "see one by one are chips.",
              .only_if = kIfLooked}},
    {.id = Field::port_glycol_percent,
     .pointer = "/inspection/port/glycol_percent",
     .type = number,
     .title = "glycol by refractometer",
     .question = "How much glycol did the refractometer show?",
     .unit = "% by volume",
     .minimum = 0,
     .maximum = 100,
     .form = {.part = FormPart::port,
              .ask = "Did the workshop test the liquid for glycol? What percentage did it find?",
              .help =
                  "Glycol is the main part of coolant. Give the number only if the bill has one.",
              .only_if = {Field::port_fluid, kIfLiquid}}},
    {.id = Field::noise_present,
     .pointer = "/inspection/noise/present",
     .type = flag,
     .title = "noise",
     .question = "Is there a whine, tone or hum that should not be there?",
     .form = {.part = FormPart::noise,
              .help =
                  "Most electric cars make some tone. Say yes if it is new, louder than before, "
                  "or louder than in other cars of the kind. If you cannot tell, say that you "
                  "do not know."}},
    {.id = Field::noise_onset,
     .pointer = "/inspection/noise/onset",
     .type = choice,
     .title = "how the noise began",
     .question = "How did the noise begin?",
     .choices = kOnset,
     .form = {.part = FormPart::noise,
              .help = "If the car had the noise when it came to you, it has always been there.",
              .only_if = kIfNoise}},
    {.id = Field::noise_onset_odometer_km,
     .pointer = "/inspection/noise/onset_odometer_km",
     .type = number,
     .title = "odometer when the noise began",
     .question = "What did the odometer say when the noise began?",
     .unit = "km",
     .minimum = 0,
     .maximum = kMostKm,
     .miles_too = true,
     .form = {.part = FormPart::noise,
              .help = "A rough number will do.",
              .only_if = {Field::noise_onset, kIfBegan},
              .needs_history = true}},
    {.id = Field::noise_when,
     .pointer = "/inspection/noise/when",
     .type = choices,
     .title = "when the noise is heard",
     .question = "When do you hear it?",
     .choices = kWhen,
     .form = {.part = FormPart::noise, .help = "Choose all that fit.", .only_if = kIfNoise}},
    {.id = Field::noise_pitch_follows_speed,
     .pointer = "/inspection/noise/pitch_follows_speed",
     .type = flag,
     .title = "pitch follows road speed",
     .question = "Does its pitch rise and fall with the speed of the car?",
     .form = {.part = FormPart::noise,
              .help = "A higher tone when the car goes faster, a lower one when it goes slower.",
              .only_if = kIfNoise}},
    {.id = Field::noise_level,
     .pointer = "/inspection/noise/level",
     .type = choice,
     .title = "loudness",
     .question = "How loud is it?",
     .choices = kLevel,
     .form = {.part = FormPart::noise,
              .help = "As heard from the driver's seat, with radio and fan off.",
              .only_if = kIfNoise}},
    {.id = Field::noise_changes_with_steering_or_surface,
     .pointer = "/inspection/noise/changes_with_steering_or_surface",
     .type = flag,
     .title = "changes with steering or road surface",
     .question = "Does it change when you steer, or on another road surface?",
     .form = {.part = FormPart::noise,
              .help = "For example louder in a bend, or gone on smooth tarmac.",
              .only_if = kIfNoise}},
    {.id = Field::recording_rotor_bearing,
     .pointer = "/inspection/recording/rotor_bearing",
     .type = choice,
     .title = "rotor bearings in the recording",
     .question = "Does a noise recording show lines of a rotor bearing (race, ball or cage)?",
     .choices = kRecordedBearing},
    {.id = Field::recording_gear_bearing,
     .pointer = "/inspection/recording/gear_bearing",
     .type = choice,
     .title = "gearbox input bearings in the recording",
     .question =
         "Does a noise recording show lines of a gearbox input bearing (race, ball or cage)?",
     .choices = kRecordedBearing},
    {.id = Field::recording_other,
     .pointer = "/inspection/recording/other",
     .type = choice,
     .title = "other source in the recording",
     .question = "Which other source of a tone stands out most clearly in the recording?",
     .choices = kRecordedOther},
    {.id = Field::recording_pattern,
     .pointer = "/inspection/recording/pattern",
     .type = choice,
     .title = "pattern of the bearing's lines",
     .question = "Do the bearing's lines look like one defect, or like the many near-equal flutes "
                 "of current leakage erosion?",
     .choices = kRecordedPattern},
    {.id = Field::rotation,
     .pointer = "/inspection/rotation",
     .type = choice,
     .title = "rotation by hand",
     .question = "How does the unit turn?",
     .choices = kRotation},
    {.id = Field::drag_elsewhere,
     .pointer = "/inspection/drag_elsewhere",
     .type = flag,
     .title = "what drags lies elsewhere",
     .question = "Brakes, half shafts and wheel bearings were checked: does one of them drag?"},
    {.id = Field::fault_isolation,
     .pointer = "/inspection/faults/isolation",
     .type = choice,
     .title = "isolation fault",
     .question = "Does the car report an isolation fault?",
     .choices = kIsolation,
     .form = {.part = FormPart::dashboard,
              .ask = "Does the dashboard warn of an isolation fault, or of a fault in the "
                     "electrical system?",
              .help = "An isolation fault means that electricity may get to where it does not "
                      "belong. The message may also say insulation or high voltage."}},
    {.id = Field::fault_isolation_place,
     .pointer = "/inspection/faults/isolation_place",
     .type = choice,
     .title = "place of the isolation fault",
     .question =
         "With the unit disconnected from the rest of the high-voltage system: where is the "
         "isolation fault?",
     .choices = kPlace},
    {.id = Field::fault_shutdown,
     .pointer = "/inspection/faults/shutdown",
     .type = flag,
     .title = "shutdown",
     .question = "Has the drive shut itself down?",
     .form = {.part = FormPart::dashboard,
              .ask = "Has the car ever stopped driving by itself, or refused to drive?",
              .help = "With charge left in the battery.",
              .needs_history = true}},
    {.id = Field::fault_reduced_power,
     .pointer = "/inspection/faults/reduced_power",
     .type = flag,
     .title = "reduced power",
     .question = "Has the car reported reduced power?",
     .form = {.part = FormPart::dashboard,
              .ask = "Has the car shown a message that its power is reduced?",
              .help =
                  "In deep cold, or with an almost empty battery, that is normal: then say no."}},
    {.id = Field::fault_codes_read,
     .pointer = "/inspection/faults/codes_read",
     .type = flag,
     .title = "fault memory read",
     .question = "Was the fault memory read (what it says goes into the faults and the note)?"},
    {.id = Field::insulation_resistance_mohm,
     .pointer = "/inspection/insulation/resistance_mohm",
     .type = number,
     .title = "insulation resistance, winding to housing",
     .question = "What insulation resistance was measured between winding and housing?",
     .unit = "megohm",
     .minimum = 0,
     .maximum = kMostMegohm},
    {.id = Field::insulation_test_voltage_v,
     .pointer = "/inspection/insulation/test_voltage_v",
     .type = number,
     .title = "insulation test voltage",
     .question = "At which test voltage?",
     .unit = "V",
     .minimum = 0,
     .minimum_excluded = true,
     .maximum = kMostTestV},
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
     .question = "How much coolant goes missing, read over 5,000 km or more?",
     .unit = "ml per 1000 km",
     .minimum = 0,
     .maximum = kMostLossMl,
     .form = {.part = FormPart::coolant,
              .ask = "Has coolant been topped up?",
              .help =
                  "The service book and the workshop's bills say. Do not open any cap to find out.",
              .needs_history = true,
              .rough = kToppedUp}},
    {.id = Field::coolant_outside_leak_seen,
     .pointer = "/inspection/coolant/outside_leak_seen",
     .type = flag,
     .title = "coolant leak outside",
     .question = "Has a coolant leak been seen on the outside?",
     .form = {.part = FormPart::coolant,
              .ask = "Have you seen coolant drip from the car, or a coloured puddle under it?",
              .help = "Clear water under a parked car on a warm day comes from the air "
                      "conditioning: then say no."}},
    {.id = Field::gear_oil,
     .pointer = "/inspection/gear_oil",
     .type = choice,
     .title = "gearbox oil",
     .question = "How does the gearbox oil look, and is it at its level?",
     .choices = kGearOil},
    {.id = Field::photos,
     .pointer = "/inspection/photos",
     .type = photos,
     .title = "photographs",
     .question = "Which files hold photographs of what was seen?",
     .max_length = 200},
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
     .question = "Anything else worth writing down?",
     .form = {.part = FormPart::closing,
              .help = "What you have noticed, and since when. Leave out anything private."}},
    {.id = Field::replaces,
     .pointer = "/replaces",
     .type = FieldType::hash,
     .title = "takes the place of",
     .question = "Which record does this one take the place of, by its SHA-256?"},
    {.id = Field::work_did,
     .pointer = "/did",
     .type = choice,
     .title = "what was done",
     .question = "What was done to the unit?",
     .choices = kDid,
     .required = true},
    {.id = Field::work_date,
     .pointer = "/date",
     .type = date,
     .title = "date of the work",
     .question = "On which day was it done, if not on that of the inspection?"},
    {.id = Field::work_odometer_km,
     .pointer = "/odometer_km",
     .type = number,
     .title = "odometer at the work",
     .question = "What did the odometer say then, if not the same?",
     .unit = "km",
     .minimum = 0,
     .maximum = kMostKm,
     .miles_too = true},
    {.id = Field::work_material,
     .pointer = "/material",
     .type = choice,
     .title = "material of the new bearings",
     .question = "What are the balls of the new bearings made of?",
     .choices = kBearings},
    {.id = Field::work_keeps_crossover,
     .pointer = "/keeps_crossover",
     .type = flag,
     .title = "crossover pipe kept by the work",
     .question = "Did the bypass keep the crossover pipe?"},
    {.id = Field::work_by,
     .pointer = "/by",
     .type = choice,
     .title = "done by",
     .question = "Was it done here or elsewhere?",
     .choices = kDoneBy},
    {.id = Field::work_note,
     .pointer = "/note",
     .type = text,
     .title = "note on the work",
     .question = "Anything else worth writing down about it?"},
    {.id = Field::withdrawn_sha256,
     .pointer = "/sha256",
     .type = FieldType::hash,
     .title = "record withdrawn",
     .question = "Which record counts for nothing, by its SHA-256?",
     .required = true},
    {.id = Field::withdrawn_date,
     .pointer = "/date",
     .type = date,
     .title = "withdrawn on",
     .question = "On which day was it withdrawn, if not on that of the inspection?"},
    {.id = Field::withdrawn_because,
     .pointer = "/because",
     .type = text,
     .title = "why it was withdrawn",
     .question = "Why was it withdrawn?"},
    {.id = Field::withdrawn_by,
     .pointer = "/by",
     .type = text,
     .title = "withdrawn by",
     .question = "Who withdrew it?",
     .max_length = 64},
}};

constexpr std::string_view kAtLift[] = {"/unit/id", "/unit/vehicle", "/inspection/date",
                                        "/inspection/odometer_km"};
constexpr std::string_view kAtPort[] = {"/inspection/port/"};
constexpr std::string_view kPictured[] = {"/inspection/photos"};
constexpr std::string_view kHeard[] = {"/inspection/noise/"};
constexpr std::string_view kTurned[] = {"/inspection/rotation", "/inspection/drag_elsewhere"};
constexpr std::string_view kFaultsRead[] = {"/inspection/faults/"};
constexpr std::string_view kMeasured[] = {"/inspection/insulation/", "/unit/system_voltage_v"};
constexpr std::string_view kFluids[] = {"/inspection/coolant/", "/inspection/gear_oil"};
constexpr std::string_view kBuiltAs[] = {"/unit/"};
constexpr std::string_view kRecorded[] = {"/inspection/recording/"};
constexpr std::string_view kOpened[] = {"/teardown/"};
constexpr std::string_view kRemarks[] = {"/inspection/by", "/note"};

constexpr std::array<FormPartSpec, kFormPartCount> kFormParts = {{
    {FormPart::none, Asked::nobody, "", ""},
    {FormPart::dashboard, Asked::owner, "Messages from the car",
     "What the car itself has shown. If a message is showing now, a photo of it helps the "
     "workshop."},
    {FormPart::coolant, Asked::owner, "Coolant",
     "Coolant is the liquid, often coloured, that carries heat away from motor and battery. Answer "
     "from what you have seen and what was written down."},
    {FormPart::noise, Asked::owner, "Noises",
     "A worn bearing in the drive unit makes a tone. A leak inside it makes none for a long time."},
    {FormPart::port, Asked::port_checker, "Check of the sensor port",
     "This part is for whoever had a workshop check the speed sensor of the motor. If nobody "
     "did, say no and go on."},
    {FormPart::reading, Asked::owner, "Today", "The day, and how far the car has gone."},
    {FormPart::car, Asked::owner, "The car", "What is known about the car."},
    {FormPart::papers, Asked::port_checker, "From the workshop's papers",
     "Only what the papers of a repair say. If you do not have them, leave this part out."},
    {FormPart::closing, Asked::owner, "Anything else", "What the questions left out."},
    {FormPart::at_lift, Asked::technician, "The unit", "Which unit it is, and how far it has gone.",
     kAtLift},
    {FormPart::at_port, Asked::technician, "Sensor port",
     "Take the rotor-speed sensor out and look at its tip and into the port.", kAtPort},
    {FormPart::pictured, Asked::technician, "Photographs",
     "Of the tip from close up, and of the unit's id; they go into the record.", kPictured},
    {FormPart::heard, Asked::technician, "Noise", "What a road test tells.", kHeard},
    {FormPart::turned, Asked::technician, "Turning by hand",
     "How the unit turns with its driven wheels off the ground.", kTurned},
    {FormPart::faults, Asked::technician, "Faults", "What the car and its fault memory say.",
     kFaultsRead},
    {FormPart::insulation, Asked::technician, "Insulation",
     "Between winding and housing, with the voltage and the temperature it was measured at.",
     kMeasured},
    {FormPart::fluids, Asked::technician, "Coolant and gear oil",
     "What is missing, and what was seen.", kFluids},
    {FormPart::built_as, Asked::technician, "How the unit is built",
     "As plate, papers or an opening say; leave out what is assumed.", kBuiltAs},
    {FormPart::work, Asked::technician, "Work done",
     "Here or elsewhere, as far as it is known; it counts from its day on."},
    {FormPart::recording, Asked::technician, "Recording",
     "What \"dryshaft listen\" says of a recording.", kRecorded},
    {FormPart::opened, Asked::technician, "Opened", "What was found inside.", kOpened},
    {FormPart::remarks, Asked::technician, "Anything else", "What the questions left out.",
     kRemarks},
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
constexpr Choice kIsolationLevels[] = {
    kIsolation[0],
    {"elsewhere", "a stored isolation fault, found to lie elsewhere in the car",
     "it came up before, and a workshop has found it elsewhere in the car"},
    kIsolation[1],
    kIsolation[2],
};
constexpr Choice kShutdownLevels[] = {
    kNoYes[0],
    {"explained", "yes, and the fault memory has been read",
     "yes, and a workshop has read out why"},
    kNoYes[1],
};
constexpr Choice kAbsentPresent[] = {{"absent", "absent"}, {"present", "present"}};
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
constexpr Field kFromIsolation[] = {Field::fault_isolation, Field::fault_isolation_place};
constexpr Field kFromInsulation[] = {Field::insulation_resistance_mohm,
                                     Field::insulation_test_voltage_v,
                                     Field::insulation_winding_temp_c, Field::system_voltage_v};
constexpr Field kFromRotation[] = {Field::rotation};
constexpr Field kFromDrag[] = {Field::drag_elsewhere};
constexpr Field kFromGearOil[] = {Field::gear_oil};
constexpr Field kFromNoise[] = {Field::noise_present};
constexpr Field kFromWhen[] = {Field::noise_when};
constexpr Field kFromPitch[] = {Field::noise_pitch_follows_speed};
constexpr Field kFromSteering[] = {Field::noise_changes_with_steering_or_surface};
constexpr Field kFromOnset[] = {Field::noise_onset};
constexpr Field kFromLevel[] = {Field::noise_level};
constexpr Field kFromRecordedRotor[] = {Field::recording_rotor_bearing};
constexpr Field kFromRecordedGear[] = {Field::recording_gear_bearing};
constexpr Field kFromRecordedOther[] = {Field::recording_other};
constexpr Field kFromRecordedPattern[] = {Field::recording_pattern};
constexpr Finding kRecordedBearings[] = {Finding::recorded_rotor_bearing,
                                         Finding::recorded_gear_bearing};
constexpr Field kFromLoss[] = {Field::coolant_loss_ml_per_1000km, Field::coolant_outside_leak_seen};
constexpr Field kFromOutsideLeak[] = {Field::coolant_outside_leak_seen};
constexpr Field kFromEarlier[] = {Field::fault_isolation, Field::insulation_resistance_mohm,
                                  Field::rotation,        Field::port_debris,
                                  Field::port_corrosion,  Field::port_dried_residue,
                                  Field::port_fluid,      Field::noise_present};
constexpr Field kFromShutdown[] = {Field::fault_shutdown, Field::fault_codes_read};
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
    {Finding::isolation_fault, "isolation-fault", "isolation fault", kIsolationLevels, true, false,
     kFromIsolation},
    {Finding::insulation, "insulation", "insulation resistance", kInsulationLevels, true, false,
     kFromInsulation},
    {Finding::rotation, "rotation", "rotation by hand", kRotation, true, false, kFromRotation},
    {Finding::drag_place, "drag-place", "where it drags", kPlace, false, false, kFromDrag,
     Finding::rotation},
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
    {Finding::recorded_rotor_bearing, "recorded-rotor-bearing", "rotor bearings by recording",
     kRecordedBearing, true, false, kFromRecordedRotor, Finding::noise},
    {Finding::recorded_gear_bearing, "recorded-gear-bearing", "gearbox input bearings by recording",
     kRecordedBearing, true, false, kFromRecordedGear, Finding::noise},
    {Finding::recorded_other, "recorded-other", "other source by recording", kRecordedOther, false,
     false, kFromRecordedOther, Finding::noise},
    {Finding::recorded_pattern, "recorded-pattern", "pattern of the bearing's lines",
     kRecordedPattern, false, false, kFromRecordedPattern, Finding::noise, false,
     kRecordedBearings},
    {Finding::coolant_loss, "coolant-loss", "unexplained coolant loss", kLossLevels, true, false,
     kFromLoss},
    {Finding::shutdown, "shutdown", "drive shut itself down", kShutdownLevels, true, false,
     kFromShutdown},
    {Finding::reduced_power, "reduced-power", "reduced power", kNoYes, true, false, kFromReduced},
    {Finding::gear_oil, "gear-oil", "gearbox oil", kGearOil, true, false, kFromGearOil},
    {Finding::earlier_coolant,
     "earlier-coolant",
     "coolant at an earlier check, seal not replaced",
     kAbsentPresent,
     true,
     false,
     kFromFluid,
     std::nullopt,
     true,
     {},
     true},
    {Finding::earlier_damage,
     "earlier-damage",
     "an earlier adverse finding that is gone, and no work on record explains it",
     kAbsentPresent,
     true,
     false,
     kFromEarlier,
     std::nullopt,
     true,
     {},
     true},
    {Finding::outside_leak,
     "outside-leak",
     "coolant leak seen outside the drive unit",
     kAbsentPresent,
     true,
     false,
     kFromOutsideLeak,
     std::nullopt,
     true,
     {},
     true},
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
    {"bled", "the bypass removed the crossover pipe, and the circuit has been bled since"},
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
// A form's conditions name words that the other field can take, and a field asked before it.
constexpr bool can_hold(const FieldSpec& f, std::string_view word) {
  const std::span<const Choice> words = f.type == flag ? kNoYes : f.choices;
  return std::ranges::find(words, word, &Choice::id) != words.end();
}
constexpr bool conditions_can_hold(const auto& table) {
  for (const FieldSpec& f : table) {
    const OnlyIf& only = f.form.only_if;
    if (only.words.empty()) {
      continue;
    }
    const FieldSpec& gate = table[index(only.field)];
    const bool earlier =
        gate.form.part < f.form.part || (gate.form.part == f.form.part && gate.id < f.id);
    if (gate.form.part == FormPart::none || !earlier ||
        !std::ranges::all_of(only.words, [&](std::string_view w) { return can_hold(gate, w); })) {
      return false;
    }
  }
  return true;
}
static_assert(conditions_can_hold(kFields));
static_assert(std::ranges::all_of(kFields, [](const FieldSpec& f) {
  return f.form.part == FormPart::none || !f.form.help.empty();
}));
static_assert(std::ranges::all_of(kFields, [](const FieldSpec& f) {
  return !f.miles_too || f.maximum <= kMostKm;
}));
static_assert(rows_stand_in_enum_order(kFormParts));

// A whole pointer wins over a beginning.
constexpr FormPart part_at(std::string_view pointer) {
  FormPart found = FormPart::none;
  for (const FormPartSpec& part : kFormParts) {
    for (const std::string_view one : part.pointers) {
      if (one == pointer ||
          (found == FormPart::none && one.ends_with('/') && pointer.starts_with(one))) {
        found = part.id;
      }
    }
  }
  return found;
}
constexpr auto kTechnicianParts = [] {
  std::array<FormPart, kFieldCount + kEntryFieldCount> parts{};
  for (const FieldSpec& f : kFields) {
    const bool of_work = f.id >= Field::work_did && f.id <= Field::work_note;
    parts[index(f.id)] = of_work ? FormPart::work : part_at(f.pointer);
  }
  parts[index(Field::family)] = FormPart::none;
  return parts;
}();
// Beside those two, what says of other records that they do not count: no form asks for it.
static_assert(std::ranges::count(kTechnicianParts, FormPart::none) == 3 + kWithdrawnFieldCount);
static_assert(std::ranges::all_of(kFormParts, [](const FormPartSpec& part) {
  return part.id == FormPart::none ||
         (part.asked == Asked::technician) ==
             (std::ranges::find(kTechnicianParts, part.id) != kTechnicianParts.end());
}));
static_assert(rows_stand_in_enum_order(kFields));
static_assert(rows_stand_in_enum_order(kCauses));
static_assert(rows_stand_in_enum_order(kFindings));
static_assert(rows_stand_in_enum_order(kSituations));
// What a finding needs stands before it, so that one pass in order suffices.
static_assert(std::ranges::all_of(kFindings, [](const FindingSpec& f) {
  return (!f.detail_of || *f.detail_of < f.id) &&
         std::ranges::all_of(f.needs_one_of, [&](Finding other) { return other < f.id; });
}));
static_assert(std::ranges::all_of(kFindings, [](const FindingSpec& f) {
  return f.levels.size() >= 2 && f.levels.size() <= kMaxLevels;
}));

// The named levels (levels.hpp) stand where the table has them, and are all of its levels.
template <typename Named, std::size_t N>
constexpr bool are_levels(std::span<const Choice> levels,
                          const std::pair<Named, std::string_view> (&named)[N]) {
  return levels.size() == N && std::ranges::all_of(named, [&](const auto& n) {
           return levels[index(n.first)].id == n.second;
         });
}
constexpr std::pair<Presence, std::string_view> kPresence[] = {{Presence::absent, "absent"},
                                                               {Presence::present, "present"}};
static_assert(std::ranges::all_of(kFindings, [](const FindingSpec& f) {
  return f.levels[0].id != kPresence[0].second || are_levels(f.levels, kPresence);
}));
constexpr std::span<const Choice> levels_of(Finding f) { return kFindings[index(f)].levels; }
static_assert(are_levels<Fluid>(levels_of(Finding::port_fluid), {{Fluid::none, "none"},
                                                                 {Fluid::film, "film"},
                                                                 {Fluid::droplets, "droplets"},
                                                                 {Fluid::pooled, "pooled"}}));
static_assert(are_levels<FluidKind>(levels_of(Finding::port_fluid_kind),
                                    {{FluidKind::gear_oil, "gear-oil"},
                                     {FluidKind::water, "water"},
                                     {FluidKind::emulsion, "emulsion"},
                                     {FluidKind::coolant, "coolant"}}));
static_assert(are_levels<Rust>(levels_of(Finding::port_rust), {{Rust::none, "none"},
                                                               {Rust::light, "light"},
                                                               {Rust::heavy, "heavy"}}));
static_assert(are_levels<Debris>(levels_of(Finding::port_debris), {{Debris::none, "none"},
                                                                   {Debris::fine, "fine"},
                                                                   {Debris::chips, "chips"}}));
static_assert(are_levels<Isolation>(levels_of(Finding::isolation_fault),
                                    {{Isolation::none, "none"},
                                     {Isolation::elsewhere, "elsewhere"},
                                     {Isolation::stored, "stored"},
                                     {Isolation::active, "active"}}));
static_assert(are_levels<FaultPlace>(levels_of(Finding::drag_place),
                                     {{FaultPlace::elsewhere, "elsewhere"},
                                      {FaultPlace::unit, "unit"}}));
static_assert(are_levels<Shutdown>(
    levels_of(Finding::shutdown),
    {{Shutdown::no, "no"}, {Shutdown::explained, "explained"}, {Shutdown::yes, "yes"}}));
static_assert(are_levels<GearOil>(levels_of(Finding::gear_oil), {{GearOil::normal, "normal"},
                                                                 {GearOil::low, "low"},
                                                                 {GearOil::metallic, "metallic"},
                                                                 {GearOil::milky, "milky"}}));
static_assert(are_levels<Insulation>(levels_of(Finding::insulation),
                                     {{Insulation::sound, "sound"},
                                      {Insulation::below_ieee43, "below-ieee43"},
                                      {Insulation::below_500, "below-500"},
                                      {Insulation::below_100, "below-100"}}));
static_assert(are_levels<Rotation>(levels_of(Finding::rotation), {{Rotation::free, "free"},
                                                                  {Rotation::stiff, "stiff"},
                                                                  {Rotation::seized, "seized"}}));
static_assert(are_levels<NoiseLoad>(levels_of(Finding::noise_load),
                                    {{NoiseLoad::otherwise, "otherwise"},
                                     {NoiseLoad::under_load, "under-load"}}));
static_assert(are_levels<Loss>(levels_of(Finding::coolant_loss), {{Loss::none, "none"},
                                                                  {Loss::some, "some"},
                                                                  {Loss::marked, "marked"}}));
static_assert(are_levels<By>(kByValues, {{By::technician, "technician"},
                                         {By::intake, "intake"},
                                         {By::owner, "owner"},
                                         {By::unknown, "unknown"}}));
// A flag's value is the level of the finding that it tells of: no or absent, yes or present. But
// for two: a shutdown may be explained, and what drags elsewhere is the better news.
static_assert(std::ranges::all_of(kFindings, [](const FindingSpec& f) {
  return kFields[index(f.from.front())].type != flag || f.levels.size() == std::size(kNoYes) ||
         f.id == Finding::shutdown;
}));

// The findings that need others, and which, as bits.
struct Need {
  std::size_t finding = 0;
  std::uint32_t leader = 0;  // 0: none
  std::uint32_t one_of = 0;  // 0: none
};
constexpr std::size_t kNeedCount = static_cast<std::size_t>(std::ranges::count_if(
    kFindings, [](const FindingSpec& f) { return f.detail_of || !f.needs_one_of.empty(); }));
constexpr std::array<Need, kNeedCount> kNeeds = [] {
  std::array<Need, kNeedCount> needs{};
  std::size_t n = 0;
  for (const FindingSpec& f : kFindings) {
    if (f.detail_of || !f.needs_one_of.empty()) {
      Need& need = needs[n++];
      need.finding = index(f.id);
      need.leader = f.detail_of ? 1U << index(*f.detail_of) : 0;
      for (const Finding other : f.needs_one_of) {
        need.one_of |= 1U << index(other);
      }
    }
  }
  return needs;
}();

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

std::span<const FieldSpec, kFieldCount> fields() { return std::span(kFields).first<kFieldCount>(); }
std::span<const FieldSpec, kWorkFieldCount> work_fields() {
  return std::span(kFields).subspan<kFieldCount, kWorkFieldCount>();
}
std::span<const FieldSpec, kWithdrawnFieldCount> withdrawn_fields() {
  return std::span(kFields).last<kWithdrawnFieldCount>();
}
const FieldSpec& spec(Field field) { return kFields[index(field)]; }

const Choice& spec(Did did) { return kDid[index(did)]; }
bool goes_with(Field member, Did did) {
  switch (member) {
    case Field::work_material:
      return did == Did::rotor_bearings_renewed || did == Did::gear_bearings_renewed;
    case Field::work_keeps_crossover:
      return did == Did::rotor_circuit_bypassed;
    default:
      return true;
  }
}

std::optional<Field> field_at(std::string_view pointer) {
  for (const FieldSpec& f : fields()) {
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

std::span<const FormPartSpec, kFormPartCount> form_parts() { return kFormParts; }
const FormPartSpec& spec(FormPart part) { return kFormParts[index(part)]; }
FormPart technician_part(Field field) { return kTechnicianParts[index(field)]; }

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

bool exists(Finding finding, const Levels& level) {
  const FindingSpec& f = kFindings[index(finding)];
  const auto above = [&](Finding other) { return level[index(other)] > 0; };
  return (!f.detail_of || above(*f.detail_of)) &&
         (f.needs_one_of.empty() || std::ranges::any_of(f.needs_one_of, above));
}

void drop_what_does_not_exist(Levels& level) {
  std::uint32_t above = 0;
  for (std::size_t f = 0; f < kFindingCount; ++f) {
    above |= (level[f] > 0 ? 1U : 0U) << f;
  }
  for (const Need& need : kNeeds) {
    if ((need.leader != 0 && (above & need.leader) == 0) ||
        (need.one_of != 0 && (above & need.one_of) == 0)) {
      level[need.finding] = -1;
      above &= ~(1U << need.finding);
    }
  }
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
