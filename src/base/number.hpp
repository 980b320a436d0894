// A number that somebody wrote.
#ifndef DRYSHAFT_BASE_NUMBER_HPP
#define DRYSHAFT_BASE_NUMBER_HPP

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdlib>
#include <optional>
#include <string>
#include <string_view>
#include <system_error>

namespace dryshaft {

// std::from_chars; libc++ has none for a double before version 20, and a page has no locale that
// strtod could heed.
inline std::from_chars_result double_from(std::string_view text, double& value) {
#ifdef __cpp_lib_to_chars
  return std::from_chars(text.data(), text.data() + text.size(), value);
#else
  const std::string decimal(text.substr(0, text.find_first_not_of("0123456789+-.eE")));
  char* end = nullptr;
  const double read = decimal.starts_with('+') ? 0 : std::strtod(decimal.c_str(), &end);
  if (end == nullptr || end == decimal.c_str()) {
    return {text.data(), std::errc::invalid_argument};
  }
  const char* const stop = text.data() + (end - decimal.c_str());
  const auto is_digit = [](char c) { return c >= '1' && c <= '9'; };
  const bool vanished =
      read == 0 && std::ranges::any_of(decimal.substr(0, decimal.find_first_of("eE")), is_digit);
  if (std::isinf(read) || vanished) {
    return {stop, std::errc::result_out_of_range};
  }
  value = read;
  return {stop, std::errc()};
#endif
}

// The finite decimal number that fills `text`; nothing where it is none.
inline std::optional<double> number_in(std::string_view text) {
  double value = 0;
  const auto [end, error] = double_from(text, value);
  const bool whole = error == std::errc() && end == text.data() + text.size();
  return whole && std::isfinite(value) ? std::optional(value) : std::nullopt;
}

}  // namespace dryshaft

#endif
