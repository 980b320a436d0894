// A request of a page.
#ifndef DRYSHAFT_PAGE_REQUEST_HPP
#define DRYSHAFT_PAGE_REQUEST_HPP

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/json_out.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft::page {

using Json = nlohmann::ordered_json;

// An object; nothing where it is none.
inline std::optional<Json> request_in(std::string_view text) {
  Json request = Json::parse(text, nullptr, false);
  return request.is_object() ? std::optional(std::move(request)) : std::nullopt;
}

inline std::string text_of(const Json& object, std::string_view key) {
  const auto found = object.find(key);
  return found != object.end() && found->is_string() ? found->get<std::string>() : std::string();
}

inline bool is_true(const Json& object, std::string_view key) {
  const auto found = object.find(key);
  return found != object.end() && *found == Json(true);
}

// [{"name": "...", "text": "..."}]
inline std::vector<NamedText> files_in(const Json& object, std::string_view key) {
  std::vector<NamedText> out;
  if (const auto found = object.find(key); found != object.end()) {
    for (const Json& one : *found) {
      out.push_back({text_of(one, "name"), text_of(one, "text")});
    }
  }
  return out;
}

inline Units units_in(const Json& object, std::string_view key) {
  return text_of(object, key) == "mi" ? Units::mi : Units::km;
}

inline std::string bug(std::string_view what) { return json_out::of(Json{{"bug", what}}); }

}  // namespace dryshaft::page

#endif
