#include "knowledge/owner_words.hpp"

#include <algorithm>

namespace dryshaft {
namespace {

constexpr std::string_view kExcused[] = {"not",  "never",    "no",      "ask",
                                         "have", "workshop", "licensed"};

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> words;
  std::string word;
  for (const char c : text) {
    const char lower = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    if ((lower >= 'a' && lower <= 'z') || (lower >= '0' && lower <= '9') || lower == '\'') {
      word += lower;
    } else if (!word.empty()) {
      words.push_back(std::move(word));
      word.clear();
    }
  }
  if (!word.empty()) {
    words.push_back(std::move(word));
  }
  return words;
}

}  // namespace

std::vector<std::string> reserved_words(const Knowledge& knowledge) {
  std::vector<std::string> never;
  for (const CautionRule& c : knowledge.cautions) {
    never.insert(never.end(), c.owner_never.begin(), c.owner_never.end());
  }
  return never;
}

bool excused(std::string_view sentence) {
  const std::vector<std::string> words = words_of(sentence);
  return std::ranges::any_of(kExcused, [&](std::string_view excuse) {
    return std::ranges::find(words, excuse) != words.end();
  });
}

std::string_view forbidden_in(std::string_view text, const std::vector<std::string>& never) {
  while (!text.empty()) {
    const std::size_t end = std::min(text.find_first_of(".!?;"), text.size());
    const std::string_view sentence = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    if (excused(sentence)) {
      continue;
    }
    const std::vector<std::string> words = words_of(sentence);
    for (const std::string& phrase : never) {
      const std::vector<std::string> wanted = words_of(phrase);
      if (!wanted.empty() &&
          std::search(words.begin(), words.end(), wanted.begin(), wanted.end()) != words.end()) {
        return phrase;
      }
    }
  }
  return {};
}

}  // namespace dryshaft
