// The runner of cases, and the shipped cases against the shipped rules.
#include "dryshaft/cases.hpp"

#include <catch2/catch.hpp>

#include "support.hpp"

namespace dryshaft {
namespace {

// What a report says, for `text_has`: enough of it to tell reports apart.
std::string text(const Report& r) { return r.grade_meaning + "\n  " + r.headline; }

CaseRun run(std::vector<NamedText> files) {
  return run_cases(files, test::shipped_grader(), {.text = text});
}

constexpr std::string_view kBase =
    R"({"format": "dryshaft-record/1", "unit": {"id": "HL-0147", "family": "plover-2", "built": "2019-05"},
 "inspection": {"date": "2025-03-10", "odometer_km": 62000,
  "port": {"checked": true, "fluid": "none", "dried_residue": false, "corrosion": "none", "debris": "none"}}})";

// A file whose cases are one dry and clean unit, changed by `record`, one case a pair.
std::string file_of(
    const std::vector<std::pair<std::string_view, std::string_view>>& record_and_expect) {
  std::string cases;
  for (const auto& [record, expect] : record_and_expect) {
    cases += std::string(cases.empty() ? "" : ",") +
             "\n{\"note\": \"n\", \"record\": " + std::string(record) +
             ",\n \"expect\": " + std::string(expect) + "}";
  }
  return "{\"format\": \"dryshaft-cases/1\", \"base\": " + std::string(kBase) + ", \"cases\": [" +
         cases + "]}\n";
}

// Counts, then all complaints.
std::string outcome(const CaseRun& r) {
  return std::to_string(r.passed) + " passed, " + std::to_string(r.failed) + " failed\n" +
         test::complaints(r.diagnostics);
}
std::string outcome_of(const std::string& file) { return outcome(run({{"a.json", file}})); }

constexpr std::string_view kFilm =
    R"({"inspection": {"port": {"fluid": "film", "fluid_kind": "coolant"}}})";

TEST_CASE("a case whose expectations are met passes, and says nothing") {
  const CaseRun r = run({{"a.json", file_of({{"{}", R"({"grade": "A"})"}})}});
  CHECK(outcome(r) == "1 passed, 0 failed\n");
  CHECK(r.good());
}

TEST_CASE("every kind of expectation can be met") {
  CHECK(
      outcome_of(file_of({
          {"{}", R"({"grade": "A", "at_least": null, "contradictions": [], "earlier_grades": [],
  "risk": {"at_least": 0.001, "below": 0.1}, "first_action": "recheck", "rebuild_outlook": "routine",
  "no_floors": ["floor-coolant"], "no_actions": ["stop-driving"], "no_cautions": ["magnets"],
  "text_has": ["no sign of damage: normal use, routine recheck Nothing"], "text_lacks": ["Grade"]})"},
          {kFilm,
           R"({"grade": "C", "at_least": "C", "top_cause": "seal-leak", "floors": ["floor-coolant"],
  "causes": {"seal-leak": {"at_least": 0.5}, "outside-noise": {"below": 0.5}},
  "actions": ["measure-insulation", "recheck"], "urgency": {"measure-insulation": "soon"},
  "cautions": ["high-voltage"]})"},
          {R"({"inspection": {"port": null}})", R"({"grade": "U", "next_check": "check-port"})"},
          {R"({"inspection": {"port": {"fluid_kind": "coolant"}}})",
           R"({"contradictions": ["kind-without-fluid"]})"},
      })) == "4 passed, 0 failed\n");
}

TEST_CASE("an expectation that is not met is located, and says what came") {
  CHECK(outcome_of(file_of({{"{}", R"({"grade": "B"})"}})) ==
        "0 passed, 1 failed\n"
        "a.json:5:22: error[expectation]: /cases/0/expect/grade expected B, came A; case: n\n");
}

TEST_CASE("each expectation fails in its own words") {
  const auto unmet = [](std::string_view record, std::string_view expect) {
    const CaseRun r = run({{"a.json", file_of({{record, expect}})}});
    CHECK(r.failed == 1);
    CHECK_FALSE(r.good());
    std::string all;
    for (const Diagnostic& d : r.diagnostics) {
      CHECK(d.code == "expectation");
      all += d.pointer + " " + d.message + "\n";
    }
    return all;
  };
  CHECK(unmet("{}", R"({"at_least": "C"})") ==
        "/cases/0/expect/at_least expected C, came none; case: n\n");
  CHECK(unmet(kFilm, R"({"at_least": null})") ==
        "/cases/0/expect/at_least expected none, came C; case: n\n");
  CHECK(unmet(kFilm, R"({"top_cause": "outside-noise"})") ==
        "/cases/0/expect/top_cause expected outside-noise, came seal-leak; case: n\n");
  CHECK(unmet(kFilm, R"({"floors": ["floor-coolant", "floor-rust"]})") ==
        "/cases/0/expect/floors/1 expected floor-rust, came floor-coolant; case: n\n");
  CHECK(unmet("{}", R"({"floors": ["floor-rust"]})") ==
        "/cases/0/expect/floors/0 expected floor-rust, came none; case: n\n");
  CHECK(unmet(kFilm, R"({"no_floors": ["floor-rust", "floor-coolant"]})") ==
        "/cases/0/expect/no_floors/1 expected no floor-coolant, came floor-coolant; case: n\n");
  CHECK(unmet("{}", R"({"actions": ["stop-driving"]})") ==
        "/cases/0/expect/actions/0 expected stop-driving, came recheck, no-action; case: n\n");
  CHECK(unmet("{}", R"({"no_actions": ["recheck"]})") ==
        "/cases/0/expect/no_actions/0 expected no recheck, came recheck, no-action; case: n\n");
  CHECK(unmet("{}", R"({"first_action": "no-action"})") ==
        "/cases/0/expect/first_action expected no-action, came recheck; case: n\n");
  CHECK(unmet("{}", R"({"urgency": {"recheck": "now", "stop-driving": "now"}})") ==
        "/cases/0/expect/urgency/stop-driving expected now, came no such action; case: n\n"
        "/cases/0/expect/urgency/recheck expected now, came routine; case: n\n");
  CHECK(unmet("{}", R"({"no_cautions": ["not-a-certificate"]})").find("expected no not-a-certif") !=
        std::string::npos);
  CHECK(unmet("{}", R"({"contradictions": ["odometer-backwards"]})") ==
        "/cases/0/expect/contradictions expected odometer-backwards, came none; case: n\n");
  CHECK(unmet(R"({"inspection": {"port": {"fluid_kind": "coolant"}}})",
              R"({"contradictions": []})") ==
        "/cases/0/expect/contradictions expected none, came kind-without-fluid; case: n\n");
  CHECK(unmet("{}", R"({"earlier_grades": ["A"]})") ==
        "/cases/0/expect/earlier_grades expected A, came none; case: n\n");
  CHECK(unmet("{}", R"({"rebuild_outlook": "doubtful"})") ==
        "/cases/0/expect/rebuild_outlook expected doubtful, came routine; case: n\n");
  CHECK(unmet(R"({"inspection": {"port": null}})", R"({"next_check": "road-test"})") ==
        "/cases/0/expect/next_check expected road-test, came check-port; case: n\n");
  CHECK(
      unmet("{}", R"({"text_has": ["out of  use"], "text_lacks": ["routine\nrecheck"]})") ==
      "/cases/0/expect/text_has/0 expected a report that says \"out of use\", came one that does "
      "not; case: n\n"
      "/cases/0/expect/text_lacks/0 expected a report that does not say \"routine recheck\", came "
      "one that does; case: n\n");
}

TEST_CASE("bounds say which side was missed, and by what") {
  const CaseRun r = run({{"a.json", file_of({{kFilm, R"({"risk": {"below": 0.01},
  "causes": {"seal-leak": {"at_least": 0.9999, "below": 1}, "outside-noise": {"below": 0.0001}}})"}})}});
  REQUIRE(r.diagnostics.size() == 3);
  CHECK(r.diagnostics[0].pointer == "/cases/0/expect/risk/below");
  CHECK(r.diagnostics[0].message.starts_with("expected below 0.01, came 0."));
  CHECK(r.diagnostics[1].pointer == "/cases/0/expect/causes/seal-leak/at_least");
  CHECK(r.diagnostics[1].message.starts_with("expected at least 0.9999, came 0."));
  CHECK(r.diagnostics[2].pointer == "/cases/0/expect/causes/outside-noise/below");
}

TEST_CASE("an empty run fails") {
  CHECK_FALSE(run({}).good());
  const CaseRun r = run({{"a.json", R"({"format": "dryshaft-cases/1", "cases": []})"}});
  CHECK_FALSE(r.good());
  CHECK(outcome(r) ==
        "0 passed, 0 failed\n"
        "a.json:1:1: error[empty]: holds no case\n"
        "  {\"format\": \"dryshaft-cases/1\", \"cases\": []}\n"
        "  ^\n");
}

TEST_CASE("a file that cannot be read as cases never looks like passed") {
  CHECK(run({{"a.json", "{"}}).failed == 1);
  CHECK(run({{"a.json", "[]"}}).failed == 1);
  CHECK(
      outcome_of(R"({"format": "dryshaft-cases/2", "cases": []})") ==
      "0 passed, 1 failed\n"
      "a.json:1:12: error[bad-value]: /format is \"dryshaft-cases/2\"\n"
      "  \"format\": \"dryshaft-cases/2\", \"cases\": []}\n"
      "            ^\n"
      "  allowed: dryshaft-cases/1\n"
      "  hint: this program is older than the file: it knows dryshaft-cases/1; take a newer one\n");
  CHECK(outcome_of(R"({"format": "dryshaft-cases/1", "base": 3, "case": []})") ==
        "0 passed, 1 failed\n"
        "a.json:1:40: error[wrong-type]: /base is 3\n"
        "  \"base\": 3, \"case\": []}\n"
        "          ^\n"
        "  allowed: an object\n"
        "a.json:1:1: error[missing]: has no \"cases\"\n"
        "  {\"format\": \"dryshaft-cases/1\", \"base\": 3, \"case\": []}\n"
        "  ^\n"
        "a.json:1:43: error[unknown-member]: /case is not a member that is known here\n"
        "  \"case\": []}\n"
        "  ^\n"
        "  allowed: format, note, base, cases\n"
        "  hint: did you mean \"base\"?\n");
}

TEST_CASE("a member that is not known is located") {
  CHECK(outcome_of(file_of({{"{}", R"({"grad": "A"})"}})) ==
        "0 passed, 1 failed\n"
        "a.json:5:13: error[unknown-member]: /cases/0/expect/grad is not a member that is known "
        "here\n"
        "  \"grad\": \"A\"}}]}\n"
        "  ^\n"
        "  allowed: grade, at_least, rebuild_outlook, risk, top_cause, causes, floors, no_floors, "
        "actions, no_actions, cautions, no_cautions, contradictions, earlier_grades, first_action, "
        "next_check, urgency, text_has, text_lacks\n"
        "  hint: did you mean \"grade\"?\n");
  const CaseRun r = run({{"a.json",
                          R"({"format": "dryshaft-cases/1", "cases": [
{"note": "n", "recrod": {}, "expect": {"grade": "A"}}]})"}});
  REQUIRE(r.diagnostics.size() == 2);
  CHECK(r.diagnostics[0].message == "has no \"record\"");
  CHECK(r.diagnostics[1].line == 2);
  CHECK(r.diagnostics[1].column == 15);
  CHECK(r.diagnostics[1].pointer == "/cases/0/recrod");
  CHECK(r.diagnostics[1].hint == "did you mean \"record\"?");
}

TEST_CASE("an id that the rules do not hold is an error, even where it must not come") {
  const CaseRun r = run({{"a.json", file_of({{"{}", R"({"no_floors": ["floor-rast"]})"},
                                             {"{}", R"({"causes": {"seal-leek": {"below": 1}}})"},
                                             {"{}", R"({"urgency": {"rechek": "now"}})"}})}});
  CHECK(r.failed == 3);
  REQUIRE(r.diagnostics.size() == 3);
  CHECK(r.diagnostics[0].code == "bad-value");
  CHECK(r.diagnostics[0].hint == "did you mean \"floor-rust\"?");
  CHECK(r.diagnostics[1].hint == "did you mean \"seal-leak\"?");
  CHECK(r.diagnostics[2].hint == "did you mean \"recheck\"?");
}

TEST_CASE("a case that expects nothing is an error") {
  for (const std::string_view expect :
       {"{}", R"({"floors": []})", R"({"causes": {}})", R"({"risk": {}})", R"({"text_has": []})",
        R"({"urgency": {}})", R"({"grade": "A", "no_actions": []})"}) {
    const CaseRun r = run({{"a.json", file_of({{"{}", expect}})}});
    INFO(expect);
    CHECK(r.failed == 1);
    REQUIRE(r.diagnostics.size() == 1);
    CHECK(r.diagnostics[0].code == "empty");
    CHECK(r.diagnostics[0].message == "expects nothing");
  }
  CHECK(
      run({{"a.json", R"({"format": "dryshaft-cases/1", "cases": [{"note": "n", "record": {}}]})"}})
          .failed == 1);
}

TEST_CASE("a refused record fails its case, with the complaint shown where the record stands") {
  CHECK(
      outcome_of(R"({"format": "dryshaft-cases/1", "cases": [{"note": "n", "expect": {"grade": "A"},
  "record": {"format": "dryshaft-record/1", "unit": {"id": "HL-0147"}, "inspection": {
    "date": "2025-03-10", "rotation": "stif"}}}]})") ==
      "0 passed, 1 failed\n"
      "a.json:3:39: error[bad-value]: /cases/0/record/inspection/rotation is \"stif\"\n"
      "  \"rotation\": \"stif\"}}\n"
      "              ^\n"
      "  allowed: free, stiff, seized\n"
      "  hint: did you mean \"stiff\"?\n");
  const CaseRun merged = run(
      {{"a.json", file_of({{R"({"inspection": {"rotation": "stif"}})", R"({"grade": "A"})"}})}});
  REQUIRE(merged.diagnostics.size() == 1);
  CHECK(merged.failed == 1);
  CHECK(merged.diagnostics[0].line == 4);
  CHECK(merged.diagnostics[0].column == 25);
  CHECK(merged.diagnostics[0].pointer == "/cases/0/record/inspection/rotation");
  CHECK(merged.diagnostics[0].hint == "did you mean \"stiff\"?");
}

TEST_CASE("records of two units are not one case") {
  const CaseRun r = run({{"a.json", R"({"format": "dryshaft-cases/1", "base":
{"format": "dryshaft-record/1", "inspection": {"date": "2025-03-10"}}, "cases": [
{"note": "n", "expect": {"grade": "U"}, "records": [{"unit": {"id": "HL-1"}}, {"unit": {"id": "HL-2"}}]},
{"note": "n", "expect": {"grade": "U"}, "records": []},
{"note": "n", "expect": {"grade": "U"}, "record": {"unit": {"id": "HL-1"}}, "records": [{"unit": {"id": "HL-1"}}]},
{"note": "n", "expect": {"grade": "U"}, "record": {"unit": {"id": "HL-1"}}}]})"}});
  CHECK(r.passed == 1);
  CHECK(r.failed == 3);
  REQUIRE(r.diagnostics.size() == 3);
  CHECK(r.diagnostics[0].message == "holds records of 2 units");
  CHECK(r.diagnostics[1].message == "is an empty array");
  CHECK(r.diagnostics[2].message == "has both \"record\" and \"records\"");
}

TEST_CASE("the day and the reader of a case count") {
  CHECK(outcome_of(R"({"format": "dryshaft-cases/1", "base": )" + std::string(kBase) +
                   R"(, "cases": [
{"note": "n", "record": {}, "today": "2031-03-10", "expect": {"grade": "U"}},
{"note": "n", "record": {}, "for": "owner", "expect": {"text_lacks": ["normal use, routine recheck"]}},
{"note": "n", "record": {}, "for": "buyer", "expect": {"grade": "A"}},
{"note": "n", "record": {}, "today": "2031-02-30", "expect": {"grade": "U"}}]})") ==
        "2 passed, 2 failed\n"
        "a.json:6:36: error[bad-value]: /cases/2/for is \"buyer\"\n"
        "  \"for\": \"buyer\", \"expect\": {\"grade\": \"A\"}},\n"
        "         ^\n"
        "  allowed: technician, owner\n"
        "a.json:7:38: error[bad-date]: /cases/3/today is \"2031-02-30\"\n"
        "  \"today\": \"2031-02-30\", \"expect\": {\"grade\": \"U\"}}]}\n"
        "           ^\n"
        "  allowed: YYYY-MM-DD\n");
}

// ---------------------------------------------------------------- coverage

// Cases that fire a rule, that leave it unfired, that leave its input unobserved; - cannot be.
std::string counts(const CaseRun& run, std::string_view id) {
  const auto rule = std::ranges::find(run.coverage, id, &RuleCoverage::id);
  REQUIRE(rule != run.coverage.end());
  std::string text;
  for (const std::optional<std::size_t>& cases : rule->cases) {
    text += (text.empty() ? "" : " ") + (cases ? std::to_string(*cases) : "-");
  }
  return text;
}

TEST_CASE("coverage counts the ways in which cases meet a rule") {
  const std::string_view any = R"({"risk": {"below": 1}})";
  const CaseRun r =
      run({{"a.json", file_of({{"{}", any},
                               {R"({"inspection": {"rotation": "free"}})", any},
                               {R"({"inspection": {"rotation": "stiff"}})", any},
                               {R"({"inspection": {"rotation": "seized"}})", any}})}});
  CHECK(counts(r, "floor-seized") == "1 2 1");
  CHECK(counts(r, "floor-stiff") == "2 1 3");
  CHECK(counts(r, "rotation-from-corrosion") == "2 1 1");
  CHECK(counts(r, "advise-stop") == "1 3 -");   // mentions no finding
  CHECK(counts(r, "stop-driving") == "1 3 -");  // shown or not
  CHECK(counts(r, "magnets") == "0 4 -");
  CHECK(counts(r, "odometer-backwards") == "0 4 -");
  // Whether coolant was there before is on record or not; nobody observes its absence.
  CHECK(counts(r, "floor-earlier-coolant-bypassed") == "0 - 4");
  CHECK(std::ranges::find(r.coverage, "not-a-certificate", &RuleCoverage::id) == r.coverage.end());
  CHECK(r.good());
  CHECK(r.covered() < r.parts());
  CHECK(r.percent() > 0);
  CHECK(r.percent() < 100);
}

TEST_CASE("what describes a finding that is known to be absent is not missing") {
  const std::string_view any = R"({"risk": {"below": 1}})";
  const CaseRun r =
      run({{"a.json",
            file_of({{R"({"inspection": {"noise": {"present": false}}})", any},
                     {"{}", any},
                     {R"({"inspection": {"noise": {"present": true}}})", any},
                     {R"({"inspection": {"noise": {"present": true, "level": "faint"}}})", any},
                     {R"({"inspection": {"noise": {"present": true, "level": "loud"}}})", any}})}});
  CHECK(counts(r, "level-from-corrosion") == "1 1 2");
  // Asks for what was not observed: firing on it is what has to be tried.
  CHECK(counts(r, "advise-identify") == "0 5 0");
  const CaseRun unknown =
      run({{"a.json", file_of({{R"({"inspection": {"port": {"fluid": "film"}}})", any}})}});
  CHECK(counts(unknown, "advise-identify") == "1 0 1");
}

TEST_CASE("nothing run covers nothing") {
  const CaseRun r = run({});
  CHECK(r.parts() > 300);
  CHECK(r.covered() == 0);
  CHECK(r.percent() == 0);
  CHECK(CaseRun{}.percent() == 0);
}

// ------------------------------------------------------- the shipped cases

TEST_CASE("the shipped rules stand up to the shipped cases, and each rule is met in every way") {
  const std::vector<NamedText> files =
      test::read_folder(std::filesystem::path(DRYSHAFT_TESTS_DIR) / "cases");
  const CaseRun r =
      run_cases(files, test::shipped_grader(),
                {.text = [](const Report& report) { return to_text(report, {.full = true}); }});
  CHECK(test::complaints(r.diagnostics) == "");
  CHECK(r.passed >= 180);
  std::string uncovered;
  for (const RuleCoverage& rule : r.coverage) {
    if (std::ranges::find(rule.cases, std::optional<std::size_t>(0)) != rule.cases.end()) {
      uncovered += rule.id + "\n";
    }
  }
  CHECK(uncovered == "");
  CHECK(r.percent() == 100);
}

TEST_CASE("a floor that is taken out of the rules makes shipped cases fail") {
  const auto broken = load_knowledge(
      test::edited_rules("floors.json", R"({"isolation-fault": ["active"]})",
                         R"({"isolation-fault": ["active"], "rotation": ["seized"]})"),
      test::shipped_families());
  REQUIRE(broken.value.has_value());
  const std::vector<NamedText> files =
      test::read_folder(std::filesystem::path(DRYSHAFT_TESTS_DIR) / "cases");
  const CaseRun r = run_cases(files, Grader(*broken.value),
                              {.text = [](const Report& report) { return text(report); }});
  CHECK(std::ranges::any_of(r.diagnostics, [](const Diagnostic& d) {
    return d.message.starts_with("expected floor-isolation-active, came");
  }));
}

}  // namespace
}  // namespace dryshaft
