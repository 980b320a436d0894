// Drawings of our own: plain lines, in the colour of the text around them, for pages and print.
#ifndef DRYSHAFT_DRAWINGS_DRAWINGS_HPP
#define DRYSHAFT_DRAWINGS_DRAWINGS_HPP

#include <span>
#include <string>
#include <string_view>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

struct Drawing {
  std::string_view name;
  std::string_view title;
  std::string_view text;               // what it shows, for those who do not see it
  std::string_view svg;                // without either
  std::span<const Field> fields = {};  // what is asked or written down there
  // One for each word of its field, the harmless first, each 100 units wide.
  bool columns = false;
  std::string_view access = {};  // the way to the sensor port that it shows
};
std::span<const Drawing> drawings();

inline constexpr std::string_view kPortDrawing = "where";
inline constexpr std::string_view kLeakDrawing = "leak-path";
inline constexpr std::string_view kGradesDrawing = "grades";

// Null: there is none.
const Drawing* drawing_named(std::string_view name);
const Drawing* drawing_of_field(Field field);
const Drawing* drawing_of_access(std::string_view access);

// As an element of a page.
std::string drawn(const Drawing& drawing);

}  // namespace dryshaft

#endif
