#include <fmt/format.h>

#include <array>
#include <string>
#include <string_view>

#include "dryshaft/report.hpp"
#include "report/csv_row.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr std::array<std::string_view, 33> kColumns = {
    "unit_id",        "family",
    "vehicle",        "date",
    "odometer_km",    "grade",
    "at_least",       "risk",
    "top_cause",      "top_cause_probability",
    "first_action",   "urgency",
    "within_km",      "within_days",
    "next_check",     "rebuild_outlook",
    "contradictions", "warnings",
    "reservations",   "due_action",
    "due_date",       "due_km",
    "overdue",        "source",
    "line",           "first_action_title",
    "as_of",          "records",
    "records_sha256", "rules_sha256",
    "family_sha256",  "onset_sha256",
    "overlay_sha256",
};

}  // namespace

std::string csv_header(const Wanted& wanted) {
  csv::Row row;
  for (const std::string_view column : kColumns) {
    row.text(column);
  }
  if (wanted.worse_since) {
    row.text("was");
  }
  for (const std::string& key : wanted.own) {
    row.text(key);
  }
  return row.end();
}

std::string to_csv(const Report& report, const Wanted& wanted) {
  const CauseReport* const cause = report.causes.empty() ? nullptr : &report.causes.front();
  const Action* const action = report.actions.empty() ? nullptr : &report.actions.front();
  const Due* const due = report.due.empty() ? nullptr : &report.due.front();
  std::string contradictions;
  for (const Contradiction& contradiction : report.contradictions) {
    contradictions += contradictions.empty() ? "" : ";";
    contradictions += contradiction.id;
  }
  using Number = std::optional<double>;
  csv::Row row;
  row.text(report.unit_id)
      .text(report.family)
      .text(report.vehicle)
      .text(report.date)
      .number(report.odometer_km, 0)
      .text(name(report.grade))
      .text(report.at_least ? name(*report.at_least) : "")
      .number(report.risk, words::kProbabilityDigits)
      .text(cause != nullptr ? cause->id : "")
      .number(cause != nullptr ? Number(cause->probability) : Number(), words::kProbabilityDigits)
      .text(action != nullptr ? action->id : "")
      .text(action != nullptr ? name(action->urgency) : "")
      .number(action != nullptr ? action->within_km : Number(), 0)
      .number(action != nullptr ? action->within_days : Number(), 0)
      .text(report.next_checks.empty() ? "" : report.next_checks.front().id)
      .text(report.rebuild_outlook)
      .text(contradictions)
      .number(static_cast<double>(report.warnings.size()), 0)
      .text(fmt::format("{}", fmt::join(report.rules_reservations, " ")))
      .text(due != nullptr ? due->action : "")
      .text(due != nullptr ? due->due_date : "")
      .number(due != nullptr ? due->due_km : Number(), 0)
      .text(due != nullptr ? kNoYes[due->overdue ? 1 : 0].id : "")
      .text(report.source)
      .number(static_cast<double>(report.line), 0)
      .text(action != nullptr ? action->title : "")
      .text(report.as_of)
      .number(static_cast<double>(report.records.size()), 0)
      .text(report.records_sha256)
      .text(report.rules_sha256)
      .text(report.family_sha256)
      .text(report.onset ? report.onset->sha256 : "")
      .text(report.rules_overlay ? report.rules_overlay->sha256 : "");
  if (wanted.worse_since) {
    row.text(was(report, *wanted.worse_since));
  }
  for (const std::string& key : wanted.own) {
    row.text(words::own_of(report, key));
  }
  return row.end();
}

}  // namespace dryshaft
