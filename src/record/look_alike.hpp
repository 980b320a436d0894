// Ids that a person takes for one.
#ifndef DRYSHAFT_RECORD_LOOK_ALIKE_HPP
#define DRYSHAFT_RECORD_LOOK_ALIKE_HPP

#include <string>
#include <string_view>

namespace dryshaft {

// The same for ids that look alike: in either case, with accents as one character or two, in wide
// letters, with another dash, with Greek or Cyrillic letters that look Latin, with O for 0. Of
// valid UTF-8.
std::string looks(std::string_view id);

// "U+0430 and U+0061", or "the end and U+0061": what two texts that are not the same differ in
// first.
std::string first_difference(std::string_view a, std::string_view b);

}  // namespace dryshaft

#endif
