// What a page asks of the library in it. tests/core_page_test.py asks the same of the module.
#include "page/page.hpp"

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "support.hpp"

extern "C" {
char* dryshaft_room(std::size_t bytes);
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
  CHECK(built_in.value->knowledge().sha256 == shipped().sha256);
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
  CHECK(graded({{"records", "{}"}, {"today", "tomorrow"}})["bug"] == "today is no day");
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

  answers["odometer"] = typed("109k km");
  CHECK(question(answered(answers), "odometer")["problem"] ==
        "That answer is \"109k km\". Possible: a number, in km or miles.");

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
        "That answer is missing. Possible: a string.");
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

TEST_CASE("the functions of the module") {
  const auto ask = [](const Json& request, const char* (*what)()) {
    const std::string text = request.dump();
    text.copy(dryshaft_room(text.size()), text.size());
    const char* const at = what();
    return std::string(at, dryshaft_answered());
  };
  const Json request = {{"records", example("seized.json")}, {"name", "unit.json"}};
  CHECK(ask(request, dryshaft_graded) == assessor().graded(request.dump()));
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
