#include "report/document.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <map>
#include <set>
#include <string_view>
#include <tuple>
#include <utility>

#include "base/sentence.hpp"
#include "decide/wording.hpp"
#include "dryshaft/record.hpp"
#include "report/words.hpp"

namespace dryshaft::document {
namespace {

using words::count;
using words::percent;

constexpr std::string_view kShaNotKnown = "not known";
constexpr std::size_t kShaShown = 12;

std::string_view short_sha(std::string_view sha256) {
  return sha256.empty() ? kShaNotKnown : sha256.substr(0, kShaShown);
}

std::string_view family_of(const Report& report) {
  return report.family_title.empty() ? std::string_view(report.family) : report.family_title;
}

// "HL-0147, Tarn (Plover 2), 2026-03-14, 182,400 km"
std::string unit_line(const Report& report, Units units) {
  std::string line = report.unit_id;
  const std::string_view family = family_of(report);
  if (!report.vehicle.empty()) {
    line += fmt::format(", {}", report.vehicle);
    line += family.empty() ? "" : fmt::format(" ({})", family);
  } else if (!family.empty()) {
    line += fmt::format(", {}", family);
  }
  if (!report.date.empty()) {
    line += fmt::format(", {}", report.date);
  }
  line += report.odometer_km ? fmt::format(", {}", words::distance(*report.odometer_km, units))
                             : std::string(", distance not known");
  return line;
}

std::string circumstances(const Report& report, Units units) {
  std::string line;
  if (report.seal_km) {
    line = fmt::format("Shaft seal in use for {}. ", words::distance(*report.seal_km, units));
  }
  if (!report.by.empty()) {
    line += fmt::format("Inspected by {}. ", report.by);
  }
  return line;
}

std::string sentence(std::string_view text) { return sentence_case(closed(text)); }

std::string grade_label(const Report& report) {
  return fmt::format("Grade {}", name(report.grade));
}

bool is_bounded(const Report& report) { return report.grade == Grade::U && report.at_least; }

std::string grade_text(const Report& report) {
  std::string text = sentence(report.grade_meaning);
  if (is_bounded(report)) {
    text += fmt::format(" At least {0}: what was seen rules out anything better than {0}.",
                        name(*report.at_least));
  }
  return text;
}

// "Soon, within 500 km or 14 days: open the unit."
std::string order(const Action& action, Units units) {
  const std::string until = words::deadline(action.within_km, action.within_days, units);
  return sentence(fmt::format("{}{}{}{}: {}", name(action.urgency),
                              action.overdue ? ", overdue" : "", until.empty() ? "" : ", ", until,
                              action.text));
}

// "First of all (soon, within 500 km or 14 days): have the unit opened."
std::string first_order(const Action& action, Units units) {
  const std::string until = words::deadline(action.within_km, action.within_days, units);
  return fmt::format("First of all ({}{}{}): {}", name(action.urgency), until.empty() ? "" : ", ",
                     until, closed(action.text));
}

std::vector<std::string> why(std::string_view because) {
  return because.empty() ? std::vector<std::string>()
                         : std::vector<std::string>{fmt::format("Why: {}", closed(because))};
}

void add_actions(Document& out, const Report& report, Units units) {
  if (report.actions.empty()) {
    return;
  }
  out.push_back(Heading{"What to do"});
  bool two_limits = false;
  for (std::size_t i = 0; i < report.actions.size(); ++i) {
    const Action& action = report.actions[i];
    out.push_back(Item{i + 1, order(action, units), why(action.because)});
    two_limits = two_limits || (action.within_km && action.within_days);
  }
  if (two_limits) {
    out.push_back(Paragraph{"Of a distance and a time, the one that comes first counts."});
  }
}

void add_items(Document& out, std::string_view heading, const std::vector<std::string>& texts) {
  if (texts.empty()) {
    return;
  }
  out.push_back(Heading{std::string(heading)});
  for (const std::string& text : texts) {
    out.push_back(Item{0, text, {}});
  }
}

template <typename Things>
std::vector<std::string> texts_of(const Things& things) {
  std::vector<std::string> texts;
  texts.reserve(things.size());
  for (const auto& thing : things) {
    texts.push_back(sentence(thing.text));
  }
  return texts;
}

void add_why_this_grade(Document& out, const Report& report) {
  if (report.floors.empty() && report.reasons.empty()) {
    return;
  }
  out.push_back(Heading{fmt::format("Why {}", name(report.grade))});
  for (const FloorHeld& floor : report.floors) {
    out.push_back(Item{
        0,
        fmt::format("At least {}: {} ({})", name(floor.grade), closed(floor.because), floor.rule),
        {}});
  }
  for (const std::string& reason : report.reasons) {
    out.push_back(Item{0, reason, {}});
  }
}

// A cause that is this improbable is shown with what rules it out, and no more.
constexpr double kWorthArguing = 0.05;
// Weights below this say nothing either way.
constexpr double kWorthShowing = 0.5;

void add_weights(CauseLine& line, const std::vector<Evidence>& evidence, bool speaks_for,
                 std::size_t leading) {
  for (const Evidence& e : evidence) {
    if (!std::isfinite(e.decibans) || std::abs(e.decibans) < kWorthShowing) {
      continue;
    }
    line.weights.push_back(
        {speaks_for, fmt::format("{:+.1f} dB", words::rounded(e.decibans, 1)),
         std::string(words::weight(e.decibans)),
         e.shown.empty() ? fmt::format("{} {}", e.finding, e.value) : std::string(e.shown),
         leading > 0});
    leading -= leading > 0 ? 1 : 0;
  }
}

void add_causes(Document& out, const Report& report) {
  if (report.causes.empty()) {
    return;
  }
  out.push_back(Heading{"Causes"});
  bool weighed = false;
  out.push_back(
      Paragraph{fmt::format("A damaging cause is present now: {}.", percent(report.risk))});
  for (const CauseReport& cause : report.causes) {
    const bool open = !(cause.probability < kWorthArguing);
    CauseLine line{percent(cause.probability),
                   cause.probability,
                   cause.title.empty() ? std::string(cause.id) : cause.title,
                   {}};
    add_weights(line, cause.for_it, true, open ? 2 : 0);
    add_weights(line, cause.against_it, false, open ? 2 : 1);
    weighed = weighed || std::ranges::any_of(line.weights, &CauseLine::Weight::leading);
    out.push_back(std::move(line));
  }
  if (weighed) {
    out.push_back(
        Paragraph{"dB here is weight of evidence, not loudness: 3 dB doubles the odds of a cause, "
                  "10 dB makes them ten times as high; minus divides them."});
  }
}

void add_how_sure(Document& out, const Report& report) {
  if (!report.how_sure || report.how_sure->values == 0) {
    return;
  }
  const HowSure& sure = *report.how_sure;
  out.push_back(Heading{"How much rests on judgement"});
  const std::string low = percent(sure.risk_low);
  const std::string high = percent(sure.risk_high);
  out.push_back(Paragraph{fmt::format(
      "Each of {} values from memory may be off by up to a factor of {:.3g} in its odds. Nine "
      "times in ten damage is then {}{} probable; grade {} is given {} of the time.",
      sure.values, sure.odds_factor, low, low == high ? "" : " to " + high, name(report.grade),
      percent(sure.grade_holds))});
  if (sure.grades.size() > 1) {
    out.push_back(Paragraph{
        fmt::format("Grades given one time in twenty or more: {}.", words::either(sure.grades))});
  }
  if (!sure.rests_on.empty()) {
    std::vector<std::string> names;
    for (const RestsOn& r : sure.rests_on) {
      names.push_back(fmt::format("{} ({})", r.rule, r.value));
    }
    out.push_back(Paragraph{fmt::format("What carries most of that: {}.", fmt::join(names, ", "))});
  }
}

bool is_year(const Prognosis& p) { return std::round(p.days) == std::round(kDaysPerYear); }

// "5,000 km", "20,000 km, or a year".
std::string horizon(const Prognosis& p, Units units) {
  return words::distance(p.km, units) + (is_year(p) ? ", or a year" : "");
}

std::string with_range(const Foreseen& f) {
  const std::string low = percent(f.low);
  const std::string high = percent(f.high);
  const std::string now = percent(f.probability);
  return low == high ? now : fmt::format("{} ({} to {})", now, low, high);
}

void add_prognosis(Document& out, const Report& report, Units units) {
  if (report.prognosis.empty()) {
    return;
  }
  out.push_back(Heading{"To come, if nothing is done"});
  Table table;
  table.columns = {{"within", Table::Fit::whole, false, false, 0},
                   {"damage begins", Table::Fit::whole, false, false, 0},
                   {"breaks down", Table::Fit::whole, false, false, 0}};
  std::vector<Bar> bars;
  for (const Prognosis& p : report.prognosis) {
    const std::string within = horizon(p, units);
    table.rows.push_back({within, with_range(p.damage), with_range(p.breakdown)});
    bars.push_back({fmt::format("breaks down within {}", within),
                    percent(p.breakdown.probability),
                    p.breakdown.probability,
                    {},
                    true});
  }
  out.emplace_back(std::move(table));
  std::ranges::move(bars, std::back_inserter(out));
  if (report.one_in_ten_km) {
    out.push_back(Paragraph{fmt::format("One in ten such units has broken down within {}.",
                                        words::distance(*report.one_in_ten_km, units))});
  }
}

// So many in a hundred, as an owner reads it.
void add_prognosis_for_owner(Document& out, const Report& report) {
  const auto year = std::ranges::find_if(report.prognosis, is_year);
  if (year == report.prognosis.end()) {
    return;
  }
  const auto in_hundred = [](double p) {
    constexpr double kHundred = 100;
    const double n = std::round(p * kHundred);
    return n < 1 ? std::string("fewer than 1") : fmt::format("{:.0f}", n);
  };
  const Foreseen& f = year->breakdown;
  const std::string low = in_hundred(f.low);
  const std::string high = in_hundred(f.high);
  out.push_back(Heading{"To come, if nothing is done"});
  out.push_back(Paragraph{fmt::format(
      "Of 100 cars like this one, {} {} down for this reason within a year{}.",
      in_hundred(f.probability), std::round(f.probability * 100) == 1 ? "breaks" : "break",
      low == high ? "" : fmt::format(" (it may be {} to {})", low, high))});
}

void add_findings(Document& out, const Report& report) {
  if (!report.observed.empty()) {
    out.push_back(Heading{"Observed"});
    for (const Observation& o : report.observed) {
      out.push_back(Item{
          0,
          o.since.empty() ? o.shown : fmt::format("{} (carried over from {})", o.shown, o.since),
          {}});
    }
  }
  if (!report.not_observed.empty()) {
    out.push_back(Heading{"Not observed (counts neither way)"});
    std::string list;
    for (const Observation& o : report.not_observed) {
      list += list.empty() ? "" : "; ";
      list += o.shown.empty() ? o.finding : o.shown;
    }
    out.push_back(Paragraph{sentence(list)});
  }
}

void add_next_checks(Document& out, const Report& report) {
  if (report.next_checks.empty()) {
    return;
  }
  out.push_back(Heading{"Next checks, best first"});
  Table table;
  table.columns = {{"min", Table::Fit::whole, true, false, 0},
                   {"bits", Table::Fit::whole, true, false, 0},
                   {"could give", Table::Fit::whole, false, false, 0},
                   {"check", Table::Fit::wrap, false, false, 20, true}};
  for (const NextCheck& check : report.next_checks) {
    table.rows.push_back(
        {words::grouped(check.minutes),
         std::isfinite(check.gain_bits)
             ? (check.gain_bits < 0.005 ? "<0.01" : fmt::format("{:.2f}", check.gain_bits))
             : "?",
         words::either(check.grades_possible), check.text.empty() ? check.id : check.text});
  }
  out.push_back(std::move(table));
  out.push_back(Paragraph{"1 bit would settle an even doubt about whether there is damage."});
}

void add_would_change(Document& out, const Report& report) {
  if (report.would_change.empty()) {
    return;
  }
  out.push_back(Heading{"What would change the grade"});
  for (const WouldChange& change : report.would_change) {
    out.push_back(Item{0, fmt::format("to {}: {}", name(change.grade), change.shown), {}});
  }
}

// "Due at 121,900 km, by 2024-03-01 at the latest."
std::string due_line(const Report& report, Units units) {
  const Recheck& r = report.recheck;
  if (r.due_date.empty()) {
    return {};
  }
  const std::string_view due = r.overdue ? "Was due" : "Due";
  return r.due_km ? fmt::format("{} at {}, by {} at the latest.", due,
                                words::distance(*r.due_km, units), r.due_date)
                  : fmt::format("{} by {}.", due, r.due_date);
}

void add_outlook(Document& out, const Report& report, Units units) {
  const Recheck& r = report.recheck;
  const std::string until = r.overdue ? "" : words::deadline(r.km, r.days, units);
  if (!until.empty() || !r.because.empty()) {
    out.push_back(Heading{"Recheck"});
    out.push_back(Paragraph{sentence(
        fmt::format("{}{}{}", until, until.empty() || r.because.empty() ? "" : ": ", r.because))});
    if (const std::string due = due_line(report, units); !due.empty()) {
      out.push_back(Paragraph{due});
    }
  }
  if (!report.rebuild_outlook.empty()) {
    out.push_back(Heading{"Rebuild outlook"});
    out.push_back(Paragraph{sentence(fmt::format("{}{}{}", report.rebuild_outlook,
                                                 report.rebuild_outlook_text.empty() ? "" : ": ",
                                                 report.rebuild_outlook_text))});
  }
}

std::string reading_of(const std::optional<double>& km, Units units) {
  return km ? words::distance(*km, units) : std::string("-");
}

// All inspections, this one last.
std::vector<HistoryEntry> inspections(const Report& report) {
  std::vector<HistoryEntry> all = report.history.earlier;
  all.push_back({report.date, report.odometer_km, report.grade, report.risk});
  return all;
}

Timeline timeline(const Report& report, const std::vector<HistoryEntry>& all, Units units) {
  Timeline line;
  line.units = units;
  line.by_distance =
      std::ranges::all_of(all, [](const HistoryEntry& e) { return e.odometer_km.has_value(); });
  for (const HistoryEntry& e : all) {
    const std::optional<int> day = parse_date(e.date);
    line.points.push_back(
        {line.by_distance ? *e.odometer_km : day.value_or(0), e.grade,
         fmt::format("{}, {}: grade {}", e.date, reading_of(e.odometer_km, units), name(e.grade))});
  }
  for (const HistoryEvent& e : report.history.events) {
    if (line.by_distance ? e.odometer_km.has_value() : !e.odometer_km.has_value()) {
      line.marks.push_back(
          {line.by_distance ? *e.odometer_km : parse_date(e.date).value_or(0), e.text});
    }
  }
  return line;
}

// Inspections and work between them, in the order in which they happened.
std::vector<std::string> looks_and_works(const Report& report, Units units) {
  const std::vector<HistoryEntry> all = inspections(report);
  std::vector<std::string> lines;
  auto work = report.history.works.begin();
  for (std::size_t looks = 0; looks <= all.size(); ++looks) {
    for (; work != report.history.works.end() && work->looks_before == looks; ++work) {
      lines.push_back(words::work_done(*work, report.audience, units));
    }
    if (looks < all.size()) {
      const HistoryEntry& e = all[looks];
      const std::string reading =
          e.odometer_km ? ", " + words::distance(*e.odometer_km, units) : std::string();
      lines.push_back(fmt::format("{}{}: grade {}, risk {}", e.date, reading, name(e.grade),
                                  words::percent(e.risk)));
    }
  }
  return lines;
}

void add_history(Document& out, const Report& report, Units units) {
  const UnitHistory& history = report.history;
  if (history.earlier.empty() && history.events.empty() && history.works.empty()) {
    return;
  }
  out.push_back(Heading{"History"});
  const std::vector<HistoryEntry> all = inspections(report);
  if (!history.earlier.empty()) {
    out.push_back(timeline(report, all, units));
  }
  if (!history.works.empty()) {
    for (std::string& line : looks_and_works(report, units)) {
      out.push_back(Item{0, std::move(line), {}});
    }
  } else if (!history.earlier.empty()) {
    Table table;
    table.columns = {{"date", Table::Fit::whole, false, false, 0},
                     {"distance", Table::Fit::whole, true, false, 0},
                     {"grade", Table::Fit::whole, false, true, 0},
                     {"risk", Table::Fit::whole, true, false, 0}};
    for (const HistoryEntry& entry : all) {
      table.rows.push_back({entry.date, reading_of(entry.odometer_km, units),
                            std::string(name(entry.grade)), words::percent(entry.risk)});
    }
    out.push_back(std::move(table));
  }
  for (const HistoryEvent& e : history.events) {
    if (e.by_work) {
      continue;
    }
    out.push_back(Item{0,
                       e.odometer_km
                           ? fmt::format("{} at {} (on record from {})", sentence_case(e.text),
                                         words::distance(*e.odometer_km, units), e.date)
                           : fmt::format("{} (on record from {})", sentence_case(e.text), e.date),
                       {}});
  }
  for (const Comparison& c : history.compared) {
    out.push_back(Paragraph{fmt::format("{}: {}",
                                        c.since_what == "last-repair"
                                            ? "Since the first look after the last repair"
                                            : "Since the last inspection",
                                        closed(c.text))});
  }
}

void add_note(Document& out, const Report& report) {
  if (!report.note.empty()) {
    out.push_back(Heading{"Note on the record"});
    out.push_back(Paragraph{report.note});
  }
}

}  // namespace

void add_reservations(Document& out, const Report& report) {
  if (!report.rules_reservations.empty()) {
    out.push_back(Lead{"Rules", fmt::format("{}", fmt::join(report.rules_reservations, " ")), {}});
  }
}

std::string rules_used(const Report& report) {
  std::string adapted;
  if (report.rules_overlay) {
    adapted =
        fmt::format(", adapted to {} (overlay {})",
                    words::count(report.rules_overlay->teardowns, "own teardown", "own teardowns"),
                    short_sha(report.rules_overlay->sha256));
  }
  std::string line = fmt::format("Rules {} {}, {}{}.", report.rules_id, report.rules_version,
                                 short_sha(report.rules_sha256), adapted);
  if (report.onset) {
    const OnsetUsed& o = *report.onset;
    line += fmt::format(
        " How the seal wears with {} is not the rules' but the shop's own: {}, {}, from {}.",
        o.by_years ? "age" : "distance", o.source, short_sha(o.sha256),
        words::count(static_cast<std::size_t>(o.units), "unit", "units"));
  }
  return line;
}

namespace {

void add_basis(Document& out, const Report& report) {
  out.push_back(Heading{"What this rests on"});
  out.push_back(
      Paragraph{fmt::format("Record {}:{}, {}. {} {}.", report.source, report.line,
                            short_sha(report.record_sha256), kToolName, report.tool_version)});
  out.push_back(
      Paragraph{fmt::format("{} Screening aid: a technician decides.", rules_used(report))});
}

Document describe_for_technician(const Report& report, Units units) {
  Document out;
  out.push_back(Title{unit_line(report, units), circumstances(report, units)});
  out.push_back(Lead{grade_label(report), grade_text(report), report.grade});
  out.push_back(Lead{"Finding", sentence(report.headline), {}});
  add_items(out, "Does not fit together", texts_of(report.contradictions));
  add_items(out, "Warnings", report.warnings);
  add_items(out, "Before you start", texts_of(report.cautions));
  add_actions(out, report, units);
  add_why_this_grade(out, report);
  add_causes(out, report);
  add_prognosis(out, report, units);
  add_how_sure(out, report);
  add_findings(out, report);
  add_next_checks(out, report);
  add_would_change(out, report);
  add_outlook(out, report, units);
  add_history(out, report, units);
  add_note(out, report);
  add_basis(out, report);
  return out;
}

// Only what the model words for an owner. Evidence and warnings are a
// technician's; where there are warnings, a line says so.
Document describe_for_owner(const Report& report, Units units) {
  Document out;
  out.push_back(Title{unit_line(report, units), {}});
  // First of all: is it safe, what to do, by when, and what to say.
  std::vector<std::string> paragraphs = report.owner_summary;
  if (paragraphs.size() > 1) {
    std::string& first = paragraphs.front();
    // Cautions come before advice, here as well.
    for (const Caution& c : report.cautions) {
      first += c.trained_only ? " " + closed(c.text) : std::string();
    }
    if (!report.actions.empty()) {
      first += " " + first_order(report.actions.front(), units);
    }
    first += " " + paragraphs.back();
    paragraphs.pop_back();
  }
  for (const std::string& paragraph : paragraphs) {
    out.push_back(Paragraph{paragraph});
  }
  if (report.owner_summary.empty()) {
    out.push_back(Paragraph{sentence(report.headline)});
  }
  add_items(out, "Take care", texts_of(report.cautions));
  add_actions(out, report, units);
  // What is advised already is not said twice.
  std::vector<std::string> checks;
  for (const NextCheck& check : report.next_checks) {
    if (std::ranges::find(report.actions, check.id, &Action::id) == report.actions.end()) {
      checks.push_back(check.text.empty() ? check.id : check.text);
    }
  }
  add_items(out, "What else would help to know", checks);
  add_prognosis_for_owner(out, report);
  std::vector<std::string> works;
  for (const HistoryWork& work : report.history.works) {
    works.push_back(words::work_done(work, report.audience, units));
  }
  add_items(out, "What was done to the car", works);
  out.push_back(Heading{"For the workshop"});
  out.push_back(Lead{grade_label(report), grade_text(report), report.grade});
  for (const Contradiction& contradiction : report.contradictions) {
    out.push_back(Paragraph{sentence(contradiction.text)});
  }
  add_reservations(out, report);
  if (report.warnings.size() > report.rules_reservations.size()) {
    out.push_back(
        Paragraph{fmt::format("The technician's report lists {} on this record.",
                              count(report.warnings.size() - report.rules_reservations.size(),
                                    "further remark", "further remarks"))});
  }
  add_note(out, report);
  add_basis(out, report);
  return out;
}

// ------------------------------------------------------------------ batch

// Worst first, as `rank` orders them.
constexpr std::array<Grade, kGradeCount> kWorstFirst = {Grade::D, Grade::C, Grade::U, Grade::B,
                                                        Grade::A};

// Counted things, most frequent first; what ties stays in the order of names.
template <typename Entry>
std::vector<std::pair<std::string, Entry>> most_first(const std::map<std::string, Entry>& counted) {
  std::vector<std::pair<std::string, Entry>> sorted(counted.begin(), counted.end());
  std::ranges::stable_sort(sorted,
                           [](const auto& a, const auto& b) { return a.second.before(b.second); });
  return sorted;
}

struct FirstAction {
  std::size_t units = 0;
  std::array<std::size_t, kUrgencyCount> by_urgency{};

  [[nodiscard]] bool before(const FirstAction& other) const {
    return units != other.units ? units > other.units : by_urgency > other.by_urgency;
  }
};

struct MissingCheck {
  std::size_t units = 0;
  std::size_t best = 0;      // units for which it is the best of the checks
  std::size_t ungraded = 0;  // of these, units that have no grade for want of it
  std::string text;

  [[nodiscard]] bool before(const MissingCheck& other) const {
    return std::tuple(other.ungraded, other.units, other.best) < std::tuple(ungraded, units, best);
  }
};

std::vector<std::pair<std::string, FirstAction>> first_actions(const Batch& batch) {
  std::map<std::string, FirstAction> counted;
  for (const Report& report : batch.reports) {
    if (!report.actions.empty()) {
      FirstAction& entry = counted[report.actions.front().id];
      ++entry.units;
      ++entry.by_urgency[static_cast<std::size_t>(report.actions.front().urgency)];
    }
  }
  return most_first(counted);
}

std::vector<std::pair<std::string, MissingCheck>> missing_checks(const Batch& batch) {
  std::map<std::string, MissingCheck> counted;
  for (const Report& report : batch.reports) {
    std::set<std::string_view> met;
    for (const NextCheck& check : report.next_checks) {
      if (!met.insert(check.id).second) {
        continue;
      }
      MissingCheck& entry = counted[check.id];
      ++entry.units;
      const bool is_best = &check == &report.next_checks.front();
      entry.best += is_best ? 1 : 0;
      entry.ungraded += is_best && report.grade == Grade::U ? 1 : 0;
      if (entry.text.empty()) {
        entry.text = check.text;
      }
    }
  }
  return most_first(counted);
}

double share_of(std::size_t part, std::size_t whole) {
  return whole == 0 ? 0 : static_cast<double>(part) / static_cast<double>(whole);
}

std::string amount(std::size_t number) { return words::grouped(static_cast<double>(number)); }

void add_summary(Document& out, const Batch& batch,
                 const std::vector<std::pair<std::string, MissingCheck>>& missing) {
  const std::size_t units = batch.reports.size();
  if (batch.rejected_records > 0) {
    out.push_back(Paragraph{
        fmt::format("{} and not graded; see the end.",
                    sentence_case(count(batch.rejected_records, "record was rejected",
                                        "records were rejected", batch.rejected_at_least)))});
  }
  if (units == 0) {
    return;
  }
  out.push_back(Heading{"Grades"});
  for (const Grade grade : kWorstFirst) {
    const auto number = static_cast<std::size_t>(
        std::ranges::count(batch.reports, grade, [](const Report& r) { return r.grade; }));
    out.push_back(
        Bar{std::string(name(grade)), amount(number), share_of(number, units), grade, false});
  }
  out.push_back(Heading{"First thing to do"});
  for (const auto& [id, entry] : first_actions(batch)) {
    std::string when;
    for (std::size_t u = 0; u < kUrgencyCount; ++u) {
      if (entry.by_urgency[u] > 0) {
        when += when.empty() ? "" : ", ";
        when += entry.by_urgency[u] == entry.units ? "" : amount(entry.by_urgency[u]) + " ";
        when += name(static_cast<Urgency>(u));
      }
    }
    out.push_back(
        Item{0, fmt::format("{}: {} ({})", id, count(entry.units, "unit", "units"), when), {}});
  }
  if (!missing.empty() && missing.front().second.ungraded > 0) {
    out.push_back(Paragraph{
        fmt::format("Missing where the grade is open (U): {}, on {} of {}.", missing.front().first,
                    amount(missing.front().second.ungraded), count(units, "unit", "units"))});
  }
}

// A cause that is less probable than this is not named in the ranked table.
constexpr double kLikely = 0.2;

// The most probable cause, if it is likely at all: "rotor-bearing-erosion" as "rotor-erosion",
// since a narrow column needs the part that tells causes apart.
std::string short_cause(const Report& report) {
  if (report.causes.empty() || report.causes.front().probability < kLikely) {
    return "-";
  }
  std::string id(report.causes.front().id);
  static constexpr std::string_view kMiddle = "-bearing-";
  if (const std::size_t at = id.find(kMiddle); at != std::string::npos) {
    id.replace(at, kMiddle.size(), "-");
  }
  return id;
}

std::string grades_in_order() {
  std::string words;
  for (const Grade g : kWorstFirst) {
    words += fmt::format("{}{}", words.empty() ? "" : " ", name(g));
  }
  return words;
}

std::string urgencies_in_order() {
  std::string words;
  for (std::size_t u = 0; u < kUrgencyCount; ++u) {
    words += fmt::format("{}{}", words.empty() ? "" : " ", name(static_cast<Urgency>(u)));
  }
  return words;
}

// What a chosen list was chosen by, and what it leaves out.
void add_choice(Document& out, const Batch& batch, Units units) {
  const Wanted& w = batch.wanted;
  if (w.everything()) {
    return;
  }
  std::vector<std::string> by;
  if (w.worse_since) {
    by.push_back(fmt::format("a worse grade than on {}, or new since then and not A or B",
                             date_text(*w.worse_since)));
  }
  if (w.due_by_date) {
    by.push_back(fmt::format("something due by {}", date_text(*w.due_by_date)));
  }
  if (w.due_by_km) {
    by.push_back(fmt::format("something due by {}", words::distance(*w.due_by_km, units)));
  }
  std::string text =
      fmt::format("{} with {}; {} without.", count(batch.reports.size(), "unit", "units"),
                  fmt::join(by, " and "), amount(batch.left_out));
  if (batch.left_out_new > 0) {
    text += fmt::format(" Of these, {} {} new.", amount(batch.left_out_new),
                        batch.left_out_new == 1 ? "is" : "are");
  }
  out.push_back(Paragraph{std::move(text)});
}

void add_ranked(Document& out, const Batch& batch, Units units) {
  out.push_back(Heading{batch.wanted.by_due() ? "Due first" : "Worst first"});
  Table table;
  table.opens = true;
  const bool compares = batch.wanted.worse_since.has_value();
  const bool dues = batch.wanted.by_due();
  const std::string limit_head = fmt::format("{}/days", words::unit_name(units));
  table.columns = {{"#", Table::Fit::whole, true, false, 0},
                   {"unit", Table::Fit::cut, false, false, 8, true},
                   {"grade", Table::Fit::whole, false, true, 0, false, grades_in_order(), true}};
  if (compares) {
    table.columns.push_back({"was", Table::Fit::whole, false, true, 0, false,
                             fmt::format("{} {}", kNewUnit, grades_in_order()), true});
  }
  table.columns.push_back({"risk", Table::Fit::whole, true, false, 0});
  if (dues) {
    table.columns.insert(
        table.columns.end(),
        {{"due", Table::Fit::cut, false, false, 11, true, {}, true},
         {"by", Table::Fit::whole, false, false, 0, true},
         {fmt::format("at {}", words::unit_name(units)), Table::Fit::whole, true, false, 0}});
  } else {
    table.columns.insert(table.columns.end(),
                         {{"when", Table::Fit::whole, false, false, 0, true, urgencies_in_order()},
                          {"do first", Table::Fit::cut, false, false, 11, true, {}, true},
                          {limit_head, Table::Fit::whole, true, false, 0},
                          {"cause", Table::Fit::cut, false, false, 10, false, {}, true},
                          {"rebuild", Table::Fit::whole, false, false, 0}});
  }
  bool any_limit = false;
  bool any_bound = false;
  for (std::size_t i = 0; i < batch.reports.size(); ++i) {
    const Report& report = batch.reports[i];
    const Action* const action = report.actions.empty() ? nullptr : &report.actions.front();
    std::string grade(name(report.grade));
    if (is_bounded(report)) {
      grade += fmt::format(" >={}", name(*report.at_least));
      any_bound = true;
    }
    std::string limit = action == nullptr ? std::string("-")
                        : action->overdue
                            ? std::string("overdue")
                            : words::short_deadline(action->within_km, action->within_days, units);
    any_limit = any_limit || (!dues && limit != "-");
    std::vector<std::string> row = {amount(i + 1), report.unit_id, std::move(grade)};
    if (compares) {
      row.emplace_back(was(report, *batch.wanted.worse_since));
    }
    row.push_back(words::short_percent(report.risk));
    if (dues) {
      const Due due = report.due.empty() ? Due() : report.due.front();
      row.push_back(due.action.empty() ? "at once" : due.action);
      row.push_back(fmt::format("{}{}", due.due_date.empty() ? "-" : due.due_date,
                                due.overdue ? " overdue" : ""));
      row.push_back(due.due_km ? words::grouped(words::in_units(*due.due_km, units)) : "-");
    } else {
      row.emplace_back(action == nullptr ? std::string_view("-") : name(action->urgency));
      row.push_back(action == nullptr ? "-" : action->id);
      row.push_back(std::move(limit));
      row.push_back(short_cause(report));
      row.push_back(report.rebuild_outlook);
    }
    table.rows.push_back(std::move(row));
  }
  out.push_back(std::move(table));
  if (any_limit) {
    out.push_back(Paragraph{fmt::format(
        "{}: limits for what to do first; the one that comes first counts.", limit_head)});
  }
  if (any_bound) {
    out.push_back(Paragraph{"U >=B: ungraded, but no better than B."});
  }
}

void add_missing(Document& out, const std::vector<std::pair<std::string, MissingCheck>>& missing) {
  if (missing.empty()) {
    return;
  }
  out.push_back(Heading{"Checks that are missing"});
  Table table;
  table.columns = {{"id", Table::Fit::whole, false, false, 0},
                   {"units", Table::Fit::whole, true, false, 0},
                   {"best for", Table::Fit::whole, true, false, 0},
                   {"check", Table::Fit::wrap, false, false, 16, true}};
  for (const auto& [id, entry] : missing) {
    table.rows.push_back({id, amount(entry.units), amount(entry.best), entry.text});
  }
  out.push_back(std::move(table));
}

void add_rejected(Document& out, const Batch& batch) {
  if (batch.rejected_records == 0 && batch.rejected.empty()) {
    return;
  }
  out.push_back(Heading{
      batch.rejected_records == 0  // of what could not be read, or of what was read all the same
          ? "Complaints about the input"
          : fmt::format("Rejected: {}", count(batch.rejected_records, "record", "records",
                                              batch.rejected_at_least))});
  std::string text;
  for (const Diagnostic& diagnostic : batch.rejected) {
    text += to_text(diagnostic);
  }
  if (!text.empty()) {
    out.push_back(Verbatim{std::move(text)});
  }
}

}  // namespace

Document describe(const Report& report, Units units) {
  return report.audience == Audience::owner ? describe_for_owner(report, units)
                                            : describe_for_technician(report, units);
}

Document describe(const Batch& batch, Units units) {
  Document out;
  out.push_back(Title{
      fmt::format("{} assessed", count(batch.reports.size() + batch.left_out, "unit", "units")),
      batch.today.empty() || batch.reports.empty() ? "" : fmt::format("As of {}.", batch.today)});
  if (!batch.reports.empty()) {
    add_reservations(out, batch.reports.front());
  }
  add_choice(out, batch, units);
  const auto missing = missing_checks(batch);
  add_summary(out, batch, missing);
  if (!batch.reports.empty()) {
    add_ranked(out, batch, units);
  }
  add_missing(out, missing);
  // One line for each rule base that was used; nearly always one.
  std::set<std::string> lines;
  for (const Report& report : batch.reports) {
    lines.insert(fmt::format("{} Screening aid: a technician decides.", rules_used(report)));
  }
  if (!lines.empty()) {
    out.push_back(Heading{"What this rests on"});
  }
  for (const std::string& line : lines) {
    out.push_back(Paragraph{line});
  }
  add_rejected(out, batch);
  return out;
}

}  // namespace dryshaft::document
