// Edits to a JSON file, so that small inputs reach what stands deep in a valid one.
#ifndef DRYSHAFT_TESTS_FUZZ_EDITS_HPP
#define DRYSHAFT_TESTS_FUZZ_EDITS_HPP

#include <algorithm>
#include <charconv>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace dryshaft::fuzz {

struct JsonPlace {
  nlohmann::ordered_json* value = nullptr;
  nlohmann::ordered_json* parent = nullptr;
  nlohmann::ordered_json::iterator at;  // in `parent`
};

inline void places_of(nlohmann::ordered_json& value, std::vector<JsonPlace>& places) {
  for (auto i = value.begin(); value.is_structured() && i != value.end(); ++i) {
    places.push_back({.value = &*i, .parent = &value, .at = i});
    places_of(*i, places);
  }
}

// A line `N=TEXT` makes the value number N (in the order of the file; past the last it goes on
// from the first) TEXT: as JSON where it is some, else as a string. Without TEXT it is taken out.
inline std::string edited_json(std::string_view file, std::string_view edits) {
  constexpr int kMostEdits = 16;
  constexpr std::size_t kLongest = 200;  // so that nothing nests deeply
  auto json = nlohmann::ordered_json::parse(file, nullptr, false);
  for (int n = 0; n < kMostEdits && !edits.empty(); ++n) {
    const std::string_view line = edits.substr(0, edits.find('\n'));
    edits.remove_prefix(std::min(line.size() + 1, edits.size()));
    const std::size_t equals = std::min(line.find('='), line.size());
    std::size_t number = 0;
    std::from_chars(line.data(), line.data() + equals, number);
    std::vector<JsonPlace> places;
    places_of(json, places);
    if (places.empty()) {
      break;
    }
    const JsonPlace& place = places[number % places.size()];
    const std::string_view text =
        line.substr(std::min(equals + 1, line.size())).substr(0, kLongest);
    if (text.empty()) {
      place.parent->erase(place.at);
    } else if (nlohmann::ordered_json::accept(text)) {
      *place.value = nlohmann::ordered_json::parse(text);
    } else {
      *place.value = text;
    }
  }
  return json.dump(1, ' ', false, nlohmann::ordered_json::error_handler_t::replace);
}

// What an input makes of a file: `#` and edits, or all of its text.
inline std::string edited_or_new(std::string_view file, std::string_view input) {
  return input.starts_with('#') ? edited_json(file, input.substr(1)) : std::string(input);
}

}  // namespace dryshaft::fuzz

#endif
