#include "report/document.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <map>
#include <set>
#include <span>
#include <string_view>
#include <tuple>
#include <utility>

#include "base/sentence.hpp"
#include "base/sha256.hpp"
#include "decide/wording.hpp"
#include "drawings/drawings.hpp"
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

// "shelf: B3; bay no: 4", of the shop's own keys.
void add_own(Document& out, const Report& report) {
  std::string line;
  for (const OwnValue& own : report.own) {
    line += fmt::format("{}{}: {}", line.empty() ? "" : "; ", words::own_title(own.key), own.text);
  }
  if (!line.empty()) {
    out.push_back(Paragraph{std::move(line)});
  }
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
    text += fmt::format(
        " No better than {}{}.", name(*report.at_least),
        report.audience == Audience::owner ? "" : ": what was seen rules out a better grade");
  }
  return text;
}

// "within 500 km or 14 days (98,500 km, 2025-03-24)", "overdue since 2025-03-24"; or nothing.
std::string limit_of(const Report& report, const Action& action, Units units) {
  std::vector<std::string> by;
  if (action.due_km) {
    by.push_back(words::distance(*action.due_km, units));
  }
  if (!action.due_date.empty()) {
    by.push_back(action.due_date);
  }
  if (action.overdue) {
    return fmt::format("overdue: it was due {}{}", action.due_date.empty() ? "at " : "by ",
                       fmt::join(by, ", "));
  }
  std::string until =
      words::deadline(action.within_km, action.within_days, units, report.whereabouts);
  const bool at_once = action.within_km == 0.0 || action.within_days == 0.0;
  return until.empty() || by.empty() || at_once
             ? until
             : fmt::format("{} ({})", until, fmt::join(by, ", "));
}

// "Soon, within 500 km or 14 days (98,500 km, 2025-03-24)".
std::string when_of(const Report& report, const Action& action, Units units) {
  const std::string until = limit_of(report, action, units);
  return sentence_case(
      fmt::format("{}{}{}", name(action.urgency), until.empty() ? "" : ", ", until));
}

const Caution* caution_of(const Report& report, std::string_view id) {
  const auto found = std::ranges::find(report.cautions, id, &Caution::id);
  return found == report.cautions.end() ? nullptr : &*found;
}

// What to do, each after the cautions that nothing before it needed, under the limit that it shares
// with its neighbours. How the first is done is said at once, of the others behind the screen.
void add_actions(Document& out, const Report& report, Units units) {
  if (report.actions.empty()) {
    return;
  }
  out.push_back(Heading{"What to do, whichever limit comes first"});
  std::set<std::string_view> said;
  std::string last;
  for (std::size_t i = 0; i < report.actions.size(); ++i) {
    const Action& action = report.actions[i];
    if (std::string when = when_of(report, action, units); when != last) {
      out.push_back(Paragraph{when + ":"});
      last = std::move(when);
    }
    for (const std::string& id : action.cautions) {
      const Caution* caution = caution_of(report, id);
      if (caution != nullptr && said.insert(id).second) {
        out.push_back(Care{closed(caution->brief)});
      }
    }
    Item item{i + 1, sentence(i == 0 ? action.text : action.title), {}};
    if (!action.because.empty() && (i == 0 || action.overdue)) {
      item.below.push_back(fmt::format("Why: {}", closed(action.because)));
    }
    out.push_back(std::move(item));
  }
}

// What an owner does after the first, as far as it has a limit.
void add_what_follows(Document& out, const Report& report, Units units) {
  std::string last;
  for (std::size_t i = 1; i < report.actions.size(); ++i) {
    const Action& action = report.actions[i];
    if (limit_of(report, action, units).empty()) {
      continue;
    }
    if (last.empty()) {
      out.push_back(Heading{"After that, whichever limit comes first"});
    }
    if (std::string when = when_of(report, action, units); when != last) {
      out.push_back(Paragraph{when + ":"});
      last = std::move(when);
    }
    out.push_back(Item{0, sentence(action.text), {}});
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
    out.push_back(Item{0,
                       fmt::format("No better than {}: {} ({})", name(floor.grade),
                                   closed(floor.because), floor.rule),
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
    out.push_back(Paragraph{
        "Evidence is weighed in decibels, not loudness: +3 doubles the odds of a cause, +10 "
        "multiplies them by ten, minus divides them."});
  }
}

void add_how_sure(Document& out, const Report& report) {
  if (!report.how_sure || report.how_sure->values == 0) {
    return;
  }
  const HowSure& sure = *report.how_sure;
  out.push_back(Heading{"How far the answer depends on estimates"});
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

// "about 27 have", as an owner reads a probability.
std::string of_a_hundred(double p, std::string_view one, std::string_view many) {
  constexpr double kHundred = 100;
  const double n = std::round(p * kHundred);
  const std::string_view verb = n <= 1 ? one : many;
  return fmt::format("{}{}{}",
                     n < 1           ? std::string("fewer than 1")
                     : n >= kHundred ? std::string("nearly all")
                                     : fmt::format("about {:.0f}", n),
                     verb.empty() ? "" : " ", verb);
}

// So many in a hundred, as an owner reads it.
void add_prognosis_for_owner(Document& out, const Report& report) {
  const auto year = std::ranges::find_if(report.prognosis, is_year);
  if (year == report.prognosis.end()) {
    return;
  }
  const Foreseen& f = year->breakdown;
  const std::string low = of_a_hundred(f.low, {}, {});
  const std::string high = of_a_hundred(f.high, {}, {});
  out.push_back(Heading{"To come, if nothing is done"});
  out.push_back(
      Paragraph{fmt::format("Of 100 such cars, {} down for this reason within a year{}.",
                            of_a_hundred(f.probability, "breaks", "break"),
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
        {grouped(check.minutes),
         std::isfinite(check.gain_bits)
             ? (check.gain_bits < 0.005 ? "<0.01" : fmt::format("{:.2f}", check.gain_bits))
             : "?",
         words::either(check.grades_possible), check.text.empty() ? check.id : check.text});
  }
  out.push_back(std::move(table));
  out.push_back(Paragraph{
      "Bits: how much a check is expected to show. 1 bit settles a fifty-fifty question."});
}

void add_would_change(Document& out, const Report& report) {
  if (report.would_change.empty()) {
    return;
  }
  out.push_back(Heading{"Had it been otherwise today"});
  for (const WouldChange& change : report.would_change) {
    out.push_back(Item{0, fmt::format("{} with {}", name(change.grade), change.shown), {}});
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
  all.push_back({report.date, report.odometer_km, report.grade, report.risk, report.history.fluid});
  return all;
}

LifeLine::Tip tip_of(std::string_view fluid) {
  const std::span<const Choice> words = spec(Field::port_fluid).choices;
  const auto level = std::ranges::find(words, fluid, &Choice::id) - words.begin();
  return level == std::ssize(words) ? LifeLine::Tip::not_seen
         : level == 0               ? LifeLine::Tip::dry
         : level == 1               ? LifeLine::Tip::film
                                    : LifeLine::Tip::wet;
}

// Work and what fields of the unit tell of it, with its place along the line.
struct Placed {
  double at = 0;
  std::string text;
};

std::vector<Placed> placed_works(const Report& report, const LifeLine& line, Units units) {
  std::vector<Placed> placed;
  const auto place = [&](std::optional<double> km, const std::string& date) {
    return line.by_distance ? km : std::optional<double>(parse_date(date));
  };
  for (const HistoryWork& w : report.history.works) {
    // Without a place of its own it lies between the looks.
    const std::size_t last = line.looks.size() - 1;
    const double before = line.looks[std::min(w.looks_before, last + 1) - (w.looks_before > 0)].at;
    const double after = line.looks[std::min(w.looks_before, last)].at;
    placed.push_back({place(w.odometer_km, w.date).value_or((before + after) / 2),
                      words::work_done(w, report.audience, units)});
  }
  for (const HistoryEvent& e : report.history.events) {
    const std::optional<double> at = place(e.odometer_km, e.date);
    if (!e.by_work && at && (line.by_distance || !e.odometer_km)) {
      const std::span<const Choice> dids = spec(Field::work_did).choices;
      const auto did = std::ranges::find(dids, e.id, &Choice::id);
      const std::string what(report.audience == Audience::owner && did != dids.end()
                                 ? std::string_view(did->owner)
                                 : std::string_view(e.text));
      placed.push_back({*at, e.odometer_km
                                 ? fmt::format("{}: {}", words::distance(*at, units), what)
                                 : fmt::format("{}: {}", e.date, what)});
    }
  }
  std::ranges::stable_sort(placed, {}, &Placed::at);
  return placed;
}

// "chance of a leak 12 % before it and 3 % after it"
std::string leak_at(const std::vector<LeakChance>& leak, double km) {
  constexpr double kSamePlace = 0.5;
  const auto here = [&](const LeakChance& p) { return std::abs(p.km - km) < kSamePlace; };
  const auto first = std::ranges::find_if(leak, here);
  const auto last = std::find_if(leak.rbegin(), leak.rend(), here);
  return first == leak.end() ? std::string()
                             : fmt::format(", chance of a leak {} before it and {} after it",
                                           percent(first->chance), percent(last->chance));
}

std::string life_told(const Report& report, const LifeLine& line,
                      const std::vector<HistoryEntry>& all, Units units) {
  std::string told =
      fmt::format("Life of the drive unit over {}.", line.by_distance ? "distance" : "time");
  for (std::size_t i = 0; i < all.size(); ++i) {
    told += fmt::format(" {}, {}: {}, grade {}{}.", all[i].date,
                        reading_of(all[i].odometer_km, units), word(line.looks[i].tip),
                        name(all[i].grade), leak_at(line.leak, line.looks[i].at));
  }
  for (std::size_t i = 0; i < line.done.size(); ++i) {
    told += fmt::format(" Work {}: {}", i + 1, closed(line.done[i]));
  }
  if (line.next) {
    told += fmt::format(" Recheck: {}.", line.by_distance ? words::distance(*line.next, units)
                                                          : report.recheck.due_date);
  }
  return told;
}

// Of two looks or more, or of a look and work; else nothing is drawn.
std::optional<LifeLine> life_line(const Report& report, const std::vector<HistoryEntry>& all,
                                  Units units) {
  LifeLine line;
  line.units = units;
  line.by_distance =
      std::ranges::all_of(all, [](const HistoryEntry& e) { return e.odometer_km.has_value(); });
  for (const HistoryEntry& e : all) {
    line.looks.push_back({line.by_distance ? *e.odometer_km : parse_date(e.date).value_or(0),
                          tip_of(e.fluid), e.grade});
  }
  for (Placed& p : placed_works(report, line, units)) {
    line.works.push_back(p.at);
    line.done.push_back(std::move(p.text));
  }
  if (all.size() < 2 && line.works.empty()) {
    return std::nullopt;
  }
  if (line.by_distance) {
    line.leak = report.history.leak;
    line.next = report.recheck.due_km;
  } else if (!report.recheck.due_date.empty()) {
    line.next = parse_date(report.recheck.due_date);
  }
  line.told = life_told(report, line, all, units);
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
  if (history.earlier.empty() && history.events.empty() && history.works.empty() &&
      history.taken_out.empty()) {
    return;
  }
  out.push_back(Heading{"History"});
  const std::vector<HistoryEntry> all = inspections(report);
  if (std::optional<LifeLine> line = life_line(report, all, units)) {
    out.push_back(*std::move(line));
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
  for (const HistoryTaken& t : history.taken_out) {
    out.push_back(Item{0, closed(t.text), {}});
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
                                            ? "Since the first inspection after the last repair"
                                            : "Since the last inspection",
                                        closed(c.text))});
  }
}

// What was done to the car; looks as well, where there were more than this one.
void add_life_for_owner(Document& out, const Report& report, Units units) {
  const std::vector<HistoryEntry> all = inspections(report);
  const bool looked = all.size() > 1;
  std::vector<std::string> lines;
  if (looked) {
    lines = looks_and_works(report, units);
  } else {
    for (const HistoryWork& work : report.history.works) {
      lines.push_back(words::work_done(work, report.audience, units));
    }
  }
  add_items(out, looked ? "Looks at the car, and what was done" : "What was done to the car",
            lines);
  if (std::optional<LifeLine> line = life_line(report, all, units); line && !lines.empty()) {
    out.push_back(*std::move(line));
  }
}

void add_photos(Document& out, const Report& report) {
  if (report.photos.empty()) {
    return;
  }
  out.push_back(Heading{"Photographs"});
  for (const PhotoShown& photo : report.photos) {
    const std::string why =
        photo.not_shown.empty() ? "" : fmt::format(" (not shown: {})", photo.not_shown);
    out.push_back(Photograph{fmt::format("{}, {}{}", photo.name, photo.date, why), photo.text,
                             photo.bytes, photo.picture.kind});
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

namespace {

std::string rules_of(const Report& report) {
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
        " How the seal wears with {} comes from the workshop's own records, not from the rules: "
        "{}, {}, from {}.",
        o.by_years ? "age" : "distance", o.source, short_sha(o.sha256),
        words::count(static_cast<std::size_t>(o.units), "unit", "units"));
  }
  return line;
}

std::string_view family_id(const Report& report) {
  return report.family.empty() ? kGenericFamily : std::string_view(report.family);
}

// ", the newest of 3 (together b01dfacedead)"; of one record empty.
std::string among_records(const Report& report) {
  return report.records.size() < 2
             ? ""
             : fmt::format(", the newest of {} (together {})", report.records.size(),
                           short_sha(report.records_sha256));
}

}  // namespace

std::string rules_used(const Report& report) {
  return fmt::format("{} Family {}, {}.", rules_of(report), family_id(report),
                     short_sha(report.family_sha256));
}

std::string small_print(const Report& report, bool hashes) {
  std::string line = fmt::format("As of {}", report.as_of);
  if (hashes) {
    const std::size_t records = report.records.size();
    line += fmt::format(": {} {}, rules {}, family {}",
                        records < 2 ? "record" : fmt::format("{} records", records),
                        short_sha(records < 2 ? report.record_sha256 : report.records_sha256),
                        short_sha(report.rules_sha256), short_sha(report.family_sha256));
    line += report.rules_overlay
                ? fmt::format(", overlay {}", short_sha(report.rules_overlay->sha256))
                : "";
    line += report.onset ? fmt::format(", onset {}", short_sha(report.onset->sha256)) : "";
  }
  return line + ". More with --full. A screening aid: a technician decides.";
}

namespace {

void add_basis(Document& out, const Report& report) {
  out.push_back(Heading{"Basis of this report"});
  out.push_back(Paragraph{fmt::format("As of {}. Record {}:{}, {}{}. {} {}.", report.as_of,
                                      report.source, report.line, short_sha(report.record_sha256),
                                      among_records(report), kToolName, report.tool_version)});
  out.push_back(
      Paragraph{fmt::format("{} Screening aid: a technician decides.", rules_used(report))});
}

// "high voltage, lifting, toxic coolant": what of the cautions belongs to actions.
std::string cautions_in_short(const Report& report) {
  std::vector<std::string> names;
  for (const Caution& c : report.cautions) {
    if (std::ranges::any_of(report.actions, [&](const Action& a) {
          return std::ranges::find(a.cautions, c.id) != a.cautions.end();
        })) {
      std::string name = c.id;
      std::ranges::replace(name, '-', ' ');
      names.push_back(std::move(name));
    }
  }
  return sentence_case(fmt::format("{}", fmt::join(names, ", ")));
}

// What decides the grade, unless the finding says so already.
std::string decided_by(const Report& report) {
  const std::string& why = !report.floors.empty()    ? report.floors.front().because
                           : !report.reasons.empty() ? report.reasons.front()
                                                     : report.headline;
  return report.headline.find(without_full_stop(why)) == std::string::npos ? sentence(why)
                                                                           : std::string();
}

void add_first(Document& out, const Report& report, Units units) {
  if (report.actions.empty()) {
    return;
  }
  const Action& first = report.actions.front();
  const bool owner = report.audience == Audience::owner;
  out.push_back(Lead{"First",
                     sentence(fmt::format("{}: {}", when_of(report, first, units),
                                          owner ? first.text : first.title)),
                     {},
                     first.urgency});
}

void add_work_in_full(Document& out, const Report& report) {
  if (report.actions.empty()) {
    return;
  }
  out.push_back(Heading{"What to do, and why"});
  for (const Action& action : report.actions) {
    Item item{0, sentence(action.text), {}};
    if (!action.because.empty()) {
      item.below.push_back(fmt::format("Why: {}", closed(action.because)));
    }
    out.push_back(std::move(item));
  }
}

void add_cautions(Document& out, const Report& report) {
  add_items(out, "Cautions in full", texts_of(report.cautions));
}

Description describe_for_technician(const Report& report, Units units) {
  Description d;
  Document& out = d.answer;
  out.push_back(Title{unit_line(report, units), circumstances(report, units)});
  add_own(out, report);
  out.push_back(Lead{grade_label(report), grade_text(report), report.grade});
  Lead finding{"Finding", sentence(report.headline), {}};
  if (std::string why = decided_by(report); !why.empty()) {
    out.push_back(Lead{"Why", std::move(why), {}});
    add_first(out, report, units);
    out.push_back(std::move(finding));
  } else {
    out.push_back(std::move(finding));
    add_first(out, report, units);
  }
  if (std::string care = cautions_in_short(report); !care.empty()) {
    out.push_back(Lead{"Care", std::move(care), {}});
  }
  add_items(out, "Contradictions in the record", texts_of(report.contradictions));
  add_items(out, "Warnings", report.warnings);
  add_actions(out, report, units);
  if (report.actions.empty()) {  // what the unit itself asks for care of is said all the same
    add_items(out, "Take care", texts_of(report.cautions));
  }
  if (report.actions.size() > 1) {  // a single one is told in full already
    add_work_in_full(d.rest, report);
  }
  add_why_this_grade(d.rest, report);
  add_causes(d.rest, report);
  add_prognosis(d.rest, report, units);
  add_how_sure(d.rest, report);
  add_findings(d.rest, report);
  add_next_checks(d.rest, report);
  add_would_change(d.rest, report);
  add_outlook(d.rest, report, units);
  add_history(d.rest, report, units);
  add_note(d.rest, report);
  add_photos(d.rest, report);
  add_cautions(d.rest, report);
  add_basis(d.rest, report);
  return d;
}

// Only what the model words for an owner. Evidence and warnings are a
// technician's; where there are warnings, a line says so.
Description describe_for_owner(const Report& report, Units units) {
  Description d;
  Document& out = d.answer;
  out.push_back(Title{unit_line(report, units), {}});
  add_own(out, report);
  const auto lead = [&](std::string_view label, const std::string& text) {
    if (!text.empty()) {
      out.push_back(Lead{std::string(label), text, {}});
    }
  };
  const std::size_t buying = out.size();
  lead("Buying", report.buying);
  out.push_back(Lead{grade_label(report), grade_text(report), report.grade});
  lead("Why", decided_by(report));
  add_first(out, report, units);
  if (!report.buying.empty() && !report.actions.empty()) {  // to a buyer that is what is urgent
    std::swap(std::get<Lead>(out[buying]).urgency, std::get<Lead>(out.back()).urgency);
  }
  lead("Driving", report.driving);
  lead("Charging", report.charging);
  lead("Moving", report.moving);
  lead("Workshop", report.tell.empty() ? "" : fmt::format("Tell them: {}", report.tell));
  Lead risk{"Risk",
            fmt::format("Of 100 such cars, {} damage to the drive unit now.",
                        of_a_hundred(report.risk, "has", "have")),
            {}};
  risk.share = report.risk;
  out.push_back(std::move(risk));
  for (const Contradiction& contradiction : report.contradictions) {
    lead("Note", sentence(contradiction.text));
  }
  if (!report.owner_summary.empty()) {
    out.push_back(Paragraph{fmt::format("{}", fmt::join(report.owner_summary, " "))});
  }
  add_reservations(out, report);
  add_items(out, "Take care", texts_of(report.cautions));
  add_what_follows(out, report, units);
  for (const Action& action : report.actions) {
    if (action.at_port) {
      out.push_back(Drawn{drawing_named(kPortDrawing)});
      break;
    }
  }
  add_work_in_full(d.rest, report);
  add_why_this_grade(d.rest, report);
  if (!d.rest.empty() && (!report.floors.empty() || !report.reasons.empty())) {
    d.rest.push_back(Drawn{drawing_named(kGradesDrawing)});
  }
  // What is advised already is not said twice.
  std::vector<std::string> checks;
  for (const NextCheck& check : report.next_checks) {
    if (std::ranges::find(report.actions, check.id, &Action::id) == report.actions.end()) {
      checks.push_back(check.text.empty() ? check.id : check.text);
    }
  }
  add_items(d.rest, "What else would help to know", checks);
  add_prognosis_for_owner(d.rest, report);
  add_life_for_owner(d.rest, report, units);
  add_note(d.rest, report);
  add_photos(d.rest, report);
  d.rest.push_back(Heading{"For the workshop"});
  if (report.warnings.size() > report.rules_reservations.size()) {
    d.rest.push_back(
        Paragraph{fmt::format("The technician's report lists {} on this record.",
                              count(report.warnings.size() - report.rules_reservations.size(),
                                    "further remark", "further remarks"))});
  }
  d.rest.push_back(Paragraph{fmt::format("As of {}. Record {}{}. {} {}. {}", report.as_of,
                                         short_sha(report.record_sha256), among_records(report),
                                         kToolName, report.tool_version, rules_used(report))});
  return d;
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

std::string amount(std::size_t number) { return grouped(static_cast<double>(number)); }

void add_summary(Document& out, const Batch& batch,
                 const std::vector<std::pair<std::string, MissingCheck>>& missing) {
  const std::size_t units = batch.reports.size();
  if (batch.rejected_records > 0) {
    out.push_back(Paragraph{
        fmt::format("{} and not graded; see the end.",
                    sentence_case(count(batch.rejected_records, "record was rejected",
                                        "records were rejected", batch.rejected_at_least)))});
  }
  if (batch.accepted > 0) {
    out.push_back(
        Paragraph{fmt::format("{} not listed: what is wrong with them is known.",
                              sentence_case(count(batch.accepted, "input is", "inputs are")))});
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
  for (const std::string& key : batch.wanted.own) {
    table.columns.push_back(
        {.head = words::own_title(key), .fit = Table::Fit::cut, .least = 6, .extra = true});
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
                        : report.left     ? std::string("left")
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
      row.push_back(due.due_km ? grouped(words::in_units(*due.due_km, units)) : "-");
    } else {
      row.emplace_back(action == nullptr ? std::string_view("-") : name(action->urgency));
      row.push_back(action == nullptr ? "-" : action->id);
      row.push_back(std::move(limit));
      row.push_back(short_cause(report));
      row.push_back(report.rebuild_outlook);
    }
    for (const std::string& key : batch.wanted.own) {
      const std::string_view own = words::own_of(report, key);
      row.emplace_back(own.empty() ? "-" : own);
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

// Rules, families and days that were used, each once, and all records together.
void add_basis(Document& out, const Batch& batch) {
  if (batch.reports.empty()) {
    return;
  }
  out.push_back(Heading{"Basis of these reports"});
  std::set<std::string> rules;
  std::set<std::string> families;
  std::set<std::string_view> days;
  std::map<std::string_view, std::string_view> records;  // by unit
  std::size_t number = 0;
  for (const Report& report : batch.reports) {
    rules.insert(fmt::format("{} Screening aid: a technician decides.", rules_of(report)));
    families.insert(fmt::format("{} {}", family_id(report), short_sha(report.family_sha256)));
    days.insert(report.as_of);
    records[report.unit_id] = report.records_sha256;
    number += report.records.size();
  }
  for (const std::string& line : rules) {
    out.push_back(Paragraph{line});
  }
  std::string hashes;
  for (const auto& [unit, hash] : records) {
    hashes += fmt::format("{}\n", hash);
  }
  out.push_back(Paragraph{
      fmt::format("As of {}. {}, {}. {} {}.",
                  days.size() == 1 ? std::string(*days.begin())
                                   : fmt::format("{} to {}", *days.begin(), *days.rbegin()),
                  sentence_case(count(number, "record", "records")), short_sha(sha256_hex(hashes)),
                  families.size() == 1 ? "Family" : "Families:", fmt::join(families, ", "))});
}

void add_rejected(Document& out, const Batch& batch) {
  if (batch.rejected_records == 0 && batch.rejected.empty()) {
    return;
  }
  out.push_back(Heading{
      batch.rejected_records == 0  // of what could not be read, or of what was read all the same
          ? "Problems in the input"
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

Description describe(const Report& report, Units units) {
  return report.audience == Audience::owner ? describe_for_owner(report, units)
                                            : describe_for_technician(report, units);
}

Document describe(const Report& report, Units units, bool full) {
  Description d = describe(report, units);
  if (full) {
    std::ranges::move(d.rest, std::back_inserter(d.answer));
  }
  return std::move(d.answer);
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
  add_basis(out, batch);
  add_rejected(out, batch);
  return out;
}

Entry entry_of(const FieldSpec& f, Audience audience, Units units) {
  const bool owner = audience == Audience::owner;
  Entry e;
  e.field = f.id;
  e.label = owner ? f.question : f.title;
  switch (f.type) {
    case FieldType::choice:
    case FieldType::choices:
      for (const Choice& c : f.choices) {
        e.choices.emplace_back(owner ? c.plain : c.id);
      }
      break;
    case FieldType::flag:
      e.choices = {"yes", "no"};
      break;
    case FieldType::number:
      e.unit = f.miles_too && units == Units::mi ? words::unit_name(Units::mi) : f.unit;
      break;
    case FieldType::month:
      e.unit = "(YYYY-MM)";
      break;
    case FieldType::date:
      e.unit = "(YYYY-MM-DD)";
      break;
    case FieldType::text:
    case FieldType::hash:
    case FieldType::photos:
      break;
  }
  return e;
}

}  // namespace dryshaft::document
