#include "base/utf8.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdint>

namespace dryshaft::utf8 {

Character decode(std::string_view text, std::size_t at) {
  const Character bad{.code = 0xFFFD, .length = 1, .valid = false};
  const auto byte = [&](std::size_t i) { return static_cast<std::uint8_t>(text[i]); };
  const std::uint8_t lead = byte(at);
  if (lead < 0x80) {
    return {.code = lead, .length = 1, .valid = true};
  }
  std::size_t more = 0;
  char32_t code = 0;
  char32_t smallest = 0;  // less than this would be an overlong form
  if (lead >= 0xC2 && lead <= 0xDF) {
    more = 1, code = lead & 0x1FU, smallest = 0x80;
  } else if (lead >= 0xE0 && lead <= 0xEF) {
    more = 2, code = lead & 0x0FU, smallest = 0x800;
  } else if (lead >= 0xF0 && lead <= 0xF4) {
    more = 3, code = lead & 0x07U, smallest = 0x10000;
  } else {
    return bad;
  }
  if (text.size() - at <= more) {
    return bad;
  }
  for (std::size_t i = 1; i <= more; ++i) {
    if ((byte(at + i) & 0xC0U) != 0x80U) {
      return bad;
    }
    code = (code << 6U) | (byte(at + i) & 0x3FU);
  }
  if (code < smallest || code > 0x10FFFF || (code >= 0xD800 && code <= 0xDFFF)) {
    return bad;
  }
  return {.code = code, .length = more + 1, .valid = true};
}

std::size_t length(std::string_view text) {
  std::size_t count = 0;
  for (std::size_t i = 0; i < text.size(); ++count) {
    i += static_cast<std::uint8_t>(text[i]) < 0x80 ? 1 : decode(text, i).length;
  }
  return count;
}

std::size_t first_invalid(std::string_view text) {
  std::size_t i = 0;
  while (i < text.size()) {
    const Character c = decode(text, i);
    if (!c.valid) {
      break;
    }
    i += c.length;
  }
  return i;
}

bool steers_terminal(char32_t code) {
  return code < 0x20 || (code >= 0x7F && code <= 0x9F) || code == 0x061C || code == 0x200E ||
         code == 0x200F || (code >= 0x2028 && code <= 0x202E) ||
         (code >= 0x2066 && code <= 0x2069) || code == 0xFEFF;
}

bool misleads(char32_t code) {
  return steers_terminal(code) || (code >= 0xE0000 && code <= 0xE0FFF);
}

namespace {

bool is_unseen(char32_t code) {
  return std::ranges::any_of(
      kUnseen, [code](const Range& range) { return range.first <= code && code <= range.last; });
}

// Blanks that have a width.
bool is_blank(char32_t code) {
  return code == 0x20 || code == 0xA0 || code == 0x1680 || (code >= 0x2000 && code <= 0x200A) ||
         code == 0x202F || code == 0x205F || code == 0x3000;
}

}  // namespace

std::optional<Character> first_unseen(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const Character c = decode(text, i);
    if (misleads(c.code) || (is_unseen(c.code) && !is_blank(c.code))) {
      return c;
    }
    i += c.length;
  }
  return std::nullopt;
}

std::string_view trim_unseen(std::string_view text) {
  std::size_t begin = text.size();
  std::size_t end = 0;
  for (std::size_t i = 0; i < text.size();) {
    const Character c = decode(text, i);
    if (!is_unseen(c.code)) {
      begin = std::min(begin, i);
      end = i + c.length;
    }
    i += c.length;
  }
  return begin < end ? text.substr(begin, end - begin) : std::string_view();
}

std::string harmless(std::string_view text, std::size_t limit) {
  std::string out;
  std::size_t count = 0;
  for (std::size_t i = 0; i < text.size(); ++count) {
    if (count == limit) {
      out += "...";
      break;
    }
    const Character c = decode(text, i);
    if (c.code == '\t') {
      out += ' ';
    } else if (!c.valid || misleads(c.code)) {
      out += "\xEF\xBF\xBD";
    } else {
      out.append(text.substr(i, c.length));
    }
    i += c.length;
  }
  return out;
}

bool in_word(char c) {
  return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_' ||
         c == '-' || c == '+' || c == '.';
}

std::string found_at(std::string_view text, std::size_t at) {
  constexpr std::size_t kLongest = 40;
  if (at >= text.size()) {
    return "the end of the text";
  }
  if (text[at] == '"') {
    return "a string";
  }
  if (in_word(text[at])) {
    std::size_t end = at;
    while (end < text.size() && in_word(text[end])) {
      ++end;
    }
    return fmt::format("\"{}\"", harmless(text.substr(at, end - at), kLongest));
  }
  const Character c = decode(text, at);
  return !c.valid || misleads(c.code) ? fmt::format("U+{:04X}", static_cast<std::uint32_t>(c.code))
                                      : fmt::format("\"{}\"", text.substr(at, c.length));
}

}  // namespace dryshaft::utf8
