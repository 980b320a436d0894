// JSON Schemas of all formats, from the declarations beside their writers and readers
// (`src/*/*.format.json`).
//
// A declaration has `is`, `value` and perhaps `defs`. What a value may be is a word ("text", "km",
// "=this|that", "@def"; with a "?" at its end: or null), an array of one such, or an object. A
// member whose key ends with "?" need not be there; "*" stands for all other members, "*finding"
// for all that are findings; {"|": [...]} is one of several.
#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <string>
#include <utility>

#include "base/json_out.hpp"
#include "cli/cli.hpp"
#include "vocabulary/formats.hpp"

namespace dryshaft::cli {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::pair<std::string_view, std::string_view> kDeclarations[] = {
    {
        "report",
#include "report/report.format.json.inc"
    },
    {
        "plan",
#include "plan/plan.format.json.inc"
    },
    {
        "yard",
#include "plan/yard.format.json.inc"
    },
    {
        "onset",
#include "onset/onset.format.json.inc"
    },
    {
        "onset-prior",
#include "onset/prior.format.json.inc"
    },
    {
        "outcomes",
#include "outcomes/outcomes.format.json.inc"
    },
    {
        "overlay",
#include "knowledge/overlay.format.json.inc"
    },
    {
        "noise",
#include "noise/noise.format.json.inc"
    },
    {
        "complaints",
#include "base/complaints.format.json.inc"
    },
    {
        "rules",
#include "knowledge/rules.format.json.inc"
    },
    {
        "family",
#include "knowledge/family.format.json.inc"
    },
    {
        "guide",
#include "guide/guide.format.json.inc"
    },
    {
        "work",
#include "plan/work.format.json.inc"
    },
    {
        "prices",
#include "plan/prices.format.json.inc"
    },
    {
        "columns",
#include "record/columns.format.json.inc"
    },
    {
        "cases",
#include "prove/cases.format.json.inc"
    },
    {
        "comparison",
#include "compare/comparison.format.json.inc"
    },
    {
        "summary",
#include "cli/summary.format.json.inc"
    },
    {
        "accepted",
#include "cli/accepted.format.json.inc"
    },
};
constexpr std::string_view kShared =
#include "report/shared.format.json.inc"
    ;

template <typename Rows, typename Word>
Json words_of(const Rows& rows, const Word& word) {
  Json out = Json::array();
  for (const auto& row : rows) {
    out.push_back(std::string(word(row)));
  }
  return out;
}

class Schema {
 public:
  explicit Schema(std::string_view name)
      : id_(format_id(name)), shared_(Json::parse(kShared)["defs"]) {
    const auto found =
        std::ranges::find(kDeclarations, name, [](const auto& d) { return d.first; });
    declared_ = Json::parse(found->second);
    out_ = {{"$schema", "https://json-schema.org/draft/2020-12/schema"},
            {"$id", schema_address(name)},
            {"title", id_},
            {"description", declared_["is"]}};
    out_.update(of(declared_["value"]));
    while (!wanted_.empty()) {
      const std::string def = wanted_.back();
      wanted_.pop_back();
      if (!out_["$defs"].contains(def)) {
        out_["$defs"][def] = nullptr;  // one that leads to itself is asked for once
        Json made = of(declared_.contains("defs") && declared_["defs"].contains(def)
                           ? declared_["defs"][def]
                           : shared_.at(def));
        out_["$defs"][def] = std::move(made);
      }
    }
  }
  [[nodiscard]] std::string text() const { return json_out::of(out_, 2) + "\n"; }

 private:
  Json of(const Json& declared) {
    if (declared.is_string()) {
      return of_word(declared.get<std::string>());
    }
    if (declared.is_array()) {
      return {{"type", "array"}, {"items", of(declared[0])}};
    }
    if (declared.contains("|")) {
      Json ways = Json::array();
      for (const Json& way : declared["|"]) {
        ways.push_back(of(way));
      }
      return {{"anyOf", std::move(ways)}};
    }
    Json required = Json::array();
    Json properties = Json::object();
    Json out = {{"type", "object"}};
    Json others = false;
    for (const auto& [key, value] : declared.items()) {
      if (key.starts_with("*")) {
        others = of(value);
        if (key.size() > 1) {
          out["propertyNames"] = of_word(key.substr(1));
        }
      } else if (key.ends_with("?")) {
        properties[key.substr(0, key.size() - 1)] = of(value);
      } else {
        required.push_back(key);
        properties[key] = of(value);
      }
    }
    if (!required.empty()) {
      out["required"] = std::move(required);
    }
    if (!properties.empty()) {
      out["properties"] = std::move(properties);
    }
    out["additionalProperties"] = std::move(others);
    return out;
  }

  Json of_word(const std::string& word) {
    if (word.ends_with("?")) {
      return {{"anyOf", Json::array({of_word(word.substr(0, word.size() - 1)), of_word("null")})}};
    }
    if (word.starts_with("@")) {
      wanted_.push_back(word.substr(1));
      return {{"$ref", "#/$defs/" + word.substr(1)}};
    }
    if (word.starts_with("=")) {
      Json choices = Json::array();
      for (std::size_t at = 1; at <= word.size();) {
        const std::size_t end = std::min(word.find('|', at), word.size());
        choices.push_back(word.substr(at, end - at));
        at = end + 1;
      }
      return {{"enum", std::move(choices)}};
    }
    if (word == "grade") {
      return {{"enum", words_of(std::array{Grade::A, Grade::B, Grade::C, Grade::D, Grade::U},
                                [](Grade g) { return name(g); })}};
    }
    if (word == "urgency") {
      Json choices = Json::array();
      for (std::size_t i = 0; i < kUrgencyCount; ++i) {
        choices.push_back(name(static_cast<Urgency>(i)));
      }
      return {{"enum", std::move(choices)}};
    }
    if (word == "cause") {
      return {{"enum", words_of(causes(), [](const CauseSpec& c) { return c.name; })}};
    }
    if (word == "finding") {
      return {{"enum", words_of(findings(), [](const FindingSpec& f) { return f.name; })}};
    }
    if (word == "did") {
      return {
          {"enum", words_of(spec(Field::work_did).choices, [](const Choice& c) { return c.id; })}};
    }
    if (word == "format") {
      return {{"const", id_}};
    }
    if (word == "any") {
      return Json::object();
    }
    const std::pair<std::string_view, Json> kWords[] = {
        {"text", {{"type", "string"}}},
        {"number", {{"type", "number"}}},
        {"whole", {{"type", "integer"}, {"minimum", 0}}},
        {"km", {{"type", "number"}, {"minimum", 0}}},
        {"amount", {{"type", "number"}, {"minimum", 0}}},
        {"chance", {{"type", "number"}, {"minimum", 0}, {"maximum", 1}}},
        {"flag", {{"type", "boolean"}}},
        {"null", {{"type", "null"}}},
        {"date",
         {{"type", "string"}, {"pattern", "^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"}}},
        {"sha256", {{"type", "string"}, {"pattern", "^[0-9a-f]{64}$"}}},
        {"sha256_or_none", {{"type", "string"}, {"pattern", "^([0-9a-f]{64})?$"}}},
    };
    const auto found = std::ranges::find(kWords, word, [](const auto& w) { return w.first; });
    if (found == std::end(kWords)) {
      throw std::logic_error("a format is declared with \"" + word + "\", which is no word");
    }
    return found->second;
  }

  std::string id_;
  Json shared_;
  Json declared_;
  Json out_;
  std::vector<std::string> wanted_;
};

}  // namespace

std::vector<std::string> schema_names() {
  std::vector<std::string> names;
  for (const FormatName& f : format_names()) {
    names.emplace_back(f.name);
  }
  return names;
}

std::string schema_of(std::string_view name) {
  return format_id(name) == kRecordFormat ? record_schema() : Schema(name).text();
}

}  // namespace dryshaft::cli
