// Lines, columns and excerpts of a text.
#ifndef DRYSHAFT_BASE_PLACES_HPP
#define DRYSHAFT_BASE_PLACES_HPP

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "dryshaft/diagnostic.hpp"

namespace dryshaft {

// Where a text begins in its source.
struct Origin {
  std::string_view source;
  std::uint32_t line = 1;
  std::uint32_t column = 1;
};

struct Place {
  std::uint32_t line = 1;
  std::uint32_t column = 1;
};

// Turns bytes of a text into places. Remembers the last place that it worked
// out: places are mostly asked for in text order, and counting from the start
// each time would be quadratic. So one object belongs to one thread.
class Places {
 public:
  Places(std::string_view text, const Origin& origin)
      : text_(text), origin_(origin), line_(origin.line), column_(origin.column) {}

  [[nodiscard]] std::string_view text() const { return text_; }
  [[nodiscard]] const Origin& origin() const { return origin_; }

  Place place(std::size_t offset);
  // The byte that was asked for last, or where the next character begins if it lies inside one.
  [[nodiscard]] std::size_t offset() const { return offset_; }

  // A complaint at byte `offset`. Its excerpt begins at `shown_from`, if that
  // lies close before it on the same line.
  Diagnostic complaint(std::size_t shown_from, std::size_t offset, std::string_view code,
                       std::string message);
  // The same, with what stands just before it on the line.
  Diagnostic complaint(std::size_t offset, std::string_view code, std::string message);

 private:
  std::string_view text_;
  Origin origin_;
  std::size_t offset_ = 0;
  std::uint32_t line_;
  std::uint32_t column_;
};

}  // namespace dryshaft

#endif
