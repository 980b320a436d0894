// The objects of a record and their members, made from the field table.
#ifndef DRYSHAFT_RECORD_SHAPE_HPP
#define DRYSHAFT_RECORD_SHAPE_HPP

#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

inline constexpr std::string_view kMilesSuffix = "_mi";
inline constexpr std::string_view kOwnPrefix = "x_";
// One more word for "not observed", at what a teardown showed.
inline constexpr std::string_view kNotExamined = "not-examined";

// A member of an object: a field, or an object with members of its own, or an array of such.
struct Shape {
  std::string key;
  std::string_view title = {};       // of an array
  const FieldSpec* field = nullptr;  // null for an object
  bool is_list = false;              // an array of objects, each of these members
  bool miles = false;                // the field's `_mi` spelling
  bool required = false;             // for an object: one of its fields is
  std::vector<Shape> members;

  [[nodiscard]] const Shape* find(std::string_view wanted) const;
};

// The whole record.
const Shape& record_shape();

// Where the `_mi` spelling of a `_km` field stands.
std::string miles_pointer(std::string_view pointer);

bool says_what_teardown_showed(Field field);

// What may stand at a choice that was observed or looked for, `unknown` aside.
std::vector<std::string_view> choice_words(const FieldSpec& field);

// The unit in which a member is written.
std::string_view unit_of(const Shape& member);

// A limit of the field in the unit in which the member is written; whole miles.
double limit_of(const Shape& member, double limit);
double whole_miles(double km);

}  // namespace dryshaft

#endif
