// Where the objects of a text begin and end, before any of it is parsed.
#ifndef DRYSHAFT_RECORD_LAYOUT_HPP
#define DRYSHAFT_RECORD_LAYOUT_HPP

#include <cstddef>
#include <string>
#include <string_view>

namespace dryshaft {

struct Extent {
  std::size_t end = 0;  // one past the last byte
  bool closed = false;  // its last bracket was found
  bool ended = true;    // an end was found; else the text ends first
};

// The object or array that opens at `begin`, by counting brackets outside of
// strings. Exact for JSON that is well formed.
Extent balanced(std::string_view text, std::size_t begin);

// The same for an element of an array that is not well formed: stops where the
// next element seems to begin, so that one mistake does not swallow the rest.
Extent resynchronised(std::string_view text, std::size_t begin);

// What a text that holds no records looks like, and what to do about it.
struct Likeness {
  std::string_view looks_like;
  std::string_view hint;
  bool certain = false;  // by a mark that no JSON text can begin with
};
Likeness likeness(std::string_view text);

bool is_white(char c);
// The first character at or after `at` that is not white space.
std::size_t skip_white(std::string_view text, std::size_t at);
// `end`, moved back over the white space before it.
std::size_t trim_white(std::string_view text, std::size_t end);

}  // namespace dryshaft

#endif
