// The form as a page of its own. The script knows no question and no field:
// all of that stands in the page's data.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/json_out.hpp"
#include "base/sha256.hpp"
#include "dryshaft/form.hpp"
#include "form/stops.hpp"
#include "form/wording.hpp"
#include "record/shape.hpp"
#include "report/markup.hpp"

namespace dryshaft {
namespace {

using Json = nlohmann::ordered_json;
using markup::escaped;

constexpr std::string_view kStyle =
#include "form/form.css.inc"
    ;
constexpr std::string_view kScript =
#include "form/form.js.inc"
    ;

struct Picture {
  Field field;
  std::string_view name;
  std::string_view svg;
};
constexpr Picture kPictures[] = {
    {
        Field::port_checked,
        "where",
#include "form/where.svg.inc"
    },
    {
        Field::port_fluid,
        "fluid",
#include "form/fluid.svg.inc"
    },
    {
        Field::port_dried_residue,
        "residue",
#include "form/residue.svg.inc"
    },
    {
        Field::port_corrosion,
        "rust",
#include "form/rust.svg.inc"
    },
    {
        Field::port_debris,
        "debris",
#include "form/debris.svg.inc"
    },
};

constexpr std::string_view kStorage = "dryshaft-form";

constexpr std::string_view kind_of(const FormQuestion& q) {
  if (!q.choices.empty()) {
    return q.several ? "several" : "one";
  }
  switch (q.row().type) {
    case FieldType::number:
      return "number";
    case FieldType::date:
      return "date";
    case FieldType::month:
      return "month";
    default:
      return q.long_text() ? "long" : "text";
  }
}

// "Write a number, 0 or more."
std::string range_of(double least, double most) {
  const bool low = std::isfinite(least);
  const bool high = std::isfinite(most);
  return fmt::format("Write a number{}.", low && high ? fmt::format(" from {} to {}", least, most)
                                          : low       ? fmt::format(", {} or more", least)
                                          : high      ? fmt::format(", {} or less", most)
                                                      : std::string());
}

// What a number may be; a limit that is not there is left out: JSON has no infinity.
Json limits(double least, double most) {
  Json out = {{"range", range_of(least, most)}};
  if (std::isfinite(least)) {
    out["min"] = least;
  }
  if (std::isfinite(most)) {
    out["max"] = most;
  }
  return out;
}

Json question(const FormQuestion& q) {
  const FieldSpec& field = q.row();
  Json out = {{"key", q.key},
              {"part", static_cast<std::size_t>(q.part)},
              {"check", q.of_check},
              {"text", q.text},
              {"help", q.help},
              {"sample", q.sample},
              {"kind", kind_of(q)},
              {"pointer", field.pointer},
              {"required", q.required()},
              {"gate", q.gate},
              {"gateWords", q.gate_words},
              {"notAfter", q.not_after},
              {"choices", Json::array()}};
  for (const FormChoice& c : q.choices) {
    Json writes = Json::object();
    for (const auto& [target, json] : c.writes) {
      writes[std::string(spec(target).pointer)] = Json::parse(json);
    }
    out["choices"].push_back({{"word", c.word}, {"text", c.text}, {"writes", writes}});
  }
  if (q.choices.empty() && field.type == FieldType::number) {
    out["unit"] = field.unit;
    out["limits"] = limits(field.minimum, field.maximum);
  }
  if (q.distance()) {
    out["miles"] = miles_pointer(field.pointer);
    out["milesLimits"] = limits(whole_miles(field.minimum), whole_miles(field.maximum));
  }
  if (field.max_length != 0) {
    out["maxLength"] = field.max_length;
  }
  for (const Picture& p : kPictures) {
    if (p.field == q.field && !q.of_check) {
      out["picture"] = p.name;
    }
  }
  return out;
}

Json stops(const std::vector<form::Stop>& group) {
  Json out = Json::array();
  for (const form::Stop& one : group) {
    Json needs = Json::array();
    for (const form::Stop::Need& need : one.needs) {
      needs.push_back({{"question", need.question}, {"words", need.words}});
    }
    out.push_back({{"text", one.text}, {"needs", std::move(needs)}});
  }
  return out;
}

Json data(const Form& form, const Grader& grader) {
  const auto pointer = [](Field f) { return spec(f).pointer; };
  const std::string_view checked = pointer(Field::port_checked);
  const std::string_view id = pointer(Field::unit_id);
  Json out;
  out["units"] = {{{"word", "km"}, {"text", form::kUnitWords[0]}},
                  {{"word", "mi"}, {"text", form::kUnitWords[1]}}};
  out["unknown"] = {{"word", kDoNotKnow.id}, {"text", kDoNotKnow.plain}};
  out["roles"] = {{"format", pointer(Field::format)},
                  {"formatWord", kRecordFormat},
                  {"by", pointer(Field::by)},
                  {"byWord", form::kOwnerWord},
                  {"date", pointer(Field::date)},
                  {"odometer", pointer(Field::odometer_km)},
                  {"checked", checked},
                  {"yes", kNoYes[1].id},
                  {"port", checked.substr(0, checked.rfind('/') + 1)},
                  {"unit", id.substr(0, id.rfind('/') + 1)},
                  {"id", id}};
  out["says"] = {{"answer", "Your answer"},
                 {"unitLabel", "Unit"},
                 {"unit", "km or miles?"},
                 {"unitMissing", "Choose km or miles."},
                 {"question", "Question"},
                 {"of", "of"},
                 {"next", "Next"},
                 {"done", "Done"},
                 {"change", "Change"},
                 {"none", "not answered"},
                 {"required", "This one is needed."},
                 {"date", "Write a day, as year, month and day, such as 2026-03-18."},
                 {"future", "By the clock of this device that day has not come yet."},
                 {"after",
                  "This lies after your answer to \"{question}\": {answer}. One of the "
                  "two is wrong."},
                 {"before",
                  "This lies before your answer to \"{question}\": {answer}. One of "
                  "the two is wrong."},
                 {"month", "Write a year, or year and month, such as 2017 or 2017-05."},
                 {"drawn", form::kDrawn},
                 {"saved",
                  "The file {name} was given to your browser. Look in your downloads; if "
                  "it is not there, copy the text below."},
                 {"copied", "Copied. You can paste it into a mail."},
                 {"copyByHand", "The text is marked: copy it the way you copy any text."}};
  out["parts"] = Json::array();
  for (const FormPartSpec& part : form_parts()) {
    out["parts"].push_back({{"title", part.title}, {"intro", part.intro}});
  }
  out["questions"] = Json::array();
  for (const FormQuestion& q : form.questions) {
    out["questions"].push_back(question(q));
  }
  out["order"] = Json::array();
  for (const FieldSpec& f : fields()) {
    out["order"].push_back(f.pointer);
    if (f.miles_too) {
      out["order"].push_back(miles_pointer(f.pointer));
    }
  }
  const form::Stops what = form::stops_of(form, grader);
  out["kmPerMile"] = kKmPerMile;
  out["least"] = form::kLeast;
  out["more"] = form::kMore;
  out["stops"] = Json::array({stops(what.grade), stops(what.before_driving)});
  // Another version of the form must not read this one's answers.
  constexpr std::size_t kDigits = 12;
  out["storage"] = fmt::format("{}-{}-{}", kStorage, form.buying ? "buying" : "owner",
                               sha256_hex(json_out::of(out)).substr(0, kDigits));
  return out;
}

std::string body(const Form& form) {
  std::string pictures;
  for (const Picture& p : kPictures) {
    pictures += fmt::format("<div id=\"picture-{}\">\n{}</div>\n", p.name, p.svg);
  }
  std::string cautions;
  for (const std::string& caution : form.cautions) {
    cautions += fmt::format("<li>{}</li>\n", escaped(caution));
  }
  return fmt::format(
      R"(<main>
<h1 id="title" tabindex="-1">{title}</h1>
<noscript><p class="note">{no_script}</p></noscript>
<div id="page" hidden>
<p id="trouble" class="note" role="status" hidden>{trouble}</p>
<section id="intro" aria-labelledby="title">
<p>{about}</p>
<p>{no_tools}</p>
<ul>
{cautions}</ul>
<p>{gaps} {kept}</p>
<p class="buttons"><button type="button" id="start" class="main">Start</button></p>
</section>
<section id="ask" aria-labelledby="question" hidden>
<div id="stop" role="alert"></div>
<div class="where"><progress id="progress" aria-labelledby="place"></progress><span id="place" role="status"></span></div>
<form id="form" novalidate>
<p id="part" class="part"></p>
<p id="part-intro" class="quiet"></p>
<fieldset aria-describedby="help problem">
<legend><h2 id="question" tabindex="-1"></h2></legend>
<p id="help" class="quiet"></p>
<figure id="picture" hidden></figure>
<div id="inputs"></div>
</fieldset>
<div id="warning" role="alert"></div>
<p id="problem" class="problem" role="alert"></p>
<div class="buttons"><button type="button" id="back">Back</button><button type="button" id="skip">Skip</button><button type="submit" id="next" class="main">Next</button></div>
</form>
</section>
<section id="summary" aria-labelledby="end" hidden>
<h2 id="end" tabindex="-1">Your answers</h2>
<div id="warnings"></div>
<p id="unfinished" class="note" role="status" hidden>{unfinished}</p>
<div id="answers"></div>
<p class="buttons screen"><button type="button" id="last">Back to the questions</button></p>
<div id="finished" class="screen">
<h2>Your record</h2>
<p>{hand_on}</p>
<p class="buttons"><button type="button" id="save" class="main">Save as a file</button><button type="button" id="copy">Copy the text</button></p>
<p id="saved" role="status"></p>
<label for="record" class="quiet">{record_label}</label>
<textarea id="record" readonly spellcheck="false"></textarea>
</div>
</section>
<p class="buttons screen"><button type="button" id="again" hidden>Start again</button></p>
<dialog id="sure" aria-labelledby="sure-title">
<h2 id="sure-title">Delete all answers?</h2>
<p>They are gone from this browser then.</p>
<div class="buttons"><button type="button" id="stay" autofocus>Keep them</button><button type="button" id="wipe">Delete them</button></div>
</dialog>
</div>
<div id="pictures" hidden>
{pictures}</div>
</main>
)",
      fmt::arg("title", escaped(form.buying ? form::kBuyingTitle : form::kTitle)),
      fmt::arg("no_script", escaped(form::kNoScript)), fmt::arg("trouble", escaped(form::kTrouble)),
      fmt::arg("about", escaped(form.buying ? form::kBuyingAbout : form::kAbout)),
      fmt::arg("no_tools", escaped(form::kNoTools)), fmt::arg("cautions", cautions),
      fmt::arg("gaps", escaped(form::kGaps)), fmt::arg("kept", escaped(form::kKept)),
      fmt::arg("unfinished", escaped(form::kUnfinished)),
      fmt::arg("hand_on", escaped(form::kHandOn)),
      fmt::arg("record_label", escaped(form::kRecordLabel)), fmt::arg("pictures", pictures));
}

}  // namespace

std::string blank_html(const Form& form, const Grader& grader) {
  markup::Page page;
  page.title = form.buying ? form::kBuyingTitle : form::kTitle;
  page.style = kStyle;
  page.body = body(form);
  page.script = kScript;
  page.data = json_out::of(data(form, grader));
  return markup::whole(page);
}

}  // namespace dryshaft
