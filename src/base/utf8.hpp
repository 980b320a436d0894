// Characters of a UTF-8 text.
#ifndef DRYSHAFT_BASE_UTF8_HPP
#define DRYSHAFT_BASE_UTF8_HPP

#include <array>
#include <cstddef>
#include <optional>
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

// Whether a character steers a terminal, or is a tag or a variation selector above U+FFFF: these
// spell a text that nobody sees.
bool misleads(char32_t code);

struct Range {
  char32_t first = 0;
  char32_t last = 0;
};
// White space and characters that nobody sees, up to U+FFFF (Unicode's PropList:
// White_Space; DerivedCoreProperties: Default_Ignorable_Code_Point, the common ones).
inline constexpr std::array kUnseen = {
    Range{0x09, 0x0D},     Range{0x20, 0x20},     Range{0x85, 0x85},     Range{0xA0, 0xA0},
    Range{0xAD, 0xAD},     Range{0x034F, 0x034F}, Range{0x061C, 0x061C}, Range{0x1680, 0x1680},
    Range{0x180B, 0x180E}, Range{0x2000, 0x200F}, Range{0x2028, 0x202F}, Range{0x205F, 0x206F},
    Range{0x3000, 0x3000}, Range{0x3164, 0x3164}, Range{0xFE00, 0xFE0F}, Range{0xFEFF, 0xFEFF},
    Range{0xFFA0, 0xFFA0}};

// A blank that is hard, thin or wide.
constexpr bool is_wide_blank(char32_t c) {
  return c == 0xA0 || c == 0x1680 || (c >= 0x2000 && c <= 0x200A) || c == 0x202F || c == 0x205F ||
         c == 0x3000;
}

// The first character that nobody sees: one of these that is no blank, or one that misleads.
std::optional<Character> first_unseen(std::string_view text);

// The text without what is not seen at its ends.
std::string_view trim_unseen(std::string_view text);

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
