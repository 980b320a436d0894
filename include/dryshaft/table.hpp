/// Inspection records from a shop's own table: a row is a record.
///
/// Tables are comma-separated values as in RFC 4180, with a header row. Semicolons or tabs may
/// separate the cells instead; numbers may have a decimal comma where semicolons do. A cell that
/// is blank was not observed.
#ifndef DRYSHAFT_TABLE_HPP
#define DRYSHAFT_TABLE_HPP

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/record.hpp"

namespace dryshaft {

/// Which part of a date stands first in a column's cells.
enum class DateOrder : std::uint8_t { year_month_day, day_month_year, month_day_year };

/// What a column of a shop's own title holds.
struct ColumnUse {
  std::string title;      ///< as in the header row; case and white space around it do not count
  bool left_out = false;  ///< holds nothing for a record; the rest is then of no meaning
  std::string own = {};   ///< a key of the shop's own (`x_`); then `field` is of no meaning
  Field field = Field::format;
  bool miles = false;  ///< the field's `_mi` spelling
  DateOrder dates = DateOrder::year_month_day;
  /// Cell texts, and what they stand for: a word of the field; empty: not observed.
  std::vector<std::pair<std::string, std::string>> values;
};

/// Titles of a shop's own, beside the names that every field has by itself.
struct ColumnMap {
  std::vector<ColumnUse> columns;
};

/// Reads `dryshaft-columns/1`: an object `columns`, which holds for each title the name of a field
/// or a key of the shop's own (`x_`), `null` (left out), or an object with `field`, `values` and
/// `dates`.
Result<ColumnMap> read_column_map(std::string_view text, std::string_view source);

/// The names by which a column may call a field: the last part of its pointer where no other field
/// has that, then more of it, joined by dots, up to the whole. Shortest first.
std::vector<std::string> column_names(const FieldSpec& field);

/// Reads a table. Each row becomes the text of a record, which goes through `read_record`, so a
/// bad row loses no good one; complaints name line and column of the cell. A header with an error
/// (a column that is no field, a field twice) rejects all rows: evidence is never dropped unseen.
Records read_table(std::string_view text, std::string_view source, const ColumnMap& map,
                   const ReadOptions& options);

/// A table that `read_table` reads as the same records, with a column for each field and own key
/// that one of them has. What no cell can hold is an error at its record, which is then left out.
struct TableWritten {
  std::string text;
  std::size_t left_out = 0;  ///< records
  std::vector<Diagnostic> diagnostics;
};
TableWritten write_table(const std::vector<Record>& records, const ReadOptions& options);

}  // namespace dryshaft

#endif
