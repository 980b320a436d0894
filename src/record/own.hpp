// Keys of the shop's own, `x_...`, of a unit.
#ifndef DRYSHAFT_RECORD_OWN_HPP
#define DRYSHAFT_RECORD_OWN_HPP

#include <string>
#include <string_view>

#include "dryshaft/record.hpp"

namespace dryshaft {

// The key at the end of a JSON pointer: "x_shelf" of "/unit/x_shelf".
std::string own_key(std::string_view pointer);

// The JSON text that the unit's newest record with this key has for it; of several places in a
// record the first counts, and `null` is as good as left out. A record with a date that cannot be
// right is asked last. Null pointer: no record has it.
const std::string* own_value(const History& history, std::string_view key);

// A value as people read it: a string as it stands, anything else as JSON without white space.
std::string own_text(std::string_view json);

}  // namespace dryshaft

#endif
