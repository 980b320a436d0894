/// The finished report on a unit, and the writers that turn it into text.
///
/// `Report` holds everything that any format shows, already decided and
/// already worded for its reader. Writers add layout, no judgement, and are
/// pure: the same reports give the same bytes. What is a `std::string_view` in
/// a report is text of the vocabulary, which lives as long as the program.
#ifndef DRYSHAFT_REPORT_HPP
#define DRYSHAFT_REPORT_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <tuple>
#include <utility>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/photo.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

struct Knowledge;

inline constexpr std::string_view kToolName = "dryshaft";

enum class Audience : std::uint8_t { technician, owner };

/// Where the unit is: in a car that is used, in one that is to be bought, in none, or open on the
/// bench.
enum class Whereabouts : std::uint8_t { in_use, for_sale, core, opened };
std::string_view name(Whereabouts whereabouts);
/// Whether it is in a car.
constexpr bool in_car(Whereabouts w) {
  return w == Whereabouts::in_use || w == Whereabouts::for_sale;
}

/// A floor that holds: the grade cannot be better than `grade`.
struct FloorHeld {
  std::string rule;
  Grade grade = Grade::A;
  std::string because;
};

/// A shop's own records that stand in for the rules' wear-out of the seal.
struct OnsetUsed {
  std::string source;
  std::string sha256;
  double units = 0;
  bool by_years = false;  ///< else by km
};

/// One finding's weight for one cause, or that of a whole earlier look.
struct Evidence {
  std::string rule;          ///< the link that carries it; of a look empty
  std::string_view finding;  ///< finding id, or `kEarlierLook`
  std::string value;         ///< level id, or the day of the look
  std::string shown;         ///< finding and level in words
  double decibans = 0;       ///< log odds with it less log odds without it; > 0 speaks for
};
inline constexpr std::string_view kEarlierLook = "earlier-look";

struct CauseReport {
  std::string_view id;
  std::string title;  ///< in the words of the report's reader
  double probability = 0;
  std::vector<Evidence> for_it;                ///< strongest first
  std::vector<Evidence> against_it;            ///< strongest first
  std::vector<std::string_view> not_observed;  ///< ids of findings that bear on it
  /// Made likelier by what was found; else its probability is a share of all such units.
  bool moved = false;
};

struct Contradiction {
  std::string id;
  std::string text;
};

struct Action {
  std::string id;
  std::string rule;  ///< the advice that chose it
  std::string text;  ///< what to do, in the words of the report's reader
  Urgency urgency = Urgency::routine;
  std::optional<double> within_km;
  std::optional<double> within_days;
  std::string because;
  std::string asked = {};             ///< day of the look that asked for it
  std::optional<double> due_km = {};  ///< odometer at which it is due, counted from there
  std::string due_date = {};          ///< the same as a day; empty: none
  bool overdue = false;               ///< as of the day it is judged on, or of the newest reading
  std::vector<std::string> cautions = {};  ///< ids of those that it needs, of the report's
  std::string title = {};                  ///< `text` in a few words; empty for an owner
  bool at_port = false;                    ///< it has the sensor port checked
};

/// Something with a date or a distance, counted from the look that asked for it.
struct Due {
  std::string action;
  std::optional<double> due_km;
  std::string due_date;  ///< empty: none
  bool overdue = false;
  /// The overdue first, then the earliest day, then the least reading. Views into this.
  [[nodiscard]] std::tuple<bool, std::string_view, double> order() const;
};

/// A fault that is back within the shop's limits of the work that should have ended it.
struct Comeback {
  std::string id;
  Did did = Did::seal_renewed;
  std::string date;  ///< of the work; empty: not known
  std::string text;
};

struct Caution {
  std::string id;
  std::string text;
  bool trained_only = false;  ///< what needs it is for trained people alone
  std::string brief = {};     ///< the same in one short line
};

struct NextCheck {
  std::string id;
  std::string text;
  double minutes = 0;
  double gain_bits = 0;  ///< expected information on whether a damaging cause is present
  std::vector<Grade> grades_possible;  ///< best first, U last
};

struct WouldChange {
  std::vector<std::pair<std::string_view, std::string_view>> findings;  ///< finding id, level id
  std::string shown;                                                    ///< in words
  Grade grade = Grade::A;
};

/// A value from memory, and what the risk does where its odds are higher by one deviation.
struct RestsOn {
  std::string rule;
  std::string_view value;  ///< which of the rule's, such as `shows`
  double decibans = 0;
};

/// How far the answer depends on judgement: every value from memory is off in its odds by a factor
/// of its own.
struct HowSure {
  std::size_t values = 0;         ///< from memory
  double odds_factor = 1;         ///< largest factor, up or down
  double risk_low = 0;            ///< nine in ten sets of values lie between
  double risk_high = 0;           ///< both
  double grade_holds = 0;         ///< share of the sets that give the same grade
  std::vector<Grade> grades;      ///< all grades that one in twenty of them or more give
  std::vector<RestsOn> rests_on;  ///< the three values that carry most, most first
};

/// A probability, and the range that holds nine in ten sets of values from memory.
struct Foreseen {
  double probability = 0;
  double low = 0;
  double high = 0;
};

/// What is to come within a distance or a time if nothing is done. Source: ISO 13381-1 asks for it
/// (from memory).
struct Prognosis {
  double km = 0;  ///< both count: the distance, driven in so many days
  double days = 0;
  Foreseen damage;     ///< of units without damage to bearings or insulation: that it begins
  Foreseen breakdown;  ///< of units that run: that it breaks down
};

struct Recheck {
  std::optional<double> km;      ///< from the newest record on; 0 where overdue
  std::optional<double> days;    ///< the same
  bool overdue = false;          ///< as of the day it is judged on, or of the newest reading
  std::optional<double> due_km;  ///< odometer at which it is due, where the reading is known
  std::string due_date;          ///< the day on which it is due; empty: no recheck, act first
  std::string because;
};

struct HistoryEntry {
  std::string date;
  std::optional<double> odometer_km;
  Grade grade = Grade::U;
  double risk = 0;
  std::string_view fluid = {};  ///< at the port, as `Field::port_fluid` has it; empty: not seen
};

/// The chance that the shaft seal leaks at one moment, by what was known then.
struct LeakChance {
  double km = 0;  ///< odometer
  double chance = 0;
};

/// Something after which a unit's wear counts anew, or another thing can go wrong.
struct HistoryEvent {
  std::string id;  ///< unit-fitted, seal-renewed, rotor-circuit-bypassed or unit-opened
  std::string text;
  std::optional<double> odometer_km;
  std::string date;      ///< of the first look that knows of it; for unit-opened its own
  bool by_work = false;  ///< an entry of `work` tells it, so `UnitHistory::works` has it as well
};

/// Work on record, where it belongs among the inspections.
struct HistoryWork {
  Did did = Did::seal_renewed;
  std::string date;  ///< empty: only the distance is known
  std::optional<double> odometer_km;
  std::optional<Bearings> material;
  std::optional<bool> keeps_crossover;
  std::optional<DoneBy> by;
  std::string note;
  std::string told_on;           ///< date of the first inspection that tells of it
  std::size_t looks_before = 0;  ///< so many of `UnitHistory::earlier`, and then this inspection
};

/// What became of a finding between two inspections.
struct FindingChange {
  std::string finding;
  std::string before;  ///< level id; empty: not observed
  std::string now;     ///< level id; empty: not observed
  std::string kind;    ///< worse, better, other, first-seen or not-looked-at
  std::string shown;   ///< in words
};

/// This inspection compared with an earlier one.
struct Comparison {
  std::string with;        ///< date of the earlier one
  std::string since_what;  ///< last-inspection or last-repair
  Grade grade_before = Grade::U;
  std::vector<FindingChange> findings;
  /// Probability that a damaging cause began in between, given both
  /// inspections and that causes do not heal; nothing where a repair lies between.
  std::optional<double> began;
  /// repaired; or by `began`: development (0.9 or more), possible-development
  /// (0.5 or more); below, already-there where the risk is 0.5 or more, else
  /// within-evidence.
  std::string reading;
  std::string text;
};

/// A record that another one withdrew, or took the place of: it counts for nothing.
struct HistoryTaken {
  bool replaced = false;
  std::string date;                  ///< of its inspection
  std::string sha256;                ///< its own
  std::string on = {};               ///< day on which that was said; empty: not said
  std::string because = {};          ///< empty: not said
  std::string by = {};               ///< who said it; empty: not said
  std::vector<std::string> adverse;  ///< what it showed for the worse, by itself, in words
  std::string text;                  ///< all of it in a sentence or two
};

/// That the unit left the shop's care.
struct LeftCare {
  Did did = Did::unit_sold;
  std::string date;
  std::string note = {};  ///< empty: none
};

struct UnitHistory {
  std::vector<HistoryEntry> earlier;  ///< oldest first, without this inspection
  std::vector<HistoryEvent> events;   ///< in the order in which the records tell of them
  std::vector<HistoryWork> works;     ///< in the order in which they were done
  std::string_view fluid;             ///< at the port today, as in `earlier`
  /// From the first look or work to the next look, in order; where a look or work moves it, that
  /// distance stands twice. Empty: distance or course are not known, or nothing came before.
  std::vector<LeakChance> leak;
  std::vector<HistoryTaken> taken_out = {};  ///< by the date of their inspections
  std::vector<Comparison> compared;  ///< with the last one; then with the first after a repair
  std::string change;                ///< since the last one, in words; empty: first inspection
};

/// A finding as it was used, for people.
struct Observation {
  std::string_view finding;
  std::string_view value;
  std::string shown;
  std::string since;  ///< date of the earlier inspection it was carried over from, or empty
};

/// A key of the shop's own (`x_`) and what the unit's newest record that has it says: a string as
/// it stands, anything else as JSON text.
struct OwnValue {
  std::string key;
  std::string text;
};

/// A photograph of a look. It is shown or named, and nothing is judged by it.
struct PhotoShown {
  std::string name;  ///< of its file, or "photograph 1 (JPEG, 640 x 480)"
  std::string date;  ///< of the look
  std::string text;  ///< in its place for those who do not see it: what the record says
  std::shared_ptr<const std::string> bytes;  ///< null: it is named alone
  Picture picture;                           ///< what they are
  std::string not_shown;                     ///< why not, if that is known
};

/// A record of the unit that a report rests on.
struct RecordUsed {
  std::string source;
  std::uint32_t line = 0;
  std::string sha256;  ///< of its text, see `Record::sha256`
  std::string date;
  bool set_aside = false;  ///< for its date: only what it says for the worse counts
};

struct Report {
  // what it rests on
  std::string as_of;  ///< the day that it is judged as of
  std::string tool_version;
  std::string rules_id;
  std::string rules_version;
  std::string rules_sha256;                     ///< of the rule files, without overlay and families
  std::string family_sha256;                    ///< of the unit's family, see `Family::sha256`
  std::optional<Overlay> rules_overlay;         ///< what adapted the rules, if anything
  std::vector<std::string> rules_reservations;  ///< why to be wary of them; among `warnings` too
  std::optional<OnsetUsed> onset;
  std::string source;
  std::uint32_t line = 0;
  std::string record_sha256;
  std::vector<RecordUsed> records;  ///< all of the unit, oldest first; those set aside last
  std::string records_sha256;       ///< of their hashes, a line each
  Audience audience = Audience::technician;

  // the unit
  std::string unit_id;
  std::string family;
  std::string family_title;
  std::string vehicle;
  std::string date;
  std::optional<double> odometer_km;
  std::optional<double> seal_km;  ///< distance on the seal, where known
  std::string by;                 ///< who looked, in words; empty: not known
  std::string note;
  std::vector<PhotoShown> photos;  ///< of all looks, the newest first
  std::vector<OwnValue> own;  ///< of the keys asked for (`AssessOptions::own`) those that it has
  Whereabouts whereabouts = Whereabouts::in_use;
  /// Where nobody has looked at it since: nothing is listed as due.
  std::optional<LeftCare> left;

  // the verdict
  Grade grade = Grade::U;
  std::string grade_meaning;  ///< one line
  std::string headline;       ///< what is wrong and how sure, one or two sentences
  std::optional<Grade> at_least;
  std::vector<FloorHeld> floors;     ///< worst first
  std::vector<std::string> reasons;  ///< why this grade, where floors do not say it
  double risk = 0;
  std::optional<HowSure> how_sure;
  std::vector<Prognosis> prognosis;  ///< 5,000, 10,000 and 20,000 km, and a year
  /// Within which one in ten such units has broken down; nothing: not within 300,000 km.
  std::optional<double> one_in_ten_km;
  std::vector<CauseReport> causes;  ///< most probable first
  std::vector<Observation> observed;
  std::vector<Observation> not_observed;  ///< `shown` is the finding's title
  std::vector<Contradiction> contradictions;
  std::vector<Action> actions;  ///< most urgent first; never empty
  std::vector<Due> due;         ///< overdue first, then the earliest
  std::vector<Comeback> comebacks;
  std::vector<Caution> cautions;
  std::vector<NextCheck> next_checks;
  std::vector<WouldChange> would_change;
  Recheck recheck;
  std::string rebuild_outlook;       ///< routine, major-parts, doubtful, unknown
  std::string rebuild_outlook_text;  ///< in words
  UnitHistory history;
  std::vector<std::string> warnings;
  // plain paragraphs for an owner, whether it is safe first and what to tell the workshop last;
  // empty for a technician
  std::vector<std::string> owner_summary;
  // For an owner; empty for a technician. `moving`: only of a car that must not be driven.
  std::string buying;  ///< whether to buy, where it is for sale
  std::string driving;
  std::string charging;
  std::string moving;
  std::string tell;  ///< what to say to the workshop
  /// Whether something that is due is: the overdue stand first in `due`.
  [[nodiscard]] bool overdue() const { return !due.empty() && due.front().overdue; }
};

enum class Units : std::uint8_t { km, mi };

struct TextStyle {
  bool colour = false;
  std::size_t width = 80;
  Units units = Units::km;
  bool full = false;  ///< of one report, also what stands behind the first screen
};

/// Which of many reports a person wants to see, and what of the shop's own beside them.
struct Wanted {
  /// Days since 1970-01-01: grade worse than on that day, or new since then and no good (not A or
  /// B).
  std::optional<int> worse_since;
  std::optional<int> due_by_date;     ///< something due by that day
  std::optional<double> due_by_km;    ///< something due by that odometer reading
  std::vector<std::string> own = {};  ///< keys (`x_`) that tables and CSV have a column of each
  [[nodiscard]] bool by_due() const { return due_by_date || due_by_km; }
  [[nodiscard]] bool everything() const { return !worse_since && !by_due(); }
};

/// Whether a unit is among those wanted; each part that is set must hold. What is overdue is due by
/// any day, what has a day alone at any reading, and what has a reading alone on any day.
bool is_wanted(const Report& report, const Wanted& wanted);
/// The grade that the unit had on a day: of its last inspection by then.
std::optional<Grade> grade_on(const Report& report, int day);
/// The same as the lists show it: "A" to "U", or "new" for a unit that had no inspection by then.
inline constexpr std::string_view kNewUnit = "new";
std::string_view was(const Report& report, int day);

/// Several reports together with what was refused, for the ranked views.
struct Batch {
  std::vector<Report> reports;       ///< ranked, see `rank`
  std::vector<Diagnostic> rejected;  ///< complaints about records that were refused
  std::size_t rejected_records = 0;
  bool rejected_at_least = false;  ///< there may have been more: some text was too broken to tell
  std::size_t accepted = 0;  ///< inputs that were refused, but are known (`ReadOptions::accepted`)
  std::string today;         ///< the day that all are judged as of; empty: each of its own
  Wanted wanted;             ///< what `reports` were chosen by
  std::size_t left_out = 0;  ///< units that were graded, but are not wanted
  std::size_t left_out_new = 0;  ///< of these, units with no inspection by `worse_since`
};

/// Worst and most urgent first: severity of the grade (D, then C before U,
/// then B, A), then units new since the day `worse_since`, then the most urgent action, then risk
/// (as printed), then the unit id. Of units chosen by what is due, before all that the overdue and
/// the earliest.
void rank(std::vector<Report>& reports, const Wanted& wanted = {});

// One report. Each ends with a line feed.
/// One line, `dryshaft-report/1`. With a day in `worse_since` its last member, `was`, says what the
/// unit was then.
std::string to_json(const Report& report, const Wanted& wanted = {});
std::string to_text(const Report& report, const TextStyle& style);
/// `full`: also what stands behind the first screen.
std::string to_markdown(const Report& report, Units units, bool full = false);
/// A page of its own: loads nothing, and runs nothing. What stands behind the first screen opens.
std::string to_html(const Report& report, Units units);

/// A page to be written on: printed as it is (`to_html`), or filled in on a screen
/// (`fillable_html` of form.hpp).
struct Sheet {
  /// What is known before: the word or text of an answer, of an entry of `/work` where `work` is
  /// not 0.
  struct Known {
    Field field;
    std::size_t work = 0;
    std::string word;
  };
  std::string title = {};  ///< plain text
  std::string style = {};  ///< CSS
  std::string body = {};   ///< HTML, in an element `main`
  std::vector<Known> known = {};
};
std::string to_html(const Sheet& sheet);

// Ranked table, summary and refused records.
std::string to_text(const Batch& batch, const TextStyle& style);
std::string to_markdown(const Batch& batch, Units units);
/// A page of its own, whose table sorts and filters, and whose rows open the
/// units' reports. `full`: the reports also follow the table, for print.
std::string to_html(const Batch& batch, Units units, bool full);
/// A verdict traced from field to finding, cause, grade and advice; every step
/// names its rule with file and line. `knowledge` is what the report rests on.
std::string explain(const Report& report, const Knowledge& knowledge, std::size_t width);
/// Header line and a row a report (RFC 4180, CRLF line ends as it says).
/// With a day in `worse_since` a further column, `was`, says what the unit was then; the shop's own
/// come last, each named by its key.
std::string csv_header(const Wanted& wanted = {});
std::string to_csv(const Report& report, const Wanted& wanted = {});

}  // namespace dryshaft

#endif
