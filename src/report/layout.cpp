#include "report/layout.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <iterator>
#include <map>
#include <set>
#include <utility>

#include "base/utf8.hpp"

namespace dryshaft::layout {
namespace {

struct Range {
  char32_t first;
  char32_t last;
};

// Both tables are the ranges that matter in practice, from memory of Unicode
// Standard Annex 11 (wide) and of the general categories Mn, Me and Cf (none).
constexpr Range kNoColumn[] = {
    {0x00AD, 0x00AD},   {0x0300, 0x036F},   {0x0483, 0x0489}, {0x0591, 0x05BD}, {0x064B, 0x065F},
    {0x0E31, 0x0E31},   {0x0E34, 0x0E3A},   {0x0E47, 0x0E4E}, {0x1AB0, 0x1AFF}, {0x1DC0, 0x1DFF},
    {0x200B, 0x200D},   {0x2060, 0x2064},   {0x20D0, 0x20FF}, {0xFE00, 0xFE0F}, {0xFE20, 0xFE2F},
    {0x1F3FB, 0x1F3FF}, {0xE0100, 0xE01EF},
};
constexpr Range kTwoColumns[] = {
    {0x1100, 0x115F},   {0x231A, 0x231B},   {0x2E80, 0x303E},   {0x3041, 0x33FF},
    {0x3400, 0x4DBF},   {0x4E00, 0x9FFF},   {0xA000, 0xA4CF},   {0xA960, 0xA97F},
    {0xAC00, 0xD7A3},   {0xF900, 0xFAFF},   {0xFE30, 0xFE6F},   {0xFF00, 0xFF60},
    {0xFFE0, 0xFFE6},   {0x1F300, 0x1F64F}, {0x1F680, 0x1F6FF}, {0x1F900, 0x1F9FF},
    {0x1FA70, 0x1FAFF}, {0x20000, 0x3FFFD},
};

template <std::size_t N>
bool in(const Range (&table)[N], char32_t c) {
  const auto* const range =
      std::upper_bound(std::begin(table), std::end(table), c,
                       [](char32_t value, const Range& r) { return value <= r.last; });
  return range != std::end(table) && c >= range->first;
}

std::size_t columns_of(char32_t c) {
  if (c < 0x00AD) {
    return 1;
  }
  if (in(kNoColumn, c)) {
    return 0;
  }
  return in(kTwoColumns, c) ? 2 : 1;
}

thread_local std::size_t steps = 0;

// Columns of the character at `at`, which moves past it.
std::size_t step(std::string_view text, std::size_t& at) {
  ++steps;
  const utf8::Character c = utf8::decode(text, at);
  at += c.length;
  return columns_of(c.code);
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

bool is_letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }

// Whether a line may not end between these two words.
bool keeps_together(std::string_view word, std::string_view following) {
  if (word.empty() || !is_digit(word.back())) {
    return false;
  }
  static constexpr std::array<std::string_view, 9> kUnits = {"%",    "km",   "mi",  "dB",   "bits",
                                                             "days", "year", "min", "ohm/V"};
  return std::ranges::any_of(kUnits, [&](std::string_view unit) {
    return following.starts_with(unit) &&
           (following.size() == unit.size() || !is_letter(following[unit.size()]));
  });
}

std::vector<std::string_view> words_of(std::string_view text) {
  std::vector<std::string_view> words;
  std::size_t at = 0;
  while (at < text.size()) {
    if (text[at] == ' ') {
      ++at;
      continue;
    }
    const std::size_t end = std::min(text.find(' ', at), text.size());
    const std::string_view word = text.substr(at, end - at);
    // Only a single space joins a number and its unit, so that the pair is one piece of `text`.
    if (!words.empty() && words.back().data() + words.back().size() + 1 == word.data() &&
        keeps_together(words.back(), word)) {
      words.back() = {words.back().data(), words.back().size() + 1 + word.size()};
    } else {
      words.push_back(word);
    }
    at = end;
  }
  return words;
}

}  // namespace

std::string clean(std::string_view text) {
  // Line ends inside a text are white space to a reader, not a reason for alarm.
  if (text.find_first_of("\r\n") == std::string_view::npos) {
    return utf8::harmless(text);
  }
  std::string one_line(text);
  std::ranges::replace_if(
      one_line, [](char c) { return c == '\r' || c == '\n'; }, ' ');
  return utf8::harmless(one_line);
}

std::size_t measured() { return steps; }

std::size_t width(std::string_view text) {
  std::size_t columns = 0;
  for (std::size_t at = 0; at < text.size();) {
    columns += step(text, at);
  }
  return columns;
}

std::string_view head(std::string_view text, std::size_t columns) {
  std::size_t used = 0;
  std::size_t end = 0;
  for (std::size_t at = 0; at < text.size(); end = at) {
    used += step(text, at);
    if (used > columns) {
      break;
    }
  }
  return text.substr(0, end);
}

std::string_view tail(std::string_view text, std::size_t columns) {
  std::size_t left = width(text);
  std::size_t at = 0;
  while (left > columns) {
    left -= step(text, at);
  }
  return text.substr(at);
}

std::vector<std::string> wrap(std::string_view text, std::size_t columns) {
  // Two columns hold any character, so that every step below gets somewhere.
  columns = std::max<std::size_t>(columns, 2);
  std::vector<std::string> lines;
  std::string line;
  std::size_t used = 0;
  for (std::string_view word : words_of(text)) {
    // Measured once, and no further than a line is wide: a word may be as long as a record.
    std::string_view piece = head(word, columns);
    std::size_t wide = piece.size() == word.size() ? width(piece) : columns + 1;
    if (used > 0 && used + 1 + wide <= columns) {
      line.push_back(' ');
      line += word;
      used += 1 + wide;
      continue;
    }
    if (used > 0) {
      lines.push_back(std::move(line));
      line.clear();
    }
    while (piece.size() < word.size()) {
      lines.emplace_back(piece);
      word.remove_prefix(piece.size());
      piece = head(word, columns);
    }
    line = word;
    used = width(piece);
  }
  if (!line.empty()) {
    lines.push_back(std::move(line));
  }
  return lines;
}

std::vector<std::string> cut(const std::vector<std::string>& words, std::size_t columns) {
  columns = std::max<std::size_t>(columns, 3);
  std::map<std::string_view, std::string> shown;
  std::set<std::string> taken;
  std::vector<std::pair<std::string_view, std::string>> changed;  // as given, and clean
  std::set<std::string_view> met;
  for (const std::string& word : words) {
    if (!met.insert(word).second) {
      continue;
    }
    std::string whole = clean(word);
    // Words that need no change keep their form against any that are cut.
    if (whole == word && width(word) <= columns) {
      taken.insert(word);
      shown.emplace(word, std::move(whole));
    } else {
      changed.emplace_back(word, std::move(whole));
    }
  }
  const auto form = [&](const std::string& whole, std::size_t end) {
    return width(whole) <= columns
               ? whole
               : fmt::format("{}~{}", head(whole, columns - 1 - end), tail(whole, end));
  };
  // Keep just as much of the ends as tells all words apart, where that can be done.
  std::size_t end = 0;
  for (std::size_t tried = 0; tried + 1 < columns; ++tried) {
    std::set<std::string> forms = taken;
    if (std::ranges::all_of(changed, [&](const auto& word) {
          return forms.insert(form(word.second, tried)).second;
        })) {
      end = tried;
      break;
    }
  }
  for (const auto& [word, whole] : changed) {
    std::string text = form(whole, end);
    for (int number = 2; taken.contains(text); ++number) {
      const std::string mark = fmt::format("~{}", number);
      text = fmt::format("{}{}", head(whole, columns - std::min(columns, mark.size())), mark);
    }
    taken.insert(text);
    shown.emplace(word, std::move(text));
  }
  std::vector<std::string> out;
  out.reserve(words.size());
  for (const std::string& word : words) {
    out.push_back(shown.at(word));
  }
  return out;
}

}  // namespace dryshaft::layout
