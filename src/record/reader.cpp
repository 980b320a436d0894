#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <optional>
#include <set>
#include <utility>

#include "base/complaints.hpp"
#include "base/located_json.hpp"
#include "base/sha256.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"
#include "record/identity.hpp"
#include "record/limits.hpp"
#include "record/photos.hpp"
#include "record/shape.hpp"
#include "vocabulary/formats.hpp"
#include "vocabulary/order.hpp"

namespace dryshaft {
namespace {

using located::Document;
using located::Kind;
using located::Node;

std::optional<int> digits(std::string_view text) {
  int value = 0;
  for (const char c : text) {
    if (c < '0' || c > '9') {
      return std::nullopt;
    }
    value = value * 10 + (c - '0');
  }
  return value;
}

// `YYYY` or `YYYY-MM`, as months since year 0 and whether the month is missing.
std::optional<Value> parse_month(std::string_view text) {
  const bool year_only = text.size() == 4;
  if (!year_only && (text.size() != 7 || text[4] != '-')) {
    return std::nullopt;
  }
  const std::optional<int> year = digits(text.substr(0, 4));
  const std::optional<int> month = year_only ? 1 : digits(text.substr(5));
  if (!year || !month || *year < 1 || *month < 1 || *month > 12) {
    return std::nullopt;
  }
  return Value{.observed = true,
               .code = static_cast<std::uint16_t>(year_only ? 1 : 0),
               .number = *year * 12.0 + (*month - 1)};
}

std::string date_hint(std::string_view text, FieldType type) {
  if (type == FieldType::month && parse_date(text)) {
    return "leave the day out";
  }
  if (text.size() == 10 && text[4] == '-' && text[7] == '-') {
    const std::string_view month = text.substr(0, 7);
    if (type == FieldType::date && digits(text.substr(8)) && parse_month(month)) {
      for (const int last : {31, 30, 29, 28}) {
        if (parse_date(fmt::format("{}-{}", month, last))) {
          return fmt::format("{} has {} days", month, last);
        }
      }
    }
    return "";
  }
  return text.find_first_of("./") == std::string_view::npos
             ? ""
             : "write the year first, then the month, then the day";
}

std::string type_hint(const Node& node, FieldType type) {
  if (node.kind == Kind::text && type == FieldType::number && !node.text.empty() &&
      node.text.find_first_not_of("0123456789.-+eE") == std::string_view::npos) {
    return "write numbers without quotes";
  }
  if (node.kind == Kind::text && type == FieldType::flag) {
    return node.text == "true" || node.text == "false" ? "write true and false without quotes" : "";
  }
  const bool is_array = type == FieldType::choices || type == FieldType::photos;
  if (node.kind == Kind::text && is_array) {
    return "put it in brackets";
  }
  if (node.kind == Kind::number && type != FieldType::flag && !is_array) {
    return "put it in quotes";
  }
  return "";
}

class Reader {
 public:
  Reader(const Document& document, const ReadOptions& options, Result<Record>& result)
      : d_(document), options_(options), out_(result.diagnostics) {}

  Record read() {
    if (d_.root().kind == Kind::object) {
      if (is_of_another_format()) {
        return std::move(record_);
      }
      read_object(d_.root(), record_shape());
      find_missing(d_.root(), record_shape());
      check_format();
      check_family();
      check_port();
      check_crossover();
      check_needs();
      check_order();
      check_work();
    } else {
      complain(d_.root(), "wrong-type", fmt::format("the record {}", is_shown(d_.root())),
               std::string(located::kind_name(Kind::object)));
    }
    return std::move(record_);
  }
  [[nodiscard]] std::vector<Diagnostic> doubts() { return std::move(doubts_); }

 private:
  static constexpr std::size_t index(Field field) { return static_cast<std::size_t>(field); }
  Value& value(Field field) {
    return index(field) < kFieldCount ? record_.values[index(field)]
                                      : entry_[index(field) - kFieldCount];
  }

  Diagnostic& complain(Diagnostic diagnostic) { return add_complaint(out_, std::move(diagnostic)); }
  Diagnostic& complain(const Node& node, std::string_view code, std::string message,
                       std::string allowed = {}, std::string hint = {}) {
    Diagnostic& d = complain(d_.at(node, code, std::move(message)));
    d.allowed = std::move(allowed);
    d.hint = std::move(hint);
    return d;
  }
  [[nodiscard]] std::string is_shown(const Node& node) const {
    return fmt::format("is {}", shown(d_, node));
  }
  void wrong_type(const Node& node, std::string allowed, std::string hint = {}) {
    complain(node, "wrong-type", is_shown(node), std::move(allowed), std::move(hint));
  }

  void read_object(const Node& object, const Shape& shape) {
    for (const Node* n = d_.first(object); n != nullptr; n = d_.next(*n)) {
      const Shape* member = shape.find(n->key);
      if (member == nullptr) {
        if (n->key.starts_with(kOwnPrefix)) {
          record_.own.emplace_back(d_.pointer(*n), std::string(d_.raw(*n)));
        } else {
          unknown_field(*n, shape);
        }
      } else if (member->field != nullptr) {
        read_field(*n, *member);
      } else if (not_observed(*n)) {
        continue;
      } else if (member->is_list) {
        read_list(*n, *member);
      } else if (n->kind != Kind::object) {
        wrong_type(*n, std::string(located::kind_name(Kind::object)));
      } else {
        read_object(*n, *member);
      }
    }
  }

  void unknown_field(const Node& node, const Shape& shape) {
    std::vector<std::string_view> siblings;
    for (const Shape& member : shape.members) {
      siblings.push_back(member.key);
    }
    Diagnostic& d = complain(d_.at_key(node, "unknown-field", "is not a field of a record"));
    d.hint = did_you_mean(node.key, siblings);
  }

  static bool not_observed(const Node& node) {
    return node.kind == Kind::null || (node.kind == Kind::text && node.text == kUnknownWord);
  }

  void read_field(const Node& node, const Shape& member) {
    const FieldSpec& field = *member.field;
    const std::string_view text = node.kind == Kind::text ? text_of(node, field) : "";
    if (not_observed(node) || text == kUnknownWord ||
        (text == kNotExamined && says_what_teardown_showed(field.id))) {
      blank_[index(field.id)] = &node;
      return;
    }
    const Node*& given = given_[index(field.id)];
    if (given != nullptr) {
      complain(node, "both-units", fmt::format("is given as well as {}", d_.pointer(*given)), {},
               "keep one of the two");
      return;
    }
    given = &node;
    if (std::optional<Value> read = read_value(node, member)) {
      value(field.id) = *read;
    }
  }

  std::optional<Value> read_value(const Node& node, const Shape& member) {
    static constexpr Kind kKinds[] = {Kind::text,    Kind::text,   Kind::text,
                                      Kind::text,    Kind::text,   Kind::array,
                                      Kind::boolean, Kind::number, Kind::array};
    const FieldSpec& field = *member.field;
    if (node.kind != kKinds[static_cast<std::size_t>(field.type)]) {
      wrong_type(node, allowed_kind(member), type_hint(node, field.type));
      return std::nullopt;
    }
    switch (field.type) {
      case FieldType::text:
        return read_text(node, field);
      case FieldType::hash:
        return read_hash(node, field);
      case FieldType::month:
      case FieldType::date:
        return read_date(node, member);
      case FieldType::choice:
        if (const std::optional<std::uint16_t> choice = read_choice(node, field)) {
          return Value{.observed = true, .code = *choice};
        }
        return std::nullopt;
      case FieldType::choices:
        return read_choices(node, field);
      case FieldType::flag:
        return Value{.observed = true, .code = static_cast<std::uint16_t>(node.boolean ? 1 : 0)};
      case FieldType::number:
        return read_number(node, member);
      case FieldType::photos:
        return read_photos(node, field);
    }
    return std::nullopt;
  }

  // "HL-1 " is the unit HL-1, whatever the blank: another one would not have its history.
  static std::string_view text_of(const Node& node, const FieldSpec& field) {
    std::string_view text = node.text;
    if (field.id == Field::unit_id) {
      text = utf8::trim_unseen(text);
    }
    return text;
  }

  std::optional<Value> read_text(const Node& node, const FieldSpec& field) {
    const std::string range = allowed_length(field);
    const std::string_view text = text_of(node, field);
    if (text.empty()) {
      if (field.required) {
        complain(node, "bad-value", is_shown(node), range);
      }
      return std::nullopt;
    }
    const std::size_t length = utf8::length(node.text);
    if (field.max_length != 0 && length > field.max_length) {
      complain(node, "too-long", fmt::format("is {} characters long", length), range);
      return std::nullopt;
    }
    if (field.id != Field::note && field.id != Field::work_note &&
        field.id != Field::withdrawn_because && field.id != Field::withdrawn_by &&
        field.id != Field::format) {
      if (!has_no_unseen(node, text)) {
        return std::nullopt;
      }
    }
    if (std::string* kept = kept_text(field.id)) {
      *kept = text;
    }
    return Value{.observed = true};
  }

  bool has_no_unseen(const Node& node, std::string_view text) {
    const std::optional<utf8::Character> unseen = utf8::first_unseen(text);
    if (unseen) {
      complain(node, "unseen-character",
               fmt::format("holds U+{:04X}, which nobody sees",
                           static_cast<std::uint32_t>(unseen->code)),
               {}, "take it out: a name with it looks like another one");
    }
    return !unseen;
  }

  std::string* kept_text(Field field) {
    switch (field) {
      case Field::unit_id:
        return &record_.unit_id;
      case Field::family:
        return &record_.family;
      case Field::vehicle:
        return &record_.vehicle;
      case Field::note:
        return &record_.note;
      case Field::work_note:
        return &work_note_;
      case Field::withdrawn_because:
        return &withdrawn_.because;
      case Field::withdrawn_by:
        return &withdrawn_.by;
      default:
        return nullptr;
    }
  }

  std::optional<Value> read_hash(const Node& node, const FieldSpec& field) {
    if (!is_sha256_hex(node.text)) {
      complain(node, "bad-value", is_shown(node), std::string(kSha256Allowed),
               "name the whole SHA-256 of the record's text, as reports do");
      return std::nullopt;
    }
    const Place place = d_.place(node);
    const bool of_record = field.id == Field::replaces;
    (of_record ? record_.replaces : withdrawn_.sha256) = node.text;
    (of_record ? record_.replaces_line : withdrawn_.line) = place.line;
    (of_record ? record_.replaces_column : withdrawn_.column) = place.column;
    return Value{.observed = true};
  }

  std::optional<Value> read_date(const Node& node, const Shape& member) {
    const FieldType type = member.field->type;
    std::optional<Value> read;
    if (type == FieldType::month) {
      read = parse_month(node.text);
    } else if (const std::optional<int> days = parse_date(node.text)) {
      read = Value{.observed = true, .number = static_cast<double>(*days)};
    }
    if (!read) {
      complain(node, "bad-date", is_shown(node), allowed_kind(member), date_hint(node.text, type));
    } else if (member.field->id == Field::date) {
      const Place place = d_.place(node);
      record_.date_line = place.line;
      record_.date_column = place.column;
    }
    return read;
  }

  std::optional<std::uint16_t> read_choice(const Node& node, const FieldSpec& field) {
    for (std::size_t i = 0; i < field.choices.size(); ++i) {
      if (node.text == field.choices[i].id) {
        return static_cast<std::uint16_t>(i);
      }
    }
    std::vector<std::string_view> words = choice_words(field);
    if (field.type == FieldType::choice) {
      words.push_back(kUnknownWord);
    }
    complain(node, "bad-value", is_shown(node), joined(field.choices),
             did_you_mean(node.text, words));
    return std::nullopt;
  }

  std::optional<Value> read_choices(const Node& array, const FieldSpec& field) {
    Value read{.observed = true};
    bool good = true;
    for (const Node* n = d_.first(array); n != nullptr; n = d_.next(*n)) {
      if (n->kind != Kind::text) {
        wrong_type(*n, joined(field.choices), type_hint(*n, FieldType::choice));
        good = false;
        continue;
      }
      const std::optional<std::uint16_t> choice = read_choice(*n, field);
      if (!choice) {
        good = false;
        continue;
      }
      const auto bit = static_cast<std::uint16_t>(1U << *choice);
      if ((read.code & bit) != 0) {
        complain(*n, "repeated-value", fmt::format("is {} again", shown(d_, *n)), {},
                 "name each word once");
        good = false;
      }
      read.code = static_cast<std::uint16_t>(read.code | bit);
    }
    return good ? std::optional<Value>(read) : std::nullopt;
  }

  std::optional<Value> read_photos(const Node& array, const FieldSpec& field) {
    if (array.children > kMaxPhotos) {
      complain(array, "too-long", fmt::format("holds {} photographs", array.children),
               fmt::format("at most {}", kMaxPhotos), "keep those that show most");
      return std::nullopt;
    }
    std::set<std::string_view> known;
    for (const Node* n = d_.first(array); n != nullptr; n = d_.next(*n)) {
      if (n->kind != Kind::text) {
        wrong_type(*n, std::string(kPhotoNameAllowed), type_hint(*n, FieldType::text));
      } else if (!known.insert(n->text).second) {
        complain(*n, "repeated-value", fmt::format("is {} again", shown(d_, *n)), {},
                 "name each photograph once");
      } else {
        read_photo(*n, field);
      }
    }
    const auto number = static_cast<std::uint16_t>(record_.photos.size());
    return number == 0 ? std::nullopt : std::optional(Value{.observed = true, .code = number});
  }

  void read_photo(const Node& node, const FieldSpec& field) {
    const Place place = d_.place(node);
    std::optional<Photo> photo;
    if (node.text.starts_with(kPhotoInside)) {
      photo = photo_inside(node.text);
      if (!photo) {
        complain(node, "bad-photo", is_shown(node), std::string(kPhotoNameAllowed),
                 "it is to be image/jpeg, image/png, image/webp or image/gif, in base64");
        return;
      }
      if (!photo->not_shown.empty()) {
        doubt(node, kPhotoNotShown, fmt::format("is not shown: {}", photo->not_shown),
              "save the picture smaller, or as a file beside the record")
            .severity = Severity::warning;
      }
    } else if (const std::size_t length = utf8::length(node.text); length > field.max_length) {
      complain(node, "too-long", fmt::format("is {} characters long", length),
               fmt::format("1 to {} characters", field.max_length));
      return;
    } else if (!is_photo_name(node.text)) {
      complain(node, "bad-photo", is_shown(node), std::string(kPhotoNameAllowed),
               "name the file alone; --photos says in which folder it is");
      return;
    } else if (has_no_unseen(node, node.text)) {
      photo = Photo{.name = std::string(node.text)};
    } else {
      return;
    }
    photo->line = place.line;
    photo->column = place.column;
    record_.photos.push_back(*std::move(photo));
  }

  std::optional<Value> read_number(const Node& node, const Shape& member) {
    const FieldSpec& field = *member.field;
    if (!within_limits(member, node.number)) {
      located::take_back_number_range(d_, node, out_);
      complain(node, "out-of-range", is_shown(node), allowed_range(member));
      return std::nullopt;
    }
    const double number = member.miles ? node.number * kKmPerMile : node.number;
    if (field.id == Field::odometer_km) {
      const Place place = d_.place(node);
      record_.odometer_line = place.line;
      record_.odometer_column = place.column;
    }
    return Value{.observed = true, .number = number};
  }

  // `object` is the innermost object around the fields that the text has.
  void find_missing(const Node& object, const Shape& shape) {
    for (const Shape& member : shape.members) {
      if (!member.required) {
        continue;
      }
      if (member.field == nullptr) {
        const Node* inner = d_.find(object, member.key);
        if (inner == nullptr || inner->kind == Kind::object || not_observed(*inner)) {
          find_missing(inner != nullptr && inner->kind == Kind::object ? *inner : object, member);
        }
        continue;
      }
      const FieldSpec& field = *member.field;
      if (given_[index(field.id)] != nullptr) {
        continue;
      }
      if (const Node* blank = blank_[index(field.id)]) {
        complain(*blank, "missing-field", is_shown(*blank), allowed_kind(member),
                 "this field must be given");
      } else {
        const std::string around = index(field.id) < kFieldCount ? "" : d_.pointer(object);
        complain(object, "missing-field", "is missing", allowed_kind(member)).pointer =
            around + std::string(field.pointer);
      }
    }
  }

  // ---- what was done to the unit, and what is withdrawn

  void read_list(const Node& list, const Shape& shape) {
    static constexpr std::string_view kEntries = "an array of objects";
    if (list.kind != Kind::array) {
      wrong_type(list, std::string(kEntries),
                 list.kind == Kind::object ? "put it in brackets" : "");
      return;
    }
    if (list.children > kMaxWork) {
      complain(list, "too-long", fmt::format("holds {} entries", list.children),
               fmt::format("at most {}", kMaxWork), "leave the oldest to earlier records");
      return;
    }
    for (const Node* entry = d_.first(list); entry != nullptr; entry = d_.next(*entry)) {
      if (entry->kind == Kind::object) {
        read_entry(*entry, shape);
      } else {
        wrong_type(*entry, std::string(located::kind_name(Kind::object)), entry_hint(*entry));
      }
    }
  }

  static std::string entry_hint(const Node& entry) {
    const std::span<const Choice> words = spec(Field::work_did).choices;
    return entry.kind == Kind::text &&
                   std::ranges::find(words, entry.text, &Choice::id) != words.end()
               ? fmt::format(R"(write {{"did": "{}"}})", entry.text)
               : "";
  }

  void read_entry(const Node& entry, const Shape& shape) {
    entry_ = {};
    work_note_.clear();
    withdrawn_ = {};
    std::fill(given_.begin() + kFieldCount, given_.end(), nullptr);
    std::fill(blank_.begin() + kFieldCount, blank_.end(), nullptr);
    read_object(entry, shape);
    find_missing(entry, shape);
    if (shape.key == kWithdrawnPointer.substr(1)) {
      if (const Value& day = value(Field::withdrawn_date); day.observed) {
        withdrawn_.day = static_cast<int>(day.number);
      }
      if (value(Field::withdrawn_sha256).observed) {
        record_.withdrawn.push_back(std::move(withdrawn_));
      }
      return;
    }
    const Value& did = value(Field::work_did);
    if (!did.observed) {
      return;  // and that has been complained of
    }
    for (const FieldSpec& member : work_fields()) {
      check_goes_with(member.id, static_cast<Did>(did.code));
    }
    record_.work.push_back(work_as_read());
    places_of_work_.push_back(
        {given_[index(Field::work_date)], given_[index(Field::work_odometer_km)]});
  }

  Work work_as_read() {
    const Value& day = value(Field::work_date);
    const Value& km = value(Field::work_odometer_km);
    const auto word = [&]<typename Named>(Field field, Named) {
      return value(field).observed ? std::optional(static_cast<Named>(value(field).code))
                                   : std::nullopt;
    };
    return {.did = static_cast<Did>(value(Field::work_did).code),
            .day = day.observed ? std::optional(static_cast<int>(day.number)) : std::nullopt,
            .odometer_km = km.observed ? std::optional(km.number) : std::nullopt,
            .material = word(Field::work_material, Bearings{}),
            .keeps_crossover = word(Field::work_keeps_crossover, bool{}),
            .by = word(Field::work_by, DoneBy{}),
            .note = work_note_};
  }

  void check_goes_with(Field member, Did did) {
    const Node* node = given_[index(member)];
    if (node == nullptr || goes_with(member, did)) {
      return;
    }
    complain(*node, "not-with-this-work", fmt::format("is given, but did is \"{}\"", spec(did).id),
             allowed_work(member), "leave it out");
  }

  // A file of another kind, or of a later version: what stands in it means something else.
  bool is_of_another_format() {
    const Node* node = d_.find(d_.root(), spec(Field::format).pointer.substr(1));
    if (node == nullptr || node->kind != Kind::text || node->text == kRecordFormat) {
      return false;
    }
    std::string hint = format_hint(node->text, kRecordFormat);
    if (hint.empty()) {
      return false;
    }
    complain(*node, "bad-value", is_shown(*node), std::string(kRecordFormat), std::move(hint));
    return true;
  }

  // ---- rules that a row of the table cannot say

  void check_format() {
    const Node* node = given_[index(Field::format)];
    if (node != nullptr && record_.has(Field::format) && node->text != kRecordFormat) {
      complain(*node, "bad-value", is_shown(*node), std::string(kRecordFormat));
    }
  }

  void check_family() {
    if (std::optional<Unlisted> unlisted = unlisted_in(record_, options_)) {
      const Node& node = *given_[index(unlisted->field)];
      complain(node, unlisted->code, is_shown(node),
               fmt::format("{}", fmt::join(unlisted->known, ", ")), std::move(unlisted->hint));
    }
  }

  void check_port() {
    for (const FieldSpec& field : fields()) {
      if (is_given_beside_unchecked_port(record_, field)) {
        const Node& node = *given_[index(field.id)];
        complain(node, "port-not-checked",
                 fmt::format("{}, but the port was not checked", is_shown(node)), {},
                 fmt::format("leave it out, or set {} to true", spec(Field::port_checked).pointer));
      }
    }
  }

  void check_crossover() {
    const Node* cooling = given_[index(Field::rotor_cooling)];
    // A cooling that could not be read has been complained of already.
    const bool unread = cooling != nullptr && !record_.has(Field::rotor_cooling);
    if (is_crossover_without_bypass(record_) && !unread) {
      const FieldSpec& field = spec(Field::rotor_cooling);
      const std::string_view word = field.choices[static_cast<std::size_t>(Cooling::bypassed)].id;
      const Node& node = *given_[index(Field::bypass_keeps_crossover)];
      complain(node, "not-bypassed",
               fmt::format("{}, but {} is {}", is_shown(node), field.pointer,
                           cooling == nullptr ? "not known" : shown(d_, *cooling)),
               {}, fmt::format("leave it out, or set {} to \"{}\"", field.pointer, word));
    }
  }

  // What describes one of several findings is given only beside one of these.
  void check_needs() {
    for (const FindingSpec& f : findings()) {
      if (f.needs_one_of.empty() || !record_.has(f.from.front())) {
        continue;
      }
      std::string found;
      std::string wanted;
      bool met = false;
      for (const Finding needed : f.needs_one_of) {
        const FieldSpec& field = spec(spec(needed).from.front());
        const Node* node = given_[index(field.id)];
        // One that could not be read has been complained of already.
        met = met || (node != nullptr && (!record_.has(field.id) || record_.at(field.id).code > 0));
        found += fmt::format("{}{} is {}", found.empty() ? "" : " and ", field.pointer,
                             node == nullptr ? "not known" : shown(d_, *node));
        wanted += fmt::format("{}{}", wanted.empty() ? "" : " or ", field.pointer);
      }
      if (!met) {
        const Node& node = *given_[index(f.from.front())];
        complain(node, "nothing-to-describe", fmt::format("{}, but {}", is_shown(node), found), {},
                 fmt::format("leave it out, or say what {} showed", wanted));
      }
    }
  }

  // ---- values that cannot be beside the rest; refused without the rest of the record

  void doubt(Field field, std::string_view code, std::string message, std::string hint) {
    doubt(*given_[index(field)], code, std::move(message), std::move(hint));
  }
  Diagnostic& doubt(const Node& node, std::string_view code, std::string message,
                    std::string hint) {
    Diagnostic& d = doubts_.emplace_back(d_.at(node, code, std::move(message)));
    d.hint = std::move(hint);
    return d;
  }

  void check_work() {
    for (std::size_t i = 0; i < record_.work.size(); ++i) {
      Work& work = record_.work[i];
      const PlacesOfWork& at = places_of_work_[i];
      const auto misplaced = [&](const Node& node, std::string message) {
        doubt(node, kMisplacedWork, std::move(message),
              "look for a slip of the pen in either; until then it does not count as done");
        work.misplaced = true;
      };
      if (is_done_after_inspection(record_, work)) {
        misplaced(*at.date,
                  fmt::format("{}, after the inspection of {}", is_shown(*at.date),
                              date_text(static_cast<int>(record_.at(Field::date).number))));
      } else if (is_done_before_built(record_, work)) {
        misplaced(*at.date, fmt::format("{}, but the unit was built in {}", is_shown(*at.date),
                                        given_[index(Field::built)]->text));
      }
      if (is_done_beyond_reading(record_, work)) {
        misplaced(*at.odometer,
                  fmt::format("{}, but the odometer of the inspection {}", is_shown(*at.odometer),
                              is_shown(*given_[index(Field::odometer_km)])));
      }
    }
  }

  void check_order() {
    for (const NotAfter& n : kNotAfter) {
      const Value& then = record_.at(n.field);
      const Value& limit = record_.at(n.limit);
      if (n.field == Field::built) {
        if (built_too_late(record_)) {
          doubt(n.field, n.contradiction,
                fmt::format("{}, after the inspection of {}", is_shown(*given_[index(n.field)]),
                            date_text(static_cast<int>(limit.number))),
                "look for a slip of the pen in either; until then the build date is not used");
        }
      } else if (limit.observed && then.observed && then.number > limit.number) {
        doubt(n.field, n.contradiction,
              fmt::format("{}, but the odometer of the inspection {}",
                          is_shown(*given_[index(n.field)]), is_shown(*given_[index(n.limit)])),
              "look for a slip of the pen in either");
      }
    }
  }

  const Document& d_;
  const ReadOptions& options_;
  std::vector<Diagnostic>& out_;
  std::vector<Diagnostic> doubts_;
  Record record_;
  // The entry of `/work` or `/withdrawn` that is being read.
  std::array<Value, kEntryFieldCount> entry_{};
  std::string work_note_;
  Withdrawn withdrawn_;
  struct PlacesOfWork {
    const Node* date;
    const Node* odometer;
  };
  std::vector<PlacesOfWork> places_of_work_;
  // Where each field was given with a value, and where it was given without; of the fields of
  // entries in the one that is being read.
  std::array<const Node*, kFieldCount + kEntryFieldCount> given_{};
  std::array<const Node*, kFieldCount + kEntryFieldCount> blank_{};
};

}  // namespace

Result<Record> read_record(std::string_view text, std::string_view source, std::uint32_t line,
                           std::uint32_t column, const ReadOptions& options) {
  Result<Record> result;
  const auto say_of_which = [&](std::string_view input) {
    const std::string sha256 = sha256_hex(input);
    for (Diagnostic& d : result.diagnostics) {
      d.input_sha256 = sha256;
    }
  };
  const Document document(text, {source, line, column}, {kMaxDepth, kMaxRecordBytes},
                          result.diagnostics);
  if (!document.usable()) {
    say_of_which(text);
    return result;
  }
  Reader reader(document, options, result);
  Record record = reader.read();
  const bool refused = !result.diagnostics.empty();
  std::ranges::move(reader.doubts(), std::back_inserter(result.diagnostics));
  std::ranges::stable_sort(result.diagnostics, {}, place_in_text);
  if (refused) {
    say_of_which(document.raw(document.root()));
    return result;
  }
  record.source = source;
  record.line = document.place(document.root()).line;
  record.begin = document.root().begin;
  record.end = document.root().end;
  record.sha256 = sha256_hex(document.raw(document.root()));
  for (Diagnostic& d : result.diagnostics) {
    d.input_sha256 = d.severity == Severity::error ? record.sha256 : "";
  }
  if (options.keep_text) {
    record.text = document.raw(document.root());
  }
  result.value = std::move(record);
  return result;
}

}  // namespace dryshaft
