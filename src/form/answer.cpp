#include "form/answer.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <vector>

#include "base/utf8.hpp"
#include "form/dates.hpp"
#include "form/filled.hpp"

namespace dryshaft {
namespace form {
namespace {

bool is_letter(char c) {
  // A byte of a character beyond ASCII counts as a letter.
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || static_cast<std::uint8_t>(c) >= 0x80U;
}

// `text` begins with `start`, and a word ends there; what follows is set off from it: "no idea"
// is no "no".
bool begins_with_words(std::string_view text, std::string_view start) {
  if (!text.starts_with(start) || text.size() == start.size()) {
    return text == start;
  }
  const std::size_t next = text.find_first_not_of(' ', start.size());
  return std::string_view(",.;:!(/").find(text[next]) != std::string_view::npos ||
         (next > start.size() && (text[next] == '-' || text.substr(next).starts_with("\xE2\x80")));
}

// "109k", "109 thousand km"
bool is_thousand(std::string_view word) {
  return word == "k" || word == "K" || plain(word) == "thousand";
}

// Hard, thin and wide blanks as spaces, and the apostrophes that programs put between digits.
std::string with_plain_blanks(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const utf8::Character c = utf8::decode(text, i);
    if (utf8::is_wide_blank(c.code)) {
      out += ' ';
    } else if (c.code == 0x2019 && i > 0 && is_digit(text[i - 1]) && i + c.length < text.size() &&
               is_digit(text[i + c.length])) {
      out += '\'';
    } else {
      out += text.substr(i, c.length);
    }
    i += c.length;
  }
  return out;
}

struct Offer {
  std::string word;
  std::string plain;
  bool may_be_cut = true;  // its beginning is enough
};

std::vector<Offer> offers(const FormQuestion& q) {
  std::vector<Offer> out;
  const auto add = [&](std::string_view word, std::string_view text) {
    out.push_back({std::string(word), plain(text)});
    out.push_back({std::string(word), plain(word)});
  };
  for (const FormChoice& c : q.choices) {
    add(c.word, c.text);
  }
  add(kDoNotKnow.id, kDoNotKnow.plain);
  for (const std::string_view other : {"don't know", "i don't know", "do not know", "not known"}) {
    out.push_back({std::string(kDoNotKnow.id), std::string(other), false});
  }
  return out;
}

}  // namespace

std::string_view trimmed(std::string_view text, std::string_view blanks) {
  const std::size_t begin = text.find_first_not_of(blanks);
  return begin == std::string_view::npos
             ? std::string_view()
             : text.substr(begin, text.find_last_not_of(blanks) + 1 - begin);
}

std::string plain(std::string_view text) {
  std::string out;
  bool space = false;
  for (const char c : text) {
    if (c == ' ' || c == '\t' || c == '\r' || c == '\n') {
      space = !out.empty();
      continue;
    }
    if (space) {
      out += ' ';
      space = false;
    }
    out += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  }
  while (!out.empty() && std::string_view(".,;:!?").find(out.back()) != std::string_view::npos) {
    out.pop_back();
  }
  return out;
}

std::optional<std::string> choice_meant(const FormQuestion& question, std::string_view written,
                                        Cut cut) {
  const std::string text = plain(written);
  if (text.empty()) {
    return std::nullopt;
  }
  const std::vector<Offer> all = offers(question);
  const Offer* best = nullptr;
  for (const Offer& o : all) {
    if (o.plain == text) {
      return o.word;
    }
    if (begins_with_words(text, o.plain) &&
        (best == nullptr || o.plain.size() > best->plain.size())) {
      best = &o;
    }
  }
  if (best != nullptr || cut == Cut::no) {
    return best == nullptr ? std::nullopt : std::optional(best->word);
  }
  for (const Offer& o : all) {
    if (o.may_be_cut && o.plain.starts_with(text)) {
      if (best != nullptr && best->word != o.word) {
        return std::nullopt;
      }
      best = &o;
    }
  }
  return best == nullptr ? std::nullopt : std::optional(best->word);
}

bool is_whole_choice(const FormQuestion& question, std::string_view written) {
  const std::string text = plain(written);
  return std::ranges::any_of(offers(question), [&](const Offer& o) { return o.plain == text; });
}

bool says_more(const FormQuestion& question, std::string_view written) {
  const FieldType type = question.row().type;
  const bool dated = type == FieldType::date || type == FieldType::month;
  return !is_whole_choice(question, written) &&
         std::ranges::any_of(words_of(written), [&](const Word& w) {
           const std::string_view letters = std::string_view(w.plain).substr(
               std::min(w.plain.find_first_not_of("0123456789"), w.plain.size()));
           return !letters.empty() && !unit_named(letters) &&
                  !(dated ? is_word_of_date(w.plain) : question.distance() && is_thousand(letters));
         });
}

std::optional<Units> unit_named(std::string_view text) {
  static constexpr std::array<std::string_view, 6> kKm = {"km",         "kms",       "kilometre",
                                                          "kilometres", "kilometer", "kilometers"};
  static constexpr std::array<std::string_view, 4> kMiles = {"mi", "mls", "mile", "miles"};
  std::optional<Units> found;
  const std::string small = plain(text);
  for (std::size_t i = 0; i < small.size();) {
    std::size_t end = i;
    while (end < small.size() && is_letter(small[end])) {
      ++end;
    }
    const std::string_view word = std::string_view(small).substr(i, end - i);
    if (std::ranges::find(kKm, word) != kKm.end()) {
      found = found == Units::mi ? std::nullopt : std::optional(Units::km);
    } else if (std::ranges::find(kMiles, word) != kMiles.end()) {
      found = found == Units::km ? std::nullopt : std::optional(Units::mi);
    }
    i = std::max(end, i + 1);
  }
  return found;
}

std::string offered(const FormQuestion& question) {
  std::string out;
  for (const FormChoice& c : question.choices) {
    out += c.text + "; ";
  }
  return out += kDoNotKnow.plain;
}

std::string meant_hint(const FormQuestion& question, std::string_view written) {
  std::vector<std::string_view> texts;
  for (const FormChoice& c : question.choices) {
    texts.emplace_back(c.text);
    texts.emplace_back(c.word);
  }
  return did_you_mean(written, texts);
}

namespace {

std::string is_written(std::string_view text) {
  constexpr std::size_t kShown = 60;
  return fmt::format("is \"{}\"", utf8::harmless(text, kShown));
}

// A number as people group its digits: "109000", "109,000", "109 000.5", "182.400".
struct Found {
  std::string digits;
  std::size_t end = 0;
  bool good = true;
};

Found number_at(std::string_view text, std::size_t at) {
  Found out;
  std::vector<std::string_view> groups;
  std::string marks;
  std::size_t i = at;
  if (text[i] == '-') {
    ++i;
  }
  while (true) {
    const std::size_t begin = i;
    while (i < text.size() && is_digit(text[i])) {
      ++i;
    }
    groups.push_back(text.substr(begin, i - begin));
    const bool more = i + 1 < text.size() &&
                      std::string_view(",.' ").find(text[i]) != std::string_view::npos &&
                      is_digit(text[i + 1]);
    if (!more) {
      break;
    }
    if (text[i] == ' ') {  // groups thousands, or begins another number
      std::size_t end = i + 1;
      while (end < text.size() && is_digit(text[end])) {
        ++end;
      }
      if (end - i - 1 != 3) {
        break;
      }
    }
    marks += text[i];
    ++i;
  }
  out.end = i;
  const auto thousands = [&](std::size_t count) {
    for (std::size_t g = 1; g < count; ++g) {
      if (groups[g].size() != 3 || (g > 1 && marks[g - 1] != marks[0])) {
        return false;
      }
    }
    return count < 2 || (groups[0].size() <= 3 && groups[0] != "0");
  };
  std::size_t whole = groups.size();
  if (!thousands(whole)) {
    --whole;
    const char point = marks.empty() ? ' ' : marks.back();
    out.good = (point == '.' || point == ',') && thousands(whole) &&
               (marks.size() < 2 || marks[0] != point);
  }
  out.digits = text[at] == '-' ? "-" : "";
  for (std::size_t g = 0; g < groups.size(); ++g) {
    out.digits += g == whole ? "." : "";
    out.digits += groups[g];
  }
  return out;
}

// The digits of a number that is a thousand times as large.
std::string thousand_times(std::string digits) {
  constexpr std::size_t kZeros = 3;
  const std::size_t point = std::min(digits.find('.'), digits.size());
  std::string behind = point == digits.size() ? std::string() : digits.substr(point + 1);
  behind.resize(std::max(behind.size(), kZeros), '0');
  digits = digits.substr(0, point) + behind.substr(0, kZeros);
  digits.erase(0, std::min(digits.find_first_not_of('0'), digits.size() - 1));
  return behind.size() > kZeros ? digits + '.' + behind.substr(kZeros) : digits;
}

void read_number(const FormQuestion& q, std::string_view written, std::optional<Units> units,
                 ReadAnswer& out) {
  const bool distance = q.distance();
  out.allowed =
      distance ? "a number, in km or miles" : fmt::format("a number, in {}", q.row().unit);
  std::vector<Found> found;
  for (std::size_t i = 0; i < written.size();) {
    const bool point = i > 0 && written[i - 1] == '.';
    const bool fresh = i == 0 || (point ? i > 1 && is_letter(written[i - 2])  // "ca.109000"
                                        : !is_letter(written[i - 1]));
    const bool minus = written[i] == '-' && (i == 0 || written[i - 1] == ' ') &&
                       i + 1 < written.size() && is_digit(written[i + 1]);
    if (!is_digit(written[i]) && !minus) {
      ++i;
      continue;
    }
    Found one = number_at(written, i);
    // "B12" is no number; "109km" and "35%" are, and so is "109k" where it is a distance.
    const std::size_t begin = std::min(written.find_first_not_of(' ', one.end), written.size());
    std::size_t end = begin;
    while (end < written.size() && is_letter(written[end])) {
      ++end;
    }
    const std::string_view behind = written.substr(begin, end - begin);
    if (distance && is_thousand(behind)) {
      one.digits = thousand_times(one.digits);
      one.end = end;
    } else {
      one.good = one.good && (begin != one.end || behind.empty() || unit_named(behind).has_value());
    }
    one.good = one.good && fresh;
    i = one.end;
    found.push_back(std::move(one));
  }
  if (found.size() != 1 || !found.front().good) {
    out.problem = is_written(written);
    out.hint = found.size() > 1 ? "write one number alone" : "";
    return;
  }
  if (distance) {
    const std::optional<Units> named = unit_named(written);
    if (!named && !units) {
      out.problem = is_written(written) + ", without a unit";
      out.allowed = "km, miles";
      out.no_unit = true;
      return;
    }
    out.answer.units = named.value_or(units.value_or(Units::km));
  }
  out.allowed.clear();
  out.answer.words = {found.front().digits};
}

// What is no date goes on as it stands: the record's reader refuses it.
void read_date(std::string_view written, ReadAnswer& out) {
  WrittenDate date = date_among(written);
  if (date.readings.empty()) {
    out.answer.words = {date.text.empty() ? std::string(written) : std::move(date.text)};
    return;
  }
  out.problem = fmt::format("{}, which may be {}", is_written(written), date.readings);
  out.allowed = "a day as in 2026-03-18 or 18 March 2026";
  out.hint = fmt::format("write {} if it is the first of them", date.first);
}

void read_choice(const FormQuestion& q, std::string_view written, ReadAnswer& out) {
  const auto one = [&](std::string_view part) -> std::optional<std::string> {
    if (part.find_first_not_of("0123456789") == std::string_view::npos && part.size() < 3) {
      const std::size_t n = part.size() == 1
                                ? static_cast<std::size_t>(part[0] - '0')
                                : static_cast<std::size_t>((part[0] - '0') * 10 + (part[1] - '0'));
      if (n == q.choices.size() + 1) {
        return std::string(kDoNotKnow.id);
      }
      return n >= 1 && n <= q.choices.size() ? std::optional(q.choices[n - 1].word) : std::nullopt;
    }
    return choice_meant(q, part);
  };
  std::vector<std::string> words;
  if (std::optional<std::string> whole = one(written)) {
    words.push_back(std::move(*whole));
  } else if (q.several) {
    for (std::size_t i = 0; i < written.size();) {
      const std::size_t end = std::min(written.find_first_of(" ,;", i), written.size());
      if (end > i) {
        std::optional<std::string> word = one(written.substr(i, end - i));
        if (!word || *word == kDoNotKnow.id) {
          words.clear();
          break;
        }
        if (std::ranges::find(words, *word) == words.end()) {
          words.push_back(std::move(*word));
        }
      }
      i = end + 1;
    }
  }
  if (words.empty()) {
    out.problem = is_written(written);
    out.allowed = offered(q);
    out.hint = meant_hint(q, written);
  } else if (words.front() != kDoNotKnow.id) {
    out.answer.words = std::move(words);
  }
}

}  // namespace
}  // namespace form

ReadAnswer read_answer(const FormQuestion& question, std::string_view written,
                       std::optional<Units> units) {
  ReadAnswer out;
  const std::string typed = form::with_plain_blanks(written);
  const std::string_view text = form::trimmed(typed);
  if (text.empty()) {
    return out;
  }
  if (!question.choices.empty()) {
    form::read_choice(question, text, out);
    return out;
  }
  // "I do not know" answers anything but a name or a note.
  if (question.row().type != FieldType::text && std::ranges::none_of(text, form::is_digit) &&
      form::choice_meant(question, text)) {
    return out;
  }
  if (const std::optional<std::string_view> no = question.row().form.no_means;
      no && (form::plain(text) == "no" || form::plain(text) == "never")) {
    if (!no->empty()) {
      out.answer.words = {std::string(*no)};
    }
    return out;
  }
  switch (question.row().type) {
    case FieldType::number:
      form::read_number(question, text, units, out);
      break;
    case FieldType::month:
    case FieldType::date:
      form::read_date(text, out);
      break;
    default:
      out.answer.words = {std::string(text)};
  }
  return out;
}

}  // namespace dryshaft
