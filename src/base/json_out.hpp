// JSON that goes out, of every kind, is written by this: what could steer a terminal, reorder a
// line or spell what nobody sees is escaped, so that JSON is harmless wherever it is shown; what is
// not UTF-8 becomes U+FFFD; all other characters stand as they are.
#ifndef DRYSHAFT_BASE_JSON_OUT_HPP
#define DRYSHAFT_BASE_JSON_OUT_HPP

#include <string>
#include <string_view>

namespace dryshaft::json_out {

// Whether every byte stands for itself inside a JSON string.
bool stands_as_is(std::string_view text);

// What stands between the quotes of a JSON string for `text`.
std::string inside_string(std::string_view text);

// JSON text as nlohmann writes it, with the characters escaped that it leaves.
std::string harmless(std::string dumped);

// `indent` spaces a level; below 0: on one line, without spaces. No line end.
template <typename Json>
std::string of(const Json& json, int indent = -1) {
  return harmless(json.dump(indent, ' ', false, Json::error_handler_t::replace));
}

}  // namespace dryshaft::json_out

#endif
