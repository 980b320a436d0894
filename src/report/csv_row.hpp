// A row of a CSV file (RFC 4180), safe in a spreadsheet and on a terminal.
#ifndef DRYSHAFT_REPORT_CSV_ROW_HPP
#define DRYSHAFT_REPORT_CSV_ROW_HPP

#include <fmt/format.h>

#include <optional>
#include <string>
#include <string_view>

#include "base/utf8.hpp"
#include "record/cells.hpp"
#include "report/words.hpp"

namespace dryshaft::csv {

inline constexpr std::string_view kLineEnd = "\r\n";
inline constexpr std::string_view kReplacement = "\xEF\xBF\xBD";  // U+FFFD

class Row {
 public:
  // A text cell. A spreadsheet takes a cell that begins with certain characters for a formula; an
  // apostrophe makes it text. One that separates by semicolons begins a cell in mid-cell, too.
  Row& text(std::string_view value) {
    separate();
    std::string cell;
    bool quoted = false;
    bool begins = true;
    for (std::size_t at = 0; at < value.size();) {
      const utf8::Character character = utf8::decode(value, at);
      const char32_t c = character.code;
      const bool line_or_tab = c == U'\t' || c == U'\r' || c == U'\n';
      if (begins && (line_or_tab || kFormula.find(c) != kFormula.npos)) {
        cell.push_back('\'');
        quoted = true;
      }
      begins = c == U';';
      quoted = quoted || line_or_tab || c == U',' || c == U';' || c == U'"';
      if (c == U'"') {
        cell.push_back('"');
      }
      if (!character.valid || (utf8::misleads(c) && !line_or_tab)) {
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

}  // namespace dryshaft::csv

#endif
