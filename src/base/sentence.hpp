// Sentences that come with or without their full stop, and numbers in them.
#ifndef DRYSHAFT_BASE_SENTENCE_HPP
#define DRYSHAFT_BASE_SENTENCE_HPP

#include <string>
#include <string_view>

namespace dryshaft {

std::string closed(std::string_view text);
// For a sentence within another one.
std::string_view without_full_stop(std::string_view text);
// A whole number with its thousands apart: "160,000"; "?" where there is none.
std::string grouped(double value);

}  // namespace dryshaft

#endif
