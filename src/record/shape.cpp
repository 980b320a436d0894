#include "record/shape.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

namespace dryshaft {
namespace {

void add(Shape& object, std::string_view path, const FieldSpec& field, bool miles) {
  path.remove_prefix(1);  // the slash
  const std::size_t slash = path.find('/');
  const std::string_view key = path.substr(0, slash);
  object.required = object.required || field.required;
  if (slash == std::string_view::npos) {
    object.members.push_back({.key = std::string(key),
                              .field = &field,
                              .miles = miles,
                              .required = field.required,
                              .members = {}});
    return;
  }
  auto member = std::ranges::find(object.members, key, &Shape::key);
  if (member == object.members.end()) {
    member = object.members.insert(member, Shape{.key = std::string(key), .members = {}});
  }
  add(*member, path.substr(slash), field, miles);
}

void add_all(Shape& object, std::span<const FieldSpec> rows) {
  for (const FieldSpec& field : rows) {
    add(object, field.pointer, field, false);
    if (field.miles_too) {
      add(object, miles_pointer(field.pointer), field, true);
    }
  }
}

void add_list(Shape& record, std::string_view pointer, std::string_view title,
              std::span<const FieldSpec> rows) {
  Shape list{.key = std::string(pointer.substr(1)), .title = title, .is_list = true, .members = {}};
  add_all(list, rows);
  list.required = false;  // there may be none, or an empty list
  record.members.push_back(std::move(list));
}

Shape make_shape() {
  Shape record;
  add_all(record, fields());
  add_list(record, kWorkPointer, kWorkTitle, work_fields());
  add_list(record, kWithdrawnPointer, kWithdrawnTitle, withdrawn_fields());
  return record;
}

}  // namespace

const Shape* Shape::find(std::string_view wanted) const {
  const auto member = std::ranges::find(members, wanted, &Shape::key);
  return member == members.end() ? nullptr : &*member;
}

const Shape& record_shape() {
  static const Shape shape = make_shape();
  return shape;
}

std::string miles_pointer(std::string_view pointer) {
  // Of the same length.
  std::string out(pointer.substr(0, pointer.size() - kMilesSuffix.size()));
  return out += kMilesSuffix;
}

bool says_what_teardown_showed(Field field) {
  return std::ranges::find(causes(), field, &CauseSpec::teardown) != causes().end();
}

std::vector<std::string_view> choice_words(const FieldSpec& field) {
  std::vector<std::string_view> words;
  for (const Choice& c : field.choices) {
    words.push_back(c.id);
  }
  if (says_what_teardown_showed(field.id)) {
    words.push_back(kNotExamined);
  }
  return words;
}

std::string_view unit_of(const Shape& member) {
  return member.miles ? kMilesSuffix.substr(1) : member.field->unit;
}

double limit_of(const Shape& member, double limit) {
  return member.miles ? whole_miles(limit) : limit;
}

double whole_miles(double km) { return std::floor(km / kKmPerMile); }

}  // namespace dryshaft
