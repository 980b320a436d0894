// What a recording showed, put into the text of a record: by splicing, so that
// no byte of anything else moves.
#include <fmt/format.h>

#include <algorithm>
#include <tuple>

#include "base/located_json.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"

namespace dryshaft {
namespace {

using located::Document;
using located::Kind;
using located::Node;

// Object and key of a field, such as `/inspection/recording` and `pattern`.
std::string_view object_of_field(Field field) {
  const std::string_view pointer = spec(field).pointer;
  return pointer.substr(0, pointer.rfind('/'));
}
std::string_view key_of_field(Field field) {
  return spec(field).pointer.substr(object_of_field(field).size() + 1);
}

bool breaks_line(std::string_view white) { return white.find('\n') != std::string_view::npos; }

// White space that breaks a line, without its empty lines.
std::string_view last_break(std::string_view white) {
  const std::size_t feed = white.rfind('\n');
  if (feed == std::string_view::npos) {
    return white;
  }
  const bool carriage = feed > 0 && white[feed - 1] == '\r';
  return white.substr(feed - (carriage ? 1 : 0));
}

struct Splice {
  std::size_t begin = 0;
  std::size_t end = 0;
  std::string text;
};

// Works out what to put where in one record.
class RecordingWriter {
 public:
  RecordingWriter(const Document& document, const std::vector<FieldValue>& findings)
      : d_(document), findings_(findings), colon_(colon()) {}

  [[nodiscard]] Splice splice() const {
    const std::string_view pointer = object_of_field(Field::recording_rotor_bearing);
    const std::size_t slash = pointer.rfind('/');
    // A valid record has an inspection: its date stands there.
    const Node& inspection = *d_.find(d_.root(), pointer.substr(1, slash - 1));
    const std::string_view key = pointer.substr(slash + 1);
    const Node* recording = d_.find(inspection, key);
    if (recording == nullptr) {
      const std::size_t at = last(inspection).end;
      return {at, at, separator(inspection) + named(key, fresh_object(inspection))};
    }
    if (recording->kind == Kind::object && recording->children > 0) {
      return {recording->begin, recording->end, rewritten(*recording)};
    }
    return {recording->begin, recording->end, fresh_object(inspection)};
  }

 private:
  [[nodiscard]] std::string_view between(std::size_t begin, std::size_t end) const {
    return d_.text().substr(begin, end - begin);
  }
  [[nodiscard]] const Node& last(const Node& object) const {
    const Node* node = d_.first(object);
    while (const Node* next = d_.next(*node)) {
      node = next;
    }
    return *node;
  }
  // White space after the first brace and before the last one.
  [[nodiscard]] std::string_view opening(const Node& object) const {
    return between(object.begin + 1, d_.first(object)->key_begin);
  }
  [[nodiscard]] std::string_view closing(const Node& object) const {
    return between(last(object).end, object.end - 1);
  }

  // What stands between a key and its value.
  [[nodiscard]] std::string colon() const {
    const Node& node = *d_.first(d_.root());
    std::size_t i = node.key_begin + 1;
    while (d_.text()[i] != '"') {
      i += d_.text()[i] == '\\' ? 2 : 1;
    }
    const std::string_view found = between(i + 1, node.begin);
    return breaks_line(found) ? ": " : std::string(found);
  }

  // What to put between the members of an object.
  [[nodiscard]] std::string separator(const Node& object) const {
    if (breaks_line(opening(object))) {
      return "," + std::string(last_break(opening(object)));
    }
    if (object.children > 1) {
      const Node* node = d_.first(object);
      return std::string(between(node->end, d_.next(*node)->key_begin));
    }
    return colon_.ends_with(' ') ? ", " : ",";
  }

  [[nodiscard]] std::string named(std::string_view key, std::string_view value) const {
    return fmt::format("\"{}\"{}{}", key, colon_, value);
  }
  [[nodiscard]] static std::string quoted(std::string_view word) {
    return fmt::format("\"{}\"", word);
  }

  // As other objects of the inspection are laid out, or else the inspection.
  [[nodiscard]] std::string fresh_object(const Node& inspection) const {
    const Node* like = nullptr;
    for (const Node* n = d_.first(inspection); n != nullptr; n = d_.next(*n)) {
      like = n->kind == Kind::object && n->children > 0 ? n : like;
    }
    std::string open;
    std::string close;
    std::string comma = colon_.ends_with(' ') ? ", " : ",";
    if (like != nullptr) {
      open = last_break(opening(*like));
      close = last_break(closing(*like));
      comma = separator(*like);
    } else if (!breaks_line(opening(inspection))) {
      open = opening(inspection);
      close = closing(inspection);
      comma = separator(inspection);
    } else if (breaks_line(opening(d_.root()))) {
      const std::string_view outer = last_break(opening(d_.root()));
      const std::string_view inner = last_break(opening(inspection));
      if (inner.starts_with(outer)) {
        open = fmt::format("{}{}", inner, inner.substr(outer.size()));
        close = inner;
        comma = "," + open;
      }
    }
    std::string members;
    for (const FieldValue& f : findings_) {
      members += (members.empty() ? "" : comma) + named(key_of_field(f.field), quoted(f.word));
    }
    return "{" + open + members + close + "}";
  }

  // Members that no finding names go, save the shop's own; the others stay where
  // they are, with a new value; new ones follow.
  [[nodiscard]] std::string rewritten(const Node& recording) const {
    std::string text = "{" + std::string(opening(recording));
    std::vector<Field> written;
    bool is_first = true;
    std::size_t before = 0;  // the end of the member before, kept or not
    for (const Node* n = d_.first(recording); n != nullptr; n = d_.next(*n)) {
      const auto finding = std::ranges::find(
          findings_, n->key, [](const FieldValue& f) { return key_of_field(f.field); });
      const bool known = field_at(d_.pointer(*n)).has_value();
      if (finding != findings_.end() || !known) {
        text += is_first ? "" : between(before, n->key_begin);
        text += between(n->key_begin, finding != findings_.end() ? n->begin : n->end);
        if (finding != findings_.end()) {
          text += quoted(finding->word);
          written.push_back(finding->field);
        }
        is_first = false;
      }
      before = n->end;
    }
    for (const FieldValue& f : findings_) {
      if (std::ranges::find(written, f.field) == written.end()) {
        text +=
            (is_first ? "" : separator(recording)) + named(key_of_field(f.field), quoted(f.word));
        is_first = false;
      }
    }
    return text + std::string(closing(recording)) + "}";
  }

  const Document& d_;
  const std::vector<FieldValue>& findings_;
  std::string colon_;
};

Diagnostic complaint_on(const Record& record, std::string_view code, std::string message) {
  Diagnostic d;
  d.code = code;
  d.source = record.source;
  d.line = record.line;
  d.message = std::move(message);
  return d;
}

std::string shown_id(std::string_view id) { return fmt::format("\"{}\"", utf8::harmless(id)); }
std::string shown_date(const Record& r) {
  return date_text(static_cast<int>(r.at(Field::date).number));
}
double odometer_if_known(const Record& r) {
  return r.has(Field::odometer_km) ? r.at(Field::odometer_km).number : -1;
}

// Some words and no more than a line can hold.
std::string a_few(const std::vector<std::string>& words) {
  constexpr std::size_t kMost = 6;
  const std::size_t n = std::min(words.size(), kMost);
  const std::string text = fmt::format("{}", fmt::join(words.begin(), words.begin() + n, ", "));
  return n == words.size() ? text : fmt::format("{}, ... ({} in all)", text, words.size());
}

// The one inspection that is meant, or why there is none.
const Record* chosen(const std::vector<Record>& records, const WhichRecord& which,
                     std::vector<Diagnostic>& out) {
  std::vector<std::string> units;
  for (const Record& r : records) {
    if (std::ranges::find(units, r.unit_id) == units.end()) {
      units.push_back(r.unit_id);
    }
  }
  if (which.unit_id.empty() && units.size() > 1) {
    Diagnostic d =
        complaint_on(records.front(), "which-record",
                     fmt::format("the text holds inspections of {} units", units.size()));
    d.allowed = a_few(units);
    d.hint = "name the unit";
    out.push_back(std::move(d));
    return nullptr;
  }
  const std::string& unit = which.unit_id.empty() ? units.front() : which.unit_id;
  if (std::ranges::find(units, unit) == units.end()) {
    Diagnostic d =
        complaint_on(records.front(), "no-such-record",
                     fmt::format("the text holds no inspection of unit {}", shown_id(unit)));
    d.allowed = a_few(units);
    const std::string_view close = closest(unit, {units.begin(), units.end()});
    d.hint = close.empty() ? "" : fmt::format("did you mean {}?", shown_id(close));
    out.push_back(std::move(d));
    return nullptr;
  }
  const auto age = [](const Record& r) {
    return std::tuple(r.at(Field::date).number, odometer_if_known(r));
  };
  const Record* newest = nullptr;
  const Record* rival = nullptr;  // just as new
  std::vector<std::string> dates;
  for (const Record& r : records) {
    if (r.unit_id != unit) {
      continue;
    }
    dates.push_back(shown_date(r));
    if (which.date && r.at(Field::date).number != *which.date) {
      continue;
    }
    if (newest == nullptr || age(r) >= age(*newest)) {
      rival = newest != nullptr && age(r) == age(*newest) ? newest : nullptr;
      newest = &r;
    }
  }
  if (newest == nullptr) {
    Diagnostic d = complaint_on(records.front(), "no-such-record",
                                fmt::format("the text holds no inspection of unit {} on {}",
                                            shown_id(unit), date_text(*which.date)));
    d.allowed = a_few(dates);
    out.push_back(std::move(d));
    return nullptr;
  }
  if (rival != nullptr) {
    Diagnostic d =
        complaint_on(*newest, "which-record",
                     fmt::format("the inspection of unit {} on {} is no newer than that of line {}",
                                 shown_id(unit), shown_date(*newest), rival->line));
    d.hint = "make the two one record, or tell them apart by their odometer readings";
    out.push_back(std::move(d));
    return nullptr;
  }
  return newest;
}

// Findings that are no words of a recording's fields, or said twice.
void check_findings(const std::vector<FieldValue>& findings, std::string_view source,
                    std::vector<Diagnostic>& out) {
  const auto refuse = [&](std::string_view pointer, std::string_view code, std::string message,
                          std::string allowed) {
    Diagnostic d;
    d.code = code;
    d.source = source;
    d.pointer = pointer;
    d.message = std::move(message);
    d.allowed = std::move(allowed);
    out.push_back(std::move(d));
  };
  const std::string_view recording = object_of_field(Field::recording_rotor_bearing);
  if (findings.empty()) {
    refuse(recording, "empty", "is to hold nothing", "one finding at least");
  }
  for (std::size_t i = 0; i < findings.size(); ++i) {
    const FieldSpec& field = spec(findings[i].field);
    const std::string& word = findings[i].word;
    std::vector<std::string> words;
    for (const Choice& c : field.choices) {
      words.emplace_back(c.id);
    }
    if (object_of_field(field.id) != recording) {
      refuse(field.pointer, "unknown-field", "is not what a recording shows", "");
    } else if (std::ranges::find(words, word) == words.end()) {
      refuse(field.pointer, "bad-value", fmt::format("is {}", shown_id(word)),
             fmt::format("{}", fmt::join(words, ", ")));
    } else if (std::any_of(findings.begin(), findings.begin() + static_cast<std::ptrdiff_t>(i),
                           [&](const FieldValue& f) { return f.field == field.id; })) {
      refuse(field.pointer, "repeated-value", "is given twice", "");
    }
  }
}

}  // namespace

Result<std::string> write_recording(std::string_view text, std::string_view source,
                                    const std::vector<FieldValue>& findings,
                                    const WhichRecord& which, const ReadOptions& options) {
  Result<std::string> result;
  const Records read = read_records(text, source, options);
  result.diagnostics = read.diagnostics;
  check_findings(findings, source, result.diagnostics);
  if (read.rejected != 0 || result.has_errors()) {
    return result;
  }
  const Record* record = chosen(read.records, which, result.diagnostics);
  if (record == nullptr) {
    return result;
  }
  const std::string_view own = text.substr(record->begin, record->end - record->begin);
  std::vector<Diagnostic> none;
  const Document document(own, {source, record->line, 1}, {kMaxDepth, kMaxRecordBytes}, none);
  const Splice splice = RecordingWriter(document, findings).splice();
  std::string written(text);
  written.replace(record->begin + splice.begin, splice.end - splice.begin, splice.text);
  const Records again = read_records(written, source, options);
  result.diagnostics.insert(result.diagnostics.end(), again.diagnostics.begin(),
                            again.diagnostics.end());
  if (again.rejected == 0 && !result.has_errors()) {
    result.value = std::move(written);
  }
  return result;
}

}  // namespace dryshaft
