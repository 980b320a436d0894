/// The one table of words: record fields, findings, causes, grades.
///
/// Reader, JSON Schema, reports, forms and documents are made from what stands
/// here; no other file repeats a field's name, its values or its unit.
#ifndef DRYSHAFT_VOCABULARY_HPP
#define DRYSHAFT_VOCABULARY_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string_view>

namespace dryshaft {

inline constexpr std::string_view kRecordFormat = "dryshaft-record/1";
inline constexpr std::string_view kReportFormat = "dryshaft-report/1";
inline constexpr std::string_view kRulesFormat = "dryshaft-rules/1";
inline constexpr std::string_view kFamilyFormat = "dryshaft-family/1";

/// Text that stands for "not observed" in any field, as `null` and absence do.
inline constexpr std::string_view kUnknownWord = "unknown";
/// The family of units about whose family nothing is known.
inline constexpr std::string_view kGenericFamily = "generic";

// ---------------------------------------------------------------- fields

/// Every field of a record, in the order in which forms ask and documents list.
enum class Field : std::uint8_t {
  format,
  unit_id,
  family,
  vehicle,
  built,
  rotor_bearings,
  gear_bearings,
  rotor_cooling,
  bypass_keeps_crossover,
  fitted_odometer_km,
  seal_renewed_odometer_km,
  system_voltage_v,
  date,
  odometer_km,
  by,
  port_checked,
  port_fluid,
  port_fluid_kind,
  port_dried_residue,
  port_corrosion,
  port_debris,
  port_glycol_percent,
  noise_present,
  noise_onset,
  noise_onset_odometer_km,
  noise_when,
  noise_pitch_follows_speed,
  noise_level,
  noise_changes_with_steering_or_surface,
  recording_rotor_bearing,
  recording_gear_bearing,
  recording_other,
  recording_pattern,
  rotation,
  drag_elsewhere,
  fault_isolation,
  fault_isolation_place,
  fault_shutdown,
  fault_reduced_power,
  fault_codes_read,
  insulation_resistance_mohm,
  insulation_test_voltage_v,
  insulation_winding_temp_c,
  coolant_loss_ml_per_1000km,
  coolant_outside_leak_seen,
  gear_oil,
  photos,
  teardown_date,
  teardown_seal_leak,
  teardown_rotor_bearing_corrosion,
  teardown_rotor_bearing_erosion,
  teardown_gear_bearing_erosion,
  teardown_insulation_loss,
  teardown_outside_noise,
  note,
  replaces,
  // Members of an entry of `/work`; no record has a value of its own for them.
  work_did,
  work_date,
  work_odometer_km,
  work_material,
  work_keeps_crossover,
  work_by,
  work_note,
  // Members of an entry of `/withdrawn`, likewise.
  withdrawn_sha256,
  withdrawn_date,
  withdrawn_because,
  withdrawn_by,
};
inline constexpr std::size_t kFieldCount = static_cast<std::size_t>(Field::replaces) + 1;
inline constexpr std::size_t kWorkFieldCount =
    static_cast<std::size_t>(Field::work_note) + 1 - kFieldCount;
inline constexpr std::size_t kWithdrawnFieldCount =
    static_cast<std::size_t>(Field::withdrawn_by) - static_cast<std::size_t>(Field::work_note);
/// Members of entries, of either list.
inline constexpr std::size_t kEntryFieldCount = kWorkFieldCount + kWithdrawnFieldCount;

/// How a field is written in JSON.
enum class FieldType : std::uint8_t {
  text,     ///< string
  hash,     ///< string, a SHA-256 in lower-case hex
  month,    ///< string, `YYYY` or `YYYY-MM`
  date,     ///< string, `YYYY-MM-DD`
  choice,   ///< string, one of `choices`
  choices,  ///< array of strings out of `choices`, none twice
  flag,     ///< boolean
  number,   ///< number, in `unit`
  photos,   ///< array of strings: names of files, or pictures as data URIs; none twice
};

/// A word that a field or a finding may take, and what it means to a reader.
struct Choice {
  std::string_view id;
  std::string_view plain;
  std::string_view owner = {};  ///< in an owner's words, where `plain` is too technical
  bool in_forms = true;         ///< whether a form offers it
};

/// What people call the two values of a flag, by its value.
inline constexpr Choice kNoYes[] = {{"no", "no"}, {"yes", "yes"}};

/// An answer that a person can give in place of a number, and the number that it stands for.
struct Rough {
  std::string_view id;
  std::string_view owner;
  double number = 0;
};

/// The parts of a form, in the order in which it asks: what stops a car first. First those of an
/// owner's form, then those of a technician's.
enum class FormPart : std::uint8_t {
  none,  ///< no owner is asked: it needs tools, training, or an opened unit
  dashboard,
  coolant,
  noise,
  port,
  reading,
  car,
  papers,
  closing,
  at_lift,
  at_port,
  pictured,
  heard,
  turned,
  faults,
  insulation,
  fluids,
  built_as,
  work,
  recording,
  opened,
  remarks,
};
inline constexpr std::size_t kFormPartCount = static_cast<std::size_t>(FormPart::remarks) + 1;

/// Who can answer a part of a form; all but a technician do so without tools.
enum class Asked : std::uint8_t { nobody, owner, port_checker, technician };

struct FormPartSpec {
  FormPart id;
  Asked asked;
  std::string_view title;
  std::string_view intro;  ///< plain sentences before its first question
  /// Of a technician's part, which fields it asks: their pointers, or how these begin ("/unit/"). A
  /// whole pointer wins over a beginning.
  std::span<const std::string_view> pointers = {};
};
std::span<const FormPartSpec, kFormPartCount> form_parts();
const FormPartSpec& spec(FormPart part);
/// The part of a technician's form that asks for a field; `none` for the format and the family,
/// which comes with the vehicle.
FormPart technician_part(Field field);

/// A question applies only if another field, asked before, holds one of some
/// words (a flag: `yes` or `no`). No words: it always applies.
struct OnlyIf {
  Field field = Field::format;
  std::span<const std::string_view> words = {};
};

/// How an owner's form asks for a field.
struct FormEntry {
  FormPart part = FormPart::none;
  std::string_view ask = {};     ///< where the field's own question is too technical
  std::string_view help = {};    ///< a sentence or more on how to find the answer
  std::string_view sample = {};  ///< what an answer may look like, or what is taken without one
  OnlyIf only_if = {};
  bool needs_history = false;  ///< someone about to buy the car cannot know it
  /// Of a number: what "no" means, where the question begins with one that "no" answers; empty:
  /// nothing to write down.
  std::optional<std::string_view> no_means = {};
  std::span<const Rough> rough = {};
  /// Asked once more about the day on which the port was looked at; empty: not asked.
  std::string_view again = {};
  std::string_view again_help = {};
};

/// One row of the field table.
struct FieldSpec {
  Field id;
  std::string_view pointer;  ///< JSON pointer in the record, or in the entry of `/work`
  FieldType type;
  std::string_view title;     ///< for people: a short name
  std::string_view question;  ///< for people: a plain question
  std::span<const Choice> choices = {};
  std::string_view unit = {};
  double minimum = -std::numeric_limits<double>::infinity();
  bool minimum_excluded = false;
  double maximum = std::numeric_limits<double>::infinity();
  std::size_t max_length = 0;  ///< characters, for text; 0: no limit of its own
  bool required = false;
  bool miles_too = false;  ///< `_km` may be written `_mi`, in miles
  FormEntry form = {};
};

/// The rows of the record, indexed by `Field`; then those of an entry of `/work` and of one of
/// `/withdrawn`, in its order.
std::span<const FieldSpec, kFieldCount> fields();
std::span<const FieldSpec, kWorkFieldCount> work_fields();
std::span<const FieldSpec, kWithdrawnFieldCount> withdrawn_fields();
const FieldSpec& spec(Field field);
/// The record's field at a JSON pointer (the `_mi` spelling included), if there is one.
std::optional<Field> field_at(std::string_view pointer);

inline constexpr double kKmPerMile =
    1.609344;  // exact: international yard and pound agreement, 1959

// ----------------------------------------------------------- photographs

/// So many a record may name or hold.
inline constexpr std::size_t kMaxPhotos = 20;
/// How one begins that stands in the record itself (RFC 2397), up to its kind.
inline constexpr std::string_view kPhotoInside = "data:";

// ------------------------------------------------------------------ work

/// Where the list of what was done to a unit stands, and how long it may be.
inline constexpr std::string_view kWorkPointer = "/work";
inline constexpr std::string_view kWorkTitle = "work done";
/// Entries of a list, of work or of what is withdrawn.
inline constexpr std::size_t kMaxWork = 100;

/// What was done to a unit: the choices of `Field::work_did`, in their order.
enum class Did : std::uint8_t {
  seal_renewed,
  rotor_bearings_renewed,
  gear_bearings_renewed,
  rotor_circuit_bypassed,
  rotor_circuit_restored,
  winding_dried,
  major_parts_replaced,
  unit_replaced,
  cooling_bled,
  coolant_leak_repaired,
  gear_oil_changed,
  gear_oil_seal_renewed,
  port_cleaned,
  fault_repaired_elsewhere,
  noise_repaired_elsewhere,
  unit_sold,
  unit_scrapped,
  unit_returned,
};
inline constexpr std::size_t kDidCount = static_cast<std::size_t>(Did::unit_returned) + 1;
const Choice& spec(Did did);
/// Whether the unit left the shop's care by it, until it is looked at again; nothing was done.
constexpr bool leaves_care(Did did) { return did >= Did::unit_sold; }
/// Whether an entry that says so may have the member: only bearings have a material, say.
bool goes_with(Field member, Did did);

/// Who did it: the choices of `Field::work_by`.
enum class DoneBy : std::uint8_t { here, elsewhere };

// ------------------------------------------------------------ withdrawals

/// Where the list of records stands that are withdrawn: each counts for nothing, but is told of.
inline constexpr std::string_view kWithdrawnPointer = "/withdrawn";
inline constexpr std::string_view kWithdrawnTitle = "records withdrawn";

// ---------------------------------------------------------------- causes

enum class Cause : std::uint8_t {
  seal_leak,
  rotor_bearing_corrosion,
  rotor_bearing_erosion,
  gear_bearing_erosion,
  insulation_loss,
  outside_noise,
};
inline constexpr std::size_t kCauseCount = static_cast<std::size_t>(Cause::outside_noise) + 1;
/// Joint states of all causes; bit `c` of a state's number says that cause `c` is present.
inline constexpr std::size_t kStateCount = std::size_t{1} << kCauseCount;

struct CauseSpec {
  Cause id;
  std::string_view name;  ///< the id in files, such as "seal-leak"
  Field teardown;         ///< the field that says what opening the unit showed
};
std::span<const CauseSpec, kCauseCount> causes();
std::string_view name(Cause cause);
std::optional<Cause> cause_named(std::string_view name);

// -------------------------------------------------------------- findings

/// What the grader reasons about: each finding is derived from one or more
/// fields and takes one of a few levels, the first being the harmless one.
enum class Finding : std::uint8_t {
  port_fluid,
  port_fluid_kind,
  port_residue,
  port_rust,
  port_debris,
  isolation_fault,
  insulation,
  rotation,
  drag_place,
  noise,
  noise_load,
  noise_pitch,
  noise_outside,
  noise_onset,
  noise_level,
  recorded_rotor_bearing,
  recorded_gear_bearing,
  recorded_other,
  recorded_pattern,
  coolant_loss,
  shutdown,
  reduced_power,
  gear_oil,
  earlier_coolant,
  earlier_damage,
  outside_leak,
  opened_seal_leak,
  opened_rotor_bearing_corrosion,
  opened_rotor_bearing_erosion,
  opened_gear_bearing_erosion,
  opened_insulation_loss,
  opened_outside_noise,
};
inline constexpr std::size_t kFindingCount =
    static_cast<std::size_t>(Finding::opened_outside_noise) + 1;
inline constexpr std::size_t kMaxLevels = 4;

struct FindingSpec {
  Finding id;
  std::string_view name;           ///< the id in files, such as "port-fluid"
  std::string_view title;          ///< for people
  std::span<const Choice> levels;  ///< harmless first, then worse and worse
  bool ordered = false;            ///< a later level is worse news; proofs rely on it
  bool at_port = false;            ///< seen at the sensor port, so harmless news grows old
  std::span<const Field> from;     ///< the fields that it is derived from
  /// The finding that it describes further: it exists only where that one is not harmless.
  std::optional<Finding> detail_of = std::nullopt;
  /// Comes from an opening or the unit's past: no check can bring it about.
  bool from_history = false;
  /// It exists only where one of these is not harmless; empty: it does not need any.
  std::span<const Finding> needs_one_of = {};
  /// On record or not: nobody observes its absence.
  bool never_absent = false;
};
std::span<const FindingSpec, kFindingCount> findings();
const FindingSpec& spec(Finding finding);
std::string_view name(Finding finding);
std::optional<Finding> finding_named(std::string_view name);

/// A level for each finding, by `Finding`; -1: not observed.
using Levels = std::array<std::int8_t, kFindingCount>;
/// Whether a finding can be observed at all next to the levels of the others:
/// a detail needs its leader, and some need one of several others, above harmless.
bool exists(Finding finding, const Levels& level);
/// Takes out each observed finding that can no longer be observed.
void drop_what_does_not_exist(Levels& level);

// ------------------------------------------------------------- situation

/// What holds for a unit without being evidence for or against a cause.
enum class Situation : std::uint8_t {
  rotor_cooling,
  rotor_bearings,
  gear_bearings,
  crossover,
  rotor_magnets,
  configuration,
  port_check,
  risk,
  by,
};
inline constexpr std::size_t kSituationCount = static_cast<std::size_t>(Situation::by) + 1;

struct SituationSpec {
  Situation id;
  std::string_view name;
  std::span<const Choice> values;
};
std::span<const SituationSpec, kSituationCount> situations();
const SituationSpec& spec(Situation situation);

enum class Cooling : std::uint8_t { wet, bypassed, factory_dry, unknown };
enum class Bearings : std::uint8_t { steel, hybrid, unknown };
/// Of a bypass; `bled`: dropped, and the circuit has been bled since.
enum class Crossover : std::uint8_t { kept, bled, dropped, unknown };
enum class Magnets : std::uint8_t { yes, no, unknown };
enum class Configuration : std::uint8_t { consistent, contradicted };
/// Whether the sensor port tells something about today.
enum class PortCheck : std::uint8_t {
  fresh,     ///< made, its fluid recorded, and recent enough to rely on
  stale,     ///< made, but too far or too long ago
  not_made,  ///< not made, or made without a record of what was seen
};
enum class RiskBand : std::uint8_t { low, raised, high };
inline constexpr std::size_t kRiskBandCount = static_cast<std::size_t>(RiskBand::high) + 1;

// ---------------------------------------------------------------- grades

enum class Grade : std::uint8_t { A, B, C, D, U };
inline constexpr std::size_t kGradeCount = 5;
std::string_view name(Grade grade);
std::optional<Grade> grade_named(std::string_view name);
/// Order by what it means for the user: A 0, B 1, C and U 2, D 3.
int severity(Grade grade);

enum class Urgency : std::uint8_t { now, soon, planned, routine };
inline constexpr std::size_t kUrgencyCount = 4;
std::string_view name(Urgency urgency);
std::optional<Urgency> urgency_named(std::string_view name);

}  // namespace dryshaft

#endif
