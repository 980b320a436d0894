// What a page asks of the library in it. tests/core_page_test.py asks the same of the module.
#include "page/page.hpp"

#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "support.hpp"

extern "C" {
char* dryshaft_room(std::size_t bytes);
const char* dryshaft_loaded();
const char* dryshaft_graded();
const char* dryshaft_form();
std::size_t dryshaft_answered();
}

namespace dryshaft::test {
namespace {

using Json = nlohmann::ordered_json;
using page::Assessor;

Assessor& assessor() {
  static Assessor one(shipped_grader());
  return one;
}

std::string example(std::string_view name) {
  return read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / name);
}

Json graded(const Json& request) { return Json::parse(assessor().graded(request.dump())); }
Json answered(const Json& answers, const Json& more = Json::object()) {
  Json request = more;
  request["answers"] = answers;
  return Json::parse(assessor().answered(request.dump()));
}
Json typed(std::string_view text) { return {{"typed", text}}; }
Json chosen(std::string_view word) { return {{"words", {word}}}; }

Json question(const Json& answer, std::string_view key) {
  for (const Json& q : answer["questions"]) {
    if (q["key"] == key) {
      return q;
    }
  }
  return {};
}

TEST_CASE("the data in a page is what ships") {
  const Result<Grader> built_in = page::shipped_grader();
  REQUIRE(built_in.value);
  CHECK(complaints(built_in.diagnostics).empty());
  CHECK(built_in.value->knowledge().rules_sha256 == shipped().rules_sha256);
  CHECK(built_in.value->knowledge().families_sha256 == shipped().families_sha256);
  CHECK(built_in.value->knowledge().families.size() == shipped().families.size());
}

TEST_CASE("a page grades as the library does") {
  const std::string text = example("film-caught-early.json");
  const auto units = shipped_grader().read(text, "unit.json", {});
  REQUIRE(units.value->size() == 1);
  const Report technician = shipped_grader().report(units.value->front());
  const Report owner = shipped_grader().report(
      units.value->front(), {.audience = Audience::owner, .buying = true, .today = 20800});
  Json request = {{"records", text}, {"name", "unit.json"}};
  CHECK(graded(request)["reports"] == Json::array({to_html(technician, Units::km)}));
  request["format"] = "json";
  CHECK(graded(request)["reports"] == Json::array({to_json(technician)}));
  request["format"] = "markdown";
  request["units"] = "mi";
  CHECK(graded(request)["reports"] == Json::array({to_markdown(technician, Units::mi)}));
  request["format"] = "text";
  request["for"] = "owner";
  request["buying"] = true;
  request["today"] = date_text(20800);
  const Json answer = graded(request);
  CHECK(answer["reports"] == Json::array({to_text(owner, {.units = Units::mi})}));
  CHECK(answer["complaints"] == Json::array());
  CHECK(answer["refused"] == false);
}

TEST_CASE("a page hears what is wrong with a record") {
  const Json answer = graded({{"records", "{"}, {"name", "unit.json"}});
  CHECK(answer["reports"] == Json::array());
  CHECK(answer["refused"] == true);
  REQUIRE(answer["complaints"].size() == 1);
  CHECK(answer["complaints"][0].get<std::string>().starts_with("unit.json:1:"));
}

TEST_CASE("what is no request is a bug of the page") {
  CHECK(assessor().graded("[]") == R"({"bug":"the request holds no records"})");
  CHECK(assessor().graded("{") == R"({"bug":"the request holds no records"})");
  CHECK(graded({{"records", "{}"}, {"today", "tomorrow"}})["bug"].get<std::string>().find(
            "error[bad-option]: is \"tomorrow\"") != std::string::npos);
  CHECK(assessor().answered("") == R"({"bug":"the request is no object"})");
  CHECK(answered({}, {{"today", "2026-02-30"}})["bug"] == "today is no day");
}

TEST_CASE("a page hears which questions apply and what is wrong with answers") {
  Json answers = {{"unit-id", typed(" Harrow ")},
                  {"date", typed("2026-03-18")},
                  {"odometer", {{"typed", "109,000"}, {"unit", "mi"}}},
                  {"noise-present", chosen("no")}};
  Json answer = answered(answers);
  CHECK(question(answer, "unit-id")["words"] == Json{"Harrow"});
  CHECK(question(answer, "odometer") ==
        Json{{"key", "odometer"}, {"words", {"109000"}}, {"unit", "mi"}, {"problem", ""}});
  CHECK(question(answer, "noise-level").is_null());
  CHECK(answer["stop"] == Json::array());
  CHECK(answer["records"] ==
        R"({"format":"dryshaft-record/1","unit":{"id":"Harrow"},"inspection":{"date":"2026-03-18",)"
        R"("odometer_mi":109000,"by":"owner","noise":{"present":false}}})"
        "\n");

  answers["odometer"] = typed("109 000");
  answer = answered(answers);
  CHECK(question(answer, "odometer")["problem"] ==
        "That answer is \"109 000\", without a unit. Possible: km, miles.");
  CHECK(answer["records"] == "");

  answers["odometer"] = typed("109kg km");
  CHECK(question(answered(answers), "odometer")["problem"] ==
        "That answer is \"109kg km\". Possible: a number, in km or miles.");

  answers["odometer"] = typed("109000 km");
  answers["noise-present"] = chosen("yes");
  answers["noise-onset"] = chosen("gradual");
  answers["noise-onset-odometer"] = typed("120000 km");
  CHECK(question(answered(answers), "noise-onset-odometer")["problem"] ==
        "That answer is 120000 km, after your answer to \"" +
            make_form(shipped_grader(), FormFor::owner).find("odometer")->text +
            "\", which is 109000 km. One of the two is wrong.");

  answers.erase("unit-id");
  CHECK(question(answered(answers), "unit-id")["problem"] ==
        "This answer is needed: there is no report without it.");
}

TEST_CASE("in a page no day lies after today") {
  const Json today = {{"today", "2026-03-18"}};
  Json answers = {{"unit-id", typed("Harrow")}, {"date", typed("2026-03-18")}};
  CHECK(answered(answers, today)["records"] != "");
  answers["date"] = typed("2026-03-19");
  CHECK(question(answered(answers, today), "date")["problem"] ==
        "That answer is 2026-03-19, after today, 2026-03-18.");
  CHECK(answered(answers, today)["records"] == "");
  CHECK(answered(answers)["records"] != "");
  answers = {{"unit-id", typed("Harrow")},
             {"date", typed("2026-03-18")},
             {"unit-built", typed("2026-03")}};
  CHECK(question(answered(answers, today), "unit-built")["problem"] == "");
  answers["unit-built"] = typed("2026-04");
  CHECK(question(answered(answers, today), "unit-built")["problem"] ==
        "That answer is 2026-04, after today, 2026-03-18.");
}

TEST_CASE("a page hears at once what stops the car") {
  const Json answer = answered({{"faults-isolation", chosen("active")}});
  REQUIRE(answer["stop"].size() == 1);
  CHECK(answer["stop"][0].get<std::string>().starts_with(shipped().settings.stop));
}

TEST_CASE("one unit of many is graded, and a page says which there are") {
  const Json all = graded({{"records", example("intake.jsonl")}, {"format", "none"}});
  CHECK(all["units"].size() == 300);
  CHECK(all["reports"] == Json::array());
  CHECK(all["units"][0] ==
        Json{{"id", all["units"][0]["id"]}, {"records", 1}, {"date", all["units"][0]["date"]}});
  const std::string id = all["units"][7]["id"];
  const Json one = graded({{"records", example("intake.jsonl")}, {"unit", id}});
  REQUIRE(one["reports"].size() == 1);
  REQUIRE(one["units"].size() == 1);
  CHECK(one["units"][0]["id"] == id);
  const std::string heading =
      fmt::format("<title>{}: grade {}</title>", id, one["units"][0]["grade"].get<std::string>());
  CHECK(one["reports"][0].get<std::string>().find(heading) != std::string::npos);
}

TEST_CASE("a page that is saved holds its records, and is the report otherwise") {
  const std::string text = example("seized.json");
  const std::string line = Json::parse(text).dump();
  const std::string plain = graded({{"records", text}})["reports"][0];
  const Json saved =
      graded({{"records", text}, {"saved", line + "\n" + R"({"note":"</script><b>"})" + "\n"}});
  const std::string kept = "<script type=\"application/json\" id=\"dryshaft-records\">[" + line +
                           R"(,{"note":"<\/script><b>"}]</script>)" + "\n";
  CHECK(replaced(saved["reports"][0], kept, "") == plain);
}

TEST_CASE("a page grades by rules and families of its own") {
  Assessor own(shipped_grader());
  Json families = Json::array();
  for (const NamedText& f : shipped_families()) {
    families.push_back(
        {{"name", f.name}, {"text", replaced(f.text, "\"plover-2\"", "\"plover-9\"")}});
  }
  CHECK(own.loaded(Json{{"families", families}}.dump()) == "{}");
  const Json request = {
      {"records", replaced(example("film-caught-early.json"), "plover-2", "plover-9")}};
  CHECK(Json::parse(own.graded(request.dump()))["complaints"] == Json::array());
  CHECK(graded(request)["complaints"].size() == 1);
  families[0]["text"] = "{";
  CHECK(Json::parse(own.loaded(Json{{"families", families}}.dump()))["bug"].get<std::string>().find(
            "error[") != std::string::npos);
  CHECK(own.loaded("") == R"({"bug":"the request is no object"})");
}

// ----------------------------------------------------------- the technician's

const Json kLift = {{"form", "technician"}};

TEST_CASE("a technician is asked for all that a record holds, each once") {
  const Form form = make_form(shipped_grader(), FormFor::technician);
  std::size_t work = 0;
  for (const FieldSpec& field : fields()) {
    const auto asked = std::ranges::count(form.questions, field.id, &FormQuestion::field);
    const bool by_another =
        field.id == Field::format || field.id == Field::family || field.id == Field::replaces;
    INFO(field.pointer);
    CHECK(asked == (by_another ? 0 : 1));
  }
  for (const FormQuestion& q : form.questions) {
    work += q.work == 0 ? 0 : 1;
    CHECK(form.find(q.key) == &q);
    CHECK(spec(q.part).asked == Asked::technician);
    for (const FormChoice& c : q.choices) {
      CHECK(c.word != kDoNotKnow.id);
    }
  }
  CHECK(work == kFormWork * kWorkFieldCount);
  // Before hands go to the port, and before anything is measured: the cautions of what is done
  // there.
  const std::vector<std::string>& at_port = form.care.at(FormPart::at_port);
  for (const std::string& id : shipped().action("check-port")->cautions) {
    INFO(id);
    CHECK(std::ranges::find(at_port, shipped().caution(id)->brief) != at_port.end());
  }
  CHECK(form.care.at(FormPart::insulation).front() == shipped().caution("high-voltage")->brief);
  CHECK(form.care.at(FormPart::heard) == std::vector{shipped().caution("moving-parts")->brief});
  CHECK_FALSE(form.care.contains(FormPart::at_lift));
}

TEST_CASE("a technician's answers are one record, with the work done") {
  Json answers = {{"unit-id", typed("DU-77")},
                  {"unit-vehicle", chosen("plover-2/Tarn")},
                  {"date", typed("2026-03-18")},
                  {"odometer", {{"typed", "109000"}, {"unit", "km"}}},
                  {"port-checked", chosen("yes")},
                  {"port-fluid", chosen("film")},
                  {"rotation", chosen("free")},
                  {"coolant-loss", typed("20")},
                  {"work-1-did", chosen("rotor-bearings-renewed")},
                  {"work-1-material", chosen("hybrid")},
                  {"work-1-keeps-crossover", chosen("yes")},  // goes with no bearings
                  {"work-2-did", chosen("port-cleaned")},
                  {"work-2-odometer", {{"typed", "60000"}, {"unit", "mi"}}},
                  {"work-4-did", chosen("gear-oil-changed")},
                  {"work-5-note", typed("of nothing")}};
  Json answer = answered(answers, kLift);
  for (const Json& q : answer["questions"]) {
    INFO(q["key"]);
    CHECK(q["problem"] == "");
  }
  CHECK(Json::parse(answer["records"].get<std::string>()) == Json::parse(R"({
    "format": "dryshaft-record/1",
    "unit": {"id": "DU-77", "family": "plover-2", "vehicle": "Tarn"},
    "inspection": {"date": "2026-03-18", "odometer_km": 109000, "by": "technician",
                   "port": {"checked": true, "fluid": "film"}, "rotation": "free",
                   "coolant": {"loss_ml_per_1000km": 20}},
    "work": [{"did": "rotor-bearings-renewed", "material": "hybrid"},
             {"did": "port-cleaned", "odometer_mi": 60000}, {"did": "gear-oil-changed"}]})"));
  CHECK(answer["stop"] == Json::array());
  // Another may have looked; what is wrong stands at its question.
  answers["by"] = chosen("intake");
  answers["work-4-date"] = typed("2026-13-01");
  answer = answered(answers, kLift);
  CHECK(
      question(answer, "work-4-date")["problem"].get<std::string>().starts_with("That answer is"));
  CHECK(question(answer, "work-2-date")["problem"] == "");
  CHECK(answer["records"] == "");
  answers.erase("work-4-date");
  answer = answered(answers, kLift);
  CHECK(Json::parse(answer["records"].get<std::string>())["inspection"]["by"] == "intake");
}

TEST_CASE("a technician sees at once what a finding is taken for") {
  const Json answers = {{"insulation-resistance-mohm", typed("2")},
                        {"insulation-test-voltage-v", typed("500")},
                        {"insulation-winding-temp-c", typed("20")}};
  const Json found = answered(answers, kLift)["found"];
  REQUIRE(found.size() == 1);
  CHECK(found[0]["text"] == "insulation resistance: below the IEEE 43 minimum at 40 deg C");
  CHECK(found[0]["questions"] == Json{"insulation-resistance-mohm", "insulation-test-voltage-v",
                                      "insulation-winding-temp-c"});
  CHECK(answered(answers)["found"] == Json::array());
}

TEST_CASE("a buyer at the kerb has eight questions before the answer") {
  std::size_t count = 0;
  for (const FormQuestion& q : make_form(shipped_grader(), FormFor::buyer).questions) {
    count += q.gate_words.empty() && !q.required() && q.field != Field::note ? 1 : 0;
  }
  CHECK(count == 8);
}

TEST_CASE("the functions of the module") {
  const auto ask = [](const Json& request, const char* (*what)()) {
    const std::string text = request.dump();
    text.copy(dryshaft_room(text.size()), text.size());
    const char* const at = what();
    return std::string(at, dryshaft_answered());
  };
  const Json request = {{"records", example("seized.json")}, {"name", "unit.json"}};
  CHECK(ask(request, dryshaft_graded) == assessor().graded(request.dump()));
  CHECK(ask(Json::object(), dryshaft_loaded) == "{}");
  CHECK(ask(Json::object(), dryshaft_form) == assessor().answered("{}"));
}

TEST_CASE("the library holds the module whole, or none") {
  const std::string_view sha256 = page::module_sha256();
  CHECK(page::module_base64().empty() == sha256.empty());
  if (!sha256.empty()) {
    CHECK(page::module_base64().starts_with("H4sI"));  // gzip
    CHECK(page::module_base64().size() % 4 == 0);
    CHECK(sha256.size() == 64);
  }
}

}  // namespace
}  // namespace dryshaft::test
