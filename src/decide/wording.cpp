#include "decide/wording.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <string>

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

std::string_view words_for(Finding finding, int level) {
  static const auto kWords = [] {
    std::array<std::array<std::string, kMaxLevels>, kFindingCount> words;
    for (const FindingSpec& f : findings()) {
      for (std::size_t l = 0; l < f.levels.size(); ++l) {
        words.at(static_cast<std::size_t>(f.id)).at(l) =
            fmt::format("{}: {}", f.title, f.levels[l].plain);
      }
    }
    return words;
  }();
  return kWords[static_cast<std::size_t>(finding)][static_cast<std::size_t>(level)];
}

std::string sentence_case(std::string_view text) {
  std::string out(text);
  if (!out.empty() && out.front() >= 'a' && out.front() <= 'z') {
    out.front() = static_cast<char>(out.front() - 'a' + 'A');
  }
  return out;
}

std::string within_sentence(std::string_view text) {
  const auto capital = [&](std::size_t at) {
    return at < text.size() && text[at] >= 'A' && text[at] <= 'Z';
  };
  std::string out(text);
  if (capital(0) && !capital(1)) {
    out.front() = static_cast<char>(out.front() - 'A' + 'a');
  }
  return out;
}

}  // namespace dryshaft
