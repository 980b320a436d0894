#include "record/limits.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>
#include <utility>

#include "base/sha256.hpp"
#include "base/utf8.hpp"
#include "record/identity.hpp"
#include "record/own.hpp"
#include "record/photos.hpp"
#include "vocabulary/order.hpp"

namespace dryshaft {
namespace {

bool is_whole_between(double number, double low, double high) {
  return number >= low && number <= high && number == std::floor(number);
}

bool is_day(double number) {
  static const double kFirst = days_from_date(1, 1, 1);
  static const double kLast = days_from_date(9999, 12, 31);
  return is_whole_between(number, kFirst, kLast);
}

Shape member_of(const FieldSpec& field) { return {.key = {}, .field = &field, .members = {}}; }

// As a record's text would have it.
std::string as_written(const FieldSpec& field, const Value& value) {
  const std::span<const Choice> choices = field.choices;
  switch (field.type) {
    case FieldType::choice:
      return value.code < choices.size() ? fmt::format("\"{}\"", choices[value.code].id)
                                         : fmt::format("word {} of {}", value.code, choices.size());
    case FieldType::choices:
      return fmt::format("words {:#b} of {}", value.code, choices.size());
    case FieldType::flag:
      return value.code == 0 ? "false" : value.code == 1 ? "true" : fmt::format("{}", value.code);
    case FieldType::month:
      return fmt::format("month {} after the year 0", value.number);
    case FieldType::date:
      return is_day(value.number) ? fmt::format("\"{}\"", date_text(static_cast<int>(value.number)))
                                  : fmt::format("day {} after 1970-01-01", value.number);
    default:
      return fmt::format("{}", value.number);
  }
}

class Faults {
 public:
  explicit Faults(const Record& record) : r_(record) {}

  std::vector<Diagnostic> find() {
    for (const FieldSpec& field : fields()) {
      if (r_.has(field.id) && !is_within_limits(field, r_.at(field.id))) {
        out_of_limits(field, r_.at(field.id), std::string(field.pointer));
      }
    }
    if (!r_.has(Field::date)) {
      missing(Field::date);
    }
    name_text(Field::unit_id, r_.unit_id);
    name_text(Field::family, r_.family);
    name_text(Field::vehicle, r_.vehicle);
    utf8_text(std::string(spec(Field::note).pointer), r_.note);
    hash(std::string(spec(Field::replaces).pointer), r_.replaces);
    for (std::size_t i = 0; i < r_.withdrawn.size(); ++i) {
      hash(fmt::format("{}/{}{}", kWithdrawnPointer, i, spec(Field::withdrawn_sha256).pointer),
           r_.withdrawn[i].sha256);
    }
    between_fields();
    work();
    photos();
    own();
    return std::move(out_);
  }

 private:
  void complain(std::string pointer, std::string_view code, std::string message,
                std::string allowed = {}, std::string hint = {}) {
    Diagnostic d;
    d.code = code;
    d.source = source_of(r_);
    d.line = r_.line;
    d.pointer = std::move(pointer);
    d.message = std::move(message);
    d.allowed = std::move(allowed);
    d.hint = std::move(hint);
    out_.push_back(std::move(d));
  }
  void missing(Field field) {
    complain(std::string(spec(field).pointer), "missing-field", "is missing",
             allowed_kind(member_of(spec(field))));
  }
  void out_of_limits(const FieldSpec& field, const Value& value, std::string pointer) {
    const Shape member = member_of(field);
    const bool is_number = field.type == FieldType::number;
    const bool is_date = field.type == FieldType::date || field.type == FieldType::month;
    complain(std::move(pointer),
             is_number ? "out-of-range"
             : is_date ? "bad-date"
                       : "bad-value",
             fmt::format("is {}", as_written(field, value)),
             is_number ? allowed_range(member) : allowed_kind(member));
  }

  void utf8_text(std::string pointer, const std::string& text) {
    if (utf8::first_invalid(text) < text.size()) {
      complain(std::move(pointer), "utf-8", "is not UTF-8");
    }
  }
  // Of another record; empty: none is named.
  void hash(std::string pointer, const std::string& text) {
    if (!text.empty() && !is_sha256_hex(text)) {
      complain(std::move(pointer), "bad-value", "is no SHA-256", std::string(kSha256Allowed));
    }
  }
  // An id or a name.
  void name_text(Field id, const std::string& text) {
    const FieldSpec& field = spec(id);
    std::string pointer(field.pointer);
    if (text.empty() || text == kUnknownWord) {
      if (field.required) {
        missing(id);
      }
    } else if (utf8::first_invalid(text) < text.size()) {
      utf8_text(std::move(pointer), text);
    } else if (field.max_length != 0 && utf8::length(text) > field.max_length) {
      complain(std::move(pointer), "too-long",
               fmt::format("is {} characters long", utf8::length(text)), allowed_length(field));
    } else if (utf8::first_unseen(text)) {
      complain(std::move(pointer), "unseen-character", "holds what nobody sees", {},
               "take it out: a name with it looks like another one");
    }
  }

  void between_fields() {
    for (const FieldSpec& field : fields()) {
      if (is_given_beside_unchecked_port(r_, field)) {
        complain(
            std::string(field.pointer), "port-not-checked",
            fmt::format("is {}, but the port was not checked", as_written(field, r_.at(field.id))),
            {}, fmt::format("leave it out, or set {} to true", spec(Field::port_checked).pointer));
      }
    }
    if (is_crossover_without_bypass(r_)) {
      complain(
          std::string(spec(Field::bypass_keeps_crossover).pointer), "not-bypassed",
          fmt::format("is given, but {} says of no bypass", spec(Field::rotor_cooling).pointer), {},
          "leave it out");
    }
    for (const FindingSpec& finding : findings()) {
      const auto is_harmful = [&](Finding needed) {
        const Value& value = r_.at(spec(needed).from.front());
        return value.observed && value.code > 0;
      };
      if (!finding.needs_one_of.empty() && r_.has(finding.from.front()) &&
          std::ranges::none_of(finding.needs_one_of, is_harmful)) {
        complain(std::string(spec(finding.from.front()).pointer), "nothing-to-describe",
                 "is given, but nothing that it describes", {}, "leave it out");
      }
    }
  }

  void work() {
    if (r_.work.size() > kMaxWork) {
      complain(std::string(kWorkPointer), "too-long",
               fmt::format("holds {} entries", r_.work.size()),
               fmt::format("at most {}", kMaxWork));
    }
    for (std::size_t i = 0; i < r_.work.size(); ++i) {
      const Work& w = r_.work[i];
      const auto pointer = [&](Field member) {
        return fmt::format("{}/{}{}", kWorkPointer, i, spec(member).pointer);
      };
      const auto one = [&](Field member, const std::optional<Value>& value) {
        if (value && !is_within_limits(spec(member), *value)) {
          out_of_limits(spec(member), *value, pointer(member));
        } else if (value && static_cast<std::size_t>(w.did) < kDidCount &&
                   !goes_with(member, w.did)) {
          complain(pointer(member), "not-with-this-work",
                   fmt::format("is given, but did is \"{}\"", spec(w.did).id), allowed_work(member),
                   "leave it out");
        }
      };
      for (const auto& [member, value] : values_of(w)) {
        one(member, value);
      }
      utf8_text(pointer(Field::work_note), w.note);
    }
  }

  void photos() {
    const FieldSpec& field = spec(Field::photos);
    if (r_.photos.size() > kMaxPhotos) {
      complain(std::string(field.pointer), "too-long",
               fmt::format("holds {} photographs", r_.photos.size()),
               fmt::format("at most {}", kMaxPhotos));
    }
    for (std::size_t i = 0; i < r_.photos.size(); ++i) {
      const std::string& name = r_.photos[i].name;
      if (!name.empty() && (!is_photo_name(name) || utf8::first_invalid(name) < name.size() ||
                            utf8::length(name) > field.max_length || utf8::first_unseen(name))) {
        complain(fmt::format("{}/{}", field.pointer, i), "bad-photo", "is no name of a photograph",
                 std::string(kPhotoNameAllowed));
      }
    }
  }

  void own() {
    for (const auto& [pointer, json] : r_.own) {
      if (!own_key(pointer).starts_with(kOwnPrefix)) {
        complain(pointer, "unknown-field", "is not a field of a record", {},
                 "keys of a shop's own begin with x_");
      } else if (!nlohmann::json::accept(json)) {
        complain(pointer, "syntax", "holds no JSON text");
      }
    }
  }

  static Value code(std::size_t word) {
    return {.observed = true, .code = static_cast<std::uint16_t>(word)};
  }

 public:
  // The members of an entry as values.
  static std::array<std::pair<Field, std::optional<Value>>, 6> values_of(const Work& w) {
    const auto word = [](const auto& given) {
      return given ? std::optional(code(static_cast<std::size_t>(*given))) : std::nullopt;
    };
    const auto number = [](const auto& given) {
      return given ? std::optional(Value{.observed = true, .number = static_cast<double>(*given)})
                   : std::nullopt;
    };
    return {{{Field::work_did, code(static_cast<std::size_t>(w.did))},
             {Field::work_date, number(w.day)},
             {Field::work_odometer_km, number(w.odometer_km)},
             {Field::work_material, word(w.material)},
             {Field::work_keeps_crossover, word(w.keeps_crossover)},
             {Field::work_by, word(w.by)}}};
  }

 private:
  const Record& r_;
  std::vector<Diagnostic> out_;
};

}  // namespace

std::string joined(std::span<const Choice> choices) {
  std::string out;
  for (const Choice& c : choices) {
    out += out.empty() ? "" : ", ";
    out += c.id;
  }
  return out;
}

std::string allowed_kind(const Shape& member) {
  const FieldSpec& field = *member.field;
  switch (field.type) {
    case FieldType::text:
      return "a string";
    case FieldType::hash:
      return std::string(kSha256Allowed);
    case FieldType::month:
      return "YYYY, YYYY-MM";
    case FieldType::date:
      return "YYYY-MM-DD";
    case FieldType::choice:
      return joined(field.choices);
    case FieldType::choices:
      return fmt::format("an array of {}", joined(field.choices));
    case FieldType::flag:
      return "true, false";
    case FieldType::number:
      return fmt::format("a number ({})", unit_of(member));
    case FieldType::photos:
      return "an array of strings";
  }
  return "";
}

std::string allowed_length(const FieldSpec& field) {
  return field.max_length == 0 ? "at least 1 character"
                               : fmt::format("1 to {} characters", field.max_length);
}

std::string allowed_range(const Shape& member) {
  const FieldSpec& field = *member.field;
  const double low = limit_of(member, field.minimum);
  const double high = limit_of(member, field.maximum);
  const std::string_view unit = unit_of(member);
  return field.minimum_excluded ? fmt::format("more than {} and at most {} {}", low, high, unit)
                                : fmt::format("{} to {} {}", low, high, unit);
}

std::string allowed_work(Field member) {
  std::string allowed;
  for (std::size_t did = 0; did < kDidCount; ++did) {
    if (goes_with(member, static_cast<Did>(did))) {
      allowed +=
          fmt::format("{}{}", allowed.empty() ? "with did " : ", ", spec(static_cast<Did>(did)).id);
    }
  }
  return allowed;
}

bool within_limits(const Shape& member, double number) {
  const double low = limit_of(member, member.field->minimum);
  const bool above = member.field->minimum_excluded ? number > low : number >= low;
  return above && number <= limit_of(member, member.field->maximum) && std::isfinite(number);
}

bool is_within_limits(const FieldSpec& field, const Value& value) {
  switch (field.type) {
    case FieldType::choice:
      return value.code < field.choices.size();
    case FieldType::choices:
      return value.code >> field.choices.size() == 0;
    case FieldType::flag:
      return value.code <= 1;
    case FieldType::month:
      return value.code <= 1 && is_whole_between(value.number, 12, 9999 * 12 + 11);
    case FieldType::date:
      return is_day(value.number);
    case FieldType::number: {
      const bool above =
          field.minimum_excluded ? value.number > field.minimum : value.number >= field.minimum;
      return above && value.number <= field.maximum && std::isfinite(value.number);
    }
    case FieldType::text:
    case FieldType::hash:
    case FieldType::photos:
      return true;
  }
  return false;
}

bool is_within_limits(const Work& work) {
  return std::ranges::all_of(Faults::values_of(work), [](const auto& member) {
    return !member.second || is_within_limits(spec(member.first), *member.second);
  });
}

bool is_within_limits(const Record& record) {
  // Work may not say what bearings went in.
  const auto not_known = [](const FieldSpec& field, const Value& value) {
    return (field.id == Field::rotor_bearings || field.id == Field::gear_bearings) &&
           value.code == static_cast<std::uint16_t>(Bearings::unknown);
  };
  return record.has(Field::date) &&
         std::ranges::all_of(fields(),
                             [&](const FieldSpec& field) {
                               const Value& value = record.at(field.id);
                               return !value.observed || is_within_limits(field, value) ||
                                      not_known(field, value);
                             }) &&
         std::ranges::all_of(record.work, [](const Work& w) { return is_within_limits(w); });
}

bool is_given_beside_unchecked_port(const Record& record, const FieldSpec& field) {
  static const std::string_view kPort =
      spec(Field::port_checked).pointer.substr(0, spec(Field::port_checked).pointer.rfind('/') + 1);
  return record.has(Field::port_checked) && record.at(Field::port_checked).code == 0 &&
         field.id != Field::port_checked && field.pointer.starts_with(kPort) &&
         record.has(field.id);
}

bool is_crossover_without_bypass(const Record& record) {
  return record.has(Field::bypass_keeps_crossover) &&
         !(record.has(Field::rotor_cooling) &&
           record.at(Field::rotor_cooling).code == static_cast<std::uint16_t>(Cooling::bypassed));
}

bool is_done_after_inspection(const Record& record, const Work& work) {
  return work.day && record.has(Field::date) && *work.day > record.at(Field::date).number;
}
bool is_done_before_built(const Record& record, const Work& work) {
  return work.day && built_after(record, *work.day);
}
bool is_done_beyond_reading(const Record& record, const Work& work) {
  return work.odometer_km && record.has(Field::odometer_km) &&
         *work.odometer_km > record.at(Field::odometer_km).number;
}

std::optional<Unlisted> unlisted_in(const Record& record, const ReadOptions& options) {
  const auto& families = options.families;
  // The one that every rule base has.
  if (record.family.empty() || (families.empty() && record.family == kGenericFamily)) {
    return std::nullopt;
  }
  const auto family = std::ranges::find(families, record.family,
                                        [](const auto& f) { return std::string_view(f.first); });
  if (family == families.end()) {
    Unlisted out{.field = Field::family, .code = "unknown-family", .known = {}, .hint = {}};
    for (const auto& f : families) {
      out.known.emplace_back(f.first);
    }
    if (families.empty()) {
      out.known.push_back(kGenericFamily);
      out.hint = "the reader was told of no other: read_options(knowledge) tells it";
    } else {
      out.hint = did_you_mean(record.family, out.known);
    }
    return out;
  }
  const std::vector<std::string_view> vehicles(family->second.begin(), family->second.end());
  if (record.vehicle.empty() || vehicles.empty() ||
      std::ranges::find(vehicles, record.vehicle) != vehicles.end()) {
    return std::nullopt;
  }
  return Unlisted{.field = Field::vehicle,
                  .code = "unknown-vehicle",
                  .known = vehicles,
                  .hint = did_you_mean(record.vehicle, vehicles)};
}

std::string source_of(const Record& record) {
  return !record.source.empty()
             ? record.source
             : fmt::format("record of {}", record.unit_id.empty()
                                               ? "a unit without an id"
                                               : utf8::harmless(record.unit_id, 64));
}

std::vector<Diagnostic> faults_of(const Record& record) { return Faults(record).find(); }

std::vector<Diagnostic> validate(const Record& record, const ReadOptions& options) {
  std::vector<Diagnostic> out = faults_of(record);
  if (const std::optional<Unlisted> unlisted = unlisted_in(record, options)) {
    const std::string& is = unlisted->field == Field::family ? record.family : record.vehicle;
    Diagnostic& d = out.emplace_back();
    d.code = unlisted->code;
    d.source = source_of(record);
    d.line = record.line;
    d.pointer = spec(unlisted->field).pointer;
    d.message = fmt::format("is \"{}\"", utf8::harmless(is, 60));
    d.allowed = fmt::format("{}", fmt::join(unlisted->known, ", "));
    d.hint = unlisted->hint;
  }
  return out;
}

}  // namespace dryshaft
