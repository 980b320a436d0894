// Words that several parts of the decision use.
#ifndef DRYSHAFT_DECIDE_WORDING_HPP
#define DRYSHAFT_DECIDE_WORDING_HPP

#include <string>
#include <string_view>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

std::string percent(double probability);  // "42 %"; never certain: "under 1 %", "over 99 %"
// "liquid at the port: a film of liquid"
std::string_view words_for(Finding finding, int level);
std::string sentence_case(std::string_view text);
// With a small first letter, save where the first word is all of capitals, or begins with two.
std::string within_sentence(std::string_view text);

}  // namespace dryshaft

#endif
