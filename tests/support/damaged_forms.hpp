// Filled text forms, damaged as mail programs and people do, and what must hold of them: what is
// read without an error says no less than the form did, and nothing else.
#ifndef DRYSHAFT_TESTS_DAMAGED_FORMS_HPP
#define DRYSHAFT_TESTS_DAMAGED_FORMS_HPP

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <functional>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/form.hpp"

namespace dryshaft::test {

// A number below the one given.
using Draw = std::function<std::size_t(std::size_t)>;

// A filled form. `hand` is as long: '1' where a byte is an answer that somebody typed, 'x' where it
// is a mark, '0' where it is printed.
struct FilledForm {
  std::string text;
  std::string hand;
  bool marks_added = false;  // signs that may be marks
  std::size_t choices_gone = 0;
  std::string story;  // what was done to it

  void replace(std::size_t at, std::size_t count, std::string_view with, char by) {
    text.replace(at, count, with);
    hand.replace(at, count, std::string(with.size(), by));
  }
};

class FormFiller {
 public:
  FormFiller(const Form& form, Draw draw) : form_(form), draw_(std::move(draw)) {}

  FilledForm fill() {
    out_.text = blank_text(form_);
    out_.hand.assign(out_.text.size(), '0');
    FormAnswers answers(form_.questions.size());
    mark("units", draw_(2) == 0 ? "km" : "miles");
    const std::size_t fullness = 1 + draw_(4);
    for (std::size_t i = 0; i < form_.questions.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (!applies(form_, answers, i) || (!q.required() && draw_(4) >= fullness)) {
        continue;
      }
      if (q.choices.empty()) {
        type(q);
        continue;
      }
      const std::size_t pick = draw_(q.choices.size() + 1);
      if (pick == q.choices.size()) {
        mark(q.key, kDoNotKnow.plain);
        continue;
      }
      answers[i].words = {q.choices[pick].word};
      mark(q.key, q.choices[pick].text);
      const std::size_t second = draw_(q.choices.size());
      if (q.several && second != pick) {
        mark(q.key, q.choices[second].text);
      }
    }
    return std::move(out_);
  }

 private:
  void mark(std::string_view key, std::string_view label) {
    const std::size_t begin = out_.text.find(fmt::format("\n[{}]", key));
    const std::string_view start = label.substr(0, 40);  // longer ones may be folded
    std::size_t at = begin;
    do {
      at = out_.text.find(start, at + 1);
    } while (at != std::string::npos && !out_.text.substr(0, at).ends_with("] "));
    if (at != std::string::npos) {
      out_.replace(at - 3, 1, "x", 'x');
    }
  }

  void type(const FormQuestion& q) {
    static constexpr std::array<std::string_view, 5> kNames = {"HL-0147", "AB 12 CDE", "blue van",
                                                               "Erna", "7"};
    static constexpr std::array<std::string_view, 4> kNotes = {
        "Louder since May.", "It is showing now and then, yes.", "no\nDry, said the workshop.",
        "Has the car ever stopped? I do not know; 3 times.\nCall after 6.\n\nThanks"};
    std::string value;
    switch (q.row().type) {
      case FieldType::number:
        // What lies after nothing else leaves room for what may not lie after it.
        value = fmt::format("{}", q.distance()
                                      ? 1000 * (1 + draw_(150) + (q.not_after.empty() ? 150 : 0))
                                      : 5 + draw_(60));
        break;
      case FieldType::month:
        value = fmt::format("20{}-0{}", 15 + draw_(9), 1 + draw_(9));
        break;
      case FieldType::date:
        value = fmt::format("20{}-0{}-1{}", q.of_check ? 25 : 26, 1 + draw_(9), draw_(10));
        break;
      default:
        value = q.long_text() ? kNotes[draw_(kNotes.size())] : kNames[draw_(kNames.size())];
    }
    const std::size_t line =
        out_.text.find("Answer:", out_.text.find(fmt::format("\n[{}]", q.key))) + 8;
    out_.replace(line, out_.text.find('\n', line) - line, value, '1');
  }

  const Form& form_;
  Draw draw_;
  FilledForm out_;
};

class FormDamager {
 public:
  FormDamager(FilledForm form, Draw draw) : form_(std::move(form)), draw_(std::move(draw)) {}

  FilledForm damage() {
    if (draw_(3) == 0) {
      whole();
    }
    for (std::size_t n = draw_(4); n > 0; --n) {
      draw_(2) == 0 ? character() : line();
    }
    return std::move(form_);
  }

 private:
  static constexpr std::string_view kMarks = "xX*+!<#vVyY";

  void note(std::string_view what, std::size_t at) {
    form_.story += fmt::format("{} at line {}; ", what,
                               1 + std::ranges::count(form_.text.substr(0, at), '\n'));
  }

  // Not where somebody wrote, nor beside what was typed: that is another answer, which nobody can
  // tell from the first.
  [[nodiscard]] bool printed(std::size_t at) const {
    const std::size_t from = at < 2 ? 0 : at - 2;
    return form_.hand[at] == '0' &&
           form_.hand.substr(from, at - from + 3).find('1') == std::string::npos;
  }

  void character() {
    static constexpr std::array<std::string_view, 22> kInserted = {"x",
                                                                   "X",
                                                                   " ",
                                                                   "\n",
                                                                   ">",
                                                                   "*",
                                                                   "-",
                                                                   "!",
                                                                   "?",
                                                                   "e",
                                                                   "a",
                                                                   ".",
                                                                   "[",
                                                                   "]",
                                                                   "(",
                                                                   "_",
                                                                   "\xC2\xA0",
                                                                   "\xE2\x80\x9C",
                                                                   "\xE2\x80\x99",
                                                                   "\xC3\xA9",
                                                                   "=",
                                                                   "\n> "};
    const std::size_t at = draw_(form_.text.size());
    if (!printed(at) || static_cast<unsigned char>(form_.text[at]) >= 0x80) {
      return;
    }
    const std::string_view put = kInserted[draw_(kInserted.size())];
    const std::size_t way = draw_(4);
    note(fmt::format("character {} '{}'", way, put), at);
    if (way == 0) {
      form_.replace(at, 1, "", '0');
      return;
    }
    if (way == 3 && at + 1 < form_.text.size()) {
      const std::string swapped = {form_.text[at + 1], form_.text[at]};
      const std::string hand = {form_.hand[at + 1], form_.hand[at]};
      form_.replace(at, 2, swapped, '0');
      form_.hand.replace(at, 2, hand);
      return;
    }
    form_.marks_added = form_.marks_added || kMarks.find(put) != std::string_view::npos;
    form_.replace(at, way == 1 ? 1 : 0, put, '0');
  }

  void line() {
    static constexpr std::array<std::string_view, 13> kBehind = {
        " <--", "!!!", " x",   " X",         " ?",   " since Monday",
        " *",   " no", " yes", " (I think)", " =20", " \xE2\x9C\x93",
        " 12"};
    static constexpr std::array<std::string_view, 10> kBefore = {
        "x ", "* ", "> ", "- ", "-> ", "1) ", "\xE2\x98\x92 ", "yes ", "\t", "see below: "};
    static constexpr std::array<std::string_view, 7> kRemarks = {
        "It sings in the rain.", "yes", "no", "[isolation] Does it warn?", "x",
        "I do not know",         "-- "};
    const std::size_t at = draw_(form_.text.size());
    const std::size_t begin = at == 0 ? 0 : form_.text.rfind('\n', at - 1) + 1;
    const std::size_t end = std::min(form_.text.find('\n', at), form_.text.size());
    const std::size_t which = draw_(16);
    const std::string hand = form_.hand.substr(begin, end - begin);
    const bool typed = hand.find('1') != std::string::npos;
    // A line of somebody's own text is gone without a trace.
    const bool own =
        typed && form_.text.substr(begin, end - begin).find("Answer:") == std::string::npos;
    switch (draw_(7)) {
      case 0:
        if (!own && end < form_.text.size()) {
          note(fmt::format("gone: {}", form_.text.substr(begin, end - begin)), begin);
          for (std::size_t box = form_.text.find("] ", begin); box < end;
               box = form_.text.find("] ", box + 1)) {
            ++form_.choices_gone;
          }
          form_.replace(begin, end + 1 - begin, "", '0');
        }
        break;
      case 1:
        if (!typed) {
          note("behind: " + std::string(kBehind[which % kBehind.size()]), begin);
          form_.replace(end, 0, kBehind[which % kBehind.size()], '0');
          form_.marks_added = true;
        }
        break;
      case 2:
        if (!own) {
          note("before: " + std::string(kBefore[which % kBefore.size()]), begin);
          form_.replace(begin, 0, kBefore[which % kBefore.size()], '0');
          form_.marks_added = true;
        }
        break;
      case 3:
        if (!own) {
          note("remark: " + std::string(kRemarks[which % kRemarks.size()]), begin);
          form_.replace(begin, 0, std::string(kRemarks[which % kRemarks.size()]) + "\n", '0');
          form_.marks_added = true;
        }
        break;
      case 4:
        if (!typed && end < form_.text.size()) {
          note("joined", begin);
          form_.replace(end, 1, " ", '0');
        }
        break;
      case 5:
        if (!typed) {
          const std::size_t space = form_.text.find(' ', at);
          if (space < end) {
            note("broken", begin);
            form_.replace(space, 1, "\n", '0');
          }
        }
        break;
      default:
        move_mark(begin, hand);
    }
  }

  // The mark stands beside its brackets, as people type it.
  void move_mark(std::size_t begin, const std::string& hand) {
    const std::size_t mark = hand.find('x');
    if (mark == std::string::npos || form_.text.substr(begin + mark - 1, 3) != "[x]") {
      return;
    }
    note("mark moved", begin);
    form_.replace(begin + mark - 1, 3, "", '0');
    static constexpr std::array<std::string_view, 7> kWays = {"",   "[ ]x",         "x[ ]", "x",
                                                              "[x", "\xE2\x98\x92", "[ ] x"};
    form_.replace(begin + mark - 1, 0, kWays[draw_(kWays.size())], 'x');
  }

  // What a mail program does to all of it.
  void whole() {
    const std::size_t which = draw_(9);
    form_.story += fmt::format("whole {}; ", which);
    static constexpr std::array<std::string_view, 3> kMarkSigns = {"X", "\xC3\x97", "\xE2\x9C\x93"};
    switch (which) {
      case 0:
        each("\n", "\n> ");
        break;
      case 1:
        each("\n", "\r\n");
        break;
      case 2:
        each(" ", "\xC2\xA0");
        break;
      case 3:
        each("\"", "\xE2\x80\x9D");
        each("'", "\xE2\x80\x99");
        break;
      case 4:
        each_mark(kMarkSigns[draw_(kMarkSigns.size())]);
        break;
      case 5:
        each("[ ]", "\xE2\x98\x90");
        break;
      case 6:
        each("\n  [", draw_(2) == 0 ? "\n* [" : "\n  - [");
        break;
      case 7:
        each("\n  ", "\n");
        break;
      default:
        rewrap(40 + draw_(40));
    }
  }

  void each(std::string_view from, std::string_view to) {
    for (std::size_t at = 0; (at = form_.text.find(from, at)) != std::string::npos;
         at += to.size()) {
      const char by = form_.hand[at];
      form_.replace(at, from.size(), to, by);
    }
  }
  void each_mark(std::string_view to) {
    for (std::size_t at = 0; (at = form_.hand.find('x', at)) != std::string::npos;
         at += to.size()) {
      form_.replace(at, 1, to, 'x');
    }
  }

  // Lines that are too long go on in the next; the rest stands.
  void rewrap(std::size_t width) {
    std::size_t column = 0;
    std::size_t space = std::string::npos;
    for (std::size_t i = 0; i < form_.text.size(); ++i, ++column) {
      if (form_.text[i] == '\n') {
        column = 0;
        space = std::string::npos;
      } else if (form_.text[i] == ' ' && form_.hand[i] == '0') {
        space = column > 6 ? i : space;
      }
      if (column >= width && space != std::string::npos) {
        form_.replace(space, 1, "\n", '0');
        column = i - space;
        space = std::string::npos;
      }
    }
  }

  FilledForm form_;
  Draw draw_;
};

inline std::vector<nlohmann::json> records_in(const std::string& lines) {
  std::vector<nlohmann::json> out;
  for (std::size_t at = 0; at < lines.size();) {
    const std::size_t end = lines.find('\n', at);
    out.push_back(nlohmann::json::parse(lines.substr(at, end - at)));
    at = end + 1;
  }
  return out;
}

// What `after` does not say as `before` does, as a pointer; or empty. Words that were added to a
// note are none; further members only where `more` is allowed.
inline std::string difference(const nlohmann::json& before, const nlohmann::json& after, bool more,
                              const std::string& pointer = "") {
  if (before.is_object() && after.is_object()) {
    for (const auto& [key, value] : before.items()) {
      const std::string found = after.contains(key)
                                    ? difference(value, after[key], more, pointer + "/" + key)
                                    : pointer + "/" + key;
      if (!found.empty()) {
        return found;
      }
    }
    for (const auto& [key, value] : after.items()) {
      if (!more && !before.contains(key) && key != "note") {
        return pointer + "/" + key + " (new)";
      }
    }
    return {};
  }
  if (pointer == "/note" && after.is_string()) {
    const std::string note = before.get<std::string>();
    for (std::size_t at = 0; at < note.size();) {
      const std::size_t end = std::min(note.find('\n', at), note.size());
      if (after.get<std::string>().find(note.substr(at, end - at)) == std::string::npos) {
        return pointer;
      }
      at = end + 1;
    }
    return {};
  }
  if (more && before.is_array() && after.is_array()) {
    return std::ranges::all_of(
               before, [&](const auto& v) { return std::ranges::find(after, v) != after.end(); })
               ? std::string()
               : pointer;
  }
  return before == after ? std::string() : pointer;
}

// What a damaged form lost or moved without an error; empty: nothing, or it was refused. Where two
// choices and more are gone, what is left alone may be an answer.
inline std::string lost(const Form& form, const FilledForm& whole, const FilledForm& damaged,
                        const FormsRead& read, const ReadOptions& options) {
  if (read.records.rejected > 0) {
    return {};
  }
  const FormsRead before = read_forms(form, whole.text, "f", options);
  if (before.text.empty() || !before.records.diagnostics.empty()) {
    return "the whole form was not read: " +
           (before.records.diagnostics.empty() ? "" : to_text(before.records.diagnostics.front()));
  }
  const std::vector<nlohmann::json> records = records_in(before.text);
  const std::vector<nlohmann::json> now = records_in(read.text);
  if (records.size() != now.size()) {
    return "another number of records";
  }
  for (std::size_t i = 0; i < now.size(); ++i) {
    std::string found = difference(records[i], now[i], damaged.marks_added);
    if (!found.empty() && damaged.choices_gone < 2) {
      return found;
    }
  }
  return {};
}

}  // namespace dryshaft::test

#endif
