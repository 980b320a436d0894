#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <iterator>
#include <limits>
#include <map>
#include <set>
#include <string>
#include <tuple>
#include <unordered_map>
#include <utility>

#include "base/complaints.hpp"
#include "dryshaft/record.hpp"
#include "record/identity.hpp"
#include "record/limits.hpp"
#include "record/look.hpp"
#include "record/look_alike.hpp"
#include "record/withdrawn.hpp"
#include "record/work_as_fields.hpp"
#include "vocabulary/order.hpp"

namespace dryshaft {
namespace {

double odometer_or_less(const Record& record) {
  return record.has(Field::odometer_km) ? record.at(Field::odometer_km).number : -1;
}

// Of two records of one reading, that which tells of the work comes after it.
bool renewed_here(const Record& r) {
  return r.has(Field::seal_renewed_odometer_km) && r.has(Field::odometer_km) &&
         r.at(Field::seal_renewed_odometer_km).number >= odometer_or_less(r);
}

// Total, so that the order of the input never matters.
auto order(const Record& r) {
  return std::tuple(std::string_view(r.unit_id), r.at(Field::date).number, odometer_or_less(r),
                    renewed_here(r), std::string_view(r.sha256), std::string_view(r.source),
                    r.line);
}

Diagnostic about(const Record& record, std::string_view code, Severity severity) {
  Diagnostic d;
  d.severity = severity;
  d.code = code;
  d.source = record.source;
  d.line = record.line;
  return d;
}

Diagnostic repeated(const Record& record, const Record& kept) {
  Diagnostic d = about(record, "repeated-record", Severity::warning);
  d.message = fmt::format("is the same record as {}:{}, and counts once", kept.source, kept.line);
  return d;
}

// Records that no reader gives, for somebody filled them otherwise.
void refuse_invalid(std::vector<Record>& records, std::vector<Diagnostic>& complaints) {
  std::erase_if(records, [&](const Record& record) {
    std::vector<Diagnostic> faults = faults_of(record);
    for (Diagnostic& d : faults) {
      add_complaint(complaints, std::move(d));
    }
    return !faults.empty();
  });
  for (Record& record : records) {
    for (std::size_t i = 0; i < record.work.size(); ++i) {
      Work& work = record.work[i];
      if (work.misplaced ||
          (!is_done_after_inspection(record, work) && !is_done_before_built(record, work) &&
           !is_done_beyond_reading(record, work))) {
        continue;
      }
      work.misplaced = true;
      Diagnostic d = about(record, kMisplacedWork, Severity::error);
      d.source = source_of(record);
      d.pointer = fmt::format("{}/{}", kWorkPointer, i);
      d.message =
          fmt::format("tells of {}, which the day, the reading or the build date does not allow",
                      spec(work.did).id);
      d.hint = "look for a slip of the pen in either; until then it does not count as done";
      add_complaint(complaints, std::move(d));
    }
  }
}

std::vector<Record> once(std::vector<Record> records, std::vector<Diagnostic>& complaints) {
  refuse_invalid(records, complaints);
  std::ranges::stable_sort(records, {}, order);
  std::vector<Record> kept;
  kept.reserve(records.size());
  for (Record& record : records) {
    if (!kept.empty() && !record.sha256.empty() && kept.back().sha256 == record.sha256 &&
        kept.back().unit_id == record.unit_id) {
      complaints.push_back(repeated(record, kept.back()));
    } else {
      kept.push_back(std::move(record));
    }
  }
  return kept;
}

// A record that tells nothing, of a unit of which no inspection counts.
Record nothing_of(const std::string& unit_id, const Record& record, int day) {
  Record nothing;
  nothing.unit_id = unit_id;
  nothing.source = record.source;
  nothing.line = record.line;
  nothing.sha256 = record.sha256;
  nothing.date_line = record.date_line;
  nothing.date_column = record.date_column;
  for (const Field field : {Field::format, Field::unit_id}) {
    nothing.values[static_cast<std::size_t>(field)] = record.at(field);
  }
  nothing.values[static_cast<std::size_t>(Field::date)] = {.observed = true,
                                                           .number = static_cast<double>(day)};
  return nothing;
}

Diagnostic moved_away(const Record& record, std::string_view other_unit) {
  Diagnostic d = about(record, "unit-moved", Severity::warning);
  d.message = fmt::format(
      "no record of the unit \"{}\" is left, as one of \"{}\" took its place: it has no report",
      record.unit_id, other_unit);
  return d;
}

std::vector<History> by_unit(std::vector<Record> records, std::optional<int> today,
                             std::vector<Diagnostic>& complaints) {
  records = once(std::move(records), complaints);
  const Counts counts = what_counts(records, today, complaints);
  std::map<std::string, History, std::less<>> histories;
  std::vector<bool> counted(records.size(), true);
  for (const Taken& t : counts.taken) {
    const Record& record = records[t.record];
    const std::string& said_in = records[t.by].unit_id;
    counted[t.record] = false;
    histories[record.unit_id].taken_out.push_back(
        {record, t.said, t.replaced, said_in == record.unit_id ? "" : said_in});
    if (said_in != record.unit_id) {
      histories[said_in].taken_out.push_back({record, t.said, t.replaced, record.unit_id});
    }
  }
  std::optional<int> newest;  // look
  std::map<std::string, Record, std::less<>> void_notices;
  for (std::size_t i = 0; i < records.size(); ++i) {
    if (counts.is_void[i]) {
      (void)histories[records[i].unit_id];
      void_notices.insert_or_assign(records[i].unit_id, std::move(records[i]));
      continue;
    }
    if (!counted[i]) {
      continue;
    }
    const bool notice = is_notice(records[i]);
    History& unit = histories[records[i].unit_id];
    newest = notice ? newest : std::max(newest.value_or(day_of(records[i])), day_of(records[i]));
    (notice ? unit.notices : unit.records).push_back(std::move(records[i]));
  }
  std::vector<History> out;
  for (auto& [id, unit] : histories) {
    unit.unit_id = id;
    const auto later = void_notices.find(id);
    if (unit.records.empty() && unit.notices.empty() && later == void_notices.end() &&
        std::ranges::all_of(unit.taken_out, [](const TakenOut& t) {
          return t.replaced && !t.other_unit.empty();
        })) {
      const TakenOut& last = unit.taken_out.back();
      complaints.push_back(moved_away(last.record, last.other_unit));
      continue;
    }
    if (unit.records.empty()) {
      const Record& last = !unit.taken_out.empty() ? unit.taken_out.back().record
                           : !unit.notices.empty() ? unit.notices.back()
                                                   : later->second;
      // No later than other units were seen: what counts for nothing moves no day of judgement.
      const int day =
          std::min({day_of(last), newest.value_or(day_of(last)), today.value_or(day_of(last))});
      unit.records.push_back(nothing_of(id, last, day));
    }
    out.push_back(std::move(unit));
  }
  return out;
}

// ------------------------------------------------------------------ dates

// What is known of a unit of which every record is set aside: nothing, on the day of judgement.
Record emptied(const Record& record, int day) {
  Record empty = record;
  empty.values = {};
  empty.own.clear();
  empty.work.clear();
  empty.photos.clear();
  empty.contradictions.clear();
  for (const Field field :
       {Field::format, Field::unit_id, Field::family, Field::vehicle, Field::note, Field::by}) {
    empty.values[static_cast<std::size_t>(field)] = record.at(field);
  }
  empty.values[static_cast<std::size_t>(Field::date)] = {.observed = true,
                                                         .number = static_cast<double>(day)};
  return empty;
}

// Moves records out of the history; `day` is the one on which it is judged.
template <typename Wrong>
void set_aside(History& history, int day, const Wrong& is_wrong) {
  std::vector<Record> kept;
  std::vector<std::uint8_t> refused;
  for (std::size_t i = 0; i < history.records.size(); ++i) {
    Record& record = history.records[i];
    if (is_wrong(record)) {
      history.set_aside.push_back(std::move(record));
      continue;
    }
    kept.push_back(std::move(record));
    if (!history.refused.empty()) {
      refused.push_back(history.refused[i]);
    }
  }
  if (kept.empty()) {
    kept.push_back(emptied(history.set_aside.front(), day));
    refused.assign(history.refused.empty() ? 0 : 1, 0);
  }
  history.records = std::move(kept);
  history.refused = std::move(refused);
}

Diagnostic wrong_date(const Record& record, std::string_view code, std::string_view why,
                      std::string hint) {
  Diagnostic d = about(record, code, Severity::error);
  d.input_sha256 = record.sha256;
  d.line = record.date_line;
  d.column = record.date_column;
  d.pointer = spec(Field::date).pointer;
  d.message =
      fmt::format("is {}, {}: the record is set aside, and only what it says for the worse counts",
                  date_text(day_of(record)), why);
  d.hint = std::move(hint);
  return d;
}

void refuse_after(int today, std::vector<History>& histories, std::vector<Diagnostic>& complaints) {
  const auto later = [today](const Record& r) { return day_of(r) > today; };
  const std::string why = fmt::format("after the day of judgement, {}", date_text(today));
  for (History& history : histories) {
    if (!later(history.records.back())) {
      continue;
    }
    for (const Record& r : history.records) {
      if (later(r)) {
        complaints.push_back(wrong_date(r, "date-after-today", why,
                                        "look for a slip of the pen, or name a later --today"));
      }
    }
    set_aside(history, today, later);
  }
}

constexpr int kFarDays = 90;  // said, not refused [judgement]

// The newest date moves the day of judgement for every unit: so one look far from all others, be it
// told by several records, is not believed by itself.
class LoneDates {
 public:
  LoneDates(std::vector<History>& histories, std::vector<Diagnostic>& complaints)
      : histories_(histories), complaints_(complaints) {
    for (std::size_t unit = 0; unit < histories.size(); ++unit) {
      for (const Record& r : histories[unit].records) {
        looks_.emplace_back(day_of(r), unit);
      }
    }
    std::ranges::sort(looks_);
    looks_.erase(std::unique(looks_.begin(), looks_.end()), looks_.end());
    left_.resize(histories.size());
    for (const auto& [day, unit] : looks_) {
      units_left_ += ++left_[unit] == 1 ? 1 : 0;
    }
  }

  void refuse() {
    std::vector<std::pair<int, std::size_t>> alone;  // day, unit
    // Two days of one unit bear each other out, so each unit has one refused at most.
    while (looks_.size() > 1 && is_alone() && !refused_.contains(looks_.back().second)) {
      alone.push_back(looks_.back());
      gaps_.push_back(gap());
      refused_.insert(looks_.back().second);
      units_left_ -= --left_[looks_.back().second] == 0 ? 1 : 0;
      looks_.pop_back();
    }
    for (std::size_t i = alone.size(); i-- > 0;) {
      refuse(histories_[alone[i].second], alone[i].first, gaps_[i]);
    }
    if (units_left_ > 1 && gap() >= kFarDays) {
      warn();
    }
  }

 private:
  // Whether the newest look is.
  [[nodiscard]] bool is_alone() const {
    return gap() >= (units_left_ > 1 ? kAloneDays : kAloneInUnitDays);
  }
  [[nodiscard]] int gap() const { return looks_.back().first - looks_[looks_.size() - 2].first; }

  // One look is believed, but verdicts hang on its date.
  void warn() {
    const auto [day, unit] = looks_.back();
    const Record& r = histories_[unit].records.back();
    Diagnostic d = about(r, "date-far-ahead", Severity::warning);
    d.line = r.date_line;
    d.column = r.date_column;
    d.pointer = spec(Field::date).pointer;
    d.message =
        fmt::format("is {}, {} days after every other date, and the newest", date_text(day), gap());
    d.hint = "units are judged as of the newest date; --today names another day";
    complaints_.push_back(std::move(d));
  }

  void refuse(History& history, int day, int gap) {
    const auto is_it = [day](const Record& r) { return day_of(r) == day; };
    const std::string why = fmt::format("{} days after every other date", gap);
    for (const Record& r : history.records) {
      if (is_it(r)) {
        complaints_.push_back(wrong_date(
            r, "date-alone", why,
            fmt::format("look for a slip of the pen; if the day is right, say --today {}",
                        date_text(day))));
      }
    }
    set_aside(history, looks_.back().first, is_it);
    history.perhaps_today = day;
  }

  std::vector<History>& histories_;
  std::vector<Diagnostic>& complaints_;
  std::vector<std::pair<int, std::size_t>> looks_;  // by day; those that are left
  std::vector<std::size_t> left_;                   // looks of each unit
  std::size_t units_left_ = 0;                      // with a look
  std::set<std::size_t> refused_;                   // units
  std::vector<int> gaps_;
};

// ---------------------------------------------------------------- odometer

Diagnostic backwards(const Record& record, const Record& other) {
  const auto km = [](const Record& r) { return fmt::format("{:.9g} km", odometer_or_less(r)); };
  Diagnostic d = about(record, "odometer-backwards", Severity::error);
  d.input_sha256 = record.sha256;
  d.line = record.odometer_line;
  d.column = record.odometer_column;
  d.pointer = spec(Field::odometer_km).pointer;
  d.message = fmt::format("is {} on {}, but {} was recorded on {}", km(record),
                          date_text(day_of(record)), km(other), date_text(day_of(other)));
  d.hint = "look for a slip of the pen; if the instrument was replaced, add the old one's distance";
  return d;
}

// One reading of a day, be it in several records.
struct Reading {
  double km;
  std::size_t first;  // record
  std::size_t last;
  std::size_t length = 0;  // of the longest run that ends here and never goes backwards
};

std::vector<Reading> readings_of(const History& history) {
  std::vector<Reading> readings;
  for (std::size_t i = 0; i < history.records.size(); ++i) {
    const Record& r = history.records[i];
    if (!r.has(Field::odometer_km)) {
      continue;
    }
    const double km = odometer_or_less(r);
    if (!readings.empty() && readings.back().km == km &&
        day_of(history.records[readings.back().last]) == day_of(r)) {
      readings.back().last = i;
    } else {
      readings.push_back({.km = km, .first = i, .last = i});
    }
  }
  return readings;
}

// Marks as kept a longest run that never goes backwards; of several, the one that ends in the
// greatest reading, has the greatest one before that, and so on.
std::vector<bool> longest_run(std::vector<Reading>& readings) {
  std::vector<double> least_end;  // of the runs of each length
  for (Reading& r : readings) {
    const auto at = std::ranges::upper_bound(least_end, r.km);
    r.length = static_cast<std::size_t>(at - least_end.begin()) + 1;
    if (at == least_end.end()) {
      least_end.push_back(r.km);
    } else {
      *at = r.km;
    }
  }
  // Of the readings that end runs of one length each is less than the one before it.
  std::vector<std::size_t> next(readings.size(), readings.size());
  std::vector<std::size_t> first(least_end.size() + 1, readings.size());
  for (std::size_t i = readings.size(); i-- > 0;) {
    next[i] = std::exchange(first[readings[i].length], i);
  }
  std::vector<bool> kept(readings.size(), false);
  double most = std::numeric_limits<double>::infinity();
  for (std::size_t length = least_end.size(); length > 0; --length) {
    std::size_t i = first[length];
    while (readings[i].km > most) {
      i = next[i];
    }
    kept[i] = true;
    most = readings[i].km;
  }
  return kept;
}

void refuse_readings(History& history, std::vector<Diagnostic>& complaints) {
  history.refused.assign(history.records.size(), 0);
  std::vector<Reading> readings = readings_of(history);
  if (std::ranges::is_sorted(readings, {}, &Reading::km)) {
    return;
  }
  const std::vector<bool> kept = longest_run(readings);
  std::size_t after = readings.size();  // the next one that is kept
  std::vector<std::size_t> next_kept(readings.size());
  for (std::size_t i = readings.size(); i-- > 0;) {
    next_kept[i] = after;
    after = kept[i] ? i : after;
  }
  std::size_t before = readings.size();  // the last one that is kept
  for (std::size_t i = 0; i < readings.size(); ++i) {
    if (kept[i]) {
      before = i;
      continue;
    }
    const bool runs_back = before < readings.size() && readings[before].km > readings[i].km;
    const Record& other = history.records[readings[runs_back ? before : next_kept[i]].first];
    for (std::size_t r = readings[i].first; r <= readings[i].last; ++r) {
      complaints.push_back(backwards(history.records[r], other));
    }
  }
  for (std::size_t i = 0; i < readings.size(); ++i) {
    for (std::size_t r = readings[i].first; !kept[i] && r <= readings[i].last; ++r) {
      history.records[r].values[static_cast<std::size_t>(Field::odometer_km)] = {};
      history.refused[r] = 1;
    }
  }
}

// ---------------------------------------------------------------- identity

void warn_of_several_units(const History& history, std::vector<Diagnostic>& complaints) {
  Identities identities;
  for (const Record& r : history.records) {
    identities.add(r);
  }
  for (const Difference& difference : identities.differences()) {
    const Record& record = history.records[difference.record];
    const Record& other = history.records[difference.other];
    Diagnostic d = about(record, "not-one-unit", Severity::warning);
    d.message = fmt::format("differs from {}:{} in {}, but has the same id, \"{}\"", other.source,
                            other.line, difference.in, history.unit_id);
    d.hint = "give each unit an id of its own; what is good of one does not count for the other";
    complaints.push_back(std::move(d));
  }
}

void warn_of_look_alikes(const std::vector<History>& histories,
                         std::vector<Diagnostic>& complaints) {
  std::unordered_map<std::string, const History*> first;
  for (const History& history : histories) {
    const auto [at, is_new] = first.emplace(looks(history.unit_id), &history);
    if (is_new) {
      continue;
    }
    const Record& other = at->second->records.front();
    Diagnostic d = about(history.records.front(), "ids-look-alike", Severity::warning);
    d.pointer = spec(Field::unit_id).pointer;
    d.message = fmt::format("is \"{}\" and looks like \"{}\" of {}:{}: they count as two units",
                            history.unit_id, at->second->unit_id, other.source, other.line);
    d.hint =
        fmt::format("where it is one unit, write its id in one way; the first difference is {}",
                    first_difference(history.unit_id, at->second->unit_id));
    complaints.push_back(std::move(d));
  }
}

}  // namespace

std::vector<std::string> leave_out(std::vector<Diagnostic>& complaints,
                                   const std::set<std::string, std::less<>>& accepted) {
  std::vector<std::string> met;
  std::erase_if(complaints, [&](const Diagnostic& d) {
    const bool is_known = !d.input_sha256.empty() && accepted.contains(d.input_sha256);
    if (is_known && std::ranges::find(met, d.input_sha256) == met.end()) {
      met.push_back(d.input_sha256);
    }
    return is_known;
  });
  return met;
}

Result<std::vector<History>> group_by_unit(std::vector<Record> records, std::optional<int> today) {
  Result<std::vector<History>> result;
  std::vector<Diagnostic>& complaints = result.diagnostics;
  std::vector<History>& histories =
      result.value.emplace(by_unit(std::move(records), today, complaints));
  if (today) {
    refuse_after(*today, histories, complaints);
  } else {
    LoneDates(histories, complaints).refuse();
  }
  for (History& history : histories) {
    refuse_readings(history, complaints);
    std::ranges::move(tell_work_as_fields(history), std::back_inserter(complaints));
    warn_of_several_units(history, complaints);
  }
  warn_of_look_alikes(histories, complaints);
  return result;
}

bool is_valid(const History& history) {
  const auto valid = [](const Record& record) { return is_within_limits(record); };
  return !history.records.empty() && std::ranges::all_of(history.records, valid) &&
         std::ranges::all_of(history.set_aside, valid);
}

History as_of(History history, int today) {
  const auto later = [today](const Record& r) { return day_of(r) > today; };
  set_aside(history, today, later);
  std::erase_if(history.notices, later);
  history.perhaps_today.reset();
  return history;
}

}  // namespace dryshaft
