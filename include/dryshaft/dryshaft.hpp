/// The first page for a program that uses the library: records in, reports out.
///
///     #include <dryshaft/dryshaft.hpp>
///     #include <iostream>
///
///     // Grades what `text` holds by the data in a folder such as /usr/local/share/dryshaft.
///     int grade(const std::string& data, const std::string& text) {
///       const auto complain = [](const auto& complaints) {
///         for (const dryshaft::Diagnostic& d : complaints) std::cerr << to_text(d);
///       };
///       const auto grader = dryshaft::Grader::open(data);
///       complain(grader.diagnostics);
///       if (!grader.value) return 2;  // a folder is missing, or a rule is broken
///       const auto units = grader.value->read(text, "intake.jsonl");
///       complain(units.diagnostics);  // each with line, column, reason and hint
///       for (const dryshaft::History& unit : *units.value)
///         std::cout << to_text(grader.value->report(unit), {});
///       return units.has_errors() ? 1 : 0;  // a bad record loses no good one
///     }
///
/// report.hpp has what a report holds, and to_json, to_html and the rest. plan.hpp, form.hpp,
/// guide.hpp, noise.hpp, onset.hpp and outcomes.hpp are the side rooms; what grades there takes a
/// `Grader`.
#ifndef DRYSHAFT_DRYSHAFT_HPP
#define DRYSHAFT_DRYSHAFT_HPP

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

class Model;  // of src/diagnose/model.hpp

struct AssessOptions {
  Audience audience = Audience::technician;
  bool buying = false;                ///< an owner's report is for someone about to buy the car
  std::optional<int> today = {};      ///< days since 1970-01-01; nothing: the unit's newest date
  std::vector<std::string> own = {};  ///< keys of the shop's own (`x_`) to show in the report
};

/// The rules, compiled, and all that grading needs besides records. Immutable: copies share it,
/// and any number of threads may use one.
class Grader {
 public:
  /// Reads `rules` and `families` below a folder of data. No value: a complaint is an error.
  static Result<Grader> open(const std::filesystem::path& data);
  /// Of knowledge that was loaded otherwise, such as with an overlay (`with_overlay`) or a shop's
  /// own wear-out (`use_onset`).
  explicit Grader(Knowledge knowledge);

  [[nodiscard]] const Knowledge& knowledge() const;
  /// For the library's own use.
  [[nodiscard]] const Model& model() const;
  /// For readers of records: the families that are known here.
  [[nodiscard]] const ReadOptions& read_options() const;

  /// The units that a text of records holds (`read_records`, then `group_by_unit` as of `today`).
  /// There always is a value, which may be empty; complaints are about what it leaves out or
  /// doubts. `name` stands in complaints and reports as the text's own.
  [[nodiscard]] Result<std::vector<History>> read(std::string_view text, std::string_view name,
                                                  std::optional<int> today = {}) const;

  /// The finished report on a unit: its newest record in the light of the older, and how sure that
  /// is. A history that is not valid (`is_valid`), which neither `read` nor `group_by_unit` gives,
  /// is a bug of the caller: std::invalid_argument.
  [[nodiscard]] Report report(const History& unit, const AssessOptions& options = {}) const;

 private:
  struct Parts;
  std::shared_ptr<const Parts> parts_;
};

}  // namespace dryshaft

#endif
