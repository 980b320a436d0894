// A form as a page of its own. Its script knows no question, no rule and no text: questions and
// texts stand in the page's data, and what answers mean the library says that the page holds.
#include <fmt/format.h>

#include <algorithm>

#include "base/json_out.hpp"
#include "base/sha256.hpp"
#include "drawings/drawings.hpp"
#include "dryshaft/form.hpp"
#include "form/wording.hpp"
#include "page/page.hpp"
#include "page/request.hpp"
#include "page/wording.hpp"
#include "report/markup.hpp"

namespace dryshaft {
namespace {

using markup::escaped;
using page::Json;

constexpr std::string_view kReportStyle =
#include "report/report.css.inc"
    ;
constexpr std::string_view kStyle =
#include "page/page.css.inc"
    ;
constexpr std::string_view kCore =
#include "page/core.js.inc"
    ;
constexpr std::string_view kKept =
#include "page/kept.js.inc"
    ;
constexpr std::string_view kQuestions =
#include "page/questions.js.inc"
    ;
constexpr std::string_view kSheet =
#include "page/sheet.js.inc"
    ;
constexpr std::string_view kWay =
#include "page/way.js.inc"
    ;

constexpr std::string_view kind_of(const FormQuestion& q) {
  if (!q.choices.empty()) {
    return q.several ? "several" : "one";
  }
  switch (q.row().type) {
    case FieldType::number:
      return "number";
    case FieldType::date:
      return "date";
    case FieldType::photos:
      return "photos";
    default:
      return q.long_text() ? "long" : "text";
  }
}

// A question that a page answers by itself, or that nothing turns on: among the answers, where it
// can be changed, and not on the way.
bool aside(const Form& form, const FormQuestion& q) {
  return form.reader != FormFor::technician &&
         (q.required() || (q.field == Field::note && !q.of_check));
}

Json question(const Form& form, const FormQuestion& q) {
  const FieldSpec& field = q.row();
  Json out = {{"key", q.key},
              {"part", static_cast<std::size_t>(q.part)},
              {"text", q.text},
              {"help", q.help},
              {"sample", q.sample},
              {"kind", kind_of(q)},
              {"gated", !q.gate_words.empty()},
              {"pointer", field.pointer},
              {"work", q.work},
              {"distance", q.distance()},
              {"required", q.required()},
              {"aside", aside(form, q)},
              {"choices", Json::array()}};
  const Drawing* const drawing = q.of_check ? nullptr : drawing_of_field(q.field);
  if (q.work > 1 && q.field == work_fields().front().id) {
    out["after"] =
        form.questions[static_cast<std::size_t>(&q - form.questions.data()) - work_fields().size()]
            .key;
  }
  for (const FormChoice& c : q.choices) {
    Json choice = {{"word", c.word}, {"text", c.text}};
    if (drawing != nullptr && drawing->columns) {
      const std::span<const Choice> words = field.type == FieldType::flag ? kNoYes : field.choices;
      choice["column"] = std::ranges::find(words, c.word, &Choice::id) - words.begin();
    }
    out["choices"].push_back(std::move(choice));
  }
  if (q.choices.empty() && field.type == FieldType::number && !q.distance()) {
    out["unit"] = field.unit;
  }
  if (field.max_length != 0) {
    out["maxLength"] = field.max_length;
  }
  if (drawing != nullptr) {
    out["picture"] = drawing->name;
  }
  return out;
}

Json files(const std::vector<NamedText>& all) {
  Json out = Json::array();
  for (const NamedText& one : all) {
    out.push_back({{"name", one.name}, {"text", one.text}});
  }
  return out;
}

Json data(const Form& form, const FormPage& what, const Sheet* sheet = nullptr) {
  const page::Wording& words = page::wording_for(form.reader);
  const auto key = [&](Field field) {
    return std::ranges::find_if(
               form.questions,
               [&](const FormQuestion& q) { return q.field == field && !q.of_check; })
        ->key;
  };
  Json out = {{"form", page::word_of(form.reader)},
              {"together", form.reader == FormFor::technician},
              {"id", key(Field::unit_id)},
              {"date", key(Field::date)}};
  out["report"] = {{"for", form.reader == FormFor::technician ? "technician" : "owner"},
                   {"buying", form.reader == FormFor::buyer}};
  constexpr std::size_t kRoomForWords = std::size_t{128} << 10U;
  out["room"] = kMaxRecordBytes - kRoomForWords;  // for photographs, as text
  out["photos"] = kMaxPhotos;
  out["units"] = {{{"word", "km"}, {"text", form::kUnitWords[0]}},
                  {{"word", "mi"}, {"text", form::kUnitWords[1]}}};
  out["unknown"] = {
      {"word", kDoNotKnow.id},
      {"text", form.reader == FormFor::technician ? page::kNotKnown : kDoNotKnow.plain}};
  out["says"] = Json::object();
  for (const page::Said& said : page::kSays) {
    out["says"][said.name] = said.text;
  }
  out["says"]["done"] = words.result;
  out["parts"] = Json::array();
  for (const FormPartSpec& part : form_parts()) {
    const auto care = form.care.find(part.id);
    out["parts"].push_back(
        {{"title", part.title},
         {"intro", part.intro},
         {"care", care == form.care.end() ? Json::array() : Json(care->second)}});
  }
  out["questions"] = Json::array();
  for (const FormQuestion& q : form.questions) {
    out["questions"].push_back(question(form, q));
  }
  out["rules"] = files(what.rules);
  out["families"] = files(what.families);
  if (sheet != nullptr) {
    out["sheet"] = sha256_hex(sheet->body);
    out["known"] = Json::array();
    for (const Sheet::Known& known : sheet->known) {
      for (const FormQuestion& q : form.questions) {
        if (q.field == known.field && q.work == known.work && !q.of_check) {
          out["known"].push_back(
              {{"key", q.key},
               {"answer", q.choices.empty() ? Json{{"typed", known.word}}
                                            : Json{{"words", Json::array({known.word})}}}});
        }
      }
    }
  }
  // Another version of the form must not read this one's answers.
  constexpr std::size_t kDigits = 12;
  out["storage"] = fmt::format("dryshaft-{}-{}", page::word_of(form.reader),
                               sha256_hex(json_out::of(out)).substr(0, kDigits));
  out["core"] = page::module_sha256();  // to tell what it grades by
  return out;
}

std::string paragraphs(std::string_view element, const std::vector<std::string>& texts) {
  std::string out;
  for (const std::string& text : texts) {
    out += fmt::format("<{0}>{1}</{0}>\n", element, escaped(text));
  }
  return out;
}

std::string pictures() {
  std::string out;
  for (const Drawing& d : drawings()) {
    if (!d.fields.empty()) {
      out += fmt::format("<div id=\"picture-{}\">\n{}</div>\n", d.name, drawn(d));
    }
  }
  return out;
}

constexpr std::string_view kSheetFrame =
#include "page/sheet.html.inc"
    ;
constexpr std::string_view kFrame =
#include "page/page.html.inc"
    ;

std::string body(const Form& form, const FormPage& what) {
  const page::Wording& words = page::wording_for(form.reader);
  std::vector<std::string> before(words.before.begin(), words.before.end());
  return fmt::format(
      kFrame, fmt::arg("title", escaped(form::title_of(form.reader))),
      fmt::arg("dead", escaped(page::kDead)), fmt::arg("trouble", escaped(page::kTrouble)),
      fmt::arg("broken", escaped(page::kBroken)), fmt::arg("before", paragraphs("p", before)),
      fmt::arg("cautions", paragraphs("li", form.cautions)), fmt::arg("kept", escaped(page::kKept)),
      fmt::arg("now", escaped(words.now)), fmt::arg("unfinished", escaped(page::kUnfinished)),
      fmt::arg("hand_on", escaped(words.hand_on)), fmt::arg("answers", escaped(words.answers)),
      fmt::arg("record", escaped(page::kRecordLabel)), fmt::arg("again", escaped(words.again)),
      fmt::arg("sure", escaped(words.sure)), fmt::arg("earlier", escaped(page::kEarlier)),
      fmt::arg("list", escaped(page::kList)),
      fmt::arg("workshop",
               what.workshop.empty()
                   ? std::string()
                   : fmt::format("<p id=\"workshop\">{}</p>\n",
                                 escaped(fmt::format("{} {}", words.workshop, what.workshop)))),
      fmt::arg("pictures", pictures()));
}

std::string whole(markup::Page out, std::string_view way, const Json& data) {
  out.script = fmt::format("{}(() => {{\n{}{}{}}})();\n", kCore, kKept, kQuestions, way);
  out.data = json_out::of(data);
  out.core = page::module_base64();
  return markup::whole(out);
}

}  // namespace

bool pages_can_grade() { return !page::module_base64().empty(); }

std::string blank_html(const Form& form, const FormPage& page) {
  return whole({.title = std::string(form::title_of(form.reader)),
                .style = fmt::format("{}{}", kReportStyle, kStyle),
                .body = body(form, page)},
               kWay, data(form, page));
}

std::string fillable_html(const Sheet& sheet, const Form& form, const FormPage& page) {
  std::string frame = fmt::format(
      kSheetFrame, fmt::arg("body", sheet.body), fmt::arg("keep", escaped(page::kKeepSheet)),
      fmt::arg("broken", escaped(page::kBroken)), fmt::arg("trouble", escaped(page::kTrouble)),
      fmt::arg("unfinished", escaped(page::kSheetUnfinished)),
      fmt::arg("record", escaped(page::kRecordLabel)), fmt::arg("kept", escaped(page::kKept)));
  return whole({.title = sheet.title, .style = sheet.style + std::string(kStyle), .body = frame},
               kSheet, data(form, page, &sheet));
}

}  // namespace dryshaft
