/// What to do about a unit: watch, bypass, rebuild or replace, in money.
///
/// A plan compares what the rules allow for a unit, each followed by the best
/// decisions later on, over a distance that the caller names. Prices come from a
/// price book (`dryshaft-prices/1`); times, options and job sheets from work
/// files (`dryshaft-work/1`); grade, probabilities and what is forbidden from the
/// rule data. Nothing here changes a grade.
#ifndef DRYSHAFT_PLAN_HPP
#define DRYSHAFT_PLAN_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/dryshaft.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

inline constexpr std::string_view kPlanFormat = "dryshaft-plan/1";
inline constexpr std::string_view kPricesFormat = "dryshaft-prices/1";
inline constexpr std::string_view kWorkFormat = "dryshaft-work/1";
inline constexpr std::string_view kYardFormat = "dryshaft-yard/1";

// ------------------------------------------------------------ price book

enum class PriceKind : std::uint8_t {
  check,          ///< a port check, without its labour
  bypass,         ///< pipe and coolant
  rebuild,        ///< seal, rotor bearings, small parts
  gear_bearings,  ///< gearbox input bearings, renewed whenever the unit is open
  major_parts,    ///< winding, inverter or rotor
  replacement,    ///< another unit
  loss,           ///< a unit that breaks down on the road: tow and replacement
  core,           ///< paid for an undamaged unit that is given in exchange
  rebuilt_unit,   ///< what a rebuilt unit sells for; optional: what a replacement costs
  downtime_day,
  hour,        ///< labour
  sound_unit,  ///< what a unit of grade A sells for as it is; optional: the core value
};
inline constexpr std::size_t kPriceCount = static_cast<std::size_t>(PriceKind::sound_unit) + 1;
/// The member's name in the price book, such as `gear_bearings`.
std::string_view name(PriceKind kind);
/// In words, such as "gearbox input bearings".
std::string_view title(PriceKind kind);

/// A price with its spread, taken as triangular between `low` and `high` with
/// its peak at `likely`. A single number is all three.
struct Price {
  double low = 0;
  double likely = 0;
  double high = 0;
  /// Mean of the triangle: what expected costs are made of.
  [[nodiscard]] double mean() const { return (low + likely + high) / 3; }
};
using Prices = std::array<Price, kPriceCount>;

/// Money in `currency`, which is the user's word. Without labour and downtime,
/// which come on top: hours and days of the work at `hour` and `downtime_day`.
struct PriceBook {
  std::string source;
  std::string sha256;
  std::string currency;
  Prices price{};
  [[nodiscard]] const Price& at(PriceKind kind) const {
    return price[static_cast<std::size_t>(kind)];
  }
};
inline constexpr double kHighestPrice = 1e9;

/// Reads a price book; every complaint is located.
Result<PriceBook> load_prices(const NamedText& file);

// ------------------------------------------------------------- work data

/// What work takes time. Names as a family's `service.hours` has them.
enum class TimedWork : std::uint8_t {
  bypass,
  rebuild,
  bypass_in_rebuild,
  major_parts,    ///< on top of the rebuild
  gear_bearings,  ///< alone
  exchange,
  breakdown,
};
inline constexpr std::size_t kTimedWorkCount = static_cast<std::size_t>(TimedWork::breakdown) + 1;
std::string_view name(TimedWork work);

struct WorkTime : Item {
  double hours = 0;
  double days = 0;  ///< out of use
};

/// How a damaged unit of this outlook turns out when it is opened.
struct OutlookChances : Item {
  double major_parts = 0;  ///< needs them, if it can be rebuilt
  double beyond_repair = 0;
};

/// Where an option is not allowed, and why.
struct PlanBar : Item {
  Condition when;
  std::string plain;
};

/// When a step is done. Steps of several jobs are merged by it, so a circuit that
/// any of them opens is filled and bled once, after all of them.
enum class JobStage : std::uint8_t {
  before,  ///< nothing is drained or loosened yet
  out,
  open,
  parts,
  close,
  refit,
  fill,
  record,
};

/// A line of a job sheet. `{NAME}` in its text stands for a value of the rules.
struct JobLine : Item {
  JobStage stage = JobStage::before;  ///< of a step
  std::string text;
  std::string part;    ///< id of a family's part, or empty
  Condition when;      ///< shown only where this holds
  bool alone = false;  ///< only where the job is the whole of the work
};

struct Job : Item {
  std::string title;
  std::string work;  ///< what takes its time; empty: a check
  std::vector<std::string> actions;
  std::vector<std::string> cautions;  ///< beside those of its actions
  std::vector<JobLine> scope;
  std::vector<JobLine> warnings;
  std::vector<JobLine> parts;
  std::vector<JobLine> steps;
  std::vector<JobLine> renew;
  std::vector<JobLine> inspect;
  std::vector<JobLine> checks;
  bool opens = false;  ///< its teardown is worth a record
  /// Work that it does, as the record has it, and what is looked at afterwards: what the sheet
  /// gives back. Each of its actions is closed by one or the other.
  std::vector<Work> does;
  std::vector<Finding> looks;
};

/// What the planner has to know a way to go as; each role is one option's.
enum class OptionRole : std::uint8_t {
  look_first,
  wait,
  bypass,
  rebuild,
  rebuild_and_bypass,
  replace,
  gear_bearings,  ///< answers a noise alone: stands beside the others
};
inline constexpr std::size_t kOptionRoleCount =
    static_cast<std::size_t>(OptionRole::gear_bearings) + 1;

/// A way to go.
struct PlanOptionRule : Item {
  OptionRole role = OptionRole::look_first;
  std::vector<std::string> actions;
  std::string title;
  std::string owner_title;
  std::string owner_effect;
  bool drives = false;  ///< the car stays in use: forbidden where the rules say stop
  bool waits = false;   ///< puts work off: forbidden where the rules want work within a limit
  /// Allowed only where an advice of the rules for its first action holds, or `also_where`.
  bool by_advice = false;
  std::optional<Condition> also_where;
  std::string otherwise_plain;  ///< for owners, where neither holds and no bar says why
  std::vector<PlanBar> bars;
  std::vector<std::string> jobs;
};

struct WorkRules {
  std::array<OutlookChances, 4> chances;  ///< by `Outlook`
  std::array<WorkTime, kTimedWorkCount> times;
  std::vector<PlanOptionRule> options;
  std::vector<Job> jobs;
  [[nodiscard]] const PlanOptionRule* option(std::string_view id) const;
  [[nodiscard]] const PlanOptionRule& option(OptionRole role) const;
  [[nodiscard]] const Job* job(std::string_view id) const;
};

/// Reads and checks work files, such as `read_folder` gives of `work` in the folder of data; every
/// complaint is located.
Result<WorkRules> load_work(std::vector<NamedText> files, const Knowledge& knowledge);

// ------------------------------------------------------------------ plan

/// What an option's money is spent on, in the order of `spending_name`.
inline constexpr std::size_t kSpendingCount = 7;
std::string_view spending_name(std::size_t index);   ///< such as `major_parts`
std::string_view spending_title(std::size_t index);  ///< such as "major parts"

struct PlanCost {
  double expected = 0;
  double low = 0;          ///< 10 % of the lives cost less
  double high = 0;         ///< 10 % cost more
  double chance_lost = 0;  ///< the unit breaks down or turns out to be beyond repair
  /// To the first recheck, where one is waited for: the report's own, 0 where it is overdue.
  std::optional<double> interval_km;
  std::optional<double> interval_days;
  std::string then_if_clean;  ///< the option that follows a clean recheck; empty: waiting on
  std::array<double, kSpendingCount> spending{};
  double at_least = 0;  ///< no policy that begins like this costs less, on this grid of distances
  double coarser = 0;   ///< the same on beliefs half as fine
  std::string variant;  ///< how, where there are two ways; or empty
  /// The first bill, with prices low and high, without days out of use, if nothing
  /// worse is found. Of a recheck: one check.
  double bill_low = 0;
  double bill_high = 0;
};

struct PlanReason {
  std::string id;  ///< of the rule that says so
  std::string text;
  /// Of the work that the option would put off.
  std::optional<double> within_km = std::nullopt;
  std::optional<double> within_days = std::nullopt;
  bool overdue = false;
};

struct PlanOption {
  std::string id;
  OptionRole role = OptionRole::look_first;
  std::string title;
  std::string effect;  ///< for owners
  bool allowed = false;
  std::vector<PlanReason> barred;  ///< why not
  std::optional<PlanCost> cost;    ///< only where it is allowed
};

/// One value changed, the rest as they are: by how much the second best option
/// is then dearer than the best. Below 0: it is cheaper.
struct PlanSwing {
  std::string id;
  std::string title;
  bool is_price = false;
  double difference_low = 0;  ///< with the value at its low end
  double difference_high = 0;
};

/// Where the second best option would become the best one.
struct PlanThreshold {
  std::string id;
  std::string title;
  bool is_price = false;
  double now = 0;
  double at = 0;
  bool below = false;     ///< it wins below, else above
  bool verified = false;  ///< solved again on both sides
};

/// What the report asks for first, with its limits.
struct PlanFirst {
  Action action;
  bool looks = false;  ///< a look that comes before work is chosen
  double minutes = 0;  ///< 0: not known here
  double cost = 0;     ///< of a look whose minutes are known
};

struct Plan {
  Report report;  ///< the unit's report, in the words of the plan's reader
  std::string currency;
  std::string prices_source;
  std::string prices_sha256;
  double horizon_km = 0;
  double km_per_year = 0;
  double step_km = 0;  ///< decisions are made at multiples of this
  std::size_t beliefs = 0;
  double dry = 0;
  double leaking = 0;
  double damaged = 0;
  /// As the report's prognosis: breakdown before the horizon; 1 of one that stands.
  double lost_if_nothing = 0;
  double loss_low = 0;  ///< what a breakdown costs then
  double loss_high = 0;
  bool stands = false;  ///< it has broken down already
  /// The report's first action, and what else it asks for soon before work that is chosen here.
  std::vector<PlanFirst> first;
  std::vector<PlanOption> options;  ///< of which one is chosen: allowed ones first, cheapest first
  /// What is no way to go of its own; of their costs `expected` and the bill alone, for the work.
  std::vector<PlanOption> beside;
  double difference = 0;  ///< of the best two
  double judgement = 0;   ///< what the swings make of it, taken together
  bool close = false;     ///< the difference lies within them
  std::vector<std::pair<std::string, double>> sources;  ///< of the difference: spending, amount
  std::vector<PlanSwing> swings;                        ///< largest first
  std::vector<PlanThreshold> thresholds;
  std::vector<Caution> cautions;  ///< of all allowed options
  std::size_t lives = 0;          ///< drawn for the spread

  [[nodiscard]] const PlanOption* option(std::string_view id) const;
};

struct PlanOptions {
  double horizon_km = 60000;
  Audience audience = Audience::technician;
  std::optional<int> today;
  bool swings = true;  ///< also what the order of the options depends on
};
inline constexpr double kLeastHorizonKm = 1000;
inline constexpr double kMostHorizonKm = 200000;

/// Compares the options for a unit. `history` holds at least one record, and
/// `options.horizon_km` lies within the limits above. Pure: the lives that give
/// the spread are drawn from a fixed seed.
Plan make_plan(const History& history, const Grader& grader, const WorkRules& work,
               const PriceBook& prices, const PlanOptions& options);

std::string to_json(const Plan& plan);  ///< one line, `dryshaft-plan/1`
/// For a technician the plan, for an owner a quotation: as `PlanOptions::audience` said.
std::string plan_to_text(const Plan& plan, const TextStyle& style);
std::string plan_to_markdown(const Plan& plan, Units units);
/// One page for all of them; loads nothing, and runs nothing.
std::string plans_to_html(const std::vector<Plan>& plans, Units units);

// ------------------------------------------------------------------ yard

/// A core that waits to be opened.
struct YardUnit {
  Report report;
  /// Expected gain of rebuilding and selling it over selling it unopened.
  double value = 0;
  /// Give or take: the root of the squares of what moves it, one at a time: the odds of damage, of
  /// major parts, of a unit beyond repair and of a new leak by the memory band, prices to their
  /// ends.
  double spread = 0;
  double hours = 0;     ///< expected
  double money = 0;     ///< expected, parts alone
  double per_unit = 0;  ///< gain by the bench hour; under a budget, by money spent on parts
  /// 1 the best. Those of a rank differ in `per_unit` by less than is known of the difference.
  std::size_t rank = 0;
  double damaged = 0;  ///< chance
  bool chosen = false;
  /// The check that adds most to the value of the whole selection, and by how much.
  std::string check;
  double check_gain = 0;
};

/// The same check of all units where it gains more than it costs.
struct YardCheck {
  std::string action;
  std::string text;       ///< what is done, in a few words
  std::size_t units = 0;  ///< so many
  double gain = 0;        ///< by which the selection is worth more on average, in all
  double cost = 0;        ///< of the checks, in all
};

struct YardOptions {
  std::optional<double> hours;  ///< a week; at most one of the two
  std::optional<double> money;
  std::optional<int> today;
};

struct Yard {
  std::string currency;
  YardOptions limit;
  std::vector<YardUnit> units;    ///< the chosen first, then by gain per hour or per money
  std::vector<YardCheck> checks;  ///< those that gain more than they cost, most first
  std::size_t left = 0;           ///< units that left the shop's care: they are not listed
  double value = 0;               ///< of the chosen together
  double hours = 0;
  double money = 0;
  std::vector<Diagnostic> rejected;
  std::size_t rejected_records = 0;
  bool rejected_at_least = false;  ///< there may have been more: some text was too broken to tell
};

/// Which cores to open under a limit: an exact 0/1 knapsack over hours in tenths
/// (or money in parts of the budget), rounded up, so that the limit is kept. What is left over is
/// not lost: it counts as much as the next core makes of it, so that no core is chosen for filling
/// the week.
Yard make_yard(const std::vector<History>& histories, const Grader& grader, const WorkRules& work,
               const PriceBook& prices, const YardOptions& options);
std::string to_json(const Yard& yard);  ///< one line, `dryshaft-yard/1`
std::string to_csv(const Yard& yard);   ///< RFC 4180
std::string yard_to_text(const Yard& yard, const TextStyle& style);
std::string yard_to_markdown(const Yard& yard, Units units);
std::string yard_to_html(const Yard& yard, Units units);

// ------------------------------------------------------------- job sheet

/// Scope, parts, steps and checks of an option's work on a unit, from data.
struct JobSheetRequest {
  std::string option = {};  ///< id of one of the work data's options
  std::optional<int> today = std::nullopt;
  Units units = Units::km;
};
/// Why the option is not allowed for the unit; empty: it is.
std::vector<PlanReason> barred(const History& history, const Grader& grader, const WorkRules& work,
                               const JobSheetRequest& request);
std::string job_sheet_to_text(const History& history, const Grader& grader, const WorkRules& work,
                              const JobSheetRequest& request, const TextStyle& style);
std::string job_sheet_to_markdown(const History& history, const Grader& grader,
                                  const WorkRules& work, const JobSheetRequest& request);
Sheet job_sheet(const History& history, const Grader& grader, const WorkRules& work,
                const JobSheetRequest& request);

}  // namespace dryshaft

#endif
