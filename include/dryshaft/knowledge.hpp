/// Knowledge as data: causes and priors, links, floors, actions, cautions and
/// drive-unit families, read from JSON texts and checked as they are read.
///
/// A new rule, caution or family needs no compiler.
#ifndef DRYSHAFT_KNOWLEDGE_HPP
#define DRYSHAFT_KNOWLEDGE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/machine.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

/// A file's name, as shown in complaints, and its text.
struct NamedText {
  std::string name;
  std::string text;
};

/// Paths of the .json files of a folder, sorted. But for hidden files it may hold nothing else, so
/// that nothing is taken for a rule that is none. Complaints are named after the folder:
/// `no-folder` (it is none, or holds no such file), `not-data` (it holds what is no such file),
/// `no-input`.
Result<std::vector<std::filesystem::path>> data_files(const std::filesystem::path& folder);
/// The files themselves; no value where one cannot be read.
Result<std::vector<NamedText>> read_folder(const std::filesystem::path& folder);
/// Those of `shipped` whose file name no file of `own` has: what stands beside one's own.
std::vector<NamedText> not_taken(std::vector<NamedText> shipped, const std::vector<NamedText>& own);

/// Where a statement comes from. Every item of the rule data carries one.
enum class SourceMark : std::uint8_t {
  published,
  common_practice,
  from_memory,
  own_teardowns,
  own_shop  ///< what the shop that wrote the item has decided or seen
};
struct Provenance {
  SourceMark mark = SourceMark::from_memory;
  std::string citation;  ///< for `published`: what to look up

  bool operator==(const Provenance&) const = default;
};
/// "an estimate, from memory", "common practice, no source", "own shop", the citation, or that it
/// was refitted to own teardowns.
std::string shown(const Provenance& provenance);

/// A probability in the rule data, or that of a level by itself, is no nearer to 0 or 1 than
/// this: 1 less something much smaller is 1 in a double, and then evidence has nothing to weigh.
inline constexpr double kLeastProbability = 1e-9;

/// What every item of the rule data has.
struct Item {
  std::string id;
  std::string reason;  ///< why it holds, in plain words
  Provenance source;
  std::string file;
  std::uint32_t line = 0;

  bool operator==(const Item&) const = default;
};

/// A test on findings, situation, probabilities and grade. All parts must
/// hold; an empty condition always holds.
struct Condition {
  /// Bit 0 stands for "not observed", bit `1 + level` for a level.
  struct FindingIs {
    Finding finding;
    std::uint8_t levels;
    bool operator==(const FindingIs&) const = default;
  };
  struct SituationIs {
    Situation situation;
    std::uint8_t values;  ///< bit mask over the situation's values
    bool operator==(const SituationIs&) const = default;
  };
  struct CauseIs {
    Cause cause;
    double at_least = 0;
    double below = 2;
    bool operator==(const CauseIs&) const = default;
  };
  std::vector<FindingIs> findings;
  std::vector<SituationIs> situations;
  std::vector<CauseIs> causes;
  std::uint8_t grades = 0x1F;               ///< bit mask over `Grade`
  std::vector<std::vector<Condition>> any;  ///< of each list, at least one holds
  std::vector<Condition> none;              ///< none of these holds

  bool operator==(const Condition&) const = default;
};

/// The condition in words, such as `port-fluid is film or droplets, and noise is absent`.
std::string describe(const Condition& condition);

/// A point of a cumulative hazard.
struct WearPoint {
  double at = 0;  ///< km or years, > 0
  double hazard = 0;

  bool operator==(const WearPoint&) const = default;
};

/// Wear-out: the chance that the cause began by now is 1 - exp(-H) with
/// H = (km / scale_km)^shape + (years / scale_years)^shape (Weibull hazards added).
struct Wear {
  /// In place of the part by km, or by years: straight lines between points in
  /// log hazard over log km, and the last slope beyond them. Both rise. Empty: none.
  std::vector<WearPoint> table;
  bool table_by_years = false;
  double shape = 1;
  double scale_km = 1;
  double scale_years = 1;
  double unknown_km = 0;     ///< distance assumed where none is known
  std::uint8_t cooling = 0;  ///< bit mask over `Cooling`: where it applies

  bool operator==(const Wear&) const = default;
};

struct CauseRule : Item {
  Cause cause = Cause::seal_leak;
  std::string title;  ///< for technicians
  std::string plain;  ///< for owners
  enum class Damaging : std::uint8_t { no, slowly, yes } damaging = Damaging::no;
  /// Probability without a leak, at `Settings::base_km`: one for each value of `by` where there
  /// is one (the bearings of an erosion), else `base[0]`.
  std::optional<Situation> by;
  std::array<double, 4> base{};
  std::optional<Wear> wear;  ///< of the seal alone

  bool operator==(const CauseRule&) const = default;
};

/// Stages of a leaking seal: damp, wet, dripping, as DIN 3761 has them (from memory).
inline constexpr std::size_t kSealStages = 3;
struct StageRule : Item {
  double reaches = 0;   ///< chance that a look finds coolant to have reached the sensor's tip
  double lasts_km = 0;  ///< mean working distance; of the last one, which stays, 0

  bool operator==(const StageRule&) const = default;
};

/// What a leak brings about, stage by stage.
struct HarmRule : Item {
  Cause cause = Cause::rotor_bearing_corrosion;
  std::array<double, kSealStages> after_km{};  ///< mean working distance to it, in each stage
  double breakdown_km = 0;                     ///< mean, from there to a unit that has broken down

  bool operator==(const HarmRule&) const = default;
};
/// The causes that a leak brings about, each with one `HarmRule`, in this order.
inline constexpr std::array kHarms = {Cause::rotor_bearing_corrosion, Cause::insulation_loss};

/// How strongly a cause shows as a finding. `shows[l]`: probability that the
/// cause alone brings the finding to level `l` or worse. `shows[0]` is 1.
struct Link : Item {
  Finding finding = Finding::port_fluid;
  Cause cause = Cause::seal_leak;
  std::array<double, kMaxLevels> shows{};
  bool until_disproved = false;  ///< where the finding is there, the cause is named first

  bool operator==(const Link&) const = default;
};

/// How a finding shows in a unit that the cause has broken down, in place of its `Link`.
struct BrokenRule : Item {
  Finding finding = Finding::rotation;
  Cause cause = Cause::rotor_bearing_corrosion;
  std::array<double, kMaxLevels> shows{};

  bool operator==(const BrokenRule&) const = default;
};

/// How often a finding reaches each level or worse with no cause present.
struct Background : Item {
  Finding finding = Finding::port_fluid;
  std::array<double, kMaxLevels> anyway{};

  bool operator==(const Background&) const = default;
};

struct Floor : Item {
  Grade grade = Grade::A;
  Condition when;
  std::string plain;  ///< for owners
  /// Of the shipped rules: no rules grade better where it holds.
  bool safety = false;

  bool operator==(const Floor&) const = default;
};

struct CautionRule : Item {
  std::string brief;  ///< one line
  std::string text;
  std::string owner_text;
  std::string
      charging;  ///< for owners: whether to charge while it holds; empty: it bears not on that
  bool always = false;        ///< on every report
  bool on_form = false;       ///< on the owner's form: for somebody who walks round a car and looks
  bool trained_only = false;  ///< what needs it is for trained people, never for an owner
  /// Words and phrases with which no text tells an owner to do it; only where `trained_only`.
  std::vector<std::string> owner_never;
  Condition when;  ///< shown only where this holds
};

/// What the grader has to know an action as. The rule data say which one it is: each role is
/// one action's.
enum class ActionRole : std::uint8_t { stop, look_at_port, look_again, record_sound };
inline constexpr std::size_t kActionRoleCount =
    static_cast<std::size_t>(ActionRole::record_sound) + 1;
std::string_view name(ActionRole role);

/// What is said in a few words, and in full.
struct Phrase {
  std::string title;
  std::string text;

  bool operator==(const Phrase&) const = default;
};

struct ActionRule : Item {
  std::optional<ActionRole> role;
  std::string title;  ///< in a few words
  Phrase core;        ///< of a unit that is in no car; empty: the same
  Phrase opened;      ///< of one that lies open on the bench; empty: the same
  std::string text;
  std::string owner_text;
  std::vector<std::string> cautions;
  std::vector<std::string> owner_cautions;
  int importance = 9;      ///< 1 first: order among actions that are equally urgent
  bool owner_can = false;  ///< an owner may do it without tools
  /// What on record closes it: all the work of one of the lists, or a look that says something of
  /// one of the findings.
  struct Closing {
    std::vector<std::vector<Did>> work;
    std::vector<Finding> look;
    bool operator==(const Closing&) const = default;
  } closed_by;
  double minutes = 0;    ///< as a check; 0: not a check
  Condition check_when;  ///< where it may be suggested as a check
  std::vector<Finding> reveals;

  bool operator==(const ActionRule&) const = default;
};

struct Advice : Item {
  std::string action;
  Condition when;
  Urgency urgency = Urgency::routine;
  std::optional<double> within_km;
  std::optional<double> within_days;
  bool at_recheck = false;  ///< the limits are those of the computed recheck
  /// Actions that belong to this one: same urgency and limits, each for its own reason.
  std::vector<std::string> with;
  /// Actions that are another way to the same end: none is asked for where this advice holds.
  std::vector<std::string> instead_of;
  std::string plain;  ///< for owners

  bool operator==(const Advice&) const = default;
};

/// A fault that work on record should have ended, found again within `Settings::comeback_km` and
/// `comeback_days` of it.
struct ComebackRule : Item {
  Did did = Did::seal_renewed;
  Condition when;
  std::string text;
  std::string plain;

  bool operator==(const ComebackRule&) const = default;
};

struct GradeRule : Item {
  Grade grade = Grade::A;
  std::string meaning;
  std::string owner_meaning;
  std::vector<std::string> owner_summary;
  std::string core_meaning;  ///< of a unit that is in no car
  std::string buyer_text;    ///< for someone about to buy the car
  std::string drive;         ///< for owners: may the car be driven
  std::string drive_quiet;   ///< the same where nothing presses; empty: the same
  std::string trial;         ///< for buyers: may it be driven to try it
  std::string charge;
  std::optional<double> recheck_km;  ///< longest; nothing: no recheck, act first
  std::optional<double> recheck_days;

  bool operator==(const GradeRule&) const = default;
};

enum class Outlook : std::uint8_t { routine, unknown, major_parts, doubtful };
std::string_view name(Outlook outlook);
struct OutlookRule : Item {
  Outlook outlook = Outlook::unknown;
  Condition when;

  bool operator==(const OutlookRule&) const = default;
};

struct ContradictionRule : Item {
  std::string text;
  std::string plain;
  std::optional<Advice> ask;  ///< what settles it, by the same id

  bool operator==(const ContradictionRule&) const = default;
};

struct Settings {
  double risk_raised = 0;
  double risk_high = 0;
  double port_stale_km = 0;  ///< a port check is stale after so far, or so long, or parts of both
  double port_stale_days = 0;
  double km_per_year = 0;      ///< assumed where distance or age is missing
  double rest_km_per_day = 0;  ///< working kilometres of a day, beside those driven
  double base_km = 0;          ///< distance at which `CauseRule::base` is the share of units
  double erosion_shape = 0;    ///< of bearings: the hazard grows by this power of the distance
  double outside_km = 0;       ///< mean distance that a noise from outside lasts
  double broken_unsaid = 0;    ///< share of looks at broken-down units that do not say so
  double loss_some = 0;        ///< ml per 1000 km
  double loss_marked = 0;
  double ohm_per_volt_low = 0;
  double ohm_per_volt_least = 0;
  double ieee43_mohm = 0;
  double assumed_voltage = 0;  ///< where neither record nor family gives one
  double assumed_winding_c = 0;
  double recheck_least_km = 0;
  double recheck_least_days = 0;
  double comeback_km = 0;  ///< what is found again this soon after work follows from it
  double comeback_days = 0;
  double damage_target = 0;  ///< chance of damage before the next recheck
  double memory_band = 0;    ///< odds factor by which a value from memory may be wrong
  Condition ungraded;        ///< grade U where this holds and no floor forces C or D
  std::string stop;          ///< for owners: neither drive nor charge
  std::string carried;       ///< for owners: how a car is moved that must not be driven
  std::string ungraded_id;
  std::string ungraded_reason;
  std::string ungraded_plain;
  Condition sound;  ///< grade A needs this
  std::string unsound_reason;
  std::string unsound_plain;
  std::string raised_reason;
  std::string raised_plain;
  std::string high_reason;
  std::string high_plain;
};

/// Where a number of the settings comes from; the number itself stands in `Settings` alone.
struct Setting : Item {
  double Settings::*value = nullptr;
  std::string unit;  ///< or empty
};

/// A metric tyre size such as 225/50R16: section width in mm, aspect ratio in
/// percent, rim diameter code in inches.
struct Tyre {
  double width_mm = 0;
  double aspect_percent = 0;
  double rim_inch = 0;
};
/// Nothing where the text is no metric size.
std::optional<Tyre> parse_tyre(std::string_view text);
/// Geometric outer diameter, unloaded: D = rim * 25.4 + 2 * width * aspect / 100, in mm.
/// Source: ISO 4000-1 and UN R30 (from memory), as tyre size calculators print it. A loaded
/// tyre rolls about 3 % less than pi * D.
double outer_diameter_mm(const Tyre& tyre);

struct VehicleProfile {
  std::string id;
  std::string port_access;
  std::string tyre_size;  ///< as written, or empty
  std::optional<Tyre> tyre;
};

/// A configuration that holds for units built in [from, before), in months since year 0.
struct FamilyPeriod {
  std::optional<int> from;
  std::optional<int> before;
  Cooling cooling = Cooling::unknown;
  Bearings rotor = Bearings::unknown;
  Bearings gear = Bearings::unknown;
};

/// A part or a fluid that work on a unit of a family takes.
struct ServicePart {
  std::string id;  ///< what jobs call it, such as `rotor-seal`
  std::string name;
  double quantity = 1;
  std::string unit;      ///< such as `l`; empty: pieces
  std::string size;      ///< such as `28 x 42 x 7 mm`; empty: not on file
  std::string material;  ///< empty: not on file
  std::string bearing;   ///< the machine's bearing that it replaces; empty: none
};

/// What a job sheet takes from a family. It grades nothing, so it is no part of the hash.
struct Service {
  std::vector<ServicePart> parts;
  std::vector<std::pair<std::string, double>> hours;  ///< by the name of a work, see plan.hpp
  std::string reason;
  Provenance source;
  [[nodiscard]] const ServicePart* part(std::string_view id) const;
};

struct Family : Item {
  std::string sha256;  ///< of its file's text; `guide` and `service`, which grade nothing, left out
  std::string title;
  std::optional<double> system_voltage;
  Magnets magnets = Magnets::unknown;
  std::vector<FamilyPeriod> periods;
  std::vector<VehicleProfile> vehicles;
  std::optional<Machine> machine;
  std::optional<Service> service;
};

/// What took the place of shipped strengths.
struct Overlay {
  std::string name;           ///< of its file
  std::string sha256;         ///< of its text
  std::size_t teardowns = 0;  ///< that it was fitted to
  std::size_t rules = 0;      ///< links and backgrounds that it changes
};

/// A shop's own wear-out of the seal, where it has taken the place of the rules' one.
struct OnsetBasis {
  std::string source;     ///< name of the file
  std::string sha256;     ///< of its text
  double units = 0;       ///< behind it
  bool by_years = false;  ///< else by km
};

struct Knowledge {
  std::string id;
  std::string version;
  std::string rules_sha256;  ///< over names and texts of the rule files, by name
  /// Over names of all family files, by name, and what `Family::sha256` is over.
  std::string families_sha256;
  std::optional<OnsetBasis> onset;
  Settings settings;
  std::vector<Setting> setting_items;  ///< in the order of the file
  std::array<CauseRule, kCauseCount> causes;
  std::array<StageRule, kSealStages> stages;
  std::array<HarmRule, kHarms.size()> harms;  ///< in the order of `kHarms`
  std::vector<BrokenRule> broken;
  std::vector<Background> backgrounds;  ///< one a finding at most
  std::vector<Link> links;
  std::vector<Floor> floors;
  std::vector<CautionRule> cautions;  ///< in the order in which they are shown
  std::vector<ActionRule> actions;
  std::vector<Advice> advice;
  std::vector<ComebackRule> comebacks;
  std::array<GradeRule, kGradeCount> grades;
  std::vector<OutlookRule> outlooks;
  std::vector<ContradictionRule> contradictions;
  std::vector<Family> families;
  std::optional<Overlay> overlay;  ///< nothing: the rules stand as they were loaded
  /// What every report says of these rules, a sentence each; none of the shipped ones.
  std::vector<std::string> reservations;
  /// Ids of what the shipped rules hold for safety and these leave out or weaken. It holds all the
  /// same: floors stand among `floors`, the condition for U in `Settings::ungraded`.
  std::vector<std::string> unsafe;

  [[nodiscard]] const Family& family(std::string_view id) const;  ///< `generic` if not found
  [[nodiscard]] const ActionRule* action(std::string_view id) const;
  [[nodiscard]] const ActionRule& action(ActionRole role) const;
  [[nodiscard]] const CautionRule* caution(std::string_view id) const;
  /// What holds for every report, and for who carries out the action: id and text of each.
  [[nodiscard]] std::vector<std::pair<std::string, std::string>> cautions_for(
      ActionRole role) const;
  [[nodiscard]] const ContradictionRule* contradiction(std::string_view id) const;
};

/// The member of a family file that holds its steps of the inspection guide.
inline constexpr std::string_view kGuideMember = "guide";
/// The member that holds parts, fluids and hours.
inline constexpr std::string_view kServiceMember = "service";

/// Ids of contradictions that the grader can find; the rule data words them.
std::span<const std::string_view> contradiction_ids();

/// The id of the rules that these lie over, as their rules.json says (`over`); empty: they stand
/// alone, or cannot be read.
std::string rules_below(std::span<const NamedText> rules);

/// Reads and checks all rule and family files; every complaint is located. Files other than
/// `rule_file_names` are refused, and so are rules that bear the id of the shipped ones and differ
/// from them. What rules leave out of the shipped safety floors is added, with a warning.
/// Where two files have one name, the later lies over the earlier: its items take the place of
/// those with their ids, and others are added.
Result<Knowledge> load_knowledge(std::vector<NamedText> rules, std::vector<NamedText> families);

inline constexpr std::string_view kOverlayFormat = "dryshaft-overlay/1";

/// Rules with the strengths of an overlay (`dryshaft-overlay/1`) in place of their own:
/// links with new `shows`, backgrounds with new `anyway`, each with its reason. An overlay
/// names the rules that it was made for, and is refused for any others
/// (`Knowledge::rules_sha256`); so is one that names a link or background that does not
/// exist, or a value that is no probability or does not fall from level to level. `base`
/// has no overlay yet.
Result<Knowledge> with_overlay(const Knowledge& base, const NamedText& overlay);

/// For reading records of the families that are known here.
ReadOptions read_options(const Knowledge& knowledge);

/// The names that a rule folder must hold, and no others.
std::span<const std::string_view> rule_file_names();

}  // namespace dryshaft

#endif
