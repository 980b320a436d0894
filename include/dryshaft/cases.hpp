/// Cases as data: records, and what a careful technician says about them.
///
/// A file of cases puts a rule base to the test without a compiler:
///
///     {"format": "dryshaft-cases/1",
///      "base": {"format": "dryshaft-record/1", "unit": {"id": "HL-0147"},
///               "inspection": {"date": "2025-03-01"}},
///      "cases": [
///        {"note": "pooled coolant stops the car",
///         "record": {"inspection": {"port": {"checked": true, "fluid": "pooled",
///                                            "fluid_kind": "coolant"}}},
///         "expect": {"grade": "D", "actions": ["stop-driving"]}}]}
///
/// `base` is merged under each record: objects member by member, all else is
/// replaced by what the record says; a `null` takes a member of `base` away.
/// `records` in place of `record` is a unit's history, oldest first. `today`
/// is the day to judge on, else that of the newest record; `for` is the reader.
#ifndef DRYSHAFT_CASES_HPP
#define DRYSHAFT_CASES_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/dryshaft.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"

namespace dryshaft {

inline constexpr std::string_view kCasesFormat = "dryshaft-cases/1";

/// How a case can meet a rule.
enum class Met : std::uint8_t {
  fires,         ///< its condition holds; an action, caution or contradiction is shown
  does_not,      ///< it does not, though something that it mentions was observed; not shown
  not_observed,  ///< something that it mentions was not observed, and that did not fire it
};
inline constexpr std::size_t kMetCount = static_cast<std::size_t>(Met::not_observed) + 1;

/// How many cases met one rule in each way. Nothing: cannot be met that way.
///
/// A link fires where its finding is worse than harmless. A finding that
/// describes another one is not missing where that other one is known to be
/// harmless. Where a rule asks for a finding that was not observed, firing on
/// it counts as `not_observed` too.
struct RuleCoverage {
  std::string_view kind;  ///< such as "floor"
  std::string id;
  std::array<std::optional<std::size_t>, kMetCount> cases{};

  [[nodiscard]] const std::optional<std::size_t>& at(Met met) const {
    return cases[static_cast<std::size_t>(met)];
  }
};

struct CaseRun {
  std::size_t passed = 0;
  std::size_t failed = 0;  ///< a file that cannot be read as cases counts as one
  /// What is wrong with the files, and each expectation that was not met, all
  /// located. An expectation has the code "expectation" and no excerpt.
  std::vector<Diagnostic> diagnostics;
  std::vector<RuleCoverage> coverage;  ///< by kind, in the order of the rule data

  [[nodiscard]] std::size_t parts() const;    ///< ways in which rules can be met
  [[nodiscard]] std::size_t covered() const;  ///< those of them that a case met
  [[nodiscard]] double percent() const;       ///< 0 where there is nothing to cover
  /// Whether at least one case was run and nothing is wrong.
  [[nodiscard]] bool good() const { return passed > 0 && failed == 0 && diagnostics.empty(); }
};

struct CaseOptions {
  /// The report as its reader sees it, for expectations on its text. White
  /// space is taken as single spaces there.
  std::function<std::string(const Report&)> text;
};

/// Tries all cases of the files, in order. Pure.
CaseRun run_cases(std::span<const NamedText> files, const Grader& grader,
                  const CaseOptions& options);

}  // namespace dryshaft

#endif
