#include "record/own.hpp"

#include <nlohmann/json.hpp>
#include <vector>

namespace dryshaft {
namespace {

const std::string* newest_with(const std::vector<Record>& records, std::string_view key) {
  for (auto record = records.rbegin(); record != records.rend(); ++record) {
    for (const auto& [pointer, json] : record->own) {
      if (json != "null" && own_key(pointer) == key) {
        return &json;
      }
    }
  }
  return nullptr;
}

}  // namespace

std::string own_key(std::string_view pointer) {
  std::string key;
  pointer.remove_prefix(pointer.rfind('/') + 1);
  for (std::size_t at = 0; at < pointer.size(); ++at) {
    // RFC 6901: "~1" stands for a slash, "~0" for a tilde.
    const bool escaped = pointer[at] == '~' && at + 1 < pointer.size();
    key.push_back(!escaped ? pointer[at] : pointer[++at] == '1' ? '/' : '~');
  }
  return key;
}

const std::string* own_value(const History& history, std::string_view key) {
  const std::string* const found = newest_with(history.records, key);
  return found != nullptr ? found : newest_with(history.set_aside, key);
}

std::string own_text(std::string_view json) {
  if (json.starts_with('"')) {
    const nlohmann::json value = nlohmann::json::parse(json, nullptr, false);
    return value.is_string() ? value.get<std::string>() : std::string(json);
  }
  // As written, numbers too; only white space between tokens goes.
  std::string text;
  bool inside = false;
  for (std::size_t at = 0; at < json.size(); ++at) {
    const char c = json[at];
    if (inside && c == '\\') {
      text += json.substr(at++, 2);
      continue;
    }
    inside = inside != (c == '"');
    if (inside || (c != ' ' && c != '\t' && c != '\n' && c != '\r')) {
      text.push_back(c);
    }
  }
  return text;
}

}  // namespace dryshaft
