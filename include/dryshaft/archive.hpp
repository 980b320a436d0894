/// A shop's records over the years, as texts: brought together, corrected, withdrawn, given away.
///
/// A record's SHA-256 is that of its own text, from its first brace to its last. So a record that
/// is rewritten, be it by one line break, has another one; where records here name such a record
/// (`replaces`, `withdrawn`), they are rewritten with it.
#ifndef DRYSHAFT_ARCHIVE_HPP
#define DRYSHAFT_ARCHIVE_HPP

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/record.hpp"

namespace dryshaft {

/// What is kept of a record where its text is all that matters: a tenth of the memory.
struct RecordText {
  std::string text;
  std::string sha256;  ///< of `text`
  std::string unit_id;
  int day = 0;  ///< of the inspection, since 1970-01-01
  std::optional<double> odometer_km = {};
  std::vector<std::string> names = {};  ///< hashes of others, by `replaces` and `withdrawn`
};
/// Of one that was read with `ReadOptions::keep_text`.
RecordText text_of(Record record);

/// Records on a line each, without line ends.
struct RecordLines {
  std::vector<std::string> lines;
  std::size_t repeated = 0;    ///< records that were left out, as their text is another one's
  std::size_t rewritten = 0;   ///< records with another hash than before
  std::size_t references = 0;  ///< of these, those that name one with another hash
};

/// In the order in which they stand, each on one line; only line breaks between their tokens go.
RecordLines as_lines(std::vector<RecordText> records);
/// Each text once, ordered by unit, date and odometer reading: one result for any order of input.
RecordLines in_order(std::vector<RecordText> records);
/// Those of one unit without notes, own keys (`x_`), photographs, and names of who withdrew a
/// record.
RecordLines forgotten(std::vector<RecordText> records, std::string_view unit_id);
/// All of them so, without reasons too, and with ids in place of units': the first 16 hexadecimal
/// digits of HMAC-SHA-256 of the id under `key`. Nothing that a grade rests on changes.
RecordLines anonymous(std::vector<RecordText> records, std::string_view key);

/// Digits of a record's hash that are enough to name it.
inline constexpr std::size_t kLeastHashDigits = 8;
/// The one record whose hash begins so; no value and a complaint where there is none, or several.
Result<Record> find_record(const std::vector<Record>& records, std::string_view prefix);

/// When, why and by whom a record was put right.
struct Amendment {
  int day = 0;  ///< since 1970-01-01
  std::string because;
  std::string by;
};

/// The text of a record that says that another one counts for nothing.
std::string withdrawal(const Record& record, const Amendment& amendment);
/// `text`, which is a record, made to take the place of another one.
std::string replacement(const Record& record, std::string_view text, const Amendment& amendment);
/// The text of a record with other values: pairs of a column's name (`column_names`) and what a
/// table's cell would say. An empty one takes the value out.
Result<std::string> with_values(std::string_view text,
                                const std::vector<std::pair<std::string, std::string>>& values,
                                std::string_view source, const ReadOptions& options);
/// The text of a record that says that a unit left the shop's care; `did`: one of `leaves_care`.
std::string retirement(std::string_view unit_id, Did did, int day, std::string_view note);

}  // namespace dryshaft

#endif
