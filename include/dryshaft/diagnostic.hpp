/// Complaints about input, as values.
///
/// Nothing in the library throws on bad input or prints it. A function that
/// reads text returns what it could read and every complaint it has, each
/// with a place, a reason, what would be allowed and, where one helps, a hint.
#ifndef DRYSHAFT_DIAGNOSTIC_HPP
#define DRYSHAFT_DIAGNOSTIC_HPP

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace dryshaft {

enum class Severity : std::uint8_t { error, warning };

/// One complaint. `line` and `column` count from 1; a column is a Unicode
/// character, not a byte. Both are 0 where a complaint has no place in a text,
/// the column alone where only the line is known.
struct Diagnostic {
  Severity severity = Severity::error;
  std::string code;    ///< stable id, such as "bad-value"
  std::string source;  ///< file name as the caller gave it, or "<stdin>"
  std::uint32_t line = 0;
  std::uint32_t column = 0;
  std::string pointer;      ///< JSON pointer (RFC 6901); empty for the whole text
  std::string message;      ///< follows the pointer: `is "dropplets"`
  std::string excerpt;      ///< the part of the line that is meant, or empty
  std::uint32_t caret = 0;  ///< characters of `excerpt` before the caret
  std::string allowed;      ///< what would be accepted, or empty
  std::string hint;         ///< what to do about it, or empty
  /// Complaints of the same code and source that this one stands for, as `message` says: those
  /// after the first `kListedComplaints`, which are not listed. 0: it is a complaint of its own.
  std::size_t more = 0;
  /// SHA-256, in hex, of the text of the record or row that is refused, wholly or in part; empty:
  /// it is about something else, such as the layout of a file.
  std::string input_sha256 = {};
};

/// So many complaints of one code about one source are listed; of the rest one gives the number.
inline constexpr std::size_t kListedComplaints = 100;

/// The complaint as people read it, each line ended by a line feed:
///
///     intake.jsonl:17:142: error[bad-value]: /inspection/port/fluid is "dropplets"
///       "fluid":"dropplets","fluid_kind":"coolant"
///               ^
///       allowed: none, film, droplets, pooled
///       hint: did you mean "droplets"?
std::string to_text(const Diagnostic& diagnostic);

/// Complaints for a program: one object, `dryshaft-complaints/1`, whose list `complaints` has each
/// with its members as here; what is empty is left out.
inline constexpr std::string_view kComplaintsFormat = "dryshaft-complaints/1";
std::string to_json(const std::vector<Diagnostic>& complaints);

/// A value, if one could be made, and every complaint met on the way. A value
/// together with errors means: usable, but something in the text was refused.
template <typename T>
struct Result {
  std::optional<T> value;
  std::vector<Diagnostic> diagnostics;

  [[nodiscard]] bool has_errors() const {
    for (const Diagnostic& d : diagnostics) {
      if (d.severity == Severity::error) {
        return true;
      }
    }
    return false;
  }
};

/// The candidate closest to `word` by edit distance (insert, delete, replace,
/// swap of neighbours; case ignored), or an empty view where none is close
/// enough to be worth suggesting.
std::string_view closest(std::string_view word, const std::vector<std::string_view>& candidates);
/// `did you mean "closest"?` behind `before`; empty where nothing is close.
std::string did_you_mean(std::string_view word, const std::vector<std::string_view>& candidates,
                         std::string_view before = "");

}  // namespace dryshaft

#endif
