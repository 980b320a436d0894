// Filled forms back into records: the text form, or records as the page saved
// them, by themselves or quoted in a mail.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <nlohmann/json.hpp>

#include "base/complaints.hpp"
#include "base/json_out.hpp"
#include "base/places.hpp"
#include "base/utf8.hpp"
#include "dryshaft/form.hpp"
#include "form/answer.hpp"
#include "form/wording.hpp"

namespace dryshaft {
namespace {

// What people put into a box.
constexpr std::array<std::string_view, 12> kMarks = {"x",
                                                     "X",
                                                     "*",
                                                     "+",
                                                     "v",
                                                     "V",
                                                     "yes",
                                                     "ok",
                                                     "\xE2\x9C\x93",
                                                     "\xE2\x9C\x94",
                                                     "\xE2\x9C\x97",
                                                     "\xE2\x98\x92"};

// ---------------------------------------------------------------- lines

struct Line {
  std::size_t begin = 0;  // of what stands after a mail's quotation marks and white space
  std::string_view text;  // without white space around it
};

// The same bytes with the quotation marks of a mail, tabs and hard spaces made
// spaces: every character keeps its place.
std::string unquoted(std::string_view text) {
  std::string out(text);
  if (out.starts_with(utf8::kByteOrderMark)) {
    std::ranges::fill_n(out.begin(), static_cast<std::ptrdiff_t>(utf8::kByteOrderMark.size()), ' ');
  }
  bool in_margin = true;
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (out[i] == '\n') {
      in_margin = true;
      continue;
    }
    if (out[i] == '\t' || (in_margin && out[i] == '>')) {
      out[i] = ' ';
    } else if (out.compare(i, 2, "\xC2\xA0") == 0) {
      out[i] = ' ';
      out[++i] = ' ';
    } else if (out[i] != ' ') {
      in_margin = false;
    }
  }
  return out;
}

std::vector<Line> lines_of(std::string_view text) {
  std::vector<Line> out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    std::size_t begin = text.find_first_not_of(" \r", at);
    begin = std::min(begin, end);
    std::string_view line = text.substr(begin, end - begin);
    line = line.substr(0, line.find_last_not_of(" \r") + 1);
    out.push_back({begin, line});
    at = end + 1;
  }
  return out;
}

bool has_words(std::string_view line, std::string_view wanted) {
  const std::string small = form::plain(line);
  return small.find(form::plain(wanted)) != std::string::npos;
}

bool is_ruler(std::string_view line) {
  return line.find_first_not_of("-=_ ") == std::string_view::npos;
}

// What an answer that was left out may be made of.
constexpr std::string_view kBlanks = "_ ";

// ----------------------------------------------------------- one text form

// What was written at one question.
struct Written {
  bool present = false;   // the question stands in the text
  std::size_t begin = 0;  // where the question stands
  std::string text;       // after "Answer:"
  std::size_t text_begin = 0;
  struct Mark {
    std::size_t begin = 0;
    std::string label;
  };
  std::vector<Mark> marks;
  // Lines without a box, an answer or words of the form.
  std::vector<Mark> stray;
};

class FormReader {
 public:
  FormReader(const Form& form, std::string_view original, std::string_view source,
             const ReadOptions& options, FormsRead& out)
      : form_(form), places_(original, {source, 1, 1}), options_(options), out_(out) {
    for (const std::string& text : {blank_text(form), buyers()}) {
      for (const Line& line : lines_of(text)) {
        const std::string plain = form::plain(line.text);
        printed_lines_.push_back(plain);
        printed_ += " " + plain;
      }
    }
    printed_ += " ";
    // Full stops at the ends of lines have gone; those inside stay.
    std::ranges::sort(printed_lines_);
    units_.key = form::kUnitsKey;
    for (const std::string_view unit : form::kUnitWords) {
      units_.choices.push_back({std::string(unit), std::string(unit), {}});
    }
  }

  // Whether a line begins a question of the form.
  [[nodiscard]] bool asks(std::string_view line) const { return key_at(line) != nullptr; }

  // `ended`: the form's last line follows.
  void read(std::span<const Line> lines, bool ended) {
    written_.assign(form_.questions.size(), {});
    units_written_ = {};
    complaints_.clear();
    at_ = nullptr;
    for (const Line& line : lines) {
      take(line);
    }
    if (!ended && !form_.questions.empty() && !written_.back().present) {
      Diagnostic& d = complain(lines.back().begin, form_.questions.back().key, "cut-short",
                               "is missing, and so is the form's last line");
      d.severity = Severity::warning;
      d.hint = "was the form cut short? What followed is not in the record";
    }
    finish(lines.front().begin);
  }

 private:
  // The form for owners also reads that for buyers; what only the latter prints is no answer.
  [[nodiscard]] std::string buyers() const {
    Form other = form_;
    other.buying = !other.buying;
    return blank_text(other);
  }

  const FormQuestion* key_at(std::string_view line) const {
    if (!line.starts_with('[')) {
      return nullptr;
    }
    const std::string_view key = line.substr(1, std::min(line.find(']'), line.size()) - 1);
    const std::string plain = form::plain(key);
    if (plain == form::kUnitsKey) {
      return &units_;
    }
    return line.find(']') == std::string_view::npos ? nullptr : form_.find(plain);
  }

  Written& written(const FormQuestion& q) {
    return &q == &units_ ? units_written_
                         : written_[static_cast<std::size_t>(&q - form_.questions.data())];
  }

  Diagnostic& complain(std::size_t offset, std::string_view key, std::string_view code,
                       std::string message) {
    Diagnostic d = places_.complaint(offset, code, std::move(message));
    d.pointer = fmt::format("[{}]", key);
    return complaints_.emplace_back(std::move(d));
  }

  void take(const Line& line) {
    if (line.text.empty() || is_ruler(line.text)) {
      return;
    }
    if (const FormQuestion* q = key_at(line.text)) {
      begin(*q, line);
      return;
    }
    if (line.text.starts_with('[') || line.text.starts_with('(')) {
      if (box(line)) {
        return;
      }
    }
    if (at_ == nullptr) {
      return;  // a greeting, or the head of the form
    }
    const std::string small = form::plain(line.text.substr(0, form::kAnswer.size()));
    if (at_->choices.empty() && small == form::plain(form::kAnswer)) {
      const std::size_t colon = line.text.find(':');
      const std::size_t from = colon == std::string_view::npos ? small.size() : colon + 1;
      answering_ = true;
      append(line.text.substr(from), line.begin + from);
      return;
    }
    if (at_->choices.empty() && answering_) {
      if (!std::ranges::binary_search(printed_lines_, form::plain(line.text)) &&
          (at_->row().type == FieldType::text || written(*at_).text.empty())) {
        append(line.text, line.begin);
      } else {
        stray(line.text, line.begin);
      }
      return;
    }
    stray(line.text, line.begin);
  }

  void begin(const FormQuestion& q, const Line& line) {
    Written& w = written(q);
    if (w.present) {
      Diagnostic& d = complain(line.begin, q.key, "question-twice", "stands twice in this form");
      d.hint = "keep the one that holds, or begin each form with its first line";
    }
    w.present = true;
    w.begin = line.begin;
    at_ = &q;
    answering_ = false;
    const std::size_t from = line.text.find(']') + 1;
    // Somebody may have answered right behind the question.
    const std::string_view rest = line.text.substr(from);
    const std::size_t mark = rest.rfind('?');
    if (mark != std::string_view::npos && is_printed(rest.substr(0, mark))) {
      const std::string_view more = form::trimmed(rest.substr(mark + 1), kBlanks);
      if (!more.empty()) {
        stray(more, line.begin + from + mark + 1 + rest.substr(mark + 1).find(more));
      }
    }
  }

  [[nodiscard]] bool is_printed(std::string_view text) const {
    const std::string plain = form::plain(text);
    return plain.empty() || printed_.find(" " + plain + " ") != std::string::npos ||
           printed_.find(" " + plain + "?") != std::string::npos;
  }

  void append(std::string_view text, std::size_t begin) {
    const std::string_view words = form::trimmed(text, kBlanks);
    if (words.empty()) {
      return;
    }
    Written& w = written(*at_);
    if (w.text.empty()) {
      w.text_begin = begin + text.find(words);
    } else {
      w.text += at_->long_text() ? '\n' : ' ';
    }
    w.text += words;
  }

  void stray(std::string_view text, std::size_t begin) {
    if (at_ == &units_ && !is_printed(text) && form::unit_named(text)) {
      written(*at_).stray.push_back({begin, std::string(text)});
      return;
    }
    const bool answer = !at_->choices.empty() && !is_printed(text);
    // A printed line is never a whole answer, save where somebody wrote one.
    const bool exact = std::ranges::any_of(at_->choices, [&](const FormChoice& c) {
      return form::plain(c.text) == form::plain(text) || form::plain(c.word) == form::plain(text);
    });
    if (answer || exact || !is_printed(text)) {
      written(*at_).stray.push_back({begin, std::string(text)});
    }
  }

  // A line that begins with a box, or with something in brackets that is none.
  bool box(const Line& line) {
    const char close = line.text.front() == '[' ? ']' : ')';
    const std::size_t end = line.text.find(close);
    if (end == std::string_view::npos) {
      return false;
    }
    const std::string_view inside = form::trimmed(line.text.substr(1, end - 1), kBlanks);
    const std::string_view label = line.text.substr(end + 1);
    const bool marked = std::ranges::find(kMarks, inside) != kMarks.end();
    if (at_ != nullptr && !at_->choices.empty() && (inside.empty() || marked)) {
      if (marked) {
        written(*at_).marks.push_back({line.begin, std::string(label)});
      }
      return true;
    }
    if (inside.empty() || line.text.front() == '(') {
      return at_ != nullptr && inside.empty();
    }
    if (at_ == nullptr && !is_key(inside)) {
      return false;  // before any question: a mail's own brackets
    }
    if (is_key(inside)) {
      std::vector<std::string_view> keys = {form::kUnitsKey};
      for (const FormQuestion& q : form_.questions) {
        keys.emplace_back(q.key);
      }
      const std::string_view near = closest(inside, keys);
      if (near.empty()) {
        return false;
      }
      Diagnostic& d =
          complain(line.begin, inside, "unknown-question", "is no question of this form");
      d.hint = fmt::format("did you mean [{}]?", near);
      at_ = nullptr;
      return true;
    }
    if (at_ == nullptr || at_->choices.empty()) {
      return false;
    }
    Diagnostic& d = complain(line.begin, at_->key, "bad-mark",
                             fmt::format("is marked \"{}\"", utf8::harmless(inside, 20)));
    d.allowed = "x, or nothing";
    d.hint = "put an x between the brackets of the answer that fits";
    return true;
  }

  static bool is_key(std::string_view text) {
    return text.size() >= 3 &&
           std::ranges::all_of(text, [](char c) { return (c >= 'a' && c <= 'z') || c == '-'; });
  }

  // -------------------------------------------------------------- answers

  void finish(std::size_t form_begin) {
    FormAnswers answers(form_.questions.size());
    const std::optional<Units> units = read_units();
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      Written& w = written_[i];
      answers[i] = q.choices.empty() ? typed(q, w, units) : chosen(q, w);
      for (const Written::Mark& s : w.stray) {
        Diagnostic& d = complain(s.begin, q.key, "extra-words",
                                 fmt::format("holds words that were not understood: \"{}\"",
                                             utf8::harmless(s.label, 60)));
        d.severity = Severity::warning;
        d.hint = fmt::format("they were left out; what matters belongs under [{}]", note_key());
      }
    }
    name(answers, form_begin);
    check_gates(answers);
    if (has_errors()) {
      add_missing(answers, form_begin);
      return refuse();
    }
    FormRecords made = to_records(form_, answers, options_);
    for (FormComplaint& c : made.complaints) {
      relocate(c, form_begin);
    }
    if (has_errors()) {
      return refuse();
    }
    for (Record& r : made.records) {
      r.source = places_.origin().source;
      r.line = places_.place(form_begin).line;
    }
    sort_complaints();
    std::ranges::move(complaints_, std::back_inserter(out_.records.diagnostics));
    std::ranges::move(made.records, std::back_inserter(out_.records.records));
    out_.text += made.text;
  }

  [[nodiscard]] std::string note_key() const {
    const auto note = std::ranges::find(form_.questions, Field::note, &FormQuestion::field);
    return note == form_.questions.end() ? std::string() : note->key;
  }

  [[nodiscard]] bool has_errors() const {
    return std::ranges::any_of(complaints_,
                               [](const Diagnostic& d) { return d.severity == Severity::error; });
  }

  void sort_complaints() {
    std::ranges::stable_sort(complaints_, {},
                             [](const Diagnostic& d) { return std::pair(d.line, d.column); });
  }

  void refuse() {
    sort_complaints();
    std::ranges::move(complaints_, std::back_inserter(out_.records.diagnostics));
    ++out_.records.rejected;
  }

  std::optional<Units> read_units() {
    Written& w = units_written_;
    const FormAnswer a = chosen(units_, w);
    if (a.words.empty()) {
      return w.stray.empty() ? std::nullopt : form::unit_named(w.stray.front().label);
    }
    return a.words.front() == form::kUnitWords[0] ? Units::km : Units::mi;
  }

  FormAnswer chosen(const FormQuestion& q, Written& w) {
    FormAnswer out;
    const auto take_one = [&](const Written::Mark& m) {
      std::optional<std::string> word = form::choice_meant(q, m.label);
      if (!word) {
        Diagnostic& d =
            complain(m.begin, q.key, "bad-value",
                     fmt::format("is \"{}\"", utf8::harmless(form::plain(m.label), 60)));
        d.allowed = form::offered(q);
        d.hint = form::meant_hint(q, form::plain(m.label));
      } else if (std::ranges::find(out.words, *word) == out.words.end()) {
        if (!out.words.empty() &&
            (!q.several || *word == kDoNotKnow.id || out.words.front() == kDoNotKnow.id)) {
          Diagnostic& d = complain(m.begin, q.key, "two-answers",
                                   fmt::format("is marked more than once: \"{}\" as well",
                                               utf8::harmless(form::plain(m.label), 60)));
          d.hint = "leave one mark";
          return;
        }
        out.words.push_back(*word);
      }
    };
    for (const Written::Mark& m : w.marks) {
      take_one(m);
    }
    // An answer written out where a mark was wanted.
    if (w.marks.empty()) {
      for (auto s = w.stray.begin(); s != w.stray.end() && out.words.empty(); ++s) {
        std::string_view said = s->label;
        if (form::plain(said.substr(0, form::kAnswer.size())) == form::plain(form::kAnswer)) {
          said.remove_prefix(form::kAnswer.size());
        }
        if (std::optional<std::string> word = form::choice_meant(q, said)) {
          out.words.push_back(*word);
          w.stray.erase(s);
          break;
        }
      }
    }
    if (!out.words.empty() && out.words.front() == kDoNotKnow.id) {
      out.words.clear();
    }
    // The order of the list, whatever the order of the marks.
    std::ranges::sort(out.words, {}, [&](const std::string& word) {
      return std::ranges::find(q.choices, word, &FormChoice::word) - q.choices.begin();
    });
    return out;
  }

  FormAnswer typed(const FormQuestion& q, Written& w, std::optional<Units> units) {
    if (w.text.empty() && !w.stray.empty()) {  // without "Answer:"
      w.text = w.stray.front().label;
      w.text_begin = w.stray.front().begin;
      w.stray.erase(w.stray.begin());
    }
    ReadAnswer read = read_answer(q, w.text, units);
    if (!read.problem.empty()) {
      Diagnostic& d = complain(w.text_begin, q.key, "bad-value", std::move(read.problem));
      d.allowed = std::move(read.allowed);
      d.hint = read.no_unit ? fmt::format("mark one of them at [{}], or write it after the number",
                                          form::kUnitsKey)
                            : std::move(read.hint);
    }
    return read.answer;
  }

  // A car without a name is called after its place, so that two of them never
  // become one car's history.
  void name(FormAnswers& answers, std::size_t form_begin) {
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (q.field != Field::unit_id || !answers[i].words.empty()) {
        continue;
      }
      const std::string_view source = places_.origin().source;
      std::string name = fmt::format("line {} of {}", places_.place(form_begin).line,
                                     utf8::harmless(source.substr(source.rfind('/') + 1), 40));
      Diagnostic& d = complain(written_[i].present ? written_[i].begin : form_begin, q.key,
                               "no-name", fmt::format("is blank: the car is called \"{}\"", name));
      d.severity = Severity::warning;
      answers[i].words = {std::move(name)};
    }
  }

  void check_gates(FormAnswers& answers) {
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (answers[i].words.empty() || q.gate_words.empty()) {
        continue;
      }
      const FormQuestion& gate = form_.questions[q.gate];
      FormAnswer& gate_answer = answers[q.gate];
      const std::size_t offset = place_of(i);
      if (gate_answer.words.empty() && q.gate_words.size() == 1) {
        gate_answer.words = q.gate_words;
        Diagnostic& d = complain(
            offset, q.key, "taken-as",
            fmt::format("is answered, so [{}] is taken as \"{}\"", gate.key, q.gate_words.front()));
        d.severity = Severity::warning;
      } else if (gate_answer.words.empty()) {
        Diagnostic& d = complain(offset, q.key, "not-asked",
                                 fmt::format("is answered, but [{}] is not", gate.key));
        d.hint = fmt::format("answer [{}] too", gate.key);
      } else if (!applies(form_, answers, i)) {
        Diagnostic& d = complain(offset, q.key, "not-asked",
                                 fmt::format("is answered, but [{}] is \"{}\"", gate.key,
                                             text_of(gate, gate_answer.words.front())));
        d.hint = "take out one of the two answers";
      }
    }
  }

  static std::string text_of(const FormQuestion& q, const std::string& word) {
    const auto found = std::ranges::find(q.choices, word, &FormChoice::word);
    return found == q.choices.end() ? word : found->text;
  }

  [[nodiscard]] std::size_t place_of(std::size_t question) const {
    const Written& w = written_[question];
    return !w.marks.empty() ? w.marks.front().begin : w.text.empty() ? w.begin : w.text_begin;
  }

  // A form that is refused for something else also hears what it lacks.
  void add_missing(const FormAnswers& answers, std::size_t form_begin) {
    FormAnswers only(answers.size());
    for (std::size_t i = 0; i < answers.size(); ++i) {
      if (form_.questions[i].gate_words.empty()) {
        only[i] = answers[i];
      }
    }
    for (FormComplaint& c : to_records(form_, only, options_).complaints) {
      relocate(c, form_begin);
    }
  }

  void relocate(FormComplaint& c, std::size_t form_begin) {
    const Written& w = written_[c.question];
    const std::string& key = form_.questions[c.question].key;
    const bool known = std::ranges::any_of(complaints_, [&](const Diagnostic& d) {
      return d.severity == Severity::error && d.pointer == c.diagnostic.pointer;
    });
    if (known) {
      return;
    }
    Diagnostic& d = complain(w.present ? place_of(c.question) : form_begin, key, c.diagnostic.code,
                             std::move(c.diagnostic.message));
    d.allowed = std::move(c.diagnostic.allowed);
    d.hint =
        c.diagnostic.code == "missing-field"
            ? fmt::format("write it after \"{}\"; there is no record without it", form::kAnswer)
            : std::move(c.diagnostic.hint);
  }

  const Form& form_;
  Places places_;
  const ReadOptions& options_;
  FormsRead& out_;
  FormQuestion units_;
  std::vector<std::string> printed_lines_;  // sorted
  std::string printed_;
  std::vector<Written> written_;
  Written units_written_;
  std::vector<Diagnostic> complaints_;
  const FormQuestion* at_ = nullptr;
  bool answering_ = false;
};

// -------------------------------------------------------- records in a text

// Good records as text, one a line.
std::string as_lines(std::string_view text, const std::vector<Record>& good) {
  std::string out;
  for (const Record& r : good) {
    out +=
        json_out::of(nlohmann::ordered_json::parse(text.substr(r.begin, r.end - r.begin))) + '\n';
  }
  return out;
}

bool begins_record(std::string_view line) {
  return line.starts_with('{') || line.starts_with("[{") || line == "[";
}

// Spaces instead of what stands there; places stay what they are.
void blank_out(std::string& text, std::size_t begin, std::size_t end) {
  for (std::size_t i = begin; i < end; ++i) {
    if (text[i] != '\n') {
      text[i] = ' ';
    }
  }
}

// The text with all blanked out that stands before its first line with a
// record's bracket and after its last.
std::string record_lines_only(std::string text) {
  std::size_t begin = text.size();
  std::size_t end = 0;
  for (const Line& line : lines_of(text)) {
    if (line.text.starts_with('{') || line.text.starts_with('[')) {
      begin = std::min(begin, line.begin);
    }
    if (line.text.ends_with('}') || line.text.ends_with(']')) {
      end = line.begin + line.text.size();
    }
  }
  blank_out(text, 0, begin);
  blank_out(text, end, text.size());
  return text;
}

}  // namespace

FormsRead read_forms(const Form& form, std::string_view text, std::string_view source,
                     const ReadOptions& options) {
  FormsRead out;
  const auto refuse = [&](std::size_t at, std::string_view code, std::string message,
                          std::string_view hint) {
    Diagnostic d = Places(text, {source, 1, 1}).complaint(at, code, std::move(message));
    d.hint = hint;
    add_complaint(out.records.diagnostics, std::move(d));
    ++out.records.rejected;
  };
  if (const std::size_t bad = utf8::first_invalid(text); bad < text.size()) {
    refuse(bad, "utf-8",
           fmt::format("byte 0x{:02X} is not UTF-8", static_cast<unsigned char>(text[bad])),
           "save the file as UTF-8");
    return out;
  }
  const std::string plain = unquoted(text);
  const std::vector<Line> lines = lines_of(plain);
  FormReader reader(form, text, source, options, out);
  // A form begins with its first line, or, where that is lost, with its first question.
  constexpr std::size_t kNowhere = static_cast<std::size_t>(-1);
  std::size_t begin = kNowhere;
  std::string rest = plain;  // what no form takes
  const auto finish = [&](std::size_t end, bool ended) {
    // A mail's subject may hold the first line alone.
    const auto part =
        begin == kNowhere ? std::span<const Line>() : std::span(lines).subspan(begin, end - begin);
    if (std::ranges::any_of(part, [&](const Line& line) { return reader.asks(line.text); })) {
      reader.read(part, ended);
      blank_out(rest, part.front().begin, part.back().begin + part.back().text.size());
    }
    begin = kNowhere;
  };
  const std::size_t last_record = plain.rfind(kRecordFormat);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const std::string_view line = lines[i].text;
    if (has_words(line, form::kBegin)) {
      finish(i, false);
      begin = i;
    } else if (has_words(line, form::kEnd)) {
      finish(i, true);
      blank_out(rest, lines[i].begin, lines[i].begin + line.size());
    } else if (begins_record(line) && last_record != std::string::npos &&
               last_record > lines[i].begin) {
      finish(i, false);  // a record behind a form that has no last line
    } else if (begin == kNowhere && reader.asks(line)) {
      begin = i;
    }
  }
  finish(lines.size(), false);
  if (rest.find(kRecordFormat) != std::string::npos) {
    const std::string records = record_lines_only(std::move(rest));
    Records read = read_records(records, source, options);
    out.text += as_lines(records, read.records);
    out.records.rejected += read.rejected;
    std::ranges::move(read.records, std::back_inserter(out.records.records));
    std::ranges::move(read.diagnostics, std::back_inserter(out.records.diagnostics));
  } else if (out.records.records.empty() && out.records.rejected == 0) {
    refuse(std::min(text.find_first_not_of(" \r\n"), text.size()), "no-form",
           "holds no form and no record", "a blank form comes from `dryshaft form blank`");
  }
  return out;
}

}  // namespace dryshaft
