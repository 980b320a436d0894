#include <fmt/format.h>

#include <chrono>

#include "dryshaft/record.hpp"

namespace dryshaft {
namespace {

std::chrono::year_month_day calendar(int year, int month, int day) {
  return {std::chrono::year{year}, std::chrono::month{static_cast<unsigned>(month)},
          std::chrono::day{static_cast<unsigned>(day)}};
}

}  // namespace

int days_from_date(int year, int month, int day) {
  return static_cast<int>(
      std::chrono::sys_days{calendar(year, month, day)}.time_since_epoch().count());
}

std::string date_text(int days) {
  const std::chrono::year_month_day date{std::chrono::sys_days{std::chrono::days{days}}};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

std::optional<int> parse_date(std::string_view text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') {
    return std::nullopt;
  }
  const auto number = [text](std::size_t from, std::size_t count) {
    int value = 0;
    for (const char c : text.substr(from, count)) {
      if (c < '0' || c > '9') {
        return -1;
      }
      value = value * 10 + (c - '0');
    }
    return value;
  };
  const int year = number(0, 4);
  const int month = number(5, 2);
  const int day = number(8, 2);
  if (year < 1 || month < 1 || day < 1 || !calendar(year, month, day).ok()) {
    return std::nullopt;
  }
  return days_from_date(year, month, day);
}

}  // namespace dryshaft
