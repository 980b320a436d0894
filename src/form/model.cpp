// The list of questions, and how answers become records.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/json_out.hpp"
#include "base/number.hpp"
#include "dryshaft/form.hpp"
#include "form/stops.hpp"
#include "form/wording.hpp"
#include "record/shape.hpp"
#include "vocabulary/order.hpp"

namespace dryshaft {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::string_view kCheckPrefix = "check-";

std::string json_text(std::string_view text) { return json_out::of(Json(text)); }

// "/inspection/noise/onset_odometer_km" is asked as "noise-onset-odometer".
std::string key_of(const FieldSpec& field) {
  std::string_view pointer = field.pointer;
  if (pointer.starts_with("/inspection/")) {
    pointer.remove_prefix(pointer.find('/', 1));
  }
  if (field.miles_too) {
    pointer.remove_suffix(kMilesSuffix.size());
  } else if (!field.form.rough.empty()) {
    pointer = pointer.substr(0, pointer.find('_'));  // asked without its unit
  }
  std::string key(pointer.substr(1));
  std::ranges::replace_if(
      key, [](char c) { return c == '/' || c == '_'; }, '-');
  return key;
}

// Whole numbers without a decimal point.
Json number_json(double value) {
  constexpr double kExact = 9007199254740992.0;  // 2^53
  return value == std::floor(value) && std::abs(value) < kExact
             ? Json(static_cast<std::int64_t>(value))
             : Json(value);
}

// What is no number stays as it was typed, and the record reader says so.
Json number_json(const std::string& typed) {
  const std::optional<double> value = number_in(typed);
  return value ? number_json(*value) : Json(typed);
}

std::vector<FormChoice> choices_of(const FieldSpec& field, FormFor reader = FormFor::owner) {
  const bool technician = reader == FormFor::technician;
  std::vector<FormChoice> out;
  for (const Rough& r : technician ? std::span<const Rough>() : field.form.rough) {
    out.push_back({std::string(r.id),
                   std::string(r.owner),
                   {{field.id, json_out::of(number_json(r.number))}}});
  }
  if (field.type == FieldType::flag) {
    for (const std::size_t code : {1U, 0U}) {
      out.push_back({std::string(kNoYes[code].id),
                     std::string(kNoYes[code].plain),
                     {{field.id, json_out::of(Json(code != 0))}}});
    }
  }
  for (const Choice& c : field.choices) {
    // That a unit left is no work, and has a command of its own.
    if (technician && field.id != Field::work_did ? c.id != kUnknownWord : c.in_forms) {
      out.push_back({std::string(c.id),
                     std::string(technician || c.owner.empty() ? c.plain : c.owner),
                     {{field.id, json_text(c.id)}}});
    }
  }
  return out;
}

// Owners know their car, not the family of its drive unit: one question answers both.
std::vector<FormChoice> cars_of(const Knowledge& knowledge) {
  std::vector<FormChoice> out;
  const auto add = [&](std::string word, std::string text, const Family& f,
                       const VehicleProfile* vehicle) {
    FormChoice& c = out.emplace_back();
    c.word = std::move(word);
    c.text = std::move(text);
    c.writes.emplace_back(Field::family, json_text(f.id));
    if (vehicle != nullptr) {
      c.writes.emplace_back(Field::vehicle, json_text(vehicle->id));
    }
  };
  for (const Family& f : knowledge.families) {
    if (f.id == kGenericFamily) {
      continue;
    }
    for (const VehicleProfile& v : f.vehicles) {
      add(fmt::format("{}/{}", f.id, v.id), fmt::format("{} (drive unit {})", v.id, f.title), f,
          &v);
    }
    add(f.id,
        fmt::format("{} with drive unit {}", f.vehicles.empty() ? "a car" : "another car", f.title),
        f, nullptr);
  }
  return out;
}

class Maker {
 public:
  Maker(const Grader& grader, FormFor reader) : grader_(grader), knowledge_(grader.knowledge()) {
    form_.reader = reader;
  }

  Form make() {
    if (form_.reader == FormFor::technician) {
      add_all();
      keep_order();
      return std::move(form_);
    }
    for (const FormPartSpec& part : form_parts()) {
      for (const FieldSpec& field : fields()) {
        if (part.id != FormPart::none && field.form.part == part.id) {
          add(field);
        }
        // Right after it: when that was, and who looked.
        if (part.id == FormPart::port && field.id == Field::port_checked) {
          add_check();
        }
      }
    }
    for (const CautionRule& c : knowledge_.cautions) {
      if (c.on_form) {
        form_.cautions.push_back(c.owner_text);
      }
    }
    keep_order();
    warn();
    return std::move(form_);
  }

 private:
  void add_all() {
    for (const FormPartSpec& part : form_parts()) {
      for (const FieldSpec& field : fields()) {
        if (part.asked == Asked::technician && technician_part(field.id) == part.id) {
          add_plain(field, part.id);
        }
      }
      for (const CautionRule& caution : knowledge_.cautions) {
        if (std::ranges::any_of(knowledge_.actions, [&](const ActionRule& action) {
              return looks_at(action, part.id) && has(action.cautions, caution.id);
            })) {
          form_.care[part.id].push_back(caution.brief);
        }
      }
      for (std::size_t entry = 1; part.id == FormPart::work && entry <= kFormWork; ++entry) {
        add_work(entry);
      }
    }
  }

  static bool has(const auto& list, const auto& one) {
    return std::ranges::find(list, one) != list.end();
  }
  // Whether an action is a look at what a part asks for: a check that shows it, or one that nothing
  // but such a look closes.
  static bool looks_at(const ActionRule& action, FormPart part) {
    const auto asked = [&](Finding finding) {
      return std::ranges::any_of(spec(finding).from,
                                 [&](Field field) { return technician_part(field) == part; });
    };
    return std::ranges::any_of(action.reveals, asked) ||
           (action.closed_by.work.empty() && std::ranges::any_of(action.closed_by.look, asked));
  }

  // In a technician's words, and without an owner's help.
  FormQuestion& add_plain(const FieldSpec& field, FormPart part) {
    FormQuestion& q = form_.questions.emplace_back();
    q.key = key_of(field);
    q.field = field.id;
    q.part = part;
    q.text = field.question;
    q.sample = field.form.sample;
    q.choices =
        field.id == Field::vehicle ? cars_of(knowledge_) : choices_of(field, FormFor::technician);
    q.several = field.type == FieldType::choices;
    if (technician_part(field.form.only_if.field) == part) {
      only_if(q, field.form.only_if);
    }
    return q;
  }

  // All but the first member of an entry ask more about it; what goes with some work alone is asked
  // of that.
  void add_work(std::size_t entry) {
    const auto key_in = [](std::size_t n, const FieldSpec& field) {
      return fmt::format("work-{}-{}", n, key_of(field));
    };
    const FieldSpec& first = work_fields().front();
    for (const FieldSpec& field : work_fields()) {
      FormQuestion& q = add_plain(field, FormPart::work);
      q.work = entry;
      q.key = key_in(entry, field);
      if (field.id == first.id) {
        continue;
      }
      const std::string gate = key_in(entry, first);
      q.gate = static_cast<std::size_t>(form_.find(gate) - form_.questions.data());
      for (std::size_t did = 0; did < kDidCount; ++did) {
        if (goes_with(field.id, static_cast<Did>(did))) {
          q.gate_words.emplace_back(spec(static_cast<Did>(did)).id);
        }
      }
    }
  }

  void add(const FieldSpec& field) {
    const FormEntry& entry = field.form;
    if (form_.reader == FormFor::buyer && entry.needs_history) {
      return;
    }
    FormQuestion q;
    q.key = key_of(field);
    q.field = field.id;
    q.part = entry.part;
    q.text = entry.ask.empty() ? field.question : entry.ask;
    q.help = entry.help;
    q.sample = entry.sample;
    q.choices = field.id == Field::vehicle ? cars_of(knowledge_) : choices_of(field);
    q.several = field.type == FieldType::choices;
    if (field.id == Field::vehicle && q.choices.empty()) {
      return;
    }
    only_if(q, entry.only_if);
    form_.questions.push_back(std::move(q));
  }

  void add_check() {
    for (const FieldSpec& field : fields()) {
      if (field.form.again.empty()) {
        continue;
      }
      FormQuestion q;
      q.key = std::string(kCheckPrefix) + key_of(field);
      q.field = field.id;
      q.part = FormPart::port;
      q.of_check = true;
      q.text = field.form.again;
      q.help = field.form.again_help;
      q.sample = field.form.sample;
      q.choices = choices_of(field);
      only_if(q, {Field::port_checked, std::span(&kNoYes[1].id, 1)});
      form_.questions.push_back(std::move(q));
    }
  }

  void keep_order() {
    for (FormQuestion& q : form_.questions) {
      for (std::size_t i = 0; i < form_.questions.size(); ++i) {
        const FormQuestion& limit = form_.questions[i];
        const bool is_limit = q.of_check ? q.field == limit.field && q.choices.empty()
                                         : std::ranges::any_of(kNotAfter, [&](const NotAfter& n) {
                                             return n.field == q.field && n.limit == limit.field;
                                           });
        if (is_limit && !limit.of_check) {
          q.not_after.push_back(i);
        }
      }
    }
  }

  // Nobody should have to send the form in to hear that the car must stand still.
  void warn() {
    for (std::size_t i = 0; i < form_.questions.size(); ++i) {
      FormAnswers alone(form_.questions.size());
      for (std::size_t at = i; !form_.questions[at].gate_words.empty();) {
        const FormQuestion& q = form_.questions[at];
        at = q.gate;
        alone[at].words = {q.gate_words.front()};
      }
      for (FormChoice& c : form_.questions[i].choices) {
        alone[i].words = {c.word};
        const std::optional<Facts> facts = form::judged(form_, alone, grader_);
        if (facts && facts->grade == Grade::D) {
          c.warning = form::stop_text(knowledge_);
        }
      }
    }
  }

  // A gate that is not asked leaves its question open to all.
  void only_if(FormQuestion& q, const OnlyIf& only) const {
    for (std::size_t i = 0; i < form_.questions.size() && !only.words.empty(); ++i) {
      if (form_.questions[i].field == only.field && !form_.questions[i].of_check) {
        q.gate = i;
        q.gate_words.assign(only.words.begin(), only.words.end());
      }
    }
  }

  const Grader& grader_;
  const Knowledge& knowledge_;
  Form form_;
};

// Answers sorted into the record of today and that of the port check.
class Writer {
 public:
  Writer(const Form& form, const FormAnswers& answers) : form_(form), answers_(answers) {}

  // Records as JSON, the older first; `of_check` says which is which.
  struct One {
    Json json;
    bool of_check = false;
  };
  std::vector<One> write() {
    if (form_.reader == FormFor::technician) {
      return {{whole(), false}};
    }
    const std::optional<std::size_t> looked = given(Field::port_checked, false);
    const bool was_looked = looked && answers_[*looked].words.front() == kNoYes[1].id;
    const std::optional<std::size_t> day = given(Field::date, true);
    const std::optional<std::size_t> today = given(Field::date, false);
    const bool known = was_looked && day.has_value();
    const bool apart = known && today && answers_[*day].words != answers_[*today].words;
    std::vector<One> out;
    if (apart) {
      Json check = begun();
      for_each([&](std::size_t i, const FormQuestion& q) {
        const FieldType type = q.row().type;
        const bool of_unit = q.row().pointer.starts_with("/unit/") && type != FieldType::number;
        if (q.of_check || of_unit || at_port(q)) {
          put(check, i);
        }
      });
      out.push_back({ordered(check), true});
    }
    Json now = begun();
    put(now, Field::by, form::kOwnerWord);
    for_each([&](std::size_t i, const FormQuestion& q) {
      if (!q.of_check && !(at_port(q) && apart)) {
        put(now, i);
      }
    });
    if (apart) {
      now[pointer(Field::port_checked)] = false;
    } else if (known) {
      for (const Field field : {Field::by, Field::odometer_km}) {
        const std::optional<std::size_t> i = given(field, true);
        if (i && (field == Field::by || !given(field, false))) {
          put(now, *i);
        }
      }
    } else if (was_looked) {
      // Nobody knows when: then what was good there does not count.
      now[pointer(Field::port_checked).parent_pointer()].erase(
          std::string(pointer(Field::port_checked).back()));
    }
    out.push_back({ordered(now), false});
    return out;
  }

 private:
  // A technician's: all that was answered, as seen on that day.
  Json whole() {
    Json record = begun();
    put(record, Field::by, form::kTechnicianWord);
    std::vector<Json> work(kFormWork + 1);
    for_each(
        [&](std::size_t i, const FormQuestion& q) { put(q.work == 0 ? record : work[q.work], i); });
    record = ordered(record);
    for (Json& entry : work) {
      if (!entry.empty()) {
        record[Json::json_pointer(std::string(kWorkPointer))].push_back(std::move(entry));
      }
    }
    return record;
  }

  static Json::json_pointer pointer(Field field) {
    return Json::json_pointer(std::string(spec(field).pointer));
  }
  static bool at_port(const FormQuestion& q) {
    const std::string_view checked = spec(Field::port_checked).pointer;
    return q.row().pointer.starts_with(checked.substr(0, checked.rfind('/') + 1));
  }

  [[nodiscard]] std::optional<std::size_t> given(Field field, bool of_check) const {
    for (std::size_t i = 0; i < form_.questions.size(); ++i) {
      const FormQuestion& q = form_.questions[i];
      if (q.field == field && q.of_check == of_check && !answers_[i].words.empty() &&
          applies(form_, answers_, i)) {
        return i;
      }
    }
    return std::nullopt;
  }

  template <typename Each>
  void for_each(const Each& each) const {
    for (std::size_t i = 0; i < form_.questions.size(); ++i) {
      if (!answers_[i].words.empty() && applies(form_, answers_, i)) {
        each(i, form_.questions[i]);
      }
    }
  }

  static Json begun() {
    Json out;
    put(out, Field::format, kRecordFormat);
    return out;
  }
  static void put(Json& record, Field field, std::string_view text) {
    record[pointer(field)] = text;
  }

  void put(Json& record, std::size_t i) const {
    const FormQuestion& q = form_.questions[i];
    const FormAnswer& a = answers_[i];
    if (q.row().type == FieldType::photos) {
      record[pointer(q.field)] = a.words;
      return;
    }
    if (q.choices.empty()) {
      const bool miles = q.distance() && a.units == Units::mi;
      const std::string_view at = q.row().pointer;
      Json& value = record[Json::json_pointer(miles ? miles_pointer(at) : std::string(at))];
      value =
          q.row().type == FieldType::number ? number_json(a.words.front()) : Json(a.words.front());
      return;
    }
    if (q.several) {
      record[pointer(q.field)] = Json::array();
    }
    for (const FormChoice& c : q.choices) {
      if (std::ranges::find(a.words, c.word) == a.words.end()) {
        continue;
      }
      for (const auto& [field, json] : c.writes) {
        Json value = Json::parse(json);
        if (q.several) {
          record[pointer(field)].push_back(std::move(value));
        } else {
          record[pointer(field)] = std::move(value);
        }
      }
    }
  }

  // Members in the order of the field table.
  static Json ordered(const Json& record) {
    Json out;
    for (const FieldSpec& f : fields()) {
      for (const std::string& at :
           {std::string(f.pointer), f.miles_too ? miles_pointer(f.pointer) : std::string()}) {
        const Json::json_pointer p(at);
        if (!at.empty() && record.contains(p)) {
          out[p] = record[p];
        }
      }
    }
    return out;
  }

  const Form& form_;
  const FormAnswers& answers_;
};

// The same where it speaks of an entry of `/work`, such as "/work/0/date": those are written in
// whose order they are asked, and what was not done is left out.
std::optional<std::size_t> asked_of_work(const Form& form, const FormAnswers& answers,
                                         std::string_view pointer) {
  const std::string begin = fmt::format("{}/", kWorkPointer);
  if (!pointer.starts_with(begin)) {
    return std::nullopt;
  }
  pointer.remove_prefix(begin.size());
  const std::size_t slash = std::min(pointer.find('/'), pointer.size());
  std::size_t entry = 0;
  for (const char digit : pointer.substr(0, slash)) {
    entry = entry * 10 + static_cast<std::size_t>(digit - '0');
  }
  std::size_t before = 0;
  std::size_t wanted = 0;
  for (std::size_t i = 0; i < form.questions.size() && wanted == 0; ++i) {
    const FormQuestion& q = form.questions[i];
    if (q.field == work_fields().front().id && !answers[i].words.empty() && before++ == entry) {
      wanted = q.work;
    }
  }
  std::optional<std::size_t> found;
  for (std::size_t i = 0; i < form.questions.size(); ++i) {
    const FormQuestion& q = form.questions[i];
    const std::string_view member = pointer.substr(slash);
    if (q.work != 0 && q.work == wanted &&
        (!found || member == q.row().pointer ||
         (q.distance() && member == miles_pointer(q.row().pointer)))) {
      found = i;
    }
  }
  return found;
}

// The question that a complaint about a record speaks of.
std::size_t asked_at(const Form& form, const FormAnswers& answers, std::string_view pointer,
                     bool of_check) {
  if (const std::optional<std::size_t> i = asked_of_work(form, answers, pointer)) {
    return *i;
  }
  std::optional<Field> field = field_at(pointer);
  while (!field && !pointer.empty()) {  // an element of an array
    pointer = pointer.substr(0, pointer.rfind('/'));
    field = field_at(pointer);
  }
  if (field == Field::family) {
    field = Field::vehicle;
  }
  std::size_t found = 0;
  for (std::size_t i = 0; i < form.questions.size(); ++i) {
    const FormQuestion& q = form.questions[i];
    if (q.field == field && (q.of_check == of_check || !q.of_check)) {
      found = i;
    }
  }
  return found;
}

// An answer as it may be compared: of days as written, as far as both go.
struct WhenOrWhere {
  std::string day = {};
  double km = 0;
};

std::optional<WhenOrWhere> place_of(const FormQuestion& q, const FormAnswer& answer) {
  const std::string& typed = answer.words.front();
  switch (q.row().type) {
    case FieldType::date:
      return parse_date(typed) ? std::optional(WhenOrWhere{.day = typed}) : std::nullopt;
    case FieldType::month:
      return WhenOrWhere{.day = typed};  // one that is none is refused as it is
    default:
      break;
  }
  const std::optional<double> number = number_in(typed);
  return number ? std::optional(
                      WhenOrWhere{.km = *number * (answer.units == Units::mi ? kKmPerMile : 1)})
                : std::nullopt;
}

bool lies_after(const WhenOrWhere& one, const WhenOrWhere& limit) {
  const std::size_t both = std::min(one.day.size(), limit.day.size());
  return one.km > limit.km || one.day.compare(0, both, limit.day, 0, both) > 0;
}

std::string shown(const FormQuestion& q, const FormAnswer& answer) {
  return answer.words.front() +
         (q.distance() ? answer.units == Units::mi ? " miles" : " km" : std::string());
}

// The answers of which one at least cannot be, each with that which it lies after.
std::vector<std::pair<std::size_t, std::size_t>> out_of_order(const Form& form,
                                                              const FormAnswers& answers) {
  const auto place = [&](std::size_t i) {
    return answers[i].words.empty() || !applies(form, answers, i)
               ? std::nullopt
               : place_of(form.questions[i], answers[i]);
  };
  std::vector<std::pair<std::size_t, std::size_t>> out;
  for (std::size_t i = 0; i < form.questions.size(); ++i) {
    for (const std::size_t limit : form.questions[i].not_after) {
      const std::optional<WhenOrWhere> one = place(i);
      const std::optional<WhenOrWhere> other = place(limit);
      if (one && other && lies_after(*one, *other)) {
        out.emplace_back(i, limit);
        break;
      }
    }
  }
  return out;
}

// The question with the longest answer: what makes a whole record too large.
std::size_t longest(const FormAnswers& answers) {
  const auto found = std::ranges::max_element(answers, {}, [](const FormAnswer& a) {
    return a.words.empty() ? 0 : a.words.front().size();
  });
  return static_cast<std::size_t>(found - answers.begin());
}

}  // namespace

const FormQuestion* Form::find(std::string_view key) const {
  const auto found = std::ranges::find(questions, key, &FormQuestion::key);
  return found == questions.end() ? nullptr : &*found;
}

Form make_form(const Grader& grader, FormFor reader) { return Maker(grader, reader).make(); }

bool applies(const Form& form, const FormAnswers& answers, std::size_t question) {
  const FormQuestion& q = form.questions[question];
  if (q.gate_words.empty()) {
    return true;
  }
  return applies(form, answers, q.gate) &&
         std::ranges::any_of(answers[q.gate].words, [&](const std::string& word) {
           return std::ranges::find(q.gate_words, word) != q.gate_words.end();
         });
}

FormRecords to_records(const Form& form, const FormAnswers& answers, const ReadOptions& options) {
  FormRecords out;
  const auto complain = [&](std::size_t question, Diagnostic d) {
    d.source.clear();
    d.line = 0;
    d.column = 0;
    d.caret = 0;
    d.excerpt.clear();
    d.pointer = fmt::format("[{}]", form.questions[question].key);
    out.complaints.push_back({question, std::move(d)});
  };
  std::vector<std::size_t> impossible;
  for (const auto& [question, limit] : out_of_order(form, answers)) {
    Diagnostic d;
    d.code = "out-of-order";
    d.message = fmt::format(
        "is {}, after [{}], which is {}", shown(form.questions[question], answers[question]),
        form.questions[limit].key, shown(form.questions[limit], answers[limit]));
    d.hint = "one of the two is wrong";
    impossible.push_back(question);
    complain(question, std::move(d));
  }
  for (const Writer::One& one : Writer(form, answers).write()) {
    // Whatever a caller hands over, the text is UTF-8.
    const std::string text = json_out::of(one.json);
    Result<Record> read = read_record(text, "", 1, 1, options);
    for (Diagnostic& d : read.diagnostics) {
      const std::size_t question =
          d.pointer.empty() ? longest(answers) : asked_at(form, answers, d.pointer, one.of_check);
      const bool known = std::ranges::find(impossible, question) != impossible.end() ||
                         std::ranges::any_of(out.complaints, [&](const FormComplaint& c) {
                           return c.question == question && c.diagnostic.code == d.code;
                         });
      if (!known) {
        complain(question, std::move(d));
      }
    }
    if (read.value) {
      out.text += text + '\n';
      out.records.push_back(*std::move(read.value));
    }
  }
  if (!out.complaints.empty()) {
    out.text.clear();
    out.records.clear();
  }
  return out;
}

}  // namespace dryshaft
