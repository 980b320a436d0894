// Which words may not tell an owner what to do.
#ifndef DRYSHAFT_KNOWLEDGE_OWNER_WORDS_HPP
#define DRYSHAFT_KNOWLEDGE_OWNER_WORDS_HPP

#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// All that cautions reserve for trained people.
std::vector<std::string> reserved_words(const Knowledge& knowledge);

// The phrase that a text for owners may not contain, or empty. A sentence that
// is excused may name it.
std::string_view forbidden_in(std::string_view text, const std::vector<std::string>& never);

// Whether a sentence forbids something, or sends to a workshop.
bool excused(std::string_view sentence);

}  // namespace dryshaft

#endif
