// What the vocabulary lets a record hold: asked by the reader of a record's text, and of records
// that somebody filled by hand.
#ifndef DRYSHAFT_RECORD_LIMITS_HPP
#define DRYSHAFT_RECORD_LIMITS_HPP

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/record.hpp"
#include "record/shape.hpp"

namespace dryshaft {

// What a member may hold, for people.
std::string joined(std::span<const Choice> choices);
std::string allowed_kind(const Shape& member);
std::string allowed_length(const FieldSpec& field);
std::string allowed_range(const Shape& member);
// The work that an entry of `/work` with this member tells of.
std::string allowed_work(Field member);

// Whether a number, in the unit in which the member is written, lies within the field's limits.
bool within_limits(const Shape& member, double number);
// Whether one field's value is one that a reader could have read. Texts stand beside the values.
bool is_within_limits(const FieldSpec& field, const Value& value);
bool is_within_limits(const Work& work);
// Of all values of a record; rules between fields are left to `faults_of`.
bool is_within_limits(const Record& record);

// Rules between fields that no row of the table says.
bool is_given_beside_unchecked_port(const Record& record, const FieldSpec& field);
bool is_crossover_without_bypass(const Record& record);

// Work that no record of its time could tell of (`Work::misplaced`).
bool is_done_after_inspection(const Record& record, const Work& work);
bool is_done_before_built(const Record& record, const Work& work);
bool is_done_beyond_reading(const Record& record, const Work& work);

// A family or vehicle that the rule base does not have.
struct Unlisted {
  Field field = Field::family;
  std::string_view code;
  std::vector<std::string_view> known;
  std::string hint;
};
std::optional<Unlisted> unlisted_in(const Record& record, const ReadOptions& options);

// Where complaints of it are: a record that was filled by hand stands in no file.
std::string source_of(const Record& record);
// Why no reader would give this record; empty: it would, of a rule base with its family.
std::vector<Diagnostic> faults_of(const Record& record);

}  // namespace dryshaft

#endif
