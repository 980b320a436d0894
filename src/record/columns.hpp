// Which field a column's title means.
#ifndef DRYSHAFT_RECORD_COLUMNS_HPP
#define DRYSHAFT_RECORD_COLUMNS_HPP

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

struct ColumnField {
  const FieldSpec* field = nullptr;
  bool miles = false;

  bool operator==(const ColumnField&) const = default;
};

// A title as titles are compared: in small letters, with `_` for space and hyphen and `.` for a
// slash, and nothing around it.
std::string plain_title(std::string_view title);

// By name, pointer, or the title that people know it by.
std::optional<ColumnField> column_field(std::string_view title);

// A hint at the column's name closest to a title, or an empty text.
std::string did_you_mean_column(std::string_view title);

// Where a column's value goes in a record.
std::string pointer_of(const ColumnField& column);

}  // namespace dryshaft

#endif
