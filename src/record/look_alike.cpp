#include "record/look_alike.hpp"

#include <fmt/format.h>
#include <utf8proc.h>

#include <algorithm>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <utility>

#include "base/utf8.hpp"

namespace dryshaft {
namespace {

// Letters that look Latin, out of Unicode's confusables (UTS #39), sorted; and O, which looks like
// a digit.
constexpr std::pair<utf8proc_int32_t, utf8proc_int32_t> kLatin[] = {
    {'O', '0'},    {'o', '0'},    {0x0391, 'A'}, {0x0392, 'B'}, {0x0395, 'E'}, {0x0396, 'Z'},
    {0x0397, 'H'}, {0x0399, 'I'}, {0x039A, 'K'}, {0x039C, 'M'}, {0x039D, 'N'}, {0x039F, '0'},
    {0x03A1, 'P'}, {0x03A4, 'T'}, {0x03A5, 'Y'}, {0x03A7, 'X'}, {0x03B1, 'a'}, {0x03B9, 'i'},
    {0x03BD, 'v'}, {0x03BF, '0'}, {0x03C1, 'p'}, {0x03C3, '0'}, {0x03F2, 'c'}, {0x03F9, 'C'},
    {0x0405, 'S'}, {0x0406, 'I'}, {0x0408, 'J'}, {0x0410, 'A'}, {0x0412, 'B'}, {0x0415, 'E'},
    {0x041A, 'K'}, {0x041C, 'M'}, {0x041D, 'H'}, {0x041E, '0'}, {0x0420, 'P'}, {0x0421, 'C'},
    {0x0422, 'T'}, {0x0423, 'Y'}, {0x0425, 'X'}, {0x0430, 'a'}, {0x0435, 'e'}, {0x043E, '0'},
    {0x0440, 'p'}, {0x0441, 'c'}, {0x0443, 'y'}, {0x0445, 'x'}, {0x0455, 's'}, {0x0456, 'i'},
    {0x0458, 'j'}, {0x04AE, 'Y'}, {0x04BB, 'h'}, {0x04CF, 'l'}, {0x0500, 'd'}, {0x0501, 'd'},
    {0x051A, 'Q'}, {0x051B, 'q'}, {0x051C, 'W'}, {0x051D, 'w'},
};

utf8proc_int32_t latin(utf8proc_int32_t code, void* /*data*/) {
  const auto* const found = std::ranges::lower_bound(
      kLatin, code, {}, &std::pair<utf8proc_int32_t, utf8proc_int32_t>::first);
  return found != std::end(kLatin) && found->first == code ? found->second : code;
}

struct Free {
  void operator()(utf8proc_uint8_t* text) const { std::free(text); }
};

std::string character_at(std::string_view text, std::size_t at) {
  return at < text.size()
             ? fmt::format("U+{:04X}", static_cast<std::uint32_t>(utf8::decode(text, at).code))
             : "the end";
}

}  // namespace

std::string looks(std::string_view id) {
  constexpr auto kHow =
      static_cast<utf8proc_option_t>(UTF8PROC_STABLE | UTF8PROC_COMPAT | UTF8PROC_DECOMPOSE |
                                     UTF8PROC_CASEFOLD | UTF8PROC_IGNORE | UTF8PROC_LUMP);
  utf8proc_uint8_t* text = nullptr;
  const utf8proc_ssize_t length =
      utf8proc_map_custom(reinterpret_cast<const utf8proc_uint8_t*>(id.data()),
                          static_cast<utf8proc_ssize_t>(id.size()), &text, kHow, latin, nullptr);
  const std::unique_ptr<utf8proc_uint8_t, Free> owned(text);
  if (length < 0) {
    return std::string(id);
  }
  return {reinterpret_cast<const char*>(text), static_cast<std::size_t>(length)};
}

std::string first_difference(std::string_view a, std::string_view b) {
  std::size_t at = 0;
  while (at < a.size() && at < b.size()) {
    const utf8::Character one = utf8::decode(a, at);
    if (one.code != utf8::decode(b, at).code) {
      break;
    }
    at += one.length;
  }
  return fmt::format("{} and {}", character_at(a, at), character_at(b, at));
}

}  // namespace dryshaft
