#include <fmt/format.h>

#include <array>
#include <string>
#include <string_view>

#include "base/utf8.hpp"
#include "dryshaft/report.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kLineEnd = "\r\n";
constexpr std::string_view kReplacement = "\xEF\xBF\xBD";  // U+FFFD

constexpr std::array<std::string_view, 20> kColumns = {
    "unit_id",         "family",         "vehicle",   "date",        "odometer_km",
    "grade",           "at_least",       "risk",      "top_cause",   "top_cause_probability",
    "first_action",    "urgency",        "within_km", "within_days", "next_check",
    "rebuild_outlook", "contradictions", "warnings",  "source",      "line",
};

class Row {
 public:
  // A text cell. A spreadsheet takes a cell that begins with one of these
  // characters for a formula; the apostrophe makes it text.
  Row& text(std::string_view value) {
    separate();
    std::string cell;
    bool quoted = value.find_first_of("=+-@\t\r\n") == 0;
    if (quoted) {
      cell.push_back('\'');
    }
    for (std::size_t at = 0; at < value.size();) {
      const utf8::Character character = utf8::decode(value, at);
      const char32_t c = character.code;
      const bool line_or_tab = c == U'\t' || c == U'\r' || c == U'\n';
      // A semicolon separates cells where the comma is the decimal sign.
      quoted = quoted || line_or_tab || c == U',' || c == U';' || c == U'"';
      if (c == U'"') {
        cell.push_back('"');
      }
      if (!character.valid || (utf8::steers_terminal(c) && !line_or_tab)) {
        cell += kReplacement;
      } else {
        cell += value.substr(at, character.length);
      }
      at += character.length;
    }
    out_ += quoted ? fmt::format("\"{}\"", cell) : cell;
    return *this;
  }

  // A number cell; empty where there is no number.
  Row& number(const std::optional<double>& value, int digits) {
    separate();
    if (value) {
      out_ += words::plain_number(*value, digits).value_or("");
    }
    return *this;
  }

  std::string end() {
    out_ += kLineEnd;
    return std::move(out_);
  }

 private:
  void separate() {
    if (!first_) {
      out_.push_back(',');
    }
    first_ = false;
  }

  std::string out_;
  bool first_ = true;
};

}  // namespace

std::string csv_header() { return fmt::format("{}{}", fmt::join(kColumns, ","), kLineEnd); }

std::string to_csv(const Report& report) {
  const CauseReport* const cause = report.causes.empty() ? nullptr : &report.causes.front();
  const Action* const action = report.actions.empty() ? nullptr : &report.actions.front();
  std::string contradictions;
  for (const Contradiction& contradiction : report.contradictions) {
    contradictions += contradictions.empty() ? "" : ";";
    contradictions += contradiction.id;
  }
  using Number = std::optional<double>;
  return Row()
      .text(report.unit_id)
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
      .text(report.source)
      .number(static_cast<double>(report.line), 0)
      .end();
}

}  // namespace dryshaft
