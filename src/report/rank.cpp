#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <optional>
#include <string_view>
#include <tuple>
#include <utility>

#include "dryshaft/report.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

int grade_place(Grade grade) {
  // Severity decides; of C and U, which weigh the same, what is known to be damage goes first.
  return -2 * severity(grade) + (grade == Grade::U ? 1 : 0);
}

int urgency_place(const Report& report) {
  int place = static_cast<int>(kUrgencyCount);
  for (const Action& action : report.actions) {
    place = std::min(place, static_cast<int>(action.urgency));
  }
  return place;
}

double risk_place(const Report& report) {
  // A risk that is not a number must not hide at the end.
  return std::isfinite(report.risk) ? -words::rounded(report.risk, words::kProbabilityDigits) : -2;
}

}  // namespace

std::tuple<bool, std::string_view, double> Due::order() const {
  constexpr double kNone = 1e12;
  return {!overdue, due_date.empty() ? std::string_view("~") : due_date, due_km.value_or(kNone)};
}

void rank(std::vector<Report>& reports, const Wanted& wanted) {
  struct Key {
    std::tuple<bool, std::string_view, double> due;
    int grade;
    bool is_known;
    int urgency;
    double risk;
    std::size_t at;
  };
  std::vector<Key> keys;
  keys.reserve(reports.size());
  for (std::size_t i = 0; i < reports.size(); ++i) {
    const Report& r = reports[i];
    const std::optional<int>& since = wanted.worse_since;
    keys.push_back(
        {wanted.by_due() && !r.due.empty() ? r.due.front().order() : decltype(Key::due)(),
         grade_place(r.grade), since && grade_on(r, *since), urgency_place(r), risk_place(r), i});
  }
  std::ranges::sort(keys, [&](const Key& a, const Key& b) {
    const Report& x = reports[a.at];
    const Report& y = reports[b.at];
    return std::tie(a.due, a.grade, a.is_known, a.urgency, a.risk, x.unit_id, x.date,
                    x.record_sha256, x.source,
                    x.line) < std::tie(b.due, b.grade, b.is_known, b.urgency, b.risk, y.unit_id,
                                       y.date, y.record_sha256, y.source, y.line);
  });
  std::vector<Report> ranked;
  ranked.reserve(reports.size());
  for (const Key& key : keys) {
    ranked.push_back(std::move(reports[key.at]));
  }
  reports = std::move(ranked);
}

}  // namespace dryshaft
