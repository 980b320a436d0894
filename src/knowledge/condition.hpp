// Conditions as they stand in data.
#ifndef DRYSHAFT_KNOWLEDGE_CONDITION_HPP
#define DRYSHAFT_KNOWLEDGE_CONDITION_HPP

#include <cstdint>

#include "knowledge/object_view.hpp"

namespace dryshaft {

Words grade_names();
// An array of words: bit `i` for the `i`th of `words`.
std::uint8_t words_mask(ObjectView& view, const located::Node& node, const Words& words);
// An object that tests findings, situation, causes and grade; see `Condition`.
Condition read_condition(ObjectView& parent, const located::Node& node);
// Whether it asks for nothing.
bool always_holds(const Condition& c);

}  // namespace dryshaft

#endif
