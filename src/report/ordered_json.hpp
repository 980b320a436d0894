// JSON of sheets that are written once: members in the order in which they are put in.
#ifndef DRYSHAFT_REPORT_ORDERED_JSON_HPP
#define DRYSHAFT_REPORT_ORDERED_JSON_HPP

#include <cmath>
#include <nlohmann/json.hpp>
#include <string_view>

#include "report/words.hpp"

namespace dryshaft::words {

using Ordered = nlohmann::ordered_json;

// What is infinite or not known is null.
inline Ordered exact_or_null(double value) {
  return std::isfinite(value) ? Ordered(value) : Ordered(nullptr);
}
inline Ordered number_or_null(double value, int digits) {
  return exact_or_null(rounded(value, digits));
}
inline Ordered text_or_null(std::string_view text) {
  return text.empty() ? Ordered(nullptr) : Ordered(text);
}

}  // namespace dryshaft::words

#endif
