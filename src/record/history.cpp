#include <fmt/format.h>

#include <algorithm>
#include <tuple>
#include <utility>

#include "dryshaft/record.hpp"

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

Diagnostic repeated(const Record& record, const Record& kept) {
  Diagnostic d;
  d.severity = Severity::warning;
  d.code = "repeated-record";
  d.source = record.source;
  d.line = record.line;
  d.message = fmt::format("is the same record as {}:{}, and counts once", kept.source, kept.line);
  return d;
}

Diagnostic backwards(const Record& record, const Record& earlier) {
  const auto km = [](const Record& r) { return fmt::format("{:.9g} km", odometer_or_less(r)); };
  const auto day = [](const Record& r) {
    return date_text(static_cast<int>(r.at(Field::date).number));
  };
  Diagnostic d;
  d.code = "odometer-backwards";
  d.source = record.source;
  d.line = record.odometer_line;
  d.column = record.odometer_column;
  d.pointer = spec(Field::odometer_km).pointer;
  d.message = fmt::format("is {} on {}, but {} was recorded on {}", km(record), day(record),
                          km(earlier), day(earlier));
  d.hint = "look for a slip of the pen; if the instrument was replaced, add the old one's distance";
  return d;
}

}  // namespace

Result<std::vector<History>> group_by_unit(std::vector<Record> records) {
  std::ranges::sort(records, {}, order);
  Result<std::vector<History>> result;
  std::vector<History>& histories = result.value.emplace();
  std::size_t last_reading = 0;  // of the newest history: one past the record that has it
  for (Record& record : records) {
    if (histories.empty() || histories.back().unit_id != record.unit_id) {
      histories.push_back({record.unit_id, {}, {}});
      last_reading = 0;
    }
    History& history = histories.back();
    if (!history.records.empty() && history.records.back().sha256 == record.sha256) {
      result.diagnostics.push_back(repeated(record, history.records.back()));
      continue;
    }
    bool refused = false;
    if (record.has(Field::odometer_km)) {
      if (last_reading != 0 &&
          odometer_or_less(record) < odometer_or_less(history.records[last_reading - 1])) {
        result.diagnostics.push_back(backwards(record, history.records[last_reading - 1]));
        record.values[static_cast<std::size_t>(Field::odometer_km)] = {};
        refused = true;
      } else {
        last_reading = history.records.size() + 1;
      }
    }
    history.records.push_back(std::move(record));
    history.refused.push_back(refused ? 1 : 0);
  }
  return result;
}

}  // namespace dryshaft
