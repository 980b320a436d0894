// The formats of files: one table, for hints, schemas and help.
#ifndef DRYSHAFT_VOCABULARY_FORMATS_HPP
#define DRYSHAFT_VOCABULARY_FORMATS_HPP

#include <span>
#include <string>
#include <string_view>

namespace dryshaft {

struct FormatName {
  std::string_view name;  // "report", of "dryshaft-report/1"
  std::string_view is;  // "a report, which assess writes": for whoever gives it in another's place
};
std::span<const FormatName> format_names();
// "dryshaft-report/1". All formats have one version so far.
std::string format_id(std::string_view name);

// Where a schema is said to be: nothing is fetched from there (RFC 2606).
std::string schema_address(std::string_view name);

// What to say of a text whose `format` is `found` where it should be `wanted`: that it is of
// another format, or of a later version than this program knows. Empty: nothing is known of it.
std::string format_hint(std::string_view found, std::string_view wanted);

}  // namespace dryshaft

#endif
