// The owner's form: its questions, the text form, and the way back to records.
#include "dryshaft/form.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <set>

#include "form/stops.hpp"
#include "knowledge/owner_words.hpp"
#include "report/layout.hpp"
#include "support.hpp"

namespace dryshaft::test {
namespace {

// Lines of a form hang on how many families it offers: here they are these three, whatever else
// is shipped.
const Grader& three_families() {
  static const Grader known = [] {
    Knowledge k = shipped();
    std::erase_if(k.families, [](const Family& f) {
      return f.id != kGenericFamily && f.id != "plover-2" && f.id != "dunlin-1";
    });
    return Grader(std::move(k));
  }();
  return known;
}

const Form& owners() {
  static const Form form = make_form(three_families(), FormFor::owner);
  return form;
}
const Form& buyers() {
  static const Form form = make_form(three_families(), FormFor::buyer);
  return form;
}

ReadOptions options() {
  ReadOptions out;
  for (const Family& f : shipped().families) {
    std::vector<std::string> vehicles;
    for (const VehicleProfile& v : f.vehicles) {
      vehicles.push_back(v.id);
    }
    out.families.emplace_back(f.id, std::move(vehicles));
  }
  return out;
}

std::size_t index_of(std::string_view key) {
  const FormQuestion* q = owners().find(key);
  REQUIRE(q != nullptr);
  return static_cast<std::size_t>(q - owners().questions.data());
}

// The blank form with the box before `label` marked, or the answer written, at a question.
std::string marked(std::string text, std::string_view key, std::string_view label) {
  const std::size_t box =
      text.find("[ ] " + std::string(label), text.find("\n[" + std::string(key)));
  REQUIRE(box != std::string::npos);
  return text.replace(box, 3, "[x]");
}
std::string typed(std::string text, std::string_view key, std::string_view answer) {
  const std::size_t line = text.find("Answer:", text.find("\n[" + std::string(key)));
  REQUIRE(line != std::string::npos);
  return text.replace(line, text.find('\n', line) - line, "Answer: " + std::string(answer));
}
// A form with what a record needs.
std::string begun() {
  return typed(typed(blank_text(owners()), "unit-id", "HL-0147"), "date", "2026-03-18");
}

FormsRead read(const std::string& text) {
  return read_forms(owners(), text, "form.txt", options());
}
std::string complaints_of(const std::string& text) {
  return complaints(read(text).records.diagnostics);
}
nlohmann::json only_record(const std::string& text) {
  const FormsRead forms = read(text);
  INFO(complaints(forms.records.diagnostics));
  REQUIRE(forms.records.records.size() == 1);
  return nlohmann::json::parse(forms.text);
}

FormAnswers answers(const std::vector<std::pair<std::string, std::vector<std::string>>>& given) {
  FormAnswers out(owners().questions.size());
  for (const auto& [key, words] : given) {
    out[index_of(key)].words = words;
  }
  return out;
}

}  // namespace

// ------------------------------------------------------------ questions

TEST_CASE("every question is plain, and asks for nothing that needs tools or training") {
  const ReservedWords never(shipped());
  REQUIRE(never.size() > 20);
  // Explained where they stand, or only in the part for whoever had the port checked.
  const std::vector<std::string> jargon = {
      "inverter", "stator",   "megohm",   "ohm",   "refractometer", "glycol", "winding",
      "raceway",  "emulsion", "bearings", "rotor", "lubricant",     "torque", "diagnostic"};
  std::set<std::string> keys;
  std::set<std::string> texts;
  for (const FormQuestion& q : owners().questions) {
    INFO(q.key);
    CHECK(keys.insert(q.key).second);
    CHECK(texts.insert(q.text).second);
    CHECK(q.text.ends_with("?"));
    CHECK((q.help.ends_with(".") || q.help.ends_with("?")));
    CHECK(q.text.size() <= 90);
    std::string all = q.text + " " + q.help;
    std::set<std::string> words;
    for (const FormChoice& c : q.choices) {
      all += ". " + c.text;
      CHECK(words.insert(c.word).second);
      CHECK(c.text.size() <= 64);  // a line of the text form
      CHECK(c.word != kDoNotKnow.id);
    }
    CHECK(never.in(all).empty());
    for (const std::string& word : jargon) {
      if (spec(q.part).asked == Asked::owner) {
        CHECK(ReservedWords(std::vector{word}).in(replaced(all, "not", "")).empty());
      }
    }
    // Nothing of high voltage, of turning the unit by hand, of opening it.
    CHECK(q.field != Field::rotation);
    CHECK(q.field != Field::system_voltage_v);
    CHECK_FALSE(q.row().pointer.starts_with("/inspection/insulation"));
    CHECK_FALSE(q.row().pointer.starts_with("/teardown"));
  }
  for (const FormPartSpec& part : form_parts()) {
    CHECK(never.in(part.intro).empty());
  }
}

TEST_CASE("a part's questions stand together, in the order of the parts") {
  FormPart last = FormPart::none;
  for (const FormQuestion& q : owners().questions) {
    CHECK(q.part >= last);
    CHECK((spec(q.part).asked == Asked::port_checker) ==
          (q.part == FormPart::port || q.part == FormPart::papers));
    last = q.part;
  }
}

TEST_CASE("a buyer is asked nothing that only the car's history tells") {
  std::vector<std::string> left_out;
  for (const FormQuestion& q : owners().questions) {
    if (buyers().find(q.key) == nullptr) {
      left_out.push_back(q.key);
    }
  }
  CHECK(left_out == std::vector<std::string>{"faults-shutdown", "coolant-loss",
                                             "noise-onset-odometer", "unit-fitted-odometer",
                                             "unit-seal-renewed-odometer"});
  const FormQuestion* onset = buyers().find("noise-onset");
  REQUIRE(onset != nullptr);
  CHECK(onset->choices.back().word == "always");
  CHECK(blank_text(buyers()).find("you may buy") != std::string::npos);
}

TEST_CASE("cautions are those of the rule data") {
  const std::string text = blank_text(owners());
  const std::string page = blank_html(owners(), {});
  for (const std::string_view id : {"high-voltage", "lifting", "toxic-coolant"}) {
    const std::string& words = shipped().caution(id)->owner_text;
    CHECK(replaced(replaced(text, "\n  ", " "), "\n", " ").find(words) != std::string::npos);
    CHECK(page.find(words) != std::string::npos);
  }
}

TEST_CASE("answers that alone mean grade D say at once what to do, in every shape") {
  const std::string stop =
      fmt::format("{} {}", shipped().settings.stop, shipped().settings.carried);
  std::vector<std::string> warned;
  for (const FormQuestion& q : owners().questions) {
    for (const FormChoice& c : q.choices) {
      if (!c.warning.empty()) {
        CHECK(c.warning == stop);
        warned.push_back(q.key + " " + c.word);
      }
    }
  }
  CHECK(warned == std::vector<std::string>{"faults-isolation active", "port-fluid pooled"});
  const std::string text = replaced(blank_text(owners()), "\n       ", "");
  CHECK(text.find("[ ] it is showing now\n      ! " + stop.substr(0, 30)) != std::string::npos);
}

TEST_CASE("what stops the car is said at once where the report says it, and only there") {
  std::uint32_t draw = 20260318;
  const auto below = [&draw](std::size_t n) {
    draw = draw * 1664525U + 1013904223U;
    return static_cast<std::size_t>(draw >> 8U) % n;
  };
  std::size_t stopped = 0;
  for (int walk = 0; walk < 400; ++walk) {
    FormAnswers a = answers({{"unit-id", {"HL-0147"}}, {"date", {"2026-03-18"}}});
    for (std::size_t i = 0; i < a.size(); ++i) {
      const FormQuestion& q = owners().questions[i];
      if (!q.choices.empty() && below(6) > 0) {
        a[i].words = {q.choices[below(q.choices.size())].word};
      } else if (q.field == Field::odometer_km && !q.of_check) {
        a[i].words = {"109000"};
      }
    }
    if (a[index_of("port-checked")].words == std::vector<std::string>{"yes"} && below(2) > 0) {
      a[index_of("check-date")].words = {"2025-11-02"};
    }
    const FormRecords made = to_records(owners(), a, options());
    REQUIRE(made.complaints.empty());
    const Report report = report_on(made.text);
    const std::vector<std::string> said = stop_now(owners(), a, three_families());
    INFO(made.text);
    // Among its actions those that come before any further driving are why.
    const bool standing = std::ranges::any_of(
        report.actions, [](const Action& action) { return action.within_km == 0.0; });
    CHECK(said.empty() == !standing);
    CHECK((report.grade == Grade::D) ==
          (!said.empty() && said.front() == form::stop_text(three_families().knowledge())));
    stopped += said.empty() ? 0 : 1;
  }
  CHECK(stopped > 100);
}

TEST_CASE("an answer that cannot be hides nothing that the others mean") {
  FormAnswers a = answers({{"faults-isolation", {"active"}},
                           {"odometer", {"lots"}},
                           {"unit-built", {"2031"}},
                           {"date", {"yesterday"}}});
  CHECK(stop_now(owners(), a, three_families()) ==
        std::vector{form::stop_text(three_families().knowledge())});
}

TEST_CASE("rules that stop for another reason say so, and no code") {
  Knowledge other = three_families().knowledge();
  std::erase_if(other.floors, [](const Floor& f) { return f.grade == Grade::D; });
  Floor leak = other.floors.front();
  leak.id = "floor-puddle";
  leak.grade = Grade::D;
  leak.when = {};
  leak.when.findings = {{Finding::outside_leak, 0b100}};
  other.floors.push_back(leak);
  const Grader grader(std::move(other));
  const FormAnswers puddle = answers({{"coolant-outside-leak-seen", {"yes"}}});
  CHECK(stop_now(owners(), puddle, grader) ==
        std::vector{form::stop_text(three_families().knowledge())});
  CHECK(stop_now(owners(), puddle, three_families()).empty());
}

// ------------------------------------------------- what the form allows, the reader accepts

TEST_CASE("every answer, on every way through the gates, makes a record that the reader takes",
          "[long]") {
  // Questions with gates depend on at most two others: all combinations of the gates' answers,
  // and with each of them every answer of every question.
  const Form& form = owners();
  std::vector<std::size_t> gates;
  for (const FormQuestion& q : form.questions) {
    if (!q.gate_words.empty() && std::ranges::find(gates, q.gate) == gates.end()) {
      gates.push_back(q.gate);
    }
  }
  REQUIRE(gates.size() == 5);
  std::size_t tried = 0;
  std::set<std::size_t> applied;
  std::vector<std::size_t> pick(gates.size());
  while (true) {
    for (const std::string_view check_day : {"", "2026-03-18", "2025-11-02"}) {
      FormAnswers base = answers({{"unit-id", {"HL-0147"}}, {"date", {"2026-03-18"}}});
      for (std::size_t g = 0; g < gates.size(); ++g) {
        if (pick[g] > 0) {
          base[gates[g]].words = {form.questions[gates[g]].choices[pick[g] - 1].word};
        }
      }
      // What a question that does not apply would hold makes no difference: see the test below.
      const bool idle = std::ranges::any_of(gates, [&](std::size_t gate) {
        return !base[gate].words.empty() && !applies(form, base, gate);
      });
      if (idle || (!check_day.empty() && !applies(form, base, index_of("check-date")))) {
        continue;
      }
      if (!check_day.empty()) {
        base[index_of("check-date")].words = {std::string(check_day)};
      }
      for (std::size_t i = 0; i < form.questions.size(); ++i) {
        if (std::ranges::find(gates, i) != gates.end() || !applies(form, base, i)) {
          continue;
        }
        applied.insert(i);
        const FormQuestion& q = form.questions[i];
        std::vector<std::string> words;
        for (const FormChoice& c : q.choices) {
          words.push_back(c.word);
        }
        if (words.empty()) {
          words.emplace_back(q.row().type == FieldType::number  ? "12"
                             : q.row().type == FieldType::month ? "2017-05"
                             : q.row().type == FieldType::date  ? "2026-03-18"
                                                                : "HL-0147");
        }
        for (const std::string& word : words) {
          FormAnswers with = base;
          with[i].words = {word};
          const FormRecords made = to_records(form, with, options());
          ++tried;
          if (!made.complaints.empty()) {
            INFO(q.key << " " << word << " " << made.complaints.front().diagnostic.message);
            FAIL();
          }
        }
      }
    }
    std::size_t g = 0;
    while (g < gates.size() && ++pick[g] > form.questions[gates[g]].choices.size()) {
      pick[g++] = 0;
    }
    if (g == gates.size()) {
      break;
    }
  }
  CHECK(tried > 5000);
  CHECK(applied.size() + gates.size() == form.questions.size());
}

TEST_CASE("what is no number, or beyond any, never becomes one") {
  for (const std::string& typed :
       {std::string("abc"), std::string("109abc"), std::string(" 109"), std::string("1e999"),
        std::string("nan"), std::string(), std::string(400, '9')}) {
    INFO(typed);
    FormAnswers a =
        answers({{"unit-id", {"HL-0147"}}, {"date", {"2026-03-18"}}, {"odometer", {typed}}});
    for (const Units units : {Units::km, Units::mi}) {
      a[index_of("odometer")].units = units;
      const FormRecords made = to_records(owners(), a, options());
      CHECK(made.records.empty());
      CHECK(made.text.empty());
      REQUIRE(made.complaints.size() == 1);
      CHECK(made.complaints[0].question == index_of("odometer"));
      CHECK(made.complaints[0].diagnostic.code == "wrong-type");
    }
  }
}

TEST_CASE("a port that was looked at on another day is a record of that day") {
  FormAnswers a = answers({{"unit-id", {"HL-0147"}},
                           {"date", {"2026-03-18"}},
                           {"odometer", {"109000"}},
                           {"noise-present", {"no"}},
                           {"port-checked", {"yes"}},
                           {"check-date", {"2025-11-02"}},
                           {"check-odometer", {"101000"}},
                           {"check-by", {"technician"}},
                           {"port-fluid", {"none"}},
                           {"unit-rotor-bearings", {"hybrid"}},
                           {"unit-seal-renewed-odometer", {"90000"}}});
  CHECK(
      to_records(owners(), a, options()).text ==
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","rotor_bearings":"hybrid"},)"
      R"("inspection":{"date":"2025-11-02","odometer_km":101000,"by":"technician",)"
      R"("port":{"checked":true,"fluid":"none"}}})"
      "\n"
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","rotor_bearings":"hybrid",)"
      R"("seal_renewed_odometer_km":90000},"inspection":{"date":"2026-03-18","odometer_km":109000,)"
      R"("by":"owner","port":{"checked":false},"noise":{"present":false}}})"
      "\n");
  SECTION("on the same day: one record") {
    a[index_of("check-date")].words = {"2026-03-18"};
    CHECK(
        to_records(owners(), a, options()).text ==
        R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","rotor_bearings":"hybrid",)"
        R"("seal_renewed_odometer_km":90000},"inspection":{"date":"2026-03-18","odometer_km":109000,)"
        R"("by":"technician","port":{"checked":true,"fluid":"none"},"noise":{"present":false}}})"
        "\n");
  }
  SECTION("on an unknown day: dry does not count, and liquid does") {
    a[index_of("check-date")].words = {};
    const auto grade = [&] { return report_on(to_records(owners(), a, options()).text).grade; };
    CHECK(to_records(owners(), a, options()).text.find("checked") == std::string::npos);
    CHECK(grade() == Grade::U);
    a[index_of("port-fluid")].words = {"pooled"};
    CHECK(grade() == Grade::D);
  }
  SECTION("an old dry look grows old") {
    a[index_of("check-date")].words = {"2019-01-02"};
    a[index_of("check-odometer")].words = {"91000"};
    CHECK(report_on(to_records(owners(), a, options()).text).grade == Grade::U);
  }
  SECTION("not after today") {
    a[index_of("check-date")].words = {"2026-03-19"};
    const FormRecords made = to_records(owners(), a, options());
    REQUIRE(made.complaints.size() == 1);
    CHECK(made.text.empty());
    CHECK(to_text(made.complaints[0].diagnostic) ==
          "error[out-of-order]: [check-date] is 2026-03-19, after [date], which is 2026-03-18\n"
          "  hint: one of the two is wrong\n");
  }
}

TEST_CASE("days and distances that cannot be are refused, whichever shape they come in") {
  const auto complaint =
      [](const std::vector<std::pair<std::string, std::vector<std::string>>>& given,
         Units units = Units::km) {
        FormAnswers a = answers(given);
        a[index_of("unit-id")].words = {"HL-0147"};
        a[index_of("date")].words = {"2026-03-18"};
        a[index_of("odometer")].units = units;
        std::string out;
        for (const FormComplaint& c : to_records(owners(), a, options()).complaints) {
          out += to_text(c.diagnostic);
        }
        return out;
      };
  CHECK(complaint({{"unit-built", {"2031"}}}) ==
        "error[out-of-order]: [unit-built] is 2031, after [date], which is 2026-03-18\n"
        "  hint: one of the two is wrong\n");
  CHECK(complaint({{"unit-built", {"2026-04"}}}) ==
        "error[out-of-order]: [unit-built] is 2026-04, after [date], which is 2026-03-18\n"
        "  hint: one of the two is wrong\n");
  CHECK(complaint({{"unit-built", {"2026"}}}).empty());
  CHECK(complaint({{"unit-built", {"2026-03"}}}).empty());
  for (const std::string key : {"unit-fitted-odometer", "unit-seal-renewed-odometer"}) {
    CHECK(complaint({{"odometer", {"109000"}}, {key, {"109001"}}}) ==
          "error[out-of-order]: [" + key +
              "] is 109001 km, after [odometer], which is 109000 km\n"
              "  hint: one of the two is wrong\n");
    CHECK(complaint({{"odometer", {"109000"}}, {key, {"109000"}}}).empty());
    CHECK(complaint({{key, {"109000"}}}).empty());
    CHECK(complaint({{"odometer", {"109000"}}, {key, {"150000"}}}, Units::mi).empty());
  }
  const std::vector<std::pair<std::string, std::vector<std::string>>> noise = {
      {"odometer", {"109000"}},
      {"noise-present", {"yes"}},
      {"noise-onset", {"gradual"}},
      {"noise-onset-odometer", {"900000"}}};
  CHECK(complaint(noise) ==
        "error[out-of-order]: [noise-onset-odometer] is 900000 km, after [odometer], which is "
        "109000 km\n  hint: one of the two is wrong\n");
  CHECK(complaint(noise, Units::mi) ==
        "error[out-of-order]: [noise-onset-odometer] is 900000 km, after [odometer], which is "
        "109000 miles\n  hint: one of the two is wrong\n");
  CHECK(
      complaint(
          {{"odometer", {"109000"}}, {"port-checked", {"yes"}}, {"check-odometer", {"109500"}}}) ==
      "error[out-of-order]: [check-odometer] is 109500 km, after [odometer], which is 109000 "
      "km\n  hint: one of the two is wrong\n");
}

TEST_CASE("answers to questions that do not apply are left out") {
  FormAnswers a = answers({{"unit-id", {"HL-0147"}},
                           {"date", {"2026-03-18"}},
                           {"noise-present", {"no"}},
                           {"noise-level", {"loud"}},
                           {"port-checked", {"no"}},
                           {"port-fluid", {"pooled"}},
                           {"port-fluid-kind", {"coolant"}}});
  CHECK(
      to_records(owners(), a, options()).text ==
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"date":"2026-03-18",)"
      R"("by":"owner","port":{"checked":false},"noise":{"present":false}}})"
      "\n");
}

TEST_CASE("rough answers on coolant stand for the harmful end of their range") {
  const Settings& s = shipped().settings;
  for (const Rough& r : spec(Field::coolant_loss_ml_per_1000km).form.rough) {
    CHECK((r.number >= s.loss_some) == (r.id != "none"));
    CHECK((r.number >= s.loss_marked) == (r.id == "much"));
  }
}

// ------------------------------------------------------------- the text form

TEST_CASE("the text form is 72 columns wide, plain ASCII, without space at ends of lines") {
  for (const Form* form : {&owners(), &buyers()}) {
    const std::string text = blank_text(*form);
    for (std::size_t at = 0; at < text.size();) {
      const std::size_t end = text.find('\n', at);
      const std::string_view line = std::string_view(text).substr(at, end - at);
      INFO(line);
      CHECK(layout::width(line) <= 72);
      CHECK_FALSE(line.ends_with(' '));
      at = end + 1;
    }
    CHECK(std::ranges::all_of(text, [](char c) { return c == '\n' || (c >= ' ' && c <= '~'); }));
  }
}

TEST_CASE("every choice of every question comes back from the text form") {
  std::size_t tried = 0;
  for (std::size_t i = 0; i < owners().questions.size(); ++i) {
    const FormQuestion& q = owners().questions[i];
    FormAnswers expected = answers({{"unit-id", {"HL-0147"}}, {"date", {"2026-03-18"}}});
    std::string base = begun();
    // Whatever it depends on.
    for (std::size_t at = i; !owners().questions[at].gate_words.empty();) {
      const FormQuestion& asks = owners().questions[at];
      const FormQuestion& gate = owners().questions[asks.gate];
      const auto c = std::ranges::find(gate.choices, asks.gate_words.front(), &FormChoice::word);
      base = marked(base, gate.key, c->text);
      expected[asks.gate].words = {c->word};
      at = asks.gate;
    }
    const std::string none = read(base).text;
    for (const FormChoice& c : q.choices) {
      FormAnswers with = expected;
      with[i].words = {c.word};
      INFO(q.key << ": " << c.text);
      const FormsRead forms = read(marked(base, q.key, c.text));
      CHECK(complaints(forms.records.diagnostics).empty());
      CHECK(forms.text == to_records(owners(), with, options()).text);
      ++tried;
    }
    if (!q.choices.empty()) {
      CHECK(read(marked(base, q.key, kDoNotKnow.plain)).text == none);
    }
  }
  CHECK(tried > 60);
}

TEST_CASE("line ends, byte order marks, quoting, hard spaces and cut edges change nothing") {
  std::string text = marked(marked(begun(), "noise-present", "yes"), "noise-when", "at a steady");
  text = typed(text, "odometer", "109000 km");
  text = typed(text, "note", "Louder since May.");
  const std::string good = read(text).text;
  REQUIRE(
      good ==
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"date":"2026-03-18",)"
      R"("odometer_km":109000,"by":"owner","noise":{"present":true,"when":["steady"]}},)"
      R"("note":"Louder since May."})"
      "\n");
  const std::string windows = replaced(text, "\n", "\r\n");
  for (const std::string& one :
       {windows, "\xEF\xBB\xBF" + windows, "> " + replaced(text, "\n", "\n> "),
        "Hello,\n\nhere it is.\n\n>> " + replaced(text, "\n", "\n>> ") + "\n-- \nHarrow Lane\n",
        replaced(text, "  [", "\xC2\xA0\xC2\xA0["), replaced(text, "  [", "\t["),
        replaced(text, "[x]", "[ X ]"), replaced(text, "[x]", "[\xE2\x9C\x93]"),
        replaced(text, "[x]", "(x)"), text.substr(text.find("[units]")),
        text.substr(0, text.find("END OF"))}) {
    CHECK(complaints_of(one).empty());
    CHECK(read(one).text == good);
  }
}

TEST_CASE("extra words around an answer are understood, or told of") {
  const std::string text = begun();
  const auto distance = [&](std::string_view written) {
    return only_record(typed(text, "odometer", written))["inspection"];
  };
  for (const std::string_view written :
       {"109000 km", "about 109,000 km I think", "109.000 km", "109 000 km", "109000km",
        "___109'000 km___", "Kilometres: 109000"}) {
    INFO(written);
    CHECK(distance(written)["odometer_km"] == 109000);
  }
  CHECK(distance("68,000.5 miles")["odometer_mi"] == 68000.5);
  CHECK(distance("68.000,5 mi")["odometer_mi"] == 68000.5);
  CHECK(only_record(typed(marked(text, "units", "miles"), "odometer",
                          "68000"))["inspection"]["odometer_mi"] == 68000);
  CHECK(only_record(typed(text, "date", "on 2026-03-18 (Wednesday)"))["inspection"]["date"] ==
        "2026-03-18");
  CHECK(only_record(typed(text, "unit-built", "2017, says the paper"))["unit"]["built"] == "2017");
  CHECK(only_record(replaced(marked(text, "noise-present", "yes"), "[x] yes",
                             "[x] yes, since May"))["inspection"]["noise"]["present"] == true);
  // An answer without a mark, under the question or behind it.
  const std::string question =
      "[noise-present] Is there a whine, tone or hum that should not be there?";
  for (const std::string_view more : {"\nYes", " yes!", "\n  Answer: yes"}) {
    CHECK(only_record(replaced(text, question,
                               question + std::string(more)))["inspection"]["noise"]["present"] ==
          true);
  }
  CHECK(complaints_of(replaced(text, question, question + "\nIt sings in the rain.")) ==
        "form.txt:92:1: error[extra-words]: [noise-present] holds words that were not "
        "understood: \"It sings in the rain.\"\n"
        "  It sings in the rain.\n"
        "  ^\n"
        "  allowed: yes; no; I do not know\n"
        "  hint: put an x between the brackets of the answer that fits\n");
  // A note keeps its lines.
  CHECK(only_record(typed(text, "note", "One.\n  Two, no rust\n  Three."))["note"] ==
        "One.\nTwo, no rust\nThree.");
}

TEST_CASE("the form names only keys that it has") {
  for (const Form* form : {&owners(), &buyers()}) {
    const std::string text = blank_text(*form);
    std::size_t named = 0;
    for (std::size_t at = 0; (at = text.find('[', at)) != std::string::npos; ++at) {
      const std::string key = text.substr(at + 1, text.find(']', at) - at - 1);
      if (key != " " && key != "x" && key != "units") {
        INFO(key);
        CHECK(form->find(key) != nullptr);
        ++named;
      }
    }
    CHECK(named > 2 * form->questions.size() - 20);
    CHECK(replaced(text, "\n", " ").find("such as [faults-isolation], as they are") !=
          std::string::npos);
  }
}

TEST_CASE("a mark beside the brackets is a mark, and an answer left alone is the answer") {
  const std::string isolation =
      "  [ ] no such warning\n"
      "  [ ] it came up before, but not now\n"
      "  [ ] it is showing now\n"
      "      ! Do not drive the car and do not charge it. Have it carried away\n"
      "        on a flatbed, with all wheels off the road, by a workshop\n"
      "        licensed for high-voltage work. A towed axle turns the motor.\n"
      "  [ ] I do not know\n";
  REQUIRE(begun().find(isolation) != std::string::npos);
  const auto answered = [&](const std::string& with) {
    INFO(with);
    const std::string text = replaced(begun(), isolation, with);
    CHECK(complaints_of(text).empty());
    return only_record(text)["inspection"]["faults"] == nlohmann::json({{"isolation", "active"}});
  };
  for (const std::string line : {"  [ ]x it is showing now",
                                 "  [ ] x it is showing now",
                                 "x [ ] it is showing now",
                                 "  [ ] it is showing now!!!",
                                 "  [ ] it is showing now X",
                                 "  [ ] it is showing now <--",
                                 "  [ ] it is showing now   <===",
                                 "  [ ] it is showing now \xE2\x9C\x93",
                                 "  [ ] it is showing now \xE2\x86\x90",
                                 "-> [ ] it is showing now",
                                 "  x it is showing now",
                                 "  \xE2\x98\x92 it is showing now",
                                 "  \xE2\x98\x91 it is showing now",
                                 "  \xE2\x9C\x94 it is showing now",
                                 "  *[ ] it is showing now*",
                                 "  _x_ it is showing now",
                                 "  [x it is showing now",
                                 "  x] it is showing now",
                                 "  []x it is showing now",
                                 "  (x) it is showing now",
                                 "  {x} it is showing now",
                                 "  [\xC3\x97] it is showing now",
                                 "  [XX] it is showing now",
                                 "  [x]it is showing now",
                                 "- [x] it is showing now",
                                 "  [x]\n  it is showing now",
                                 "  [x] it is\n  showing now",
                                 "  [x] It is showing now.",
                                 "  [_x_] it is showing now",
                                 "  [x] it is showing",
                                 "  [x] active",
                                 "  [*] it is showing now <- !",
                                 "[yes] it is showing now",
                                 "  [ ] IT IS SHOWING NOW"}) {
    CHECK(answered(replaced(isolation, "  [ ] it is showing now", line)));
  }
  // What is left alone, or written out.
  for (const std::string alone : {"  [ ] it is showing now\n", "it is showing now\n",
                                  "Answer: it is showing now\n", "  [x] it is showing now\n"}) {
    INFO(alone);
    CHECK(only_record(replaced(begun(), isolation, alone))["inspection"]["faults"]["isolation"] ==
          "active");
  }
  // Bullets, rulers and signs that all choices have are none.
  for (const std::string_view box :
       {"- [ ]", "* [ ]", "\xE2\x80\xA2 [ ]", "o [ ]", "\xE2\x98\x90", "( )", "[_]", "|"}) {
    CHECK(complaints_of(replaced(begun(), "  [ ]", box)).empty());
    CHECK(read(replaced(begun(), "  [ ]", box)).text == read(begun()).text);
  }
  CHECK(complaints_of(replaced(begun(), "  [ ] I do", "1) [ ] I do")).find("no-mark") !=
        std::string::npos);
  // Joined lines: the form's own exclamation mark is no mark.
  const std::string joined = replaced(isolation, "\n", " ") + "\n";
  CHECK(read(replaced(begun(), isolation, joined)).text == read(begun()).text);
  CHECK(answered(replaced(joined, "[ ] it is", "[x] it is")));
}

TEST_CASE("what has no one meaning is an error with its place") {
  const auto refused = [&](std::string_view from, const std::string& to) {
    const std::string text = replaced(begun(), from, to);
    REQUIRE(text != begun());
    const FormsRead forms = read(text);
    CHECK(forms.records.rejected == 1);
    CHECK(forms.text.empty());
    return complaints(forms.records.diagnostics);
  };
  CHECK(
      refused("[ ] it is showing now", "[  ] it is showing now since Monday") ==
      R"(form.txt:42:3: error[no-mark]: [faults-isolation] says "since Monday" beside "it is showing now", and has no mark there
  [  ] it is showing now since Monday
  ^
  hint: put an x between the brackets of the answer that fits
)");
  CHECK(
      refused("[ ] it is showing now", "[ ] it is showing now ?") ==
      R"(form.txt:42:3: error[no-mark]: [faults-isolation] says "?" beside "it is showing now", and has no mark there
  [ ] it is showing now ?
  ^
  hint: put an x between the brackets of the answer that fits
)");
  CHECK(refused("[ ] it is showing now", "[maybe] it is showing now") ==
        R"(form.txt:42:3: error[bad-mark]: [faults-isolation] is marked "maybe"
  [maybe] it is showing now
  ^
  allowed: x, or nothing
  hint: put an x between the brackets of the answer that fits
)");
  CHECK(
      refused("  [ ] it is showing now\n", "") ==
      R"(form.txt:36:1: error[choice-missing]: [faults-isolation] has no mark, and has lost some of its choices
  [faults-isolation] Does the dashboard warn of an isolation fault, or of
  ^
  allowed: no such warning; it came up before, but not now; it is showing now; I do not know
  hint: mark the answer that fits with [x]
)");
  CHECK(refused("  [ ] while speeding up\n  [ ] at a steady speed\n", "  [x] at a steady speed\n")
            .find("[choice-missing]: [noise-when] has lost some of its choices\n") !=
        std::string::npos);
  for (const auto& [line, code] : std::vector<std::pair<std::string, std::string>>{
           {"[ ] it is showing now: it was on", "no-mark"},
           {"[ ] it was shown now", "bad-value"},
           {"[x] it was shown now", "bad-value"},
           {"[ ] it is x showing now", "bad-value"},
           {"[no] it is showing now", "bad-mark"},
           {"it is showing now", "choice-missing"},
           {"[ ] it is showing now\n--> and stays", "extra-words"},
           {"> [ ] it is showing now <-- \n  [x] no", "two-answers"},
           {"[ ] it is showing now\n  it depends", "extra-words"},
           {"[ ] it is showing now\n  \xE2\x9C\x93", "extra-words"}}) {
    INFO(line);
    CHECK(refused("[ ] it is showing now", line).find("error[" + code + "]") != std::string::npos);
  }
  CHECK(refused("axle turns the motor.", "axle turns the motor. <--")
            .find("error[extra-words]: [faults-isolation]") != std::string::npos);
  const std::string question =
      "[noise-present] Is there a whine, tone or hum that should not be there?";
  for (const std::string_view more :
       {" no idea", " not yet", "\nIt sings in the rain.", " x", "\nyes and no"}) {
    INFO(more);
    CHECK(refused(question, question + std::string(more))
              .find("error[extra-words]: [noise-present]") != std::string::npos);
  }
}

TEST_CASE("a word in brackets that is no question is an error that names those it may be") {
  const std::string text = begun();
  const auto hint = [&](std::string_view key, std::string_view as) {
    const FormsRead forms =
        read(replaced(text, fmt::format("\n[{}]", key), fmt::format("\n[{}]", as)));
    CHECK(forms.records.rejected == 1);
    REQUIRE(forms.records.diagnostics.size() == 1);
    const Diagnostic& d = forms.records.diagnostics.front();
    CHECK(d.severity == Severity::error);
    CHECK(d.code == "unknown-question");
    CHECK(d.pointer == fmt::format("[{}]", as));
    CHECK(d.column == 1);
    return d.hint;
  };
  CHECK(hint("unit-built", "built") == "did you mean [unit-built]?");
  CHECK(hint("faults-isolation", "isolation") == "did you mean [faults-isolation]?");
  CHECK(hint("noise-when", "when") == "did you mean [noise-when]?");
  CHECK(hint("faults-reduced-power", "power") == "did you mean [faults-reduced-power]?");
  CHECK(hint("check-by", "by") == "did you mean [check-by]?");
  CHECK(hint("port-glycol-percent", "percent") == "did you mean [port-glycol-percent]?");
  CHECK(hint("unit-rotor-bearings", "bearings") ==
        "did you mean [unit-rotor-bearings] or [unit-gear-bearings]?");
  CHECK(hint("faults-shutdown", "faults-shutdwn") == "did you mean [faults-shutdown]?");
  CHECK(hint("note", "anything") == "");
  // A key as a mail program may have it.
  for (const std::string_view as :
       {"[Faults-Isolation]", "[faults isolation]", "*[faults-isolation]*", "- [faults-isolation]",
        "[faults\xE2\x80\x91isolation]"}) {
    INFO(as);
    CHECK(complaints_of(replaced(text, "\n[faults-isolation]", "\n" + std::string(as))).empty());
  }
  // The unit's id does not swallow a question that is not known.
  CHECK(complaints_of(
            replaced(text, "Answer: HL-0147\n", "Answer: HL-0147\n[isolation] Does it warn?\n"))
            .find("error[unknown-question]: [isolation] is no question of this form") !=
        std::string::npos);
  CHECK(complaints_of(replaced(text, "Answer: HL-0147\n", "Answer: HL-0147\n  the red one\n"))
            .find("error[two-answers]: [unit-id] has a second line: \"the red one\"") !=
        std::string::npos);
  // Nor is a spoilt letter of the printed words one, or a sign.
  CHECK(complaints_of(replaced(replaced(text, "A name that no other", "x name that no other"),
                               "Answer: HL-0147\n", "Answer:\n"))
            .find("error[answer-beside]: [unit-id] has \"x\" among its printed words") !=
        std::string::npos);
  const auto id_of = [&](std::string_view line) {
    return read(replaced(text, "Answer: HL-0147\n", std::string(line)))
        .records.records.front()
        .unit_id;
  };
  CHECK(id_of("Answe\xE2\x80\x99: HL-0147\n") == "HL-0147");
  CHECK(id_of("\xE2\x80\x99nswer:\n").starts_with("line 1 of "));
}

TEST_CASE("no is an answer where a number is asked for only if something was done") {
  const auto told = [](std::string_view key, std::string_view written) {
    const Form& form = owners();
    const auto q = std::ranges::find(form.questions, key, &FormQuestion::key);
    const ReadAnswer read = read_answer(*q, written, {});
    return read.problem.empty() ? fmt::format("{}", fmt::join(read.answer.words, " ")) : "refused";
  };
  CHECK(told("unit-fitted-odometer", "No.") == "0");
  CHECK(told("unit-seal-renewed-odometer", "never") == "");
  CHECK(told("unit-seal-renewed-odometer", "no, but at 90000 km") == "90000");
  CHECK(told("odometer", "no") == "refused");
}

TEST_CASE("what damage makes of printed words is no answer, and takes none with it") {
  // The end of a sentence between two questions, with its last word changed to a choice.
  const std::string hint = "say no and go on.";
  REQUIRE(begun().find(hint) != std::string::npos);
  CHECK(
      complaints_of(replaced(begun(), hint, "say no and go no.")) ==
      R"(form.txt:148:37: error[extra-words]: [noise-changes-with-steering-or-surface] holds words that were not understood: "no."
  r. If nobody did, say no and go no.
                                  ^
  allowed: yes; no; I do not know
  hint: put an x between the brackets of the answer that fits
)");
  // A heading that is damaged does not take the number above it for a part of itself.
  std::string port = marked(begun(), "port-checked", "yes");
  port = marked(port, "port-fluid", "a film of liquid");
  port = typed(typed(port, "check-date", "2026-03-18"), "port-glycol-percent", "34");
  CHECK(only_record(port)["inspection"]["port"]["glycol_percent"] == 34);
  const std::string heading = "\nFrom the workshop's papers";
  REQUIRE(port.find(heading) != std::string::npos);
  for (const std::string_view broken : {"\nFro>m the workshop's papers", "\nF rom the papers",
                                        "\nFrm the workshop's papers", "\nthe workshop's papers"}) {
    CHECK(only_record(replaced(port, heading, broken))["inspection"]["port"]["glycol_percent"] ==
          34);
  }
}

TEST_CASE("a question that is missing is told of, unless it was left out on purpose") {
  const std::string text = begun();
  const std::size_t begin = text.find("[faults-shutdown]");
  const std::size_t end = text.find("[faults-reduced-power]");
  std::string without = text;
  without.erase(begin, end - begin);
  CHECK(complaints_of(without) ==
        R"(form.txt:36:1: error[question-missing]: [faults-shutdown] is missing
  [faults-isolation] Does the dashboard warn of an isolation fault, or of
  ^
  hint: what was left out on purpose is written as its key alone on a line, [faults-shutdown]
)");
  without.insert(begin, "[faults-shutdown]\n");
  CHECK(complaints_of(without).empty());
  CHECK(read(without).text == read(text).text);
  // A buyer's form asks less, and a noise that is not there has no level.
  CHECK(
      complaints_of(typed(typed(blank_text(buyers()), "unit-id", "HL-0147"), "date", "2026-03-18"))
          .empty());
  std::string silent = marked(text, "noise-present", "no");
  silent.erase(silent.find("[noise-onset]"),
               silent.find("[port-checked]") - silent.find("[noise-onset]"));
  CHECK(complaints_of(silent).empty());
  CHECK(complaints_of(replaced(text, "  Answer: 2026-03-18\n", ""))
            .find("error[answer-missing]: [date] has lost its line \"Answer:\"") !=
        std::string::npos);
}

TEST_CASE("words beside an answer are kept in the note") {
  const std::string text = typed(begun(), "note", "Mine.");
  const auto note = [&](const std::string& with) {
    const nlohmann::json record = only_record(with);
    return record.value("note", "");
  };
  const std::string yes = marked(text, "noise-present", "yes");
  CHECK(note(yes) == "Mine.");
  const std::string since = replaced(yes, "[x] yes", "[x] yes, since May");
  CHECK(note(since) == "Mine.\n[noise-present] since May");
  CHECK(
      complaints_of(since) ==
      R"(form.txt:95:12: warning[extra-words]: [noise-present] holds words beside its answer: "since May"
  [x] yes, since May
           ^
  hint: they are kept in the record's note
)");
  CHECK(note(replaced(yes, "[x] yes\n", "[x] yes\n  loud in the rain\n")) ==
        "Mine.\n[noise-present] loud in the rain");
  CHECK(note(typed(text, "odometer", "about 109,000 km I think")) ==
        "Mine.\n[odometer] about 109,000 km I think");
  CHECK(note(typed(text, "unit-built", "about May 2017")) == "Mine.\n[unit-built] about May 2017");
  CHECK(note(typed(text, "unit-built", "May 2017")) == "Mine.");
  CHECK(note(typed(text, "odometer", "109k km")) == "Mine.");
  CHECK(note(typed(text, "odometer", "109k kg km")) == "Mine.\n[odometer] 109k kg km");
  CHECK(note(typed(text, "odometer", "109000 km\n  new battery")) ==
        "Mine.\n[odometer] new battery");
  CHECK(note(replaced(text, "DRYSHAFT FORM 1\n", "DRYSHAFT FORM 1\nPlease call me.\n")) ==
        "Mine.\nPlease call me.");
  CHECK(complaints_of(typed(text, "odometer", "109000 km\n  or 119000 km"))
            .find("error[two-answers]: [odometer] has a second line: \"or 119000 km\"") !=
        std::string::npos);
}

TEST_CASE("wrong answers are told with their place, all of them") {
  std::string text = blank_text(owners());
  text = typed(text, "unit-id", "HL-0147");
  text = typed(text, "unit-built", "05/17");
  text = typed(text, "date", "3.4.2026");
  text = typed(text, "odometer", "109000");
  text = marked(text, "noise-present", "yes");
  text = marked(text, "noise-present", "no");
  text = replaced(text, "  [ ] faint: heard", "  [?] faint: heard");
  text = replaced(text, "  [ ] gear oil", "  [x] motor oil");
  text = replaced(text, "[port-corrosion]", "[port-corosion]");
  const FormsRead forms = read(text);
  CHECK(forms.records.rejected == 1);
  CHECK(forms.text.empty());
  CHECK(complaints(forms.records.diagnostics) ==
        R"(form.txt:96:3: error[two-answers]: [noise-present] is marked more than once: "no" as well
  [x] no
  ^
  hint: leave one mark
form.txt:131:3: error[bad-mark]: [noise-level] is marked "?"
  [?] faint: heard only if you listen for it
  ^
  allowed: x, or nothing
  hint: put an x between the brackets of the answer that fits
form.txt:196:3: error[bad-value]: [port-fluid-kind] is "motor oil"
  [x] motor oil
  ^
  allowed: coolant; gear oil; something milky; clear water; I do not know
form.txt:208:1: error[unknown-question]: [port-corosion] is no question of this form
  [port-corosion] Was there rust on the tip?
  ^
  hint: did you mean [port-corrosion]?
form.txt:239:11: error[bad-value]: [date] is "3.4.2026", which may be 3 April 2026 or 4 March 2026
  Answer: 3.4.2026
          ^
  allowed: a day as in 2026-03-18 or 18 March 2026
  hint: write 2026-04-03 if it is the first of them
form.txt:244:11: error[bad-value]: [odometer] is "109000", without a unit
  Answer: 109000
          ^
  allowed: km, miles
  hint: mark one of them at [units], or write it after the number
form.txt:269:11: error[bad-date]: [unit-built] is "05/17"
  Answer: 05/17
          ^
  allowed: YYYY, YYYY-MM
  hint: write the year first, then the month, then the day
)");
}

TEST_CASE("two cars without a name, in files of one name, are two cars") {
  const auto named = [](std::string_view date) {
    std::string form = blank_text(owners());
    const std::size_t answer = form.find("Answer:", form.find("\n[date]")) + 8;
    form.replace(answer, form.find('\n', answer) - answer, date);
    return only_record(form)["unit"]["id"].get<std::string>();
  };
  CHECK(named("2026-03-18").starts_with("line 1 of form.txt, "));
  CHECK(named("2026-03-18") == named("2026-03-18"));
  CHECK(named("2026-03-18") != named("2026-03-19"));
}

TEST_CASE("a form that was never filled says what it needs") {
  const FormsRead forms = read(blank_text(owners()));
  CHECK(forms.records.rejected == 1);
  CHECK(complaints(forms.records.diagnostics) ==
        R"(form.txt:237:1: error[missing-field]: [date] is missing
  [date] Which day is it today?
  ^
  allowed: YYYY-MM-DD
  hint: write it after "Answer:"; there is no record without it
form.txt:251:1: warning[no-name]: [unit-id] is blank: the car is called "line 1 of form.txt, aa11b0a4"
  [unit-id] What do you call this car?
  ^
)");
}

TEST_CASE("answers that contradict their question's condition are refused, gaps are closed") {
  const std::string text = begun();
  CHECK(complaints_of(marked(marked(text, "noise-present", "no"), "noise-level", "loud")) ==
        R"(form.txt:133:3: error[not-asked]: [noise-level] is answered, but [noise-present] is "no"
  [x] loud: you have to raise your voice
  ^
  hint: take out one of the two answers
)");
  CHECK(complaints_of(marked(text, "port-fluid-kind", "coolant")) ==
        R"(form.txt:195:3: error[not-asked]: [port-fluid-kind] is answered, but [port-fluid] is not
  [x] coolant
  ^
  hint: answer [port-fluid] too
)");
  const std::string gap = marked(text, "noise-level", "loud");
  CHECK(only_record(gap)["inspection"]["noise"] ==
        nlohmann::json({{"present", true}, {"level", "loud"}}));
  CHECK(
      complaints_of(gap) ==
      R"(form.txt:133:3: warning[taken-as]: [noise-level] is answered, so [noise-present] is taken as "yes"
  [x] loud: you have to raise your voice
  ^
)");
}

TEST_CASE("several forms in one text; a bad one loses no good one") {
  const std::string one = begun();
  const std::string two = typed(begun(), "unit-id", "HL-0148");
  const std::string bad = typed(begun(), "date", "yesterday");
  const FormsRead forms = read("From: a\n\n" + one + "\nFrom: b\n\n" + bad + two);
  CHECK(forms.records.records.size() == 2);
  CHECK(forms.records.rejected == 1);
  CHECK(forms.records.records[1].unit_id == "HL-0148");
  CHECK(std::ranges::count(forms.text, '\n') == 2);
  // Without names two cars stay two cars.
  const std::string nameless = typed(blank_text(owners()), "date", "2026-03-18");
  const FormsRead cars = read(nameless + nameless);
  REQUIRE(cars.records.records.size() == 2);
  CHECK(cars.records.records[0].unit_id != cars.records.records[1].unit_id);
}

TEST_CASE("records as the page saved them come back, also from a quoted mail") {
  const std::string saved =
      "[\n  {\n    \"format\": \"dryshaft-record/1\",\n    \"unit\": {\n      \"id\": "
      "\"HL-0147\"\n    },\n"
      "    \"inspection\": {\n      \"date\": \"2026-03-18\"\n    }\n  },\n  {\n"
      "    \"format\": \"dryshaft-record/1\",\n    \"unit\": {\"id\": \"HL-0148\"},\n"
      "    \"inspection\": {\"date\": \"2026-03-19\"}\n  }\n]\n";
  const std::string lines =
      "{\"format\":\"dryshaft-record/1\",\"unit\":{\"id\":\"HL-0147\"},\"inspection\":{\"date\":"
      "\"2026-03-18\"}}\n"
      "{\"format\":\"dryshaft-record/1\",\"unit\":{\"id\":\"HL-0148\"},\"inspection\":{\"date\":"
      "\"2026-03-19\"}}\n";
  CHECK(read(saved).text == lines);
  CHECK(read(lines).text == lines);
  CHECK(read("\xEF\xBB\xBF" + replaced(saved, "\n", "\r\n")).text == lines);
  CHECK(read("Hello,\n\n> " + replaced(saved, "\n", "\n> ") + "\n\nRegards\n").text == lines);
  const std::string spoilt = replaced(lines, "2026-03-18", "2026-13-18");
  const FormsRead forms = read("Hello\n\n> " + replaced(spoilt, "\n", "\n> "));
  CHECK(forms.records.rejected == 1);
  CHECK(forms.text == lines.substr(lines.find('\n') + 1));
  CHECK(complaints(forms.records.diagnostics) ==
        R"(form.txt:3:78: error[bad-date]: /inspection/date is "2026-13-18"
  "date":"2026-13-18"}}
         ^
  allowed: YYYY-MM-DD
)");
}

TEST_CASE("records are read with the quotes and blanks of phones and office programs") {
  const std::string line =
      "{\"format\":\"dryshaft-record/1\",\"unit\":{\"id\":\"HL 0147\"},\"inspection\":{\"date\":"
      "\"2026-03-18\"},\"note\":\"a \\\"b\\\", c\"}\n";
  const auto quoted = [&](std::string_view open, std::string_view close) {
    std::string out;
    bool inside = false;
    for (std::size_t i = 0; i < line.size(); ++i) {
      if (line[i] == '"' && line[i - 1] != '\\') {
        out += inside ? close : open;
        inside = !inside;
      } else {
        out += line[i];
      }
    }
    return out;
  };
  CHECK(read(quoted("\u201C", "\u201D")).text == line);
  CHECK(read(quoted("\u201E", "\u201C")).text == line);
  CHECK(read(quoted("\u00AB\u00A0", "\u00A0\u00BB")).text == line);
  CHECK(read(quoted("\u201C", "\"")).text == line);
  CHECK(read("> >\u200B " + quoted("\u201C\u200B", "\u201D\u2060")).text == line);
  CHECK(read("\uFEFF\u200B" + replaced(line, " ", "\u00A0")).text == line);
  CHECK(read(replaced(line, "inspec", "inspec\u00AD")).text == line);
  // Inside of straight quotes they are what somebody wrote.
  const std::string said = replaced(line, "a \\\"b\\\", c", "a \u201Cb\u201D, c");
  CHECK(read(said).text == said);
  // What cannot be told is an error with its place, and a good record beside it stays.
  const FormsRead forms = read(replaced(line, "\"HL 0147\"", "\u201CHL 0147") + line);
  CHECK(forms.text == line);
  CHECK(forms.records.rejected == 1);
}

TEST_CASE("what a mail holds twice counts once") {
  const std::string form = marked(begun(), "faults-isolation", "it is showing now");
  const std::string nameless = marked(typed(blank_text(owners()), "date", "2026-03-18"),
                                      "faults-isolation", "it is showing");
  const auto sent = [](std::vector<SentText> texts) {
    return read_sent(owners(), texts, options());
  };
  const FormsRead once = sent({{"m, part 1", form, 0}, {"m, part 2", "see above", 0}});
  CHECK(once.text == read(form).text);
  CHECK(once.records.diagnostics.empty());
  CHECK(sent({{"m, part 1", "Hello", 0},
              {"m, part 2", "> " + replaced(form, "\n", "\n> "), 0},
              {"m, part 3", once.text, 0}})
            .text == once.text);
  // Without a name as well: each gets one by its place.
  const FormsRead drawn = sent({{"m, part 1", nameless, 0}, {"m, part 2", "\n" + nameless, 0}});
  CHECK(drawn.records.records.size() == 1);
  CHECK(drawn.records.diagnostics.size() == 1);
  CHECK(drawn.records.diagnostics.front().code == "no-name");
  // Twice in one text is two.
  CHECK(sent({{"m", form + form, 0}}).records.records.size() == 2);
  // Another day is another record.
  CHECK(sent({{"a", form, 0}, {"b", replaced(form, "2026-03-18", "2026-03-19"), 0}})
            .records.records.size() == 2);
  // A damaged copy is told of; the good one stays.
  const FormsRead half = sent({{"a", form, 0}, {"b", typed(form, "odometer", "lots"), 0}});
  CHECK(half.text == once.text);
  CHECK(half.records.rejected == 1);
  const FormsRead none = sent({{"m, part 1", "Hello", 0}, {"m, part 2", "", 0}});
  CHECK(none.records.rejected == 1);
  CHECK(complaints(none.records.diagnostics) ==
        "m, part 1:1:1: error[no-form]: holds no form and no record\n  Hello\n  ^\n"
        "  hint: a blank form comes from `dryshaft form blank`\n");
}

TEST_CASE("of versions of one text the first without an error counts") {
  const std::string form = marked(begun(), "faults-isolation", "it is showing now");
  const auto sent = [&](const std::string& plain, const std::string& page) {
    return read_sent(owners(), {{"m, part 1", plain, 1}, {"m, part 2", page, 1}}, options());
  };
  const std::string text = read(form).text;
  CHECK(sent(form, form).text == text);
  CHECK(sent(typed(form, "odometer", "lots"), form).text == text);
  CHECK(sent(typed(form, "odometer", "lots"), form).records.diagnostics.empty());
  CHECK(sent("This mail is a page.", form).text == text);
  CHECK(sent(form, "").text == text);
  CHECK(sent("", typed(form, "odometer", "lots")).records.rejected == 1);
  // Remarks alone may differ, as lines are broken otherwise.
  CHECK(sent(form, typed(form, "note", "Loud.")).text == text);
  const FormsRead other = sent(form, marked(form, "faults-shutdown", "yes"));
  CHECK(other.text.empty());
  CHECK(other.records.rejected == 1);
  CHECK(complaints(other.records.diagnostics) ==
        "m, part 2:1: error[versions-differ]: says something else than the same mail in another "
        "form: m, part 1\n  hint: ask which of them holds, and read that alone\n");
}

TEST_CASE("a text with forms and records gives all of them") {
  const std::string record =
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0148"},"inspection":{"date":"2026-03-19"}})"
      "\n";
  const std::string shown = "{\n" + record.substr(1);  // as a page saves it, on more lines
  const std::string form = begun();
  const std::string endless = form.substr(0, form.find("END OF"));
  const std::string both = read(form).text + record;
  for (const std::string& one :
       {form + record, record + form, endless + record, endless + shown,
        endless + "[\n" + record + "]\n", "Hello,\n\n" + record + "\n" + form + "\nRegards\n",
        "> " + replaced(form + "\n" + record, "\n", "\n> ")}) {
    const FormsRead forms = read(one);
    CHECK(complaints(forms.records.diagnostics).empty());
    CHECK(forms.text == both);
    CHECK(forms.records.records.size() == 2);
  }
  const FormsRead spoilt = read(form + replaced(record, "03-19", "13-19"));
  CHECK(spoilt.text == read(form).text);
  CHECK(spoilt.records.rejected == 1);
}

TEST_CASE("an answer that makes a record too large is named") {
  const std::string long_note = typed(begun(), "note", std::string(1100000, 'x'));
  CHECK(complaints_of(long_note).find(" error[size]: [note] holds 1100") != std::string::npos);
}

TEST_CASE("a form that was cut short is told of") {
  const std::string text = typed(begun(), "odometer", "109000 km");
  CHECK(
      complaints_of(text.substr(0, text.find("[unit-vehicle]"))) ==
      "form.txt:255:1: error[cut-short]: [unit-vehicle] is missing, with all up to [note], and so "
      "is the form's last line\n"
      "  hint: was the form cut short? What was left out on purpose is written as its key alone on "
      "a line, [unit-vehicle]\n");
  const std::string headless = text.substr(text.find("[units]"));
  CHECK(complaints_of(headless).empty());
}

TEST_CASE("texts that hold no form are refused") {
  CHECK(complaints_of("Dear all,\nnothing here.\n") ==
        "form.txt:1:1: error[no-form]: holds no form and no record\n"
        "  Dear all,\n"
        "  ^\n"
        "  hint: a blank form comes from `dryshaft form blank`\n");
  CHECK(complaints_of("") ==
        "form.txt:1:1: error[no-form]: holds no form and no record\n"
        "  hint: a blank form comes from `dryshaft form blank`\n");
  CHECK(complaints_of("DRYSHAFT FORM 1\n[date]\nAnswer: 18. M\xE4rz\n") ==
        "form.txt:3:14: error[utf-8]: byte 0xE4 is not UTF-8\n"
        "  Answer: 18. M\xEF\xBF\xBDrz\n"
        "               ^\n"
        "  hint: save the file as UTF-8\n");
}

TEST_CASE("what is read from a form is only text") {
  const std::string attack = "<script>\"\\ \x1b[31m {\"format\":\"x\"} [x] yes";
  const nlohmann::json record =
      only_record(typed(typed(begun(), "unit-id", "a\"b\\c"), "note", attack));
  CHECK(record["unit"]["id"] == "a\"b\\c");
  CHECK(record["note"] == attack);
}

TEST_CASE("any cut of a filled form is read or refused, and never more than was written") {
  std::string text = marked(marked(begun(), "noise-present", "yes"), "port-checked", "yes");
  text = typed(marked(text, "port-fluid", "droplets"), "odometer", "109000 km");
  for (std::size_t cut = 0; cut <= text.size(); cut += 23) {
    const FormsRead forms = read(text.substr(0, cut));
    CHECK(forms.records.records.size() + forms.records.rejected == 1);
  }
}

TEST_CASE("the page holds its questions as data that no text can leave") {
  std::vector<NamedText> families = shipped_families();
  families.push_back(
      {"odd.json",
       R"({"format":"dryshaft-family/1","id":"</script><b>","title":"</script><b>",)"
       R"("rotor_magnets":"no","periods":[],"vehicles":[],"reason":"x","source":"from memory"})"});
  const Result<Knowledge> odd = load_knowledge(shipped_rules(), std::move(families));
  INFO(complaints(odd.diagnostics));
  REQUIRE(odd.value);
  const Grader grader(*odd.value);
  const std::string page = blank_html(make_form(grader, FormFor::owner), {});
  CHECK(page.find("</script><b>") == std::string::npos);
  CHECK(page.find("<\\/script><b>") != std::string::npos);
}

// ----------------------------------------------------------- single answers

TEST_CASE("numbers are read as people write them") {
  const FormQuestion& q = *owners().find("odometer");
  const auto digits = [&](std::string_view written) {
    const ReadAnswer read = read_answer(q, written, Units::km);
    return read.problem.empty() && !read.answer.words.empty() ? read.answer.words.front() : "-";
  };
  CHECK(digits("0") == "0");
  CHECK(digits("1,234,567") == "1234567");
  CHECK(digits("1.234.567,8") == "1234567.8");
  CHECK(digits("1,234.5") == "1234.5");
  CHECK(digits("0.125") == "0.125");
  CHECK(digits("109000.5") == "109000.5");
  CHECK(digits("109,5") == "109.5");
  CHECK(digits("-5") == "-5");
  CHECK(digits("1.234.5") == "-");
  CHECK(digits("109k") == "109000");
  CHECK(digits("ca. 109k km") == "109000");
  CHECK(digits("109.5K") == "109500");
  CHECK(digits("109,25 k") == "109250");
  CHECK(digits("0.12345k") == "123.45");
  CHECK(digits("109 thousand km") == "109000");
  CHECK(digits("109.000 km") == "109000");
  CHECK(digits("109 000 km") == "109000");
  CHECK(digits("109\u202F000\u00A0km") == "109000");
  CHECK(digits("109\u2019000") == "109000");
  CHECK(digits("ca.109000") == "109000");
  CHECK(digits("~109000") == "109000");
  CHECK(digits("109kg") == "-");
  CHECK(digits("109k-110k") == "-");
  CHECK(digits("100000-110000") == "-");
  CHECK(digits("100000 to 110000") == "-");
  CHECK(digits("B12") == "-");
  CHECK(digits("lots") == "-");
  CHECK(digits("I don't know") == "-");
  CHECK(read_answer(q, "I don't know", Units::km).problem.empty());
  CHECK(read_answer(q, "109000", std::nullopt).no_unit);
  CHECK(read_answer(q, "68 miles", Units::km).answer.units == Units::mi);
}

TEST_CASE("days and months are read as people write them, where that has one meaning") {
  const auto read = [](std::string_view key, std::string_view written) {
    const ReadAnswer r = read_answer(*owners().find(key), written, std::nullopt);
    return r.problem.empty() ? r.answer.words.front() : r.problem;
  };
  for (const std::string_view written :
       {"2026-11-20", "2026/11/20", "2026.11.20", "20.11.2026", "20. 11. 2026", "20/11/2026",
        "11/20/2026", "20-11-2026", "20 November 2026", "20. November 2026",
        "20th of November, 2026", "November 20, 2026", "Nov. 20th 2026", "nov 20 2026",
        "2026 Nov 20", "20-Nov-2026", "Friday, 20 November 2026",
        "on 20\u00A0November 2026, at noon"}) {
    CHECK(read("date", written) == "2026-11-20");
  }
  CHECK(read("date", "2026-3-8") == "2026-03-08");
  CHECK(read("date", "4.4.2026") == "2026-04-04");
  CHECK(read("date", "31.4.2026") == "2026-04-31");  // for the record's reader
  for (const std::string_view written :
       {"20.11.26", "20 November", "today", "2026-11-20 or 2026-11-21", "20.11/2026", "B2026-11-20",
        "20 11 2026", "3 20 November 2026", "20261120", "2026-11-20 10:30"}) {
    CHECK(read("date", written) == written);
  }
  CHECK(read("date", "03/04/2026") ==
        "is \"03/04/2026\", which may be 3 April 2026 or 4 March 2026");
  CHECK(read("date", "3.4.2026") == "is \"3.4.2026\", which may be 3 April 2026 or 4 March 2026");
  const ReadAnswer either = read_answer(*owners().find("date"), "03/04/2026", std::nullopt);
  CHECK(either.allowed == "a day as in 2026-03-18 or 18 March 2026");
  CHECK(either.hint == "write 2026-04-03 if it is the first of them");

  for (const std::string_view written :
       {"2017-05", "2017-5", "2017/05", "05/2017", "5.2017", "05-2017", "May 2017", "may, 2017",
        "2017 May", "in May 2017, I think"}) {
    CHECK(read("unit-built", written) == "2017-05");
  }
  CHECK(read("unit-built", "Sept 2017") == "2017-09");
  CHECK(read("unit-built", "about 2017") == "2017");
  for (const std::string_view written :
       {"5 2017", "05/17", "2017 or 2018", "May/June 2017", "summer", "17"}) {
    CHECK(read("unit-built", written) == written);
  }
  CHECK(read("unit-built", "20 May 2017") ==
        "2017-05-20");  // too much: the record's reader says so
}

TEST_CASE("choices are read by number, word, text and beginning") {
  const FormQuestion& fluid = *owners().find("port-fluid");
  const auto words = [](const FormQuestion& q, std::string_view written) {
    const ReadAnswer read = read_answer(q, written, std::nullopt);
    return read.problem.empty() ? read.answer.words : std::vector<std::string>{read.problem};
  };
  using Words = std::vector<std::string>;
  CHECK(words(fluid, "2") == Words{"film"});
  CHECK(words(fluid, "film") == Words{"film"});
  CHECK(words(fluid, "A film of liquid, very thin") == Words{"film"});
  CHECK(words(fluid, "drop") == Words{"droplets"});
  CHECK(words(fluid, "5").empty());
  CHECK(words(fluid, "I don't know").empty());
  CHECK(words(fluid, "6") == Words{"is \"6\""});
  CHECK(words(fluid, "wet") == Words{"is \"wet\""});
  CHECK(read_answer(fluid, "dropplets", std::nullopt).hint == "did you mean \"droplets\"?");
  const FormQuestion& when = *owners().find("noise-when");
  CHECK(words(when, "1 3") == Words{"accelerating", "coasting"});
  CHECK(words(when, "1,3;3") == Words{"accelerating", "coasting"});
  CHECK(words(when, "while speeding up") == Words{"accelerating"});
  CHECK(words(when, "1 9") == Words{"is \"1 9\""});
  const FormQuestion& noise = *owners().find("noise-present");
  CHECK(words(noise, "y") == Words{"yes"});
  CHECK(words(noise, "n") == Words{"no"});
  CHECK(words(noise, "no, not really") == Words{"no"});
  CHECK(words(noise, "not sure") == Words{"is \"not sure\""});
}

}  // namespace dryshaft::test
