#include "base/json_out.hpp"

#include <fmt/format.h>

#include <cstddef>
#include <cstdint>
#include <iterator>

#include "base/utf8.hpp"

namespace dryshaft::json_out {
namespace {

// By its number in UTF-16: above U+FFFF it takes two.
void append_escaped(std::string& out, char32_t code) {
  const auto unit = [&](std::uint32_t number) {
    fmt::format_to(std::back_inserter(out), "\\u{:04x}", number);
  };
  if (code < 0x10000) {
    unit(static_cast<std::uint32_t>(code));
  } else {
    const auto above = static_cast<std::uint32_t>(code) - 0x10000;
    unit(0xD800 + (above >> 10U));
    unit(0xDC00 + (above & 0x3FFU));
  }
}

void append(std::string& out, const utf8::Character& c, std::string_view bytes) {
  switch (c.code) {
    case U'"':
      out += "\\\"";
      return;
    case U'\\':
      out += "\\\\";
      return;
    case U'\n':
      out += "\\n";
      return;
    case U'\r':
      out += "\\r";
      return;
    case U'\t':
      out += "\\t";
      return;
    default:
      break;
  }
  if (!c.valid) {
    out += "\xEF\xBF\xBD";
  } else if (utf8::misleads(c.code)) {
    append_escaped(out, c.code);
  } else {
    out += bytes;
  }
}

}  // namespace

bool stands_as_is(std::string_view text) {
  // No early way out: so the compiler looks at many bytes at a time.
  unsigned char others = 0;
  for (const char byte : text) {
    const auto c = static_cast<signed char>(byte);  // below 0: not ASCII
    others |= static_cast<unsigned char>(c < 0x20) | static_cast<unsigned char>(c == 0x7F) |
              static_cast<unsigned char>(c == '"') | static_cast<unsigned char>(c == '\\');
  }
  return others == 0;
}

std::string inside_string(std::string_view text) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const utf8::Character c = utf8::decode(text, at);
    append(out, c, text.substr(at, c.length));
    at += c.length;
  }
  return out;
}

std::string harmless(std::string dumped) {
  // Below U+007F all is escaped, or a line end of the layout.
  std::string out;
  std::size_t done = 0;
  for (std::size_t at = 0; at < dumped.size();) {
    if (static_cast<unsigned char>(dumped[at]) < 0x7F) {
      ++at;
      continue;
    }
    const utf8::Character c = utf8::decode(dumped, at);
    if (utf8::misleads(c.code)) {
      out.append(dumped, done, at - done);
      append_escaped(out, c.code);
      done = at + c.length;
    }
    at += c.length;
  }
  if (done == 0) {
    return dumped;
  }
  return out.append(dumped, done);
}

}  // namespace dryshaft::json_out
