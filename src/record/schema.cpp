#include <fmt/format.h>

#include <cmath>
#include <cstdint>
#include <nlohmann/json.hpp>

#include "base/json_out.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"
#include "record/photos.hpp"
#include "record/shape.hpp"
#include "vocabulary/formats.hpp"

namespace dryshaft {
namespace {

using Json = nlohmann::ordered_json;

constexpr const char* kNotObserved = "#/$defs/not-observed";

Json not_observed() { return {{"$ref", kNotObserved}}; }

Json number_as_written(double number) {
  return number == std::floor(number) && std::abs(number) < 1e15
             ? Json(static_cast<std::int64_t>(number))
             : Json(number);
}

// Blanks as a class of a regular expression.
std::string unseen_class() {
  std::string out = "[";
  for (const utf8::Range& range : utf8::kUnseen) {
    out += fmt::format("\\u{:04X}", static_cast<std::uint32_t>(range.first));
    if (range.first != range.last) {
      out += fmt::format("-\\u{:04X}", static_cast<std::uint32_t>(range.last));
    }
  }
  return out + "]";
}

// What the member may be when it is observed.
Json observed(const Shape& member) {
  const FieldSpec& field = *member.field;
  switch (field.type) {
    case FieldType::text: {
      Json out = {{"type", "string"}};
      if (field.required) {
        out["minLength"] = 1;
      }
      if (field.id == Field::unit_id) {  // blanks at its ends are no part of it
        const std::string unseen = unseen_class();
        out["pattern"] = fmt::format("^(?!{0}*(unknown{0}*)?$)", unseen);
      }
      if (field.max_length != 0) {
        out["maxLength"] = field.max_length;
      }
      return out;
    }
    case FieldType::hash:
      return {{"type", "string"}, {"pattern", "^[0-9a-f]{64}$"}};
    case FieldType::month:
      return {{"type", "string"}, {"pattern", "^(?!0000)[0-9]{4}(-(0[1-9]|1[0-2]))?$"}};
    case FieldType::date:
      return {{"type", "string"},
              {"format", "date"},
              {"pattern", "^(?!0000)[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"}};
    case FieldType::choice:
      return {{"enum", choice_words(field)}};
    case FieldType::choices:
      return {{"type", "array"}, {"items", {{"enum", choice_words(field)}}}, {"uniqueItems", true}};
    case FieldType::flag:
      return {{"type", "boolean"}};
    case FieldType::number: {
      Json out = {{"type", "number"}};
      const double low = limit_of(member, field.minimum);
      const double high = limit_of(member, field.maximum);
      if (std::isfinite(low)) {
        out[field.minimum_excluded ? "exclusiveMinimum" : "minimum"] = number_as_written(low);
      }
      if (std::isfinite(high)) {
        out["maximum"] = number_as_written(high);
      }
      return out;
    }
    case FieldType::photos:
      return {{"type", "array"},
              {"maxItems", kMaxPhotos},
              {"uniqueItems", true},
              {"items",
               {{"type", "string"},
                {"anyOf",
                 Json::array({{{"pattern", kPhotoNamePattern}, {"maxLength", field.max_length}},
                              {{"pattern", kPhotoInsidePattern}}})}}}};
  }
  return {};
}

Json described(const Shape& member) {
  const FieldSpec& field = *member.field;
  Json out = {{"title", field.title}, {"description", field.question}};
  if (!field.unit.empty()) {
    out["title"] = std::string(field.title) + ", " + std::string(unit_of(member));
  }
  if (field.id == Field::format) {
    out["const"] = kRecordFormat;
  } else if (field.required) {
    out.update(observed(member));
    out["not"] = not_observed();
  } else {
    out["anyOf"] = Json::array({not_observed(), observed(member)});
  }
  return out;
}

std::string_view key_of(Field field) {
  const std::string_view pointer = spec(field).pointer;
  return pointer.substr(pointer.rfind('/') + 1);
}

Json object_of(const Shape& shape);

// The rules between members of one object.
Json rules(const Shape& shape) {
  Json all = Json::array();
  const auto has = [&](Field field) {
    const Shape* member = shape.find(key_of(field));
    return member != nullptr && member->field != nullptr && member->field->id == field;
  };
  for (const Shape& member : shape.members) {
    if (member.miles) {
      const std::string_view km = key_of(member.field->id);
      const Json number = {{"type", "number"}};
      all.push_back({{"$comment", "a distance is given in km or in miles"},
                     {"not",
                      {{"required", Json::array({km, member.key})},
                       {"properties", {{std::string(km), number}, {member.key, number}}}}}});
    }
  }
  if (has(Field::port_checked)) {
    Json nothing = Json::object();
    for (const Shape& member : shape.members) {
      if (member.field == nullptr || member.field->id != Field::port_checked) {
        nothing[member.key] = not_observed();
      }
    }
    const std::string checked(key_of(Field::port_checked));
    all.push_back(
        {{"$comment", "a port that was not checked shows nothing"},
         {"if",
          {{"required", Json::array({checked})}, {"properties", {{checked, {{"const", false}}}}}}},
         {"then", {{"properties", nothing}}}});
  }
  if (has(Field::bypass_keeps_crossover)) {
    const std::string crossover(key_of(Field::bypass_keeps_crossover));
    const std::string cooling(key_of(Field::rotor_cooling));
    const Choice& bypassed =
        spec(Field::rotor_cooling).choices[static_cast<std::size_t>(Cooling::bypassed)];
    all.push_back({{"$comment", "only a bypass can keep the crossover pipe"},
                   {"if",
                    {{"required", Json::array({crossover})},
                     {"properties", {{crossover, {{"type", "boolean"}}}}}}},
                   {"then",
                    {{"required", Json::array({cooling})},
                     {"properties", {{cooling, {{"const", bypassed.id}}}}}}}});
  }
  for (const Shape& member : shape.members) {
    if (!has(Field::work_did) || member.field == nullptr) {
      continue;
    }
    Json dids = Json::array();
    for (std::size_t did = 0; did < kDidCount; ++did) {
      if (goes_with(member.field->id, static_cast<Did>(did))) {
        dids.push_back(spec(static_cast<Did>(did)).id);
      }
    }
    if (dids.size() != kDidCount) {
      all.push_back(
          {{"$comment", "it goes with some work alone"},
           {"if",
            {{"required", Json::array({member.key})},
             {"properties", {{member.key, observed(member)}}}}},
           {"then", {{"properties", {{std::string(key_of(Field::work_did)), {{"enum", dids}}}}}}}});
    }
  }
  for (const FindingSpec& f : findings()) {
    if (f.needs_one_of.empty() || !has(f.from.front())) {
      continue;
    }
    const Shape& describing = *shape.find(key_of(f.from.front()));
    Json one_of = Json::array();
    for (const Finding needed : f.needs_one_of) {
      const FieldSpec& field = spec(spec(needed).from.front());
      const std::string key(key_of(field.id));
      Json words = Json::array();
      for (const Choice& c : field.choices.subspan(1)) {
        words.push_back(c.id);
      }
      one_of.push_back(
          {{"required", Json::array({key})}, {"properties", {{key, {{"enum", words}}}}}});
    }
    all.push_back({{"$comment", "it describes what one of the others says"},
                   {"if",
                    {{"required", Json::array({describing.key})},
                     {"properties", {{describing.key, observed(describing)}}}}},
                   {"then", {{"anyOf", one_of}}}});
  }
  return all;
}

Json object_of(const Shape& shape) {
  Json out = {{"type", "object"}};
  Json required = Json::array();
  Json properties = Json::object();
  for (const Shape& member : shape.members) {
    if (member.required) {
      required.push_back(member.key);
    }
    if (member.field != nullptr) {
      properties[member.key] = described(member);
    } else if (member.is_list) {
      properties[member.key] = {
          {"title", member.title},
          {"anyOf",
           Json::array(
               {not_observed(),
                {{"type", "array"}, {"maxItems", kMaxWork}, {"items", object_of(member)}}})}};
    } else if (member.required) {
      properties[member.key] = object_of(member);
    } else {
      properties[member.key] = {{"anyOf", Json::array({not_observed(), object_of(member)})}};
    }
  }
  if (!required.empty()) {
    out["required"] = std::move(required);
  }
  out["properties"] = std::move(properties);
  out["patternProperties"] = {{"^" + std::string(kOwnPrefix), true}};
  out["additionalProperties"] = false;
  Json all = rules(shape);
  if (!all.empty()) {
    out["allOf"] = std::move(all);
  }
  return out;
}

}  // namespace

std::string record_schema() {
  Json schema = {{"$schema", "https://json-schema.org/draft/2020-12/schema"},
                 {"$id", schema_address("record")},
                 {"title", kRecordFormat},
                 {"description", "One inspection of one drive unit."}};
  schema.update(object_of(record_shape()));
  schema["$defs"]["not-observed"] = {{"enum", Json::array({nullptr, kUnknownWord})}};
  return json_out::of(schema, 2) + "\n";
}

}  // namespace dryshaft
