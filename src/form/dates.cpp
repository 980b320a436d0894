#include "form/dates.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>
#include <vector>

#include "form/answer.hpp"
#include "form/filled.hpp"

namespace dryshaft::form {
namespace {

constexpr std::array<std::string_view, 12> kMonths = {
    "January", "February", "March",     "April",   "May",      "June",
    "July",    "August",   "September", "October", "November", "December"};
constexpr std::array<std::string_view, 7> kDays = {"monday", "tuesday",  "wednesday", "thursday",
                                                   "friday", "saturday", "sunday"};
constexpr std::array<std::string_view, 4> kOrdinals = {"st", "nd", "rd", "th"};
constexpr std::size_t kShort = 3;  // letters of a name that is cut

// Whole, or cut to three letters ("Sept" and "Thurs" to a few more).
bool names(std::string_view word, std::string_view name) {
  const std::string whole = plain(name);
  return word.size() >= kShort && whole.starts_with(word) &&
         (word.size() <= kShort + 2 || word.size() == whole.size());
}

// 1 to 12, or 0.
int month_named(std::string_view word) {
  for (std::size_t m = 0; m < kMonths.size(); ++m) {
    if (names(word, kMonths[m])) {
      return static_cast<int>(m) + 1;
    }
  }
  return 0;
}

// A number or the name of a month.
struct Item {
  std::size_t begin = 0;
  std::size_t end = 0;
  std::size_t digits = 0;  // 0: a name
  int value = 0;

  [[nodiscard]] bool named() const { return digits == 0; }
  [[nodiscard]] bool is_year() const { return digits == 4; }
  [[nodiscard]] bool is_small() const { return digits == 1 || digits == 2; }
  [[nodiscard]] bool may_be_month() const { return is_small() && value >= 1 && value <= 12; }
};

// False where a word has digits that are none of a date's, such as "B12".
bool add_item(const Word& word, std::vector<Item>& items) {
  const std::string& text = word.plain;
  std::size_t digits = 0;
  int value = 0;
  while (digits < text.size() && is_digit(text[digits])) {
    value = digits < 8 ? value * 10 + (text[digits] - '0') : value;
    ++digits;
  }
  const std::string_view behind = std::string_view(text).substr(digits);
  if (digits == 0) {
    const int month = month_named(text);
    if (month > 0) {
      items.push_back({word.begin, word.end, 0, month});
    }
    return std::ranges::none_of(text, is_digit);
  }
  items.push_back({word.begin, word.end, digits, value});
  return behind.empty() || (digits <= 2 && std::ranges::find(kOrdinals, behind) != kOrdinals.end());
}

// What stands between two items, without blanks; "?" where it parts them.
std::string link(std::string_view between) {
  std::string out;
  for (const char c : between) {
    if (c != ' ') {
      out += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    }
  }
  const bool links = out.empty() || out == "of" || out == "/" || out == "." || out == "," ||
                     out == "-" || out == ".,";
  return links ? out : "?";
}

std::string month_text(int year, int month) { return fmt::format("{:04}-{:02}", year, month); }
std::string day_text(int year, int month, int day) {
  return fmt::format("{}-{:02}", month_text(year, month), day);
}
std::string in_words(int year, int month, int day) {
  return fmt::format("{} {} {}", day, kMonths[static_cast<std::size_t>(month - 1)], year);
}

WrittenDate two(const Item& a, const Item& b, const std::string& between) {
  const Item& year = a.is_year() ? a : b;
  const Item& month = a.is_year() ? b : a;
  const bool sign = between == "/" || between == "." || between == "-";
  if (!year.is_year() || !(month.named() || (month.is_small() && sign))) {
    return {};
  }
  return {month_text(year.value, month.value), {}, {}};
}

WrittenDate three(const Item& a, const Item& b, const Item& c, const std::string& first,
                  const std::string& second) {
  if (a.is_year() && b.named() && c.is_small()) {  // 2026 November 20
    return {day_text(a.value, b.value, c.value), {}, {}};
  }
  if (c.is_year() && (a.named() || b.named()) && (a.is_small() || b.is_small())) {
    return {
        day_text(c.value, a.named() ? a.value : b.value, a.named() ? b.value : a.value), {}, {}};
  }
  if (first != second || (first != "/" && first != "." && first != "-")) {
    return {};
  }
  if (a.is_year() && b.is_small() && c.is_small()) {
    return {day_text(a.value, b.value, c.value), {}, {}};
  }
  if (!c.is_year() || !a.is_small() || !b.is_small()) {
    return {};
  }
  if (a.may_be_month() && b.may_be_month() && a.value != b.value) {
    return {{},
            fmt::format("{} or {}", in_words(c.value, b.value, a.value),
                        in_words(c.value, a.value, b.value)),
            day_text(c.value, b.value, a.value)};
  }
  return {
      b.may_be_month() ? day_text(c.value, b.value, a.value) : day_text(c.value, a.value, b.value),
      {},
      {}};
}

// Items of one date, side by side.
WrittenDate date_of(std::string_view written, std::span<const Item> items) {
  std::vector<std::string> links;
  for (std::size_t i = 1; i < items.size(); ++i) {
    links.push_back(link(written.substr(items[i - 1].end, items[i].begin - items[i - 1].end)));
  }
  switch (items.size()) {
    case 1:
      return items[0].is_year() ? WrittenDate{fmt::format("{:04}", items[0].value), {}, {}}
                                : WrittenDate{};
    case 2:
      return two(items[0], items[1], links[0]);
    case 3:
      return three(items[0], items[1], items[2], links[0], links[1]);
    default:
      return {};
  }
}

}  // namespace

WrittenDate date_among(std::string_view written) {
  std::vector<Item> items;
  for (const Word& word : words_of(written)) {
    if (!add_item(word, items)) {
      return {};
    }
  }
  const auto number = std::ranges::find_if(items, [](const Item& i) { return !i.named(); });
  if (number == items.end()) {
    return {};
  }
  const auto linked = [&](std::size_t left) {
    return link(written.substr(items[left].end, items[left + 1].begin - items[left].end)) != "?";
  };
  auto first = static_cast<std::size_t>(number - items.begin());
  std::size_t last = first;
  while (first > 0 && linked(first - 1)) {
    --first;
  }
  while (last + 1 < items.size() && linked(last)) {
    ++last;
  }
  for (std::size_t i = 0; i < items.size(); ++i) {
    if ((i < first || i > last) && !items[i].named()) {
      return {};  // another number
    }
  }
  return date_of(written, std::span(items).subspan(first, last + 1 - first));
}

bool is_word_of_date(std::string_view small_letters) {
  const std::string_view behind = small_letters.substr(
      std::min(small_letters.find_first_not_of("0123456789"), small_letters.size()));
  return month_named(small_letters) > 0 || small_letters == "of" ||
         (behind.size() < small_letters.size() &&
          std::ranges::find(kOrdinals, behind) != kOrdinals.end()) ||
         std::ranges::any_of(kDays, [&](auto day) { return names(small_letters, day); });
}

}  // namespace dryshaft::form
