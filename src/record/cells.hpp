// Rows and cells of comma-separated values (RFC 4180).
#ifndef DRYSHAFT_RECORD_CELLS_HPP
#define DRYSHAFT_RECORD_CELLS_HPP

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/record.hpp"

namespace dryshaft {

// What may stand between cells; the likeliest first.
inline constexpr std::string_view kSeparators = ",;\t";

// A spreadsheet takes a cell that begins with one of these for a formula; an apostrophe before it
// makes it text. With the wide forms, which some take for the same.
inline constexpr std::u32string_view kFormula = U"=+-@\uFF1D\uFF0B\uFF0D\uFF20";

struct TableCell {
  std::size_t begin = 0;  // byte of its first character, a quote where it has one
  std::string text;       // without quotes, and without white space around it
};

struct TableRow {
  std::size_t begin = 0;
  std::size_t next = 0;  // where the row after it begins
  std::vector<TableCell> cells;
  // The first cell whose text goes on in another line; npos: none does.
  std::size_t goes_on = std::string_view::npos;
  // A quote that is never closed, or closed too early: what is wrong, and where. The row then
  // ends with its first line, so that one mistake does not swallow the rest.
  std::string_view fault;
  std::size_t fault_at = 0;
  // Where the row holds more bytes, or cells, than it may: what it holds too much of. The row then
  // ends with its first line.
  std::string_view too_much = {};

  [[nodiscard]] bool blank() const;
};

// Takes a row apart again that ends in another line than it should: its quote, at `opened`, was
// not closed on its line.
void end_with_its_line(TableRow& row, std::string_view text, std::size_t opened);

// More cells than a spreadsheet has columns.
inline constexpr std::size_t kMaxCells = std::size_t{1} << 15U;

// The row that begins at byte `at`, of at most `kMaxCells` cells, and `limit` bytes without its
// line end. What stands further on is looked at only for the end of a line.
TableRow read_row(std::string_view text, std::size_t at, char separator,
                  std::size_t limit = kMaxRecordBytes);

// What separates the cells of the first row: a comma, a semicolon or a tab.
char find_separator(std::string_view text);

}  // namespace dryshaft

#endif
