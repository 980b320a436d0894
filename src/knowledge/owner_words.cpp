#include "knowledge/owner_words.hpp"

#include <algorithm>
#include <utility>

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

bool excuses(const std::vector<std::string>& words) {
  return std::ranges::any_of(kExcused, [&](std::string_view excuse) {
    return std::ranges::find(words, excuse) != words.end();
  });
}

std::vector<std::string> reserved_by(const Knowledge& knowledge) {
  std::vector<std::string> phrases;
  for (const CautionRule& c : knowledge.cautions) {
    phrases.insert(phrases.end(), c.owner_never.begin(), c.owner_never.end());
  }
  return phrases;
}

}  // namespace

bool excused(std::string_view sentence) { return excuses(words_of(sentence)); }

ReservedWords::ReservedWords(const Knowledge& knowledge) : ReservedWords(reserved_by(knowledge)) {}

ReservedWords::ReservedWords(std::vector<std::string> phrases) : phrases_(std::move(phrases)) {
  for (const std::string& phrase : phrases_) {
    words_.push_back(words_of(phrase));
  }
}

std::string_view ReservedWords::in(std::string_view text) const {
  while (!text.empty()) {
    const std::size_t end = std::min(text.find_first_of(".!?;"), text.size());
    const std::vector<std::string> words = words_of(text.substr(0, end));
    text.remove_prefix(std::min(end + 1, text.size()));
    if (excuses(words)) {
      continue;
    }
    for (std::size_t i = 0; i < phrases_.size(); ++i) {
      const std::vector<std::string>& wanted = words_[i];
      if (!wanted.empty() &&
          std::search(words.begin(), words.end(), wanted.begin(), wanted.end()) != words.end()) {
        return phrases_[i];
      }
    }
  }
  return {};
}

}  // namespace dryshaft
