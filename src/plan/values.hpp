// Values of the rules that stand in braces in a line of a job sheet.
#ifndef DRYSHAFT_PLAN_VALUES_HPP
#define DRYSHAFT_PLAN_VALUES_HPP

#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/knowledge.hpp"

namespace dryshaft::plan {

std::vector<std::string_view> line_values();
// The first name in braces that is none, or an empty text.
std::string_view unknown_value(std::string_view text);
// `text` with its values.
std::string with_values(std::string_view text, const Knowledge& knowledge, const Family& family);

}  // namespace dryshaft::plan

#endif
