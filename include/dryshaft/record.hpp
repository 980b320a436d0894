/// Inspection records: `dryshaft-record/1` text in, checked records out.
#ifndef DRYSHAFT_RECORD_HPP
#define DRYSHAFT_RECORD_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <tuple>
#include <utility>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/photo.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

/// Who says it: the field of a record, or work on record. Work that renewed or replaced something
/// lies right before the look of the record that holds the value, or after it on its day.
enum class Told : std::uint8_t { field, work_before_look, work_after_look };

/// One field as read. What is meant by `code` and `number` depends on the
/// field's type: choice: `code` is the index into its choices; choices: `code`
/// is a bit mask over them; flag: `code` is 0 or 1; number: `number`, in the
/// field's unit (miles already turned into km); date: `number` is days since
/// 1970-01-01; month: `number` is months since year 0 and `code` is 1 where
/// only the year was given. Text fields keep their text in `Record`.
struct Value {
  bool observed = false;
  Told told = Told::field;
  std::uint16_t code = 0;
  double number = 0;
};

/// One thing that was done to a unit, as read. What is left out is that of the inspection.
struct Work {
  Did did = Did::seal_renewed;
  std::optional<int> day = {};  ///< days since 1970-01-01
  std::optional<double> odometer_km = {};
  std::optional<Bearings> material = {};     ///< of new bearings
  std::optional<bool> keeps_crossover = {};  ///< of a bypass
  std::optional<DoneBy> by = {};
  std::string note = {};  ///< empty: not given
  /// It lies after the inspection that tells of it, or before the unit was built: it never counts
  /// for the better.
  bool misplaced = false;

  bool operator==(const Work&) const = default;
};

/// Another record that one says counts for nothing, as read.
struct Withdrawn {
  std::string sha256;
  std::optional<int> day = {};  ///< days since 1970-01-01; none: that of the inspection
  std::string because = {};     ///< empty: not given
  std::string by = {};          ///< a name; empty: not given
  std::uint32_t line = 0;       ///< where the hash stands
  std::uint32_t column = 0;

  bool operator==(const Withdrawn& other) const {
    return std::tie(sha256, day, because, by) ==
           std::tie(other.sha256, other.day, other.because, other.by);
  }
};

/// One inspection of one unit.
struct Record {
  std::array<Value, kFieldCount> values{};
  std::string unit_id;
  std::string family;    ///< empty: not given
  std::string vehicle;   ///< empty: not given
  std::string note;      ///< empty: not given
  std::string replaces;  ///< the hash of the record that this one takes the place of; or empty
  std::vector<Work> work;
  std::vector<Withdrawn> withdrawn;
  std::vector<Photo> photos;
  /// Ids of contradictions between work and what else is on record, as `group_by_unit` finds them.
  std::vector<std::string_view> contradictions;
  /// The shop's own `x_` keys: JSON pointer and JSON text, in file order.
  std::vector<std::pair<std::string, std::string>> own;

  std::string source;               ///< file name as the caller gave it
  std::uint32_t line = 0;           ///< where the record's first brace stands
  std::size_t begin = 0;            ///< the same in bytes of the text that was read
  std::size_t end = 0;              ///< one past the byte of its last brace
  std::string sha256;               ///< of the record's text, brace to brace, in hex
  std::uint32_t odometer_line = 0;  ///< where the odometer reading stands
  std::uint32_t odometer_column = 0;
  std::uint32_t date_line = 0;  ///< where the date of the inspection stands
  std::uint32_t date_column = 0;
  std::uint32_t replaces_line = 0;  ///< where the hash of `replaces` stands
  std::uint32_t replaces_column = 0;
  std::string text = {};  ///< brace to brace, where `ReadOptions::keep_text` asks for it

  [[nodiscard]] const Value& at(Field field) const {
    return values[static_cast<std::size_t>(field)];
  }
  [[nodiscard]] bool has(Field field) const { return at(field).observed; }
};

/// What the reader accepts beyond the vocabulary table: `Grader::read_options()` and
/// `read_options(knowledge)` give what the rule data knows.
struct ReadOptions {
  /// Known family ids, each with the ids of its vehicles; `read_options` lists those of the rule
  /// data. A family that is not listed is an error, and where none is, every one but
  /// `kGenericFamily`; so is a vehicle that a family with vehicles does not list.
  std::vector<std::pair<std::string, std::vector<std::string>>> families;
  /// Known bad inputs, by `Diagnostic::input_sha256`: they are counted (`Records::accepted`), and
  /// what is wrong with them is not told.
  std::set<std::string, std::less<>> accepted = {};
  bool list_all = false;   ///< every complaint, not the first `kListedComplaints` of a kind alone
  bool keep_text = false;  ///< of each record, in `Record::text`; of a row, the record made from it
};

/// Takes complaints about known bad inputs out of `complaints`, and gives the hash of each, once.
std::vector<std::string> leave_out(std::vector<Diagnostic>& complaints,
                                   const std::set<std::string, std::less<>>& accepted);

inline constexpr std::size_t kMaxRecordBytes = std::size_t{1} << 20U;
inline constexpr int kMaxDepth = 32;

/// Reads one record from the text of one JSON object. `line` and `column` say
/// where `text` begins in `source`. A record with an error has no value; all
/// its errors are listed. Only a build date after the inspection, and a noise
/// that began beyond the odometer reading, are errors beside a value: they stay
/// in the record, where grading does not use them and says so. A photograph that
/// is none is a warning beside a value.
Result<Record> read_record(std::string_view text, std::string_view source, std::uint32_t line,
                           std::uint32_t column, const ReadOptions& options);

/// Why no reader would have given this record, as errors; empty: it would. For records that a
/// program fills itself: values within the limits of the vocabulary, words that exist, rules
/// between fields, known family and vehicle. What may stand in a record and is not used
/// (`read_record`) is no fault; `group_by_unit` speaks of it, and refuses records with faults.
std::vector<Diagnostic> validate(const Record& record, const ReadOptions& options);

/// Records of one text, good ones only, in file order, and every complaint in
/// file order. `rejected` counts the records that were refused; `rejected_at_least` says that what
/// was broken may have held more.
struct Records {
  std::vector<Record> records;
  std::vector<Diagnostic> diagnostics;
  std::size_t rejected = 0;
  bool rejected_at_least = false;
  std::vector<std::string> accepted;  ///< hashes of known bad inputs, as they were met
};

/// Reads a whole text: JSON values one after another, on lines or over several, each an object or
/// an array of objects. A bad record never loses a good one.
Records read_records(std::string_view text, std::string_view source, const ReadOptions& options);

/// A word for a field that takes one of some words.
struct FieldValue {
  Field field = Field::format;
  std::string word;  ///< the id of one of the field's choices
};

/// Which inspection of a text is meant.
struct WhichRecord {
  std::string unit_id;      ///< empty: the only unit that the text holds
  std::optional<int> date;  ///< days since 1970-01-01; none: the newest by date and odometer
};

/// A text of records with what a noise recording showed written into one of them.
///
/// `text` is whatever `read_records` takes. `findings` are words for fields under
/// `/inspection/recording`; they take the place of all that the record said of a
/// recording before, save the shop's own `x_` keys. The rest of the text stays as
/// it is, byte for byte; what is put in follows the record's own way of breaking
/// and indenting lines, so a record on one line stays on one line. The new text
/// has been read again, and differs from the old one in these fields alone.
///
/// No value where the text holds an error, where no inspection or more than one
/// is meant, or where the findings make no valid record (a pattern without a
/// bearing line, an unknown word); complaints say where, and how to choose.
Result<std::string> write_recording(std::string_view text, std::string_view source,
                                    const std::vector<FieldValue>& findings,
                                    const WhichRecord& which, const ReadOptions& options);

/// A record that counts for nothing, and the statement that says so.
struct TakenOut {
  Record record;
  Withdrawn said;               ///< with its day filled in; of a replacement without one, empty
  bool replaced = false;        ///< another record took its place
  std::string other_unit = {};  ///< of the record that says so, where it is of another unit
};

/// One unit's records.
struct History {
  std::string unit_id;
  /// Oldest first; never empty. What work tells stands in the fields as well that say the same.
  std::vector<Record> records;
  /// Parallel to `records`: 1 where the odometer reading was refused.
  std::vector<std::uint8_t> refused;
  /// Records whose date cannot be right: only what they say for the worse counts. Where all of a
  /// unit's records are such, `records` holds an empty one in the place of the first.
  std::vector<Record> set_aside = {};
  /// Records of this unit that others replace or withdraw, and those that records of this unit
  /// replace in another's history.
  std::vector<TakenOut> taken_out = {};
  /// Records that tell of no inspection, but that others are withdrawn, or that the unit left;
  /// oldest first. Where a unit has no other record, `records` holds an empty one.
  std::vector<Record> notices = {};
  /// The date of one that stands alone, which may be right after all: then good news is as old as
  /// that.
  std::optional<int> perhaps_today = {};
};

/// A date that so many days or more separate from every other one is refused, unless the day of
/// judgement covers it: among records of several units, and of one unit [judgement].
inline constexpr int kAloneDays = 365;
inline constexpr int kAloneInUnitDays = 10 * 365;

/// Sorts each unit's records by date and odometer, units by id; equal records count once. Errors,
/// each at its place, beside a value:
///
/// - a record with faults (`validate`, save for its family): left out;
/// - a date after `today` (days since 1970-01-01), or without `today` one that stands alone after
///   all others (of several records of one day one cannot bear out another): set aside;
/// - odometer readings that run backwards within a unit: the fewest that leave an order become not
///   observed; of equally few, those that leave the greater distance.
///
/// What a record withdraws or replaces counts for nothing, wherever it stands in `records`. What a
/// withdrawn record says of others counts for nothing either; what a replaced one says of others
/// stands. Of two that replace one, both count. What names no record of the input, or goes round in
/// a circle, is a warning, and takes nothing out. A notice after `today` is an error, and void.
///
/// Warnings: a newest date far after all others; work that does not fit the rest; records of one id
/// that differ in build date, family, vehicle or fitting; ids that look alike.
Result<std::vector<History>> group_by_unit(std::vector<Record> records,
                                           std::optional<int> today = std::nullopt);

/// Whether a history may be judged: it holds a record, and each value lies within the limits of the
/// vocabulary. What `group_by_unit` gives always does.
bool is_valid(const History& history);

/// The history as it is judged on a day: what is dated later is set aside.
History as_of(History history, int today);

/// The JSON Schema (draft 2020-12) of a record, made from the vocabulary.
std::string record_schema();

/// Days since 1970-01-01 of a proleptic Gregorian date, and back (`YYYY-MM-DD`).
int days_from_date(int year, int month, int day);
std::string date_text(int days);
inline constexpr double kDaysPerYear = 365.25;
/// Days of an ISO 8601 calendar date `YYYY-MM-DD`; nothing if it is not one.
std::optional<int> parse_date(std::string_view text);

}  // namespace dryshaft

#endif
