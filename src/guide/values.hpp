// Values that stand in braces in a line of a guide.
#ifndef DRYSHAFT_GUIDE_VALUES_HPP
#define DRYSHAFT_GUIDE_VALUES_HPP

#include <string>
#include <string_view>

#include "dryshaft/knowledge.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft::guide {

// What values are taken from.
struct ValueSource {
  const Knowledge& knowledge;
  const Family& family;
  Units units = Units::km;
};

// The text with its `{NAME}`s replaced; unknown ones stay as they are.
std::string filled(std::string_view text, const ValueSource& source);

// The first `{NAME}` that names no value, or one that is not closed, without
// its braces; `found` says whether there is one.
struct BadName {
  bool found = false;
  std::string_view name;
};
BadName bad_name(std::string_view text);

}  // namespace dryshaft::guide

#endif
