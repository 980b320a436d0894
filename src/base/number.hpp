// A number that somebody wrote.
#ifndef DRYSHAFT_BASE_NUMBER_HPP
#define DRYSHAFT_BASE_NUMBER_HPP

#include <charconv>
#include <cmath>
#include <optional>
#include <string_view>
#include <system_error>

namespace dryshaft {

// The finite decimal number that fills `text`; nothing where it is none.
inline std::optional<double> number_in(std::string_view text) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  const bool whole = error == std::errc() && end == text.data() + text.size();
  return whole && std::isfinite(value) ? std::optional(value) : std::nullopt;
}

}  // namespace dryshaft

#endif
