#include <algorithm>
#include <optional>
#include <string_view>

#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

std::optional<Grade> grade_on(const Report& report, int day) {
  const auto by_then = [&](std::string_view date) {
    const std::optional<int> d = parse_date(date);
    return d && *d <= day;
  };
  if (by_then(report.date)) {
    return report.grade;
  }
  std::optional<Grade> grade;
  for (const HistoryEntry& e : report.history.earlier) {
    grade = by_then(e.date) ? std::optional(e.grade) : grade;
  }
  return grade;
}

std::string_view was(const Report& report, int day) {
  const std::optional<Grade> grade = grade_on(report, day);
  return grade ? name(*grade) : kNewUnit;
}

bool is_wanted(const Report& report, const Wanted& wanted) {
  if (report.left && wanted.by_due()) {
    return false;
  }
  if (wanted.worse_since) {
    // What is new has to be as good as what needs no work.
    const Grade then = grade_on(report, *wanted.worse_since).value_or(Grade::B);
    if (severity(report.grade) <= severity(then)) {
      return false;
    }
  }
  // Of anything that is due; what has no limit of its kind may be due any day.
  const auto by_then = [&](const Due& d) {
    const std::optional<int> day = parse_date(d.due_date);
    return d.overdue || ((!wanted.due_by_date || !day || *day <= *wanted.due_by_date) &&
                         (!wanted.due_by_km || !d.due_km || *d.due_km <= *wanted.due_by_km));
  };
  return !(wanted.due_by_date || wanted.due_by_km) || report.due.empty() ||
         std::ranges::any_of(report.due, by_then);
}

}  // namespace dryshaft
