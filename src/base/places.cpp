#include "base/places.hpp"

#include <algorithm>
#include <utility>

#include "base/utf8.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kExcerpt = 72;  // characters of an excerpt
constexpr std::size_t kFar = 48;      // bytes from which on a key is too far away to be shown
constexpr std::size_t kBefore = 32;   // bytes shown instead

bool ends_line(char c) { return c == '\n' || c == '\r'; }
bool continues_character(char c) { return (static_cast<std::uint8_t>(c) & 0xC0U) == 0x80U; }

}  // namespace

Place Places::place(std::size_t offset) {
  if (offset < offset_) {
    offset_ = 0;
    line_ = origin_.line;
    column_ = origin_.column;
  }
  while (offset_ < offset) {
    const auto byte = static_cast<std::uint8_t>(text_[offset_]);
    if (byte == '\n') {
      ++offset_;
      ++line_;
      column_ = 1;
    } else {
      offset_ += byte < 0x80 ? 1 : utf8::decode(text_, offset_).length;
      ++column_;
    }
  }
  return {line_, column_};
}

Diagnostic Places::complaint(std::size_t shown_from, std::size_t offset, std::string_view code,
                             std::string message) {
  const std::size_t earliest =
      offset - shown_from > kFar ? offset - std::min(kBefore, offset) : shown_from;
  std::size_t begin = offset;
  while (begin > earliest && !ends_line(text_[begin - 1])) {
    --begin;
  }
  while (begin < offset &&
         (text_[begin] == ' ' || text_[begin] == '\t' || continues_character(text_[begin]))) {
    ++begin;
  }
  std::size_t end = begin;
  for (std::size_t n = 0; n < kExcerpt && end < text_.size() && !ends_line(text_[end]); ++n) {
    end += utf8::decode(text_, end).length;
  }
  const Place at = place(offset);
  Diagnostic d;
  d.code = code;
  d.source = origin_.source;
  d.line = at.line;
  d.column = at.column;
  d.message = std::move(message);
  if (end > begin) {
    d.excerpt = utf8::harmless(text_.substr(begin, end - begin));
    d.caret = static_cast<std::uint32_t>(utf8::length(text_.substr(begin, offset - begin)));
  }
  return d;
}

Diagnostic Places::complaint(std::size_t offset, std::string_view code, std::string message) {
  return complaint(offset - std::min(kBefore, offset), offset, code, std::move(message));
}

}  // namespace dryshaft
