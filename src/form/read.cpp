// Filled forms back into records: the text form, or records as the page saved
// them, by themselves or quoted in a mail.
#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <map>
#include <nlohmann/json.hpp>

#include "base/complaints.hpp"
#include "base/json_out.hpp"
#include "base/places.hpp"
#include "base/sha256.hpp"
#include "base/utf8.hpp"
#include "dryshaft/form.hpp"
#include "form/answer.hpp"
#include "form/filled.hpp"
#include "form/wording.hpp"

namespace dryshaft {
namespace {

// ---------------------------------------------------------------- lines

struct Line {
  std::size_t begin = 0;  // of what stands after a mail's quotation marks and white space
  std::string_view text;  // without white space around it
};

// Bytes of the hard, thin or wide space that stands here, or 0.
std::size_t wide_space(std::string_view text, std::size_t at) {
  const utf8::Character c = utf8::decode(text, at);
  return utf8::is_wide_blank(c.code) ? c.length : 0;
}

// Bytes of a sign that nobody sees and that says nothing, such as a soft hyphen, or 0.
std::size_t hidden_sign(std::string_view text, std::size_t at) {
  const utf8::Character c = utf8::decode(text, at);
  const bool hidden = c.code == 0xAD || c.code == 0x200B || c.code == 0x2060 || c.code == 0xFEFF;
  return hidden ? c.length : 0;
}

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
    const std::size_t hidden = in_margin ? hidden_sign(out, i) : 0;
    if (out[i] == '\t' || (in_margin && out[i] == '>')) {
      out[i] = ' ';
    } else if (const std::size_t length = hidden > 0 ? hidden : wide_space(out, i); length > 0) {
      out.replace(i, length, length, ' ');
      i += length - 1;
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

// What each record says, for telling copies: without the name where the car got that here, and
// without blanks, which mail programs change.
void add_said(std::string_view lines, bool named, std::vector<std::string>& out) {
  for (std::size_t at = 0; at < lines.size();) {
    const std::size_t end = std::min(lines.find('\n', at), lines.size());
    auto record = nlohmann::ordered_json::parse(lines.substr(at, end - at));
    if (named) {
      record["unit"].erase("id");
    }
    std::string text = json_out::of(record);
    for (std::size_t line = text.find("\\n"); line != std::string::npos;
         line = text.find("\\n", line)) {
      text.erase(line, 2);
    }
    std::erase(text, ' ');
    out.push_back(std::move(text));
    at = end + 1;
  }
}

// ----------------------------------------------------------- one text form

// A line that begins a question, or looks like it.
struct Heading {
  std::string key;
  const FormQuestion* question = nullptr;  // none: no question has that key
  std::size_t end = 0;                     // of the key, in the line
};

// The questions of a text form, with "units", which no record asks for.
class Questions {
 public:
  explicit Questions(const Form& form) : form_(form) {
    units_.key = form::kUnitsKey;
    for (const std::string_view unit : form::kUnitWords) {
      units_.choices.push_back({std::string(unit), std::string(unit), {}});
    }
  }

  [[nodiscard]] const FormQuestion& units() const { return units_; }
  [[nodiscard]] const FormQuestion* find(std::string_view key) const {
    return key == form::kUnitsKey ? &units_ : form_.find(key);
  }

  [[nodiscard]] std::optional<Heading> heading(std::string_view line) const {
    const std::size_t open = line.find('[');
    const std::size_t close = std::min(line.find(']', open), line.size());
    if (open == std::string_view::npos || close == line.size() ||
        !form::words_of(line.substr(0, open)).empty()) {
      return std::nullopt;
    }
    const std::string_view inside = line.substr(open + 1, close - open - 1);
    Heading out{form::as_key(inside), nullptr, close + 1};
    out.question = find(out.key);
    if (out.question != nullptr ? speaks_of_key(line.substr(close + 1)) : !looks_like_key(inside)) {
      return std::nullopt;
    }
    return out;
  }

  // "did you mean [noise-level]?", by the words of a key or by its letters; or empty.
  [[nodiscard]] std::string meant(std::string_view key) const {
    std::vector<std::string_view> keys = {form::kUnitsKey};
    for (const FormQuestion& q : form_.questions) {
      keys.emplace_back(q.key);
    }
    std::string out;
    for (const std::string_view one : keys) {
      if (fmt::format("-{}-", one).find(fmt::format("-{}-", key)) != std::string::npos) {
        out += fmt::format("{}[{}]", out.empty() ? "" : " or ", one);
      }
    }
    if (out.empty()) {
      const std::string_view near = closest(key, keys);
      out = near.empty() ? std::string() : fmt::format("[{}]", near);
    }
    return out.empty() ? out : fmt::format("did you mean {}?", out);
  }

 private:
  // The form's own text, which a mail program may have broken before a key.
  static bool speaks_of_key(std::string_view behind) {
    return behind.starts_with(',') || form::trimmed(behind).starts_with("is \"") ||
           form::trimmed(behind).starts_with("is \xE2\x80");
  }
  static bool looks_like_key(std::string_view inside) {
    constexpr std::size_t kLongest = 60;
    const bool letters = std::ranges::any_of(
        inside, [](char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); });
    return letters && inside.size() > 1 && inside.size() <= kLongest && !form::is_mark(inside) &&
           inside.find_first_of("{}\":<>\\=") == std::string_view::npos;
  }

  const Form& form_;
  FormQuestion units_;
};

// The printed forms: for owners, and for buyers, which the form for owners reads as well.
class Prints {
 public:
  Prints(const Form& form, const Questions& questions) {
    cut(blank_text(form), questions);
    cut(blank_text(for_buyers(form)), questions);
  }

  // How a question, or the head of the form (no key), is printed: the one that fits better.
  [[nodiscard]] const form::Print& of(const std::string& key, std::string_view written) const {
    const std::vector<form::Print>& all = prints_.at(key);
    return all.size() < 2 || form::match(all[0], written).left_over() <=
                                 form::match(all[1], written).left_over()
               ? all[0]
               : all[1];
  }

 private:
  static Form for_buyers(const Form& owners) {
    Form out = owners;
    out.reader = FormFor::buyer;
    std::erase_if(out.questions, [](const FormQuestion& q) { return q.row().form.needs_history; });
    for (FormQuestion& q : out.questions) {
      const FormQuestion* gate = out.find(owners.questions[q.gate].key);
      q.gate = gate == nullptr ? 0 : static_cast<std::size_t>(gate - out.questions.data());
      if (gate == nullptr) {
        q.gate_words.clear();
      }
    }
    return out;
  }

  void cut(std::string_view text, const Questions& questions) {
    const FormQuestion* q = nullptr;
    std::size_t begin = 0;
    for (const Line& line : lines_of(text)) {
      std::optional<Heading> next = questions.heading(line.text);
      if (next || line.text == form::kEnd) {
        keep(q, text.substr(begin, line.begin - begin));
        q = next ? next->question : nullptr;
        begin = line.begin + (next ? next->end : 0);
      }
    }
  }

  void keep(const FormQuestion* q, std::string_view text) {
    std::vector<std::string> labels;
    if (q != nullptr && q->choices.empty()) {
      labels.emplace_back(form::kAnswer);
    }
    for (std::size_t c = 0; q != nullptr && c < q->choices.size(); ++c) {
      labels.push_back(q->choices[c].text);
    }
    if (q != nullptr && !q->choices.empty() && q->key != form::kUnitsKey) {
      labels.emplace_back(kDoNotKnow.plain);
    }
    std::vector<form::Print>& all = prints_[q == nullptr ? std::string() : q->key];
    if (all.empty() || all.front().text != text) {
      all.emplace_back(std::string(text), labels);
    }
  }

  std::map<std::string, std::vector<form::Print>> prints_;
};

// A question in a filled form.
struct Written {
  bool present = false;    // the question stands in the text
  std::size_t begin = 0;   // where it stands
  form::Span text;         // from behind its key to the next
  std::size_t answer = 0;  // where its answer stands
};

class FormReader {
 public:
  // `plain` is `original` without what a mail program put in, byte for byte.
  FormReader(const Form& form, std::string_view original, std::string_view plain,
             std::string_view source, const ReadOptions& options, FormsRead& out)
      : form_(form),
        questions_(form),
        prints_(form, questions_),
        places_(original, {source, 1, 1}),
        plain_(plain),
        options_(options),
        out_(out) {}

  // Whether a line begins a question of the form.
  [[nodiscard]] bool asks(std::string_view line) const {
    const std::optional<Heading> heading = questions_.heading(line);
    return heading && heading->question != nullptr;
  }

  // `ended`: the form's last line follows.
  void read(std::span<const Line> lines, bool ended) {
    written_.assign(form_.questions.size(), {});
    units_written_ = {};
    complaints_.clear();
    remarks_.clear();
    end_ = lines.back().begin + lines.back().text.size();
    find_questions(lines);
    finish(lines.front().begin, ended);
  }

 private:
  Written& written(const FormQuestion& q) {
    return &q == &questions_.units()
               ? units_written_
               : written_[static_cast<std::size_t>(&q - form_.questions.data())];
  }
  [[nodiscard]] std::string_view text_of(const form::Span& span) const {
    return plain_.substr(span.begin, span.end - span.begin);
  }

  // What stands there, with one space for each that a mail program made hard.
  [[nodiscard]] std::string as_written(std::size_t begin, std::size_t size) const {
    const std::string_view text = places_.text().substr(begin, size);
    std::string out;
    for (std::size_t i = 0; i < text.size();) {
      const std::size_t space = wide_space(text, i);
      out += space > 0 || text[i] == '\t' ? ' ' : text[i];
      i += std::max<std::size_t>(space, 1);
    }
    return out;
  }

  Diagnostic& complain(std::size_t offset, std::string_view key, std::string_view code,
                       std::string message) {
    Diagnostic d = places_.complaint(offset, code, std::move(message));
    d.pointer = fmt::format("[{}]", key);
    return complaints_.emplace_back(std::move(d));
  }

  // --------------------------------------------------------- questions

  void find_questions(std::span<const Line> lines) {
    std::size_t head_end = end_;
    const FormQuestion* at = nullptr;
    for (const Line& line : lines) {
      const std::optional<Heading> heading = questions_.heading(line.text);
      if (!heading || (heading->question == nullptr && at != nullptr &&
                       form::choice_meant(*at, line.text.substr(heading->end)))) {
        continue;  // `[sure] yes` is an odd mark
      }
      head_end = std::min(head_end, line.begin);
      if (at != nullptr) {
        written(*at).text.end = line.begin;
      }
      at = heading->question;
      if (at == nullptr) {
        Diagnostic& d =
            complain(line.begin, heading->key, "unknown-question", "is no question of this form");
        d.hint = questions_.meant(heading->key);
        continue;
      }
      Written& w = written(*at);
      if (w.present) {
        Diagnostic& d =
            complain(line.begin, at->key, "question-twice", "stands twice in this form");
        d.hint = "keep the one that holds, or begin each form with its first line";
      }
      w = {true, line.begin, {line.begin + heading->end, end_}, line.begin};
    }
    read_head({lines.front().begin, head_end});
  }

  // Before the first question: a remark belongs to the whole form.
  void read_head(const form::Span& head) {
    const std::string_view text = text_of(head);
    for (const form::Piece& piece : form::pieces_in(prints_.of({}, text), text)) {
      if (!form::is_mark(piece.text)) {  // "like [x]"
        remark(note_key(), head.begin + piece.begin, piece.text);
      }
    }
  }

  // What a form lost, with an answer perhaps. A key that was mistyped is missing as well.
  void find_missing(const FormAnswers& answers, bool ended) {
    if (std::ranges::any_of(complaints_,
                            [](const Diagnostic& d) { return d.code == "unknown-question"; })) {
      return;
    }
    for (std::size_t i = 0; i < written_.size(); ++i) {
      std::size_t next = i;
      while (next < written_.size() && is_missed(answers, next)) {
        ++next;
      }
      if (next > i) {
        tell_missing(i, next, next == written_.size() && !ended);
        i = next - 1;
      }
    }
  }

  void tell_missing(std::size_t first, std::size_t next, bool cut) {
    const std::string& key = form_.questions[first].key;
    const bool after = first > 0 && written_[first - 1].present;
    Diagnostic& d = complain(
        after && !cut ? written_[first - 1].begin : end_, key,
        cut ? "cut-short" : "question-missing",
        fmt::format("is missing{}{}",
                    next > first + 1
                        ? fmt::format(", with all up to [{}]", form_.questions[next - 1].key)
                        : "",
                    cut ? ", and so is the form's last line" : ""));
    d.hint =
        fmt::format("{}hat was left out on purpose is written as its key alone on a line, [{}]",
                    cut ? "was the form cut short? W" : "w", key);
  }

  // A buyer is not asked what only the car's history tells, and nobody what does not apply.
  [[nodiscard]] bool is_missed(const FormAnswers& answers, std::size_t question) const {
    const FormQuestion& q = form_.questions[question];
    if (written_[question].present || (q.row().form.needs_history && is_buyers())) {
      return false;
    }
    for (std::size_t at = question; !form_.questions[at].gate_words.empty();
         at = form_.questions[at].gate) {
      if (!answers[form_.questions[at].gate].words.empty() && !applies(form_, answers, at)) {
        return false;
      }
    }
    return true;
  }
  [[nodiscard]] bool is_buyers() const {
    for (std::size_t i = 0; i < written_.size(); ++i) {
      if (written_[i].present && form_.questions[i].row().form.needs_history) {
        return false;
      }
    }
    return true;
  }

  // -------------------------------------------------------------- answers

  void finish(std::size_t form_begin, bool ended) {
    FormAnswers answers(form_.questions.size());
    const std::optional<Units> units = read_units();
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (written_[i].present) {
        answers[i] = q.choices.empty() ? typed(q, written_[i], units) : chosen(q, written_[i]);
      }
    }
    find_missing(answers, ended);
    keep_remarks(answers);
    const bool named = name(answers, form_begin);
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
    add_said(made.text, named, out_.said);
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

  // Words that are no answer go with the record: nobody can say what they are worth.
  void remark(std::string_view key, std::size_t begin, std::string_view text) {
    remarks_.push_back({std::string(key), {begin, as_written(begin, text.size())}});
  }
  void keep_remarks(FormAnswers& answers) {
    for (const Remark& r : remarks_) {
      Diagnostic& d = complain(
          r.piece.begin, r.key, "extra-words",
          fmt::format("holds words beside its answer: \"{}\"", utf8::harmless(r.piece.text, 60)));
      d.severity = Severity::warning;
      d.hint = "they are kept in the record's note";
      for (std::size_t i = 0; i < answers.size(); ++i) {
        if (form_.questions[i].field == Field::note) {
          std::string note = answers[i].words.empty() ? "" : answers[i].words.front() + '\n';
          note += r.key == note_key() ? r.piece.text : fmt::format("[{}] {}", r.key, r.piece.text);
          answers[i].words = {std::move(note)};
        }
      }
    }
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
    if (!units_written_.present) {
      return std::nullopt;
    }
    const FormAnswer a = chosen(questions_.units(), units_written_);
    return a.words.empty()                          ? std::nullopt
           : a.words.front() == form::kUnitWords[0] ? std::optional(Units::km)
                                                    : std::optional(Units::mi);
  }

  // ------------------------------------------------------------- choices

  // The choices of a question as they stand in the form, with what was written there.
  struct Chosen {
    const FormQuestion& q;
    Written& w;
    FormAnswer answer;
    bool failed = false;
  };

  FormAnswer chosen(const FormQuestion& q, Written& w) {
    const std::string_view text = text_of(w.text);
    form::Boxes found = form::boxes_in(prints_.of(q.key, text), text);
    Chosen c{q, w, {}};
    bool definite = false;
    for (form::Box& box : found.boxes) {
      recognise(q, box);
      definite = definite || box.state == form::Box::State::marked;
    }
    std::erase_if(found.pieces, [](const form::Piece& p) {
      return form::plain(p.text) == form::plain(form::kAnswer);
    });
    for (const form::Box& box : found.boxes) {
      take(c, box, definite);
    }
    take_pieces(c, found);
    if (!c.failed) {
      check_choices_left(c, found);
    }
    if (!c.answer.words.empty() && c.answer.words.front() == kDoNotKnow.id) {
      c.answer.words.clear();
    }
    // The order of the list, whatever the order of the marks.
    std::ranges::sort(c.answer.words, {}, [&](const std::string& word) {
      return std::ranges::find(q.choices, word, &FormChoice::word) - q.choices.begin();
    });
    return c.answer;
  }

  static std::string word_of(const FormQuestion& q, std::size_t label) {
    return label < q.choices.size() ? q.choices[label].word : std::string(kDoNotKnow.id);
  }
  static std::string label_of(const FormQuestion& q, const form::Box& box) {
    return box.label == form::kNone       ? form::plain(box.label_text)
           : box.label < q.choices.size() ? q.choices[box.label].text
                                          : std::string(kDoNotKnow.plain);
  }

  // A label that was cut, or, beside an empty box, mistyped; and a "yes" that marks "no".
  static void recognise(const FormQuestion& q, form::Box& box) {
    if (box.label == form::kNone) {
      std::optional<std::string> word = form::choice_meant(q, box.label_text);
      if (!word && box.state == form::Box::State::blank) {
        word = near_label(q, box.label_text);
      }
      for (std::size_t c = 0; word && c <= q.choices.size(); ++c) {
        if (word_of(q, c) == *word) {
          box.label = c;
        }
      }
    }
    const std::optional<std::string> other =
        box.mark.empty() ? std::nullopt : form::choice_meant(q, box.mark);
    if (box.state == form::Box::State::marked && box.label != form::kNone && other &&
        *other != word_of(q, box.label)) {
      box.state = form::Box::State::unclear;
      box.inside = box.mark;
    }
  }

  // The choice whose words these are, but for a letter or two.
  static std::optional<std::string> near_label(const FormQuestion& q, std::string_view written) {
    std::vector<std::string_view> texts = {kDoNotKnow.plain};
    for (const FormChoice& c : q.choices) {
      texts.emplace_back(c.text);
    }
    const std::string_view near = closest(form::plain(written), texts);
    const std::vector<form::Word> words = form::words_of(written);
    const bool marked =
        std::ranges::any_of(words, [](const form::Word& w) { return form::is_mark(w.plain); });
    if (near.empty() || marked || words.size() > form::words_of(near).size()) {
      return std::nullopt;
    }
    return form::choice_meant(q, near);
  }

  // One choice with what stands beside it. `definite`: some choice has a mark.
  void take(Chosen& c, const form::Box& box, bool definite) {
    const std::size_t begin = c.w.text.begin + box.begin;
    const std::string label = label_of(c.q, box);
    if (box.state == form::Box::State::unclear) {
      Diagnostic& d = complain(begin, c.q.key, "bad-mark",
                               fmt::format("is marked \"{}\"", utf8::harmless(box.inside, 20)));
      d.allowed = "x, or nothing";
      d.hint = kMarkHint;
      c.failed = true;
      return;
    }
    const bool marked = box.state == form::Box::State::marked || box.pointed_at();
    if (marked) {
      answer(c, begin, box, label);
    } else if (box.label == form::kNone && definite && !box.odd()) {
      Diagnostic& d = complain(
          begin, c.q.key, "unknown-choice",
          fmt::format("does not offer \"{}\", which has no mark", utf8::harmless(label, 60)));
      d.severity = Severity::warning;
      return;
    } else if (!box.words.text.empty() || box.odd() || box.label == form::kNone) {
      const std::string beside = !box.words.text.empty() ? box.words.text
                                 : box.odd()             ? box.before.signs + box.after.signs
                                                         : std::string();
      Diagnostic& d = box.label == form::kNone
                          ? complain(begin, c.q.key, "bad-value",
                                     fmt::format("is \"{}\"", utf8::harmless(label, 60)))
                          : complain(begin, c.q.key, "no-mark",
                                     fmt::format("says \"{}\" beside \"{}\", and has no mark there",
                                                 utf8::harmless(beside, 60), label));
      d.allowed = box.label == form::kNone ? form::offered(c.q) : std::string();
      d.hint = kMarkHint;
      c.failed = true;
      return;
    }
    if (!box.words.text.empty()) {
      remark(c.q.key, c.w.text.begin + box.words.begin, box.words.text);
    }
  }

  void answer(Chosen& c, std::size_t begin, const form::Box& box, const std::string& label) {
    std::vector<std::string>& words = c.answer.words;
    if (box.label == form::kNone) {
      Diagnostic& d = complain(begin, c.q.key, "bad-value",
                               fmt::format("is \"{}\"", utf8::harmless(label, 60)));
      d.allowed = form::offered(c.q);
      d.hint = form::meant_hint(c.q, label);
      c.failed = true;
      return;
    }
    add_answer(c, begin, word_of(c.q, box.label), label);
    if (words.size() == 1) {
      c.w.answer = begin;
    }
  }

  void add_answer(Chosen& c, std::size_t begin, const std::string& word, std::string_view as) {
    std::vector<std::string>& words = c.answer.words;
    if (std::ranges::find(words, word) != words.end()) {
      return;
    }
    if (!words.empty() &&
        (!c.q.several || word == kDoNotKnow.id || words.front() == kDoNotKnow.id)) {
      Diagnostic& d =
          complain(begin, c.q.key, "two-answers",
                   fmt::format("is marked more than once: \"{}\" as well", utf8::harmless(as, 60)));
      d.hint = "leave one mark";
      c.failed = true;
      return;
    }
    words.push_back(word);
  }

  // What stands at no choice: an answer written out where a mark was wanted, or a remark.
  void take_pieces(Chosen& c, const form::Boxes& found) {
    const bool marked = !c.answer.words.empty();
    for (const form::Piece& piece : found.pieces) {
      const std::size_t begin = c.w.text.begin + piece.begin;
      std::string_view said = piece.text;
      if (form::plain(said.substr(0, form::kAnswer.size())) == form::plain(form::kAnswer)) {
        said = form::trimmed(said.substr(form::kAnswer.size()), " _");
      }
      std::optional<std::string> word =
          piece.amid ? std::nullopt : form::choice_meant(c.q, said, form::Cut::no);
      if (!word && !piece.amid && &c.q == &questions_.units()) {
        const std::optional<Units> unit = form::unit_named(said);
        word = unit ? std::optional(std::string(form::kUnitWords[*unit == Units::km ? 0 : 1]))
                    : std::nullopt;
      }
      if (word) {
        add_answer(c, begin, *word, said);
        if (!marked) {
          c.w.answer = begin;
        }
        if (!form::is_whole_choice(c.q, said)) {
          remark(c.q.key, begin, piece.text);
        }
      } else if (marked && !form::words_of(said).empty() && !form::is_mark(said)) {
        remark(c.q.key, begin, piece.text);
      } else if (!c.failed || marked) {
        Diagnostic& d = complain(begin, c.q.key, "extra-words",
                                 fmt::format("holds words that were not understood: \"{}\"",
                                             utf8::harmless(piece.text, 60)));
        d.allowed = form::offered(c.q);
        d.hint = kMarkHint;
        c.failed = true;
      }
    }
  }

  // Without a mark, a choice or a box that is gone may have had one. A choice that was left alone
  // is the answer.
  void check_choices_left(Chosen& c, const form::Boxes& found) {
    const bool answered = !c.answer.words.empty();
    const std::size_t printed = c.q.choices.size() + (&c.q == &questions_.units() ? 0 : 1);
    std::vector<bool> stands(printed);
    std::size_t framed = 0;
    for (const form::Box& box : found.boxes) {
      framed += box.framed ? 1 : 0;
      if (box.label != form::kNone) {
        stands[box.label] = true;
      }
    }
    const auto left = static_cast<std::size_t>(std::ranges::count(stands, true));
    const bool key_alone = !found.has_question && found.boxes.empty() && found.pieces.empty();
    const bool all_there = left == printed && (framed == 0 || framed == found.boxes.size());
    if (all_there || key_alone || (answered && (!c.q.several || left < 2))) {
      return;
    }
    if (left == 1 && printed > 2 && found.pieces.empty() && !answered) {
      const auto only = static_cast<std::size_t>(std::ranges::find(stands, true) - stands.begin());
      c.answer.words = {word_of(c.q, only)};
      c.w.answer = c.w.text.begin + found.boxes.front().begin;
      return;
    }
    const std::string_view lost = left < printed ? "choices" : "brackets";
    Diagnostic& d =
        complain(c.w.begin, c.q.key, "choice-missing",
                 answered ? fmt::format("has lost some of its {}", lost)
                          : fmt::format("has no mark, and has lost some of its {}", lost));
    d.allowed = form::offered(c.q);
    d.hint = answered ? "put them back as the form has them" : "mark the answer that fits with [x]";
  }

  // --------------------------------------------------------- typed answers

  FormAnswer typed(const FormQuestion& q, Written& w, std::optional<Units> units) {
    const std::string_view text = text_of(w.text);
    form::Typed found = form::typed_in(prints_.of(q.key, text), text);
    std::string answer;
    std::vector<form::Piece> others;
    const auto take = [&](const form::Piece& p, bool more) {
      const std::string_view words = form::trimmed(p.text, " _");
      // A name of signs alone is none.
      if (words.empty() || (!q.long_text() && form::words_of(words).empty())) {
        return;
      }
      const std::size_t begin = p.begin + p.text.find(words);
      if (p.beside && q.row().type == FieldType::text && !q.long_text() && answer.empty()) {
        Diagnostic& d =
            complain(w.text.begin + begin, q.key, "answer-beside",
                     fmt::format("has \"{}\" among its printed words", utf8::harmless(words, 60)));
        d.hint = fmt::format("write the answer after \"{}\"", form::kAnswer);
        return;
      }
      if (p.amid || (!answer.empty() && !more)) {
        others.push_back({begin, std::string(words)});
        return;
      }
      if (answer.empty()) {
        w.answer = w.text.begin + begin;
      } else {
        answer += '\n';
      }
      answer += as_written(w.text.begin + begin, words.size());
    };
    const bool in_order = q.long_text();
    for (const auto* pieces :
         {in_order ? &found.before : &found.answer, in_order ? &found.answer : &found.before}) {
      for (const form::Piece& p : *pieces) {
        take(p, q.long_text());
      }
    }
    if ((answer.empty() || q.row().type == FieldType::text) && !found.has_label &&
        found.has_question) {
      Diagnostic& d = complain(w.begin, q.key, "answer-missing",
                               fmt::format("has lost its line \"{}\"", form::kAnswer));
      d.hint = fmt::format("if nothing stood there, write \"{}\" under it", form::kAnswer);
    }
    ReadAnswer read = read_answer(q, answer, units);
    if (!read.problem.empty()) {
      Diagnostic& d = complain(w.answer, q.key, "bad-value", std::move(read.problem));
      d.allowed = std::move(read.allowed);
      d.hint = read.no_unit ? fmt::format("mark one of them at [{}], or write it after the number",
                                          form::kUnitsKey)
                            : std::move(read.hint);
    }
    if (q.row().type != FieldType::text && form::says_more(q, answer)) {
      remark(q.key, w.answer, answer);
    }
    for (const form::Piece& p : others) {
      place_other(q, w.text.begin + p.begin, p.text);
    }
    return read.answer;
  }

  // A second line where one was wanted: more of the answer, another one, or a remark.
  void place_other(const FormQuestion& q, std::size_t begin, const std::string& text) {
    const bool number = text.find_first_of("0123456789") != std::string::npos;
    if (q.row().type != FieldType::text && !number && !form::unit_named(text)) {
      remark(q.key, begin, text);
      return;
    }
    Diagnostic& d = complain(begin, q.key, "two-answers",
                             fmt::format("has a second line: \"{}\"", utf8::harmless(text, 60)));
    d.hint = fmt::format("write the answer on one line; remarks belong under [{}]", note_key());
  }

  // A car without a name is called after its place and what is said of it, so that two of them
  // never become one car's history, be they of files of one name. Whether one was.
  bool name(FormAnswers& answers, std::size_t form_begin) {
    bool named = false;
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (q.field != Field::unit_id || !answers[i].words.empty()) {
        continue;
      }
      const std::string_view source = places_.origin().source;
      std::string name = fmt::format("line {} of {}, {:.8}", places_.place(form_begin).line,
                                     utf8::harmless(source.substr(source.rfind('/') + 1), 40),
                                     sha256_hex(said(answers)));
      Diagnostic& d = complain(written_[i].present ? written_[i].begin : form_begin, q.key,
                               "no-name", fmt::format("is blank: the car is called \"{}\"", name));
      d.severity = Severity::warning;
      answers[i].words = {std::move(name)};
      named = true;
    }
    return named;
  }

  [[nodiscard]] std::string said(const FormAnswers& answers) const {
    std::string out;
    for (std::size_t i = 0; i < answers.size(); ++i) {
      out += fmt::format("{}: {} {}\n", form_.questions[i].key, fmt::join(answers[i].words, " "),
                         answers[i].units == Units::km ? "km" : "mi");
    }
    return out;
  }

  void check_gates(FormAnswers& answers) {
    for (std::size_t i = 0; i < answers.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (answers[i].words.empty() || q.gate_words.empty()) {
        continue;
      }
      const FormQuestion& gate = form_.questions[q.gate];
      FormAnswer& gate_answer = answers[q.gate];
      const std::size_t offset = written_[i].answer;
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
    Diagnostic& d = complain(w.present ? w.answer : form_begin, key, c.diagnostic.code,
                             std::move(c.diagnostic.message));
    d.allowed = std::move(c.diagnostic.allowed);
    d.hint =
        c.diagnostic.code == "missing-field"
            ? fmt::format("write it after \"{}\"; there is no record without it", form::kAnswer)
            : std::move(c.diagnostic.hint);
  }

  static constexpr std::string_view kMarkHint =
      "put an x between the brackets of the answer that fits";

  struct Remark {
    std::string key;
    form::Piece piece;
  };

  const Form& form_;
  Questions questions_;
  Prints prints_;
  Places places_;
  std::string_view plain_;
  const ReadOptions& options_;
  FormsRead& out_;
  std::vector<Written> written_;
  Written units_written_;
  std::vector<Diagnostic> complaints_;
  std::vector<Remark> remarks_;
  std::size_t end_ = 0;  // of the form that is read
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
    const std::string_view seen = utf8::trim_unseen(line.text);
    if (seen.ends_with('}') || seen.ends_with(']')) {
      end = line.begin + line.text.size();
    }
  }
  blank_out(text, 0, begin);
  blank_out(text, end, text.size());
  return text;
}

// JSON whose quotes a phone or an office program made typographic, and which nobody sees what else
// it put in. Quotes inside of straight ones stay. `original` has the blanks that were hard or wide.
class Straightener {
 public:
  Straightener(std::string text, std::string_view original)
      : text_(std::move(text)), original_(original) {}

  std::string straight() {
    if (std::ranges::all_of(original_, [](char c) { return static_cast<signed char>(c) >= 0; })) {
      return std::move(text_);
    }
    for (std::size_t i = 0; i < text_.size();) {
      i = text_[i] == '"' ? behind_straight(i + 1) : typographic(i) > 0 ? behind_other(i) : i + 1;
    }
    std::string out;
    for (std::size_t i = 0; i < text_.size();) {
      const std::size_t hidden = hidden_sign(text_, i);
      const std::size_t wide = wide_space(original_, i);
      const bool blank = wide > 0 && text_.find_first_not_of(' ', i) >= i + wide;
      out += hidden > 0 ? "" : text_.substr(i, 1);
      i += std::max<std::size_t>(blank ? wide : hidden, 1);
    }
    return out;
  }

 private:
  // Bytes of the typographic double quote that stands here, or 0.
  [[nodiscard]] std::size_t typographic(std::size_t at) const {
    const utf8::Character c = utf8::decode(text_, at);
    const bool quote = (c.code >= 0x201C && c.code <= 0x201F) || c.code == 0xAB || c.code == 0xBB ||
                       c.code == 0x2033 || c.code == 0xFF02;
    return quote ? c.length : 0;
  }

  [[nodiscard]] std::size_t behind_straight(std::size_t at) const {
    while (at < text_.size() && text_[at] != '"' && text_[at] != '\n') {
      at += text_[at] == '\\' ? 2 : 1;
    }
    return at + 1;
  }

  // A string between other quotes gets straight ones, close to what it says.
  std::size_t behind_other(std::size_t open) {
    std::size_t first = open + typographic(open);
    while (first < text_.size() && text_[first] == ' ') {
      ++first;
    }
    std::size_t at = first;
    while (at < text_.size() && text_[at] != '\n' && !ends_string(at)) {
      at += text_[at] == '\\' ? 2 : 1;
    }
    if (at >= text_.size() || text_[at] == '\n') {
      return at;
    }
    const std::size_t behind = at + std::max<std::size_t>(typographic(at), 1);
    std::size_t last = at;
    while (last > first && text_[last - 1] == ' ') {
      --last;
    }
    text_.replace(open, first - open, std::string(first - open - 1, ' ') + '"');
    text_.replace(last, behind - last, '"' + std::string(behind - last - 1, ' '));
    return behind;
  }
  [[nodiscard]] bool ends_string(std::size_t at) const {
    if (text_[at] != '"' && typographic(at) == 0) {
      return false;
    }
    std::size_t next = at + std::max<std::size_t>(typographic(at), 1);
    while (next < text_.size() &&
           (std::string_view(" \r\n").find(text_[next]) != std::string_view::npos ||
            hidden_sign(text_, next) > 0)) {
      next += std::max<std::size_t>(hidden_sign(text_, next), 1);
    }
    return next == text_.size() ||
           std::string_view(":,}]").find(text_[next]) != std::string_view::npos;
  }

  std::string text_;
  std::string_view original_;
};

// ------------------------------------------------------ what came together

bool holds_nothing(const FormsRead& read) {
  return read.records.records.empty() && read.records.diagnostics.size() == 1 &&
         read.records.diagnostics.front().code == "no-form";
}
bool is_good(const FormsRead& read) {
  return !read.records.records.empty() && read.records.rejected == 0;
}

void refuse_all(FormsRead& read, Diagnostic why) {
  why.severity = Severity::error;
  read.records.rejected += read.records.records.size();
  read.records.records.clear();
  read.text.clear();
  read.said.clear();
  add_complaint(read.records.diagnostics, std::move(why));
}

// Without remarks, which may have been broken into lines otherwise.
std::vector<std::string> without_notes(const std::vector<std::string>& said) {
  std::vector<std::string> out;
  for (const std::string& one : said) {
    auto record = nlohmann::ordered_json::parse(one);
    record.erase("note");
    out.push_back(json_out::of(record));
  }
  return out;
}

// Of versions of one text, what counts.
FormsRead best_version(std::vector<FormsRead> versions) {
  const auto good = std::ranges::find_if(versions, is_good);
  if (good == versions.end()) {
    const auto any = std::ranges::find_if_not(versions, holds_nothing);
    return std::move(any == versions.end() ? versions.front() : *any);
  }
  for (auto other = good + 1; other != versions.end(); ++other) {
    if (is_good(*other) && without_notes(other->said) != without_notes(good->said)) {
      Diagnostic d;
      d.code = "versions-differ";
      d.source = other->records.records.front().source;
      d.line = other->records.records.front().line;
      d.message = fmt::format("says something else than the same mail in another form: {}",
                              utf8::harmless(good->records.records.front().source, 100));
      d.hint = "ask which of them holds, and read that alone";
      refuse_all(*good, std::move(d));
      break;
    }
  }
  return std::move(*good);
}

// Adds what was not there before.
void join(FormsRead& all, FormsRead more, const std::vector<std::string>& before) {
  std::size_t at = 0;
  std::size_t copies = 0;
  std::vector<Record>& records = more.records.records;
  for (std::size_t i = 0; i < records.size(); ++i) {
    const std::size_t end = more.text.find('\n', at) + 1;
    if (std::ranges::find(before, more.said[i]) != before.end()) {
      ++copies;
    } else {
      all.text += more.text.substr(at, end - at);
      all.said.push_back(std::move(more.said[i]));
      all.records.records.push_back(std::move(records[i]));
    }
    at = end;
  }
  all.records.rejected += more.records.rejected;
  if (copies == 0 || copies < records.size() || more.records.rejected > 0) {
    std::ranges::move(more.records.diagnostics, std::back_inserter(all.records.diagnostics));
  }
}

}  // namespace

FormsRead read_sent(const Form& form, const std::vector<SentText>& texts,
                    const ReadOptions& options) {
  FormsRead out;
  std::optional<FormsRead> nothing;
  for (std::size_t i = 0; i < texts.size(); ++i) {
    const std::size_t number = texts[i].version_of;
    const auto same = [&](const SentText& t) { return number != 0 && t.version_of == number; };
    if (std::any_of(texts.begin(), texts.begin() + static_cast<std::ptrdiff_t>(i), same)) {
      continue;  // it was read with the first of its versions
    }
    std::vector<FormsRead> versions;
    for (std::size_t t = i; t < texts.size(); ++t) {
      if (t == i || same(texts[t])) {
        versions.push_back(read_forms(form, texts[t].text, texts[t].source, options));
      }
    }
    FormsRead read = best_version(std::move(versions));
    if (holds_nothing(read)) {
      nothing = nothing ? std::move(nothing) : std::optional(std::move(read));
    } else {
      join(out, std::move(read), std::vector(out.said));
    }
  }
  const bool any = !out.records.records.empty() || out.records.rejected > 0;
  return any || !nothing ? out : std::move(*nothing);
}

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
  FormReader reader(form, text, plain, source, options, out);
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
    const std::string records = Straightener(record_lines_only(std::move(rest)), text).straight();
    Records read = read_records(records, source, options);
    const std::string good = as_lines(records, read.records);
    add_said(good, false, out.said);
    out.text += good;
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
