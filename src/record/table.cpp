#include "dryshaft/table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <nlohmann/json.hpp>
#include <optional>
#include <utility>

#include "base/complaints.hpp"
#include "base/json_out.hpp"
#include "base/places.hpp"
#include "base/sha256.hpp"
#include "base/utf8.hpp"
#include "record/cells.hpp"
#include "record/columns.hpp"
#include "record/layout.hpp"
#include "record/pieces.hpp"
#include "record/shape.hpp"

namespace dryshaft {
namespace {

using nlohmann::ordered_json;

constexpr std::string_view kYesWords[] = {"true", "yes", "y", "1"};
constexpr std::string_view kNoWords[] = {"false", "no", "n", "0"};
constexpr std::string_view kFlagWords = "yes, no, true, false, 1, 0";
// Between the words of a cell that holds several.
constexpr std::string_view kBetweenWords = ",;|+/ \t\n";
constexpr std::string_view kBetweenNames = ";|\t\n";     // files have any other sign
constexpr std::string_view kBetweenWorks = ",;|+/\t\n";  // each may be of several words

struct Column {
  std::string title;
  std::size_t begin = 0;  // byte of the title
  ColumnField field = {};
  const ColumnUse* use = nullptr;  // where the shop's own map names it
  bool own = false;                // an `x_` column
  bool left_out = false;
  std::string pointer = {};  // where its values go in a record
};

// A complaint before its line and column are known.
struct CellComplaint {
  std::size_t at = 0;
  Diagnostic what;
};

bool is_one_of(std::string_view word, std::span<const std::string_view> words) {
  return std::ranges::find(words, word) != words.end();
}

bool all_digits(std::string_view text) {
  return !text.empty() && text.find_first_not_of("0123456789") == std::string_view::npos;
}

// "131.240" or "131,240" where the mark may be a decimal point or may separate thousands.
bool may_be_thousands(std::string_view text) {
  const std::size_t mark = text.find_first_of(".,");
  return mark != std::string_view::npos && mark >= 1 && mark <= 3 && text[0] != '0' &&
         all_digits(text.substr(0, mark)) && text.size() == mark + 4 &&
         all_digits(text.substr(mark + 1));
}

// A number as JSON writes it, or nothing.
std::optional<ordered_json> number_of(std::string cell, bool decimal_comma) {
  if (decimal_comma && std::ranges::count(cell, ',') == 1 && cell.find('.') == std::string::npos) {
    cell[cell.find(',')] = '.';
  }
  const bool minus = cell.starts_with('-');
  std::string digits_of = cell.substr(minus || cell.starts_with('+') ? 1 : 0);
  digits_of.erase(0, std::min(digits_of.find_first_not_of('0'), digits_of.size() - 1));
  if (digits_of.empty() || digits_of.find_first_not_of("0123456789.eE+-") != std::string::npos) {
    return std::nullopt;
  }
  if (digits_of.front() < '0' || digits_of.front() > '9') {
    digits_of.insert(0, "0");
  }
  ordered_json number = ordered_json::parse((minus ? "-" : "") + digits_of, nullptr, false);
  return number.is_number() ? std::optional(std::move(number)) : std::nullopt;
}

// The date with the year first, or the text as it stands.
std::string year_first(const std::string& cell, DateOrder order) {
  std::vector<std::string> parts(1);
  for (const char c : cell) {
    if (c == '.' || c == '/' || c == '-') {
      parts.emplace_back();
    } else {
      parts.back() += c;
    }
  }
  if (order == DateOrder::year_month_day || parts.size() != 3 ||
      !std::ranges::all_of(parts, all_digits) || parts[0].size() > 2 || parts[1].size() > 2 ||
      parts[2].size() != 4) {
    return cell;
  }
  const bool day_first = order == DateOrder::day_month_year;
  return fmt::format("{}-{:0>2}-{:0>2}", parts[2], parts[day_first ? 1 : 0],
                     parts[day_first ? 0 : 1]);
}

// A word as the vocabulary writes it: `Gear oil` is `gear-oil`.
std::string plain_word(std::string_view cell) {
  std::string out = plain_title(cell);
  std::ranges::replace(out, '_', '-');
  return out;
}

class TableReader final : public PieceReader {
 public:
  TableReader(std::string_view source, const ColumnMap& map, const ReadOptions& options,
              std::size_t limit)
      : source_(source), map_(map), options_(options), limit_(limit) {}

  [[nodiscard]] std::size_t look_ahead() const override { return limit_ + kShownAhead; }
  [[nodiscard]] bool done() const override { return state_ == State::done; }

  std::size_t read(std::string_view text, bool last, std::size_t enough, Records& out) override {
    text_ = text;
    last_ = last;
    out_ = &out;
    at_ = 0;
    if (!std::exchange(begun_, true) && text_.starts_with(utf8::kByteOrderMark)) {
      before_ = utf8::kByteOrderMark.size();
      text_.remove_prefix(before_);
    }
    const std::size_t mark = text.size() - text_.size();
    places_.emplace(text_, Origin{source_, line_, 1});
    while (!done() && out.records.size() < enough && out.diagnostics.size() < enough && step()) {
    }
    if (done()) {
      std::ranges::move(said_.rest(), std::back_inserter(out.diagnostics));
    }
    line_ = places_->place(at_).line;
    before_ += at_;
    return mark + at_;
  }

 private:
  enum class State : std::uint8_t { start, header, rows, done };

  // False where more of the text must be seen first.
  bool step() {
    if (in_long_line_) {
      const std::size_t end = text_.find('\n', at_);
      in_long_line_ = end == std::string_view::npos && !last_;
      at_ = end == std::string_view::npos ? text_.size() : end + 1;
      return !in_long_line_;
    }
    if (!last_ && text_.size() - at_ < look_ahead()) {
      return false;
    }
    if (state_ == State::start) {
      start();
    } else if (at_ >= text_.size()) {
      end();
    } else if (state_ == State::header) {
      header();
    } else {
      row();
    }
    return true;
  }

  void start() {
    start_ = places_->complaint(0, "", "");
    state_ = State::header;
    const std::string_view seen = text_.substr(0, limit_ + 1);
    const std::string_view first_line = seen.substr(0, seen.find('\n'));
    separator_ = find_separator(seen);
    if (const Likeness is = likeness(first_line); is.certain) {
      refuse_all(fmt::format("looks like {}, not like a table", is.looks_like), is.hint);
      out_->diagnostics.back().excerpt.clear();
      ++out_->rejected;
      out_->rejected_at_least = true;
      state_ = State::done;
    } else if (const std::size_t first = skip_white(seen, 0);
               first < seen.size() && (seen[first] == '{' || seen[first] == '[')) {
      refuse_all("looks like JSON, not like a table",
                 "give it a name that ends in .json or .jsonl");
      ++out_->rejected;
      out_->rejected_at_least = true;
      state_ = State::done;
    } else if (first_line.size() == seen.size() &&
               seen.find('\r') < seen.find_last_not_of("\r\n ")) {
      refuse_all("has lines that end in a carriage return alone",
                 "save it with line feeds, as every current program does");
      ++out_->rejected;
      out_->rejected_at_least = true;
      state_ = State::done;
    } else if (const std::optional<char> said = said_separator(first_line)) {
      separator_ = *said;
      at_ = std::min(first_line.size() + 1, text_.size());
    }
  }

  // Some spreadsheets write which character separates the cells into a line of its own.
  static std::optional<char> said_separator(std::string_view line) {
    constexpr std::string_view kSays = "sep=";
    while (line.ends_with('\r')) {
      line.remove_suffix(1);
    }
    const bool says = line.starts_with(kSays) && line.size() == kSays.size() + 1 &&
                      kSeparators.find(line.back()) != std::string_view::npos;
    return says ? std::optional(line.back()) : std::nullopt;
  }

  void end() {
    if (state_ == State::header) {
      refuse_all("holds no header row", "the first row names the columns");
    } else if (usable_ && rows_ == 0) {
      refuse_all("holds no row beneath its header", "");
    }
    state_ = State::done;
  }

  void header() {
    const TableRow row = take_row();
    if (!row.blank()) {
      usable_ = read_header(row);
      state_ = State::rows;
    }
  }

  void row() {
    const TableRow row = take_row();
    if (row.blank()) {
      return;
    }
    ++rows_;
    if (!usable_) {
      ++out_->rejected;
    } else {
      read_one(row);
    }
  }

  TableRow take_row() {
    TableRow row = read_row(text_, at_, separator_, limit_);
    if (state_ == State::rows && row.goes_on != std::string_view::npos &&
        row.cells.size() != columns_.size()) {
      // Rather a quote too many, which would swallow the rows up to the next one.
      end_with_its_line(row, text_, row.goes_on);
    }
    at_ = row.next;
    in_long_line_ = !last_ && text_[at_ - 1] != '\n';
    return row;
  }

  void refuse_all(std::string message, std::string_view hint) {
    Diagnostic d = start_;
    d.code = rows_ == 0 && hint.empty() ? "empty" : "not-a-table";
    d.message = std::move(message);
    d.hint = hint;
    out_->diagnostics.push_back(std::move(d));
  }

  // ---------------------------------------------------------------- header

  bool read_header(const TableRow& header) {
    if (!header.fault.empty()) {
      complaints_.push_back({header.fault_at, about("quotes", std::string(header.fault))});
    } else if (!header.too_much.empty()) {
      complain_of_length(header);
      flush();
      return false;
    }
    for (const TableCell& cell : header.cells) {
      columns_.push_back({.title = cell.text, .begin = cell.begin});
      name_column(columns_.back());
    }
    if (complaints_.empty()) {
      find_needed(header);
    }
    const bool usable = complaints_.empty();
    flush();
    return usable;
  }

  void complain_of_length(const TableRow& row) {
    const bool cells = row.too_much == "cells";
    complaints_.push_back(
        {row.begin, about("size", fmt::format("the row holds more than {} {}",
                                              cells ? kMaxCells : limit_, row.too_much))});
  }

  static Diagnostic about(std::string_view code, std::string message, std::string hint = {}) {
    Diagnostic d;
    d.code = code;
    d.message = std::move(message);
    d.hint = std::move(hint);
    return d;
  }

  void name_column(Column& column) {
    const std::string title = plain_title(column.title);
    if (title.empty()) {
      column.left_out = true;  // but what stands under it is complained of
      return;
    }
    if (complain_of_bytes(column.title, column.begin, "")) {
      return;
    }
    for (const ColumnUse& use : map_.columns) {
      if (plain_title(use.title) == title) {
        column.use = &use;
        column.left_out = use.left_out;
        column.own = !use.own.empty();
        if (column.own) {
          column.pointer = "/" + use.own;
        } else {
          column.field = {&spec(use.field), use.miles};
        }
      }
    }
    if (column.left_out) {
      return;
    }
    if (column.use == nullptr) {
      if (title.starts_with(kOwnPrefix)) {
        column.own = true;
        column.pointer = "/" + title;
      } else if (const std::optional<ColumnField> known = column_field(title)) {
        column.field = *known;
      } else {
        unknown_column(column);
        return;
      }
    }
    if (!column.own) {
      column.pointer = pointer_of(column.field);
    }
    for (const Column& other : columns_) {
      const bool same_field = !other.own && !column.own && other.field.field != nullptr &&
                              !other.left_out && other.field.field == column.field.field;
      if (&other != &column && (same_field || (column.own && other.pointer == column.pointer))) {
        Diagnostic d = about("duplicate-column",
                             fmt::format("is the column \"{}\", and so is \"{}\"",
                                         utf8::harmless(column.title), utf8::harmless(other.title)),
                             "keep one of the two");
        d.pointer = column.pointer;
        complaints_.push_back({column.begin, std::move(d)});
        return;
      }
    }
  }

  bool complain_of_bytes(std::string_view text, std::size_t at, std::string_view pointer) {
    const std::size_t bad = utf8::first_invalid(text);
    if (bad == text.size()) {
      return false;
    }
    Diagnostic d = about("utf-8",
                         fmt::format("holds the byte 0x{:02X}, which is not UTF-8",
                                     static_cast<unsigned char>(text[bad])),
                         "save the file as UTF-8");
    d.pointer = pointer;
    complaints_.push_back({at, std::move(d)});
    return true;
  }

  void unknown_column(const Column& column) {
    const std::string meant = did_you_mean_column(column.title);
    complaints_.push_back(
        {column.begin,
         about("unknown-column",
               fmt::format("the column \"{}\" is not a field of a record",
                           utf8::harmless(column.title)),
               meant.empty()
                   ? "say what it holds in a file for --columns, or begin its title with x_"
                   : meant)});
  }

  // Without these no row could be a record: said once, not for each row.
  void find_needed(const TableRow& header) {
    for (const FieldSpec& field : fields()) {
      const bool given = std::ranges::any_of(columns_, [&](const Column& c) {
        return !c.left_out && !c.own && c.field.field == &field;
      });
      if (field.required && !given && field.id != Field::format) {
        Diagnostic d = about("missing-column", "has no column",
                             fmt::format("name a column \"{}\"", column_names(field).back()));
        d.pointer = field.pointer;
        complaints_.push_back({header.cells.front().begin, std::move(d)});
      }
    }
  }

  // ------------------------------------------------------------------ rows

  void read_one(const TableRow& row) {
    const Place place = places_->place(row.begin);
    if (!row.too_much.empty()) {
      complain_of_length(row);
    } else if (!row.fault.empty()) {
      complaints_.push_back({row.fault_at, about("quotes", std::string(row.fault),
                                                 "a quote within quotes is written twice")});
    } else {
      check_width(row);
    }
    std::optional<Record> record;
    if (complaints_.empty()) {
      record = read_record_of(row);
    }
    const bool is_known = leave_out_known(row, record.has_value());
    flush();
    if (!record) {
      out_->rejected += is_known ? 0 : 1;
      return;
    }
    record->line = place.line;
    record->begin = before_ + row.begin;
    record->end = before_ + trim_white(text_, row.next);
    for (std::size_t i = 0; i < row.cells.size() && i < columns_.size(); ++i) {
      const FieldSpec* field = columns_[i].field.field;
      if (field != nullptr && field->id == Field::photos) {
        const Place cell = places_->place(row.cells[i].begin);
        for (Photo& photo : record->photos) {
          photo.line = cell.line;
          photo.column = cell.column;
        }
      }
      if (field == nullptr || (field->id != Field::odometer_km && field->id != Field::date)) {
        continue;
      }
      const Place cell = places_->place(row.cells[i].begin);
      const bool is_date = field->id == Field::date;
      (is_date ? record->date_line : record->odometer_line) = cell.line;
      (is_date ? record->date_column : record->odometer_column) = cell.column;
    }
    out_->records.push_back(*std::move(record));
  }

  // A row is known by its text. True: it is a known bad one, and nothing is said of it.
  bool leave_out_known(const TableRow& row, bool was_read) {
    const auto refuses = [was_read](const CellComplaint& c) {
      return !was_read || c.what.severity == Severity::error;
    };
    if (!row.too_much.empty() || std::ranges::none_of(complaints_, refuses)) {
      return false;
    }
    const std::string sha256 =
        sha256_hex(text_.substr(row.begin, trim_white(text_, row.next) - row.begin));
    if (options_.accepted.contains(sha256)) {
      std::erase_if(complaints_, refuses);
      out_->accepted.push_back(sha256);
      return true;
    }
    for (CellComplaint& c : complaints_) {
      c.what.input_sha256 = refuses(c) ? sha256 : "";
    }
    return false;
  }

  void check_width(const TableRow& row) {
    if (row.cells.size() < columns_.size()) {
      complaints_.push_back({row.begin, about("ragged-row",
                                              fmt::format("the row has {} cells, the header {}",
                                                          row.cells.size(), columns_.size()),
                                              "a separator is missing")});
      return;
    }
    for (std::size_t i = 0; i < row.cells.size(); ++i) {
      const bool extra = i >= columns_.size();
      if (!row.cells[i].text.empty() && (extra || columns_[i].title.empty())) {
        complaints_.push_back(
            {row.cells[i].begin,
             extra ? about("ragged-row",
                           fmt::format("the row has {} cells, the header {}", row.cells.size(),
                                       columns_.size()),
                           "a text with a separator in it stands in quotes")
                   : about("untitled-column", "stands in a column that has no title",
                           "give the column a title")});
        return;
      }
    }
  }

  std::optional<Record> read_record_of(const TableRow& row) {
    ordered_json json = ordered_json::object();
    json["format"] = kRecordFormat;
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      put(columns_[i], row.cells[i], json);
    }
    const auto of_cells = static_cast<std::ptrdiff_t>(complaints_.size());
    Result<Record> read = read_record(json_out::of(json), places_->origin().source, 1, 1, options_);
    for (Diagnostic& d : read.diagnostics) {
      // What could not be read is not missing as well.
      if (std::none_of(complaints_.begin(), complaints_.begin() + of_cells,
                       [&](const CellComplaint& c) { return c.what.pointer == d.pointer; })) {
        complaints_.push_back({place_of(d.pointer, row), std::move(d)});
      }
    }
    if (of_cells != 0) {
      return std::nullopt;
    }
    return std::move(read.value);
  }

  // The cell that a complaint about the record's text means.
  [[nodiscard]] std::size_t place_of(std::string_view pointer, const TableRow& row) const {
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      const std::string& at = columns_[i].pointer;
      if (!at.empty() && pointer.starts_with(at) &&
          (pointer.size() == at.size() || pointer[at.size()] == '/')) {
        return row.cells[i].begin;
      }
    }
    return row.begin;
  }

  void put(const Column& column, const TableCell& cell, ordered_json& json) {
    if (column.left_out || cell.text.empty()) {
      return;
    }
    if (complain_of_bytes(cell.text, cell.begin, column.pointer)) {
      return;
    }
    std::string text = cell.text;
    if (text.size() > 1 && text.front() == '\'' &&
        kFormula.find(utf8::decode(text, 1).code) != kFormula.npos) {
      text.erase(0, 1);
    }
    if (column.use != nullptr) {
      const auto value = std::ranges::find(column.use->values, plain_title(text),
                                           &std::pair<std::string, std::string>::first);
      if (value != column.use->values.end()) {
        text = value->second;
      }
    }
    if (column.own) {
      if (!text.empty()) {
        json[column.pointer.substr(1)] = text;
      }
      return;
    }
    if (text.empty() || plain_word(text) == kUnknownWord) {
      return;
    }
    if (std::optional<ordered_json> value = value_of(column, cell, text)) {
      json[ordered_json::json_pointer(column.pointer)] = *std::move(value);
    }
  }

  // What a record holds for the text of a cell; nothing after a complaint.
  std::optional<ordered_json> value_of(const Column& column, const TableCell& cell,
                                       const std::string& text) {
    const FieldSpec& field = *column.field.field;
    switch (field.type) {
      case FieldType::text:
      case FieldType::hash:
      case FieldType::month:
        break;
      case FieldType::date:
        return year_first(text,
                          column.use != nullptr ? column.use->dates : DateOrder::year_month_day);
      case FieldType::choice: {
        if (field.id == Field::work_did) {
          return works_of(text);
        }
        const std::string word = plain_word(text);
        const std::vector<std::string_view> words = choice_words(field);
        return std::ranges::find(words, word) != words.end() ? word : text;
      }
      case FieldType::choices:
        return words_of(text, kBetweenWords);
      case FieldType::flag:
        return flag_of(column, cell, text);
      case FieldType::number:
        return number_at(column, cell, text);
      case FieldType::photos:
        return names_of(text);
    }
    return text;
  }

  static ordered_json words_of(const std::string& text, std::string_view between) {
    ordered_json words = ordered_json::array();
    for (std::size_t at = 0; (at = text.find_first_not_of(between, at)) != text.npos;) {
      const std::size_t end = std::min(text.find_first_of(between, at), text.size());
      words.push_back(plain_word(text.substr(at, end - at)));
      at = end;
    }
    return words;
  }

  static ordered_json names_of(const std::string& text) {
    ordered_json names = ordered_json::array();
    for (std::size_t at = 0; (at = text.find_first_not_of(kBetweenNames, at)) != text.npos;) {
      const std::size_t end = std::min(text.find_first_of(kBetweenNames, at), text.size());
      const std::string_view name = utf8::trim_unseen(std::string_view(text).substr(at, end - at));
      if (!name.empty()) {
        names.push_back(name);
      }
      at = end;
    }
    return names;
  }

  // Work that was done on the day and at the reading of the row.
  static ordered_json works_of(const std::string& text) {
    const std::string key(spec(Field::work_did).pointer.substr(1));
    ordered_json works = ordered_json::array();
    for (ordered_json& word : words_of(text, kBetweenWorks)) {
      if (!word.get_ref<const std::string&>().empty()) {
        works.push_back({{key, std::move(word)}});
      }
    }
    return works;
  }

  void refuse_cell(const Column& column, const TableCell& cell, std::string_view code,
                   std::string allowed, std::string hint) {
    Diagnostic d =
        about(code, fmt::format("is \"{}\"", utf8::harmless(cell.text, kShownCharacters)),
              std::move(hint));
    d.pointer = column.pointer;
    d.allowed = std::move(allowed);
    complaints_.push_back({cell.begin, std::move(d)});
  }

  std::optional<ordered_json> flag_of(const Column& column, const TableCell& cell,
                                      const std::string& text) {
    const std::string word = plain_word(text);
    if (is_one_of(word, kYesWords) || is_one_of(word, kNoWords)) {
      return is_one_of(word, kYesWords);
    }
    refuse_cell(column, cell, "bad-value", std::string(kFlagWords), "");
    return std::nullopt;
  }

  std::optional<ordered_json> number_at(const Column& column, const TableCell& cell,
                                        const std::string& text) {
    // Tabs come from a spreadsheet's clipboard, in whatever language it writes numbers.
    const bool decimal_comma = separator_ != ',';
    const std::string allowed = fmt::format(
        "a number ({})",
        unit_of(
            {.key = {}, .field = column.field.field, .miles = column.field.miles, .members = {}}));
    if (decimal_comma && may_be_thousands(text)) {
      refuse_cell(column, cell, "ambiguous-number", allowed,
                  "write it without a mark between thousands, or with other than three decimals");
      return std::nullopt;
    }
    if (std::optional<ordered_json> number = number_of(text, decimal_comma)) {
      return number;
    }
    refuse_cell(column, cell, "wrong-type", allowed,
                text.find(',') == std::string::npos
                    ? ""
                    : "write a decimal point and no mark between thousands");
    return std::nullopt;
  }

  // What was complained of, in the order of the text; places are then quick to work out.
  void flush() {
    std::ranges::stable_sort(complaints_, {}, &CellComplaint::at);
    for (CellComplaint& c : complaints_) {
      Diagnostic d = places_->complaint(c.at, c.what.code, std::move(c.what.message));
      d.pointer = std::move(c.what.pointer);
      d.allowed = std::move(c.what.allowed);
      d.hint = std::move(c.what.hint);
      d.more = c.what.more;
      d.input_sha256 = std::move(c.what.input_sha256);
      if (options_.list_all || said_.lists(d)) {
        out_->diagnostics.push_back(std::move(d));
      }
    }
    complaints_.clear();
  }

  static constexpr std::size_t kShownCharacters = 40;

  std::string source_;
  const ColumnMap& map_;
  const ReadOptions& options_;
  std::size_t limit_;

  // The piece that is being read.
  std::string_view text_;
  bool last_ = false;
  std::size_t at_ = 0;
  std::optional<Places> places_;
  std::vector<CellComplaint> complaints_;  // about the row
  Complaints said_;
  Records* out_ = nullptr;

  // What is known of the pieces before.
  bool begun_ = false;
  State state_ = State::start;
  std::uint32_t line_ = 1;
  std::size_t before_ = 0;     // bytes
  bool in_long_line_ = false;  // the rest of its line belongs to a row that was refused
  Diagnostic start_;           // a complaint about the whole table
  char separator_ = ',';
  std::vector<Column> columns_;
  bool usable_ = false;
  std::size_t rows_ = 0;
};

}  // namespace

std::unique_ptr<PieceReader> table_reader(std::string_view source, const ColumnMap& map,
                                          const ReadOptions& options, std::size_t limit) {
  return std::make_unique<TableReader>(source, map, options, limit);
}

Records read_table(std::string_view text, std::string_view source, const ColumnMap& map,
                   const ReadOptions& options) {
  Records out;
  table_reader(source, map, options)->read(text, true, std::string_view::npos, out);
  return out;
}

}  // namespace dryshaft
