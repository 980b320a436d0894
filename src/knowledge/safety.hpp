// What the shipped rules hold for safety, and whether other rules hold it too.
#ifndef DRYSHAFT_KNOWLEDGE_SAFETY_HPP
#define DRYSHAFT_KNOWLEDGE_SAFETY_HPP

#include <span>
#include <string_view>
#include <vector>

#include "dryshaft/knowledge.hpp"

namespace dryshaft::safety {

// The shipped rules as they were when the library was built: no file of theirs is asked, so none
// that is changed or missing can hide that.
struct ShippedFile {
  std::string_view name;
  std::string_view sha256;
};
std::string_view shipped_id();
std::span<const ShippedFile> shipped_files();
std::string_view shipped_floors();  // text of floors.json
std::string_view shipped_grades();  // text of grades.json

// Whether one of `by` holds wherever `condition` does, in every state that can be observed. False,
// too, where it cannot be shown: a condition on probabilities or the grade shows nothing, and a
// search that grows too long is given up.
bool is_covered(const Condition& condition, const std::vector<const Condition*>& by);

}  // namespace dryshaft::safety

#endif
