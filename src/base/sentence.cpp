#include "base/sentence.hpp"

#include <fmt/format.h>

#include <cmath>

namespace dryshaft {

std::string closed(std::string_view text) {
  const bool ended = text.empty() || text.ends_with('.') || text.ends_with('!') ||
                     text.ends_with('?') || text.ends_with(':');
  return std::string(text) + (ended ? "" : ".");
}

std::string_view without_full_stop(std::string_view text) {
  return text.substr(0, text.find_last_not_of('.') + 1);
}

std::string grouped(double value) {
  if (!std::isfinite(value)) {
    return "?";
  }
  std::string digits = fmt::format("{:.0f}", std::round(std::abs(value)));
  for (std::size_t at = digits.size(); at > 3; at -= 3) {
    digits.insert(at - 3, 1, ',');
  }
  return value < 0 && digits != "0" ? "-" + digits : digits;
}

}  // namespace dryshaft
