#include "decide/wording.hpp"

#include <fmt/format.h>

#include <cmath>

namespace dryshaft {

std::string percent(double probability) {
  if (probability > 0.99) {
    return "over 99 %";
  }
  if (probability < 0.01) {
    return "under 1 %";
  }
  return fmt::format("{:.0f} %", std::round(probability * 100));
}

std::string words_for(Finding finding, int level) {
  const FindingSpec& f = spec(finding);
  return fmt::format("{}: {}", f.title, f.levels[static_cast<std::size_t>(level)].plain);
}

std::string sentence_case(std::string_view text) {
  std::string out(text);
  if (!out.empty() && out.front() >= 'a' && out.front() <= 'z') {
    out.front() = static_cast<char>(out.front() - 'a' + 'A');
  }
  return out;
}

}  // namespace dryshaft
