// Characters of a UTF-8 text.
#ifndef DRYSHAFT_BASE_UTF8_HPP
#define DRYSHAFT_BASE_UTF8_HPP

#include <cstddef>
#include <string>
#include <string_view>

namespace dryshaft::utf8 {

inline constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

struct Character {
  char32_t code = 0;       // U+FFFD where the bytes are not UTF-8
  std::size_t length = 1;  // bytes; 1 where they are not UTF-8
  bool valid = false;
};

// The character that begins at byte `at`, which must be inside the text.
Character decode(std::string_view text, std::size_t at);

// Characters in a text; a byte that is not UTF-8 counts as one.
std::size_t length(std::string_view text);

// The first byte that is not UTF-8, or the text's size.
std::size_t first_invalid(std::string_view text);

// Whether a character could steer a terminal or reorder a line: control
// characters, line separators, marks of writing direction. All are below U+10000.
bool steers_terminal(char32_t code);

// Whether a character steers a terminal, or is a tag: these spell a text that nobody sees.
bool misleads(char32_t code);

// The text with each such character, and each byte that is not UTF-8, replaced
// by one harmless character, so that positions stay: a tab by a space, the
// rest by U+FFFD. At most `limit` characters; "..." says that it was cut.
std::string harmless(std::string_view text, std::size_t limit = std::string_view::npos);

// Whether a character belongs to a bare word or number in a JSON-like text.
bool in_word(char c);

// What stands at a byte, for a message: `"tru"`, `"}"`, `a string`, `U+0000`,
// `the end of the text`.
std::string found_at(std::string_view text, std::size_t at);

}  // namespace dryshaft::utf8

#endif
