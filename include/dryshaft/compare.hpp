/// Comparing: whose grade, first action or dates moved between two sets of reports, and by what.
///
/// The sets are two files of reports that were kept, or one set of units judged twice: by two rule
/// bases, as of two days, with and without an overlay or a workshop's own wear-out.
#ifndef DRYSHAFT_COMPARE_HPP
#define DRYSHAFT_COMPARE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/dryshaft.hpp"

namespace dryshaft {

inline constexpr std::string_view kComparisonFormat = "dryshaft-comparison/1";

/// A risk that moved by less is no news by itself; it is counted. Half of the risk from which the
/// shipped rules call no unit good (`risk-raised`, 0.1) [judgement]: new records of other days move
/// nearly every risk by some digits.
inline constexpr double kRiskNews = 0.05;

/// What a set of reports rests on, as far as all of its reports agree.
struct SideBasis {
  std::string name;       ///< of its file, or what it was judged by
  std::string first_day;  ///< the earliest and the latest day that a report is judged as of;
  std::string last_day;   ///< empty: no report says
  std::string rules;      ///< id and version
  std::string rules_sha256;
  std::string overlay_sha256;
  std::string onset_sha256;
  std::size_t units = 0;
};

/// A rule, or something beside the rules, that differs between two ways to judge.
struct RuleChange {
  std::string kind;  ///< floor, link, advice, setting, family, onset, day, ...
  std::string id;
  std::string change;  ///< new, gone or changed
};

/// What one change does to a unit, alone: everything else is as before.
struct RuleEffect {
  std::size_t rule = 0;        ///< of `Changes::rules`
  std::optional<Grade> grade;  ///< that the unit has then, where it is another
  bool action = false;         ///< whether it moves the first action
  bool dates = false;          ///< whether it moves something that is due
};

/// Something that a report says of its grade or of what to do, and the other does not.
struct SaidOnce {
  bool after = false;  ///< it came; else it went
  std::string rule;    ///< floor or advice; empty: a reason that has no rule
  std::string text;
};

/// Something that is due, in the one report and in the other.
struct DueChange {
  std::string action;
  std::optional<Due> before;
  std::optional<Due> after;
};

struct UnitChange {
  std::string unit_id;
  Grade grade_before = Grade::U;
  Grade grade_after = Grade::U;
  double risk_before = 0;
  double risk_after = 0;
  std::optional<Action> action_before;  ///< the first one: id, urgency and limits
  std::optional<Action> action_after;
  bool action_moved = false;     ///< another one, or as urgent no more
  std::vector<DueChange> dates;  ///< what is due otherwise, or only once
  std::vector<SaidOnce> said;    ///< floors first, then reasons, then advice
  /// What the reports rest on that differs: records, day, rules, overlay, family, onset.
  std::vector<std::string_view> basis;
  std::vector<RuleEffect> rules;  ///< where units were judged twice
  bool together = false;          ///< no change alone gives the new grade: several do together

  /// Steps of severity: above 0, the grade got worse. U weighs as much as C.
  [[nodiscard]] int worse() const { return severity(grade_after) - severity(grade_before); }
  [[nodiscard]] bool grade_moved() const { return grade_before != grade_after; }
  [[nodiscard]] double risk_moved() const { return risk_after - risk_before; }
};

/// A unit of one set alone.
struct LoneUnit {
  std::string unit_id;
  Grade grade = Grade::U;
};

struct Changes {
  SideBasis before;
  SideBasis after;
  std::size_t compared = 0;                                                ///< units in both
  std::array<std::array<std::size_t, kGradeCount>, kGradeCount> grades{};  ///< [before][after]
  std::vector<UnitChange> units;  ///< of which something moved; the worst change first
  std::size_t little_moved = 0;   ///< units of which the risk moved alone, by less than `kRiskNews`
  std::vector<LoneUnit> gone;     ///< by id
  std::vector<LoneUnit> came;     ///< by id
  std::vector<RuleChange> rules;  ///< where units were judged twice: all that differs

  [[nodiscard]] std::size_t worse() const;   ///< units with a worse grade
  [[nodiscard]] std::size_t better() const;  ///< units with a better one
  /// Whether a grade got worse, or a unit came that is not graded A or B.
  [[nodiscard]] bool fails() const;
};

/// Reads what `to_json(const Report&)` wrote, one after another: of each report what is compared.
/// Complaints: `not-a-report`, `syntax`, `bad-value`, `repeated-unit` (of two reports on a unit the
/// one with the worse grade stays), `empty`.
Result<std::vector<Report>> read_reports(std::string_view text, std::string_view name);
/// The same of what `csv_header` and `to_csv` wrote, which hold no floors and one thing that is
/// due.
Result<std::vector<Report>> read_report_table(std::string_view text, std::string_view name);

Changes compare(const std::vector<Report>& before, const std::vector<Report>& after);

/// A way to judge: what units are graded by, and a name for it.
struct Side {
  Grader grader;
  AssessOptions options;
  std::string name;
};
/// Judges units in both ways. Where something of one moved, each rule that differs is tried alone.
/// `told(done, of)` is called as the work goes on; it may be empty. A unit whose family one side
/// does not know is in the other alone.
Changes compare(const std::vector<History>& units, const Side& before, const Side& after,
                const std::function<void(std::size_t done, std::size_t of)>& told = {});

// Each ends with a line feed.
std::string changes_to_text(const Changes& changes, const TextStyle& style);
std::string changes_to_markdown(const Changes& changes, Units units);
std::string changes_to_html(const Changes& changes, Units units);
/// One object on a line, `dryshaft-comparison/1`.
std::string changes_to_json(const Changes& changes);
/// A row for each unit of which something moved, or that stands in one set alone.
std::string changes_to_csv(const Changes& changes);

}  // namespace dryshaft

#endif
