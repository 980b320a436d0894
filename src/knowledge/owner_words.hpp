// Which words may not tell an owner what to do.
#ifndef DRYSHAFT_KNOWLEDGE_OWNER_WORDS_HPP
#define DRYSHAFT_KNOWLEDGE_OWNER_WORDS_HPP

#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// Words and phrases that are for trained people.
class ReservedWords {
 public:
  explicit ReservedWords(const Knowledge& knowledge);  // all that its cautions reserve
  explicit ReservedWords(std::vector<std::string> phrases);

  // The phrase that a text for owners may not contain, or empty. A sentence that
  // is excused may name it.
  [[nodiscard]] std::string_view in(std::string_view text) const;
  [[nodiscard]] std::size_t size() const { return phrases_.size(); }

 private:
  std::vector<std::string> phrases_;
  std::vector<std::vector<std::string>> words_;  // of each
};

// Whether a sentence forbids something, or sends to a workshop.
bool excused(std::string_view sentence);

}  // namespace dryshaft

#endif
