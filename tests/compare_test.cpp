#include "dryshaft/compare.hpp"

#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "base/sha256.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using nlohmann::json;
using test::complaints;
using test::has;

Report a_report(std::string id, Grade grade, double risk) {
  Report r;
  r.unit_id = std::move(id);
  r.as_of = "2026-03-20";
  r.rules_id = "core";
  r.rules_version = "1";
  r.rules_sha256 = "3f9a0c12b4de77aa";
  r.grade = grade;
  r.risk = risk;
  Action& first = r.actions.emplace_back();
  first.id = "inspect-port";
  first.rule = "advise-port";
  first.urgency = Urgency::routine;
  r.due = {{"inspect-port", 120000.0, "2026-09-01", false}};
  return r;
}

std::vector<History> intake() {
  const std::string path = std::string(DRYSHAFT_EXAMPLES_DIR) + "/intake.jsonl";
  return *test::shipped_grader().read(test::read_file(path), "intake.jsonl").value;
}

Grader own_rules(std::vector<NamedText> files) {
  Result<Knowledge> loaded = load_knowledge(
      test::edited(std::move(files), "rules.json", "\"dryshaft-shipped\"", "\"own\""),
      test::shipped_families());
  INFO(complaints(loaded.diagnostics));
  REQUIRE(loaded.value);
  return Grader(std::move(*loaded.value));
}

std::vector<std::string> ids(const std::vector<UnitChange>& units) {
  std::vector<std::string> out;
  for (const UnitChange& u : units) {
    out.push_back(u.unit_id);
  }
  return out;
}

TEST_CASE("a set of reports compared with itself is empty") {
  std::vector<Report> reports;
  for (const History& unit : intake()) {
    reports.push_back(test::shipped_grader().report(unit, {.today = parse_date("2026-03-20")}));
  }
  const Changes same = compare(reports, reports);
  CHECK(same.compared == reports.size());
  CHECK(same.units.empty());
  CHECK(same.little_moved == 0);
  CHECK((same.gone.empty() && same.came.empty()));
  CHECK(!same.fails());
  CHECK(has(changes_to_text(same, {}), "Nothing moved\n"));

  // Nor does what JSON and CSV keep of them lose anything.
  std::string lines;
  std::string table = csv_header();
  for (const Report& r : reports) {
    lines += to_json(r);
    table += to_csv(r);
  }
  const Result<std::vector<Report>> read = read_reports(lines, "reports.jsonl");
  CHECK(complaints(read.diagnostics).empty());
  const Changes kept = compare(reports, *read.value);
  CHECK(kept.compared == reports.size());
  CHECK(kept.units.empty());
  CHECK(kept.little_moved == 0);
  const Result<std::vector<Report>> rows = read_report_table(table, "reports.csv");
  CHECK(complaints(rows.diagnostics).empty());
  const Changes tables = compare(*rows.value, *rows.value);
  CHECK(tables.compared == reports.size());
  CHECK(tables.units.empty());
  for (std::size_t i = 0; i < reports.size(); ++i) {
    CHECK((*rows.value)[i].grade == reports[i].grade);
    CHECK((*rows.value)[i].records_sha256 == reports[i].records_sha256);
  }
}

TEST_CASE("changes come worst first, and each says what moved") {
  std::vector<Report> before = {
      a_report("same", Grade::A, 0.02),  a_report("little", Grade::A, 0.02),
      a_report("risk", Grade::B, 0.2),   a_report("better", Grade::C, 0.4),
      a_report("worse", Grade::A, 0.02), a_report("worst", Grade::A, 0.02),
      a_report("open", Grade::C, 0.4),   a_report("due", Grade::A, 0.02),
      a_report("act", Grade::B, 0.2),    a_report("left", Grade::D, 0.9)};
  std::vector<Report> after = before;
  after.pop_back();
  after[1].risk = 0.0699;
  after[2].risk = 0.25;
  after[3].grade = Grade::B;
  after[4].grade = Grade::C;
  after[5].grade = Grade::D;
  after[5].floors = {{"floor-pooled", Grade::D, "Coolant stands in the port."}};
  after[6].grade = Grade::U;
  after[7].due[0].due_date = "2026-08-01";
  after[8].actions[0].urgency = Urgency::soon;
  after.push_back(a_report("joined", Grade::U, 0.3));
  const Changes c = compare(before, after);
  CHECK(c.compared == 9);
  CHECK(ids(c.units) ==
        std::vector<std::string>{"worst", "worse", "open", "act", "due", "risk", "better"});
  CHECK(c.worse() == 2);
  CHECK(c.better() == 1);
  CHECK(c.little_moved == 1);
  CHECK(c.grades[static_cast<std::size_t>(Grade::A)][static_cast<std::size_t>(Grade::D)] == 1);
  CHECK(c.grades[static_cast<std::size_t>(Grade::A)][static_cast<std::size_t>(Grade::A)] == 3);
  REQUIRE(c.gone.size() == 1);
  CHECK(c.gone[0].unit_id == "left");
  REQUIRE(c.came.size() == 1);
  CHECK(c.came[0].unit_id == "joined");
  REQUIRE(c.units[0].said.size() == 1);
  CHECK(c.units[0].said[0].after);
  CHECK(c.units[0].said[0].rule == "floor-pooled");
  CHECK(c.units[2].worse() == 0);  // U weighs as much as C
  CHECK(c.fails());
  const std::string text = changes_to_text(c, {});
  CHECK(has(text, "2 grades worse, 1 better\n"));
  CHECK(has(text,
            "  - worst: A to D, worse; risk 2 %.\n"
            "    Now floor-pooled: Coolant stands in the port.\n"));
  CHECK(has(text,
            "    Due: inspect-port: 2026-08-01, at 120,000 km; was 2026-09-01, at 120,000 km.\n"));
  CHECK(has(text, "    Do first: inspect-port (soon), was inspect-port (routine).\n"));
  CHECK(has(text, "  - risk: grade B as before; risk 25 %, was 20 %.\n"));
  CHECK(has(text, "The risk moved in 1 unit by less, and alone."));
}

TEST_CASE("a new unit counts as worse where it is not good, and one that left does not") {
  const std::vector<Report> none;
  for (const auto& [grade, fails] :
       {std::pair(Grade::A, false), std::pair(Grade::B, false), std::pair(Grade::C, true),
        std::pair(Grade::U, true), std::pair(Grade::D, true)}) {
    const std::vector<Report> one = {a_report("x", grade, 0.1)};
    CHECK(compare(none, one).fails() == fails);
    CHECK(!compare(one, none).fails());
  }
}

TEST_CASE("the threshold of news is met from 5 percentage points on") {
  const std::vector<Report> before = {a_report("x", Grade::B, 0.2)};
  for (const auto& [risk, news] : {std::pair(0.2499, false), std::pair(0.25, true),
                                   std::pair(0.1501, false), std::pair(0.15, true)}) {
    const Changes c = compare(before, {a_report("x", Grade::B, risk)});
    CHECK(c.units.size() == (news ? 1 : 0));
    CHECK(c.little_moved == (news ? 0 : 1));
  }
  // Below what reports print, nothing moved.
  CHECK(compare(before, {a_report("x", Grade::B, 0.200004)}).little_moved == 0);
}

TEST_CASE("units judged by two rule bases: those whose grade differs, and the rule that does it") {
  const std::vector<History> units = intake();
  const AssessOptions options{.today = parse_date("2026-03-20")};
  std::vector<NamedText> files =
      test::edited(test::shipped_rules(), "rules.json", "\"value\": 0.10,", "\"value\": 0.02,");
  // A change of words moves nothing.
  files =
      test::edited(std::move(files), "floors.json", "An active isolation", "One active isolation");
  const Side before{test::shipped_grader(), options, "shipped"};
  const Side after{own_rules(files), options, "own"};
  const Changes c = compare(units, before, after);

  std::set<std::string> by_hand;
  for (const History& unit : units) {
    if (before.grader.report(unit, options).grade != after.grader.report(unit, options).grade) {
      by_hand.insert(unit.unit_id);
    }
  }
  CHECK(by_hand.size() >= 3);
  std::set<std::string> named;
  for (const UnitChange& u : c.units) {
    if (u.grade_moved()) {
      named.insert(u.unit_id);
      REQUIRE(u.rules.size() == 1);
      CHECK(c.rules[u.rules[0].rule].id == "risk-raised");
      CHECK(u.rules[0].grade == u.grade_after);
      CHECK(!u.together);
    }
  }
  CHECK(named == by_hand);
  REQUIRE(c.rules.size() == 2);
  CHECK((c.rules[0].kind == "setting" && c.rules[0].change == "changed"));
  CHECK((c.rules[1].kind == "floor" && c.rules[1].id == "floor-isolation-active"));
}

TEST_CASE("of several changed rules the one is named that moves the unit") {
  const std::vector<History> units = intake();
  const AssessOptions options{.today = parse_date("2026-03-20")};
  std::vector<NamedText> files = test::edited(
      test::shipped_rules(), "floors.json", "\"floors\": [",
      R"("floors": [{"id": "own-floor", "grade": "D", "when": {"finding": {"noise": ["present"]}},
         "reason": "A noise is D here.", "plain": "There is a noise.", "source": "common practice"},)");
  files = test::edited(std::move(files), "rules.json", "\"value\": 0.10,", "\"value\": 0.02,");
  const Changes c = compare(units, {test::shipped_grader(), options, ""},
                            {own_rules(std::move(files)), options, ""});
  std::map<std::string, std::size_t> moved;
  for (const UnitChange& u : c.units) {
    for (const RuleEffect& e : u.rules) {
      if (e.grade) {
        ++moved[c.rules[e.rule].id];
        CHECK((c.rules[e.rule].id == "own-floor") == (*e.grade == Grade::D));
      }
    }
    CHECK((!u.grade_moved() || u.together || !u.rules.empty()));
  }
  CHECK(moved["own-floor"] > 0);
  CHECK(moved["risk-raised"] >= 3);
  // The other way round the floor is gone.
  std::vector<NamedText> back = test::shipped_rules();
  const Changes undone =
      compare(units,
              {own_rules(test::edited(back, "rules.json", "\"value\": 0.10,", "\"value\": 0.02,")),
               options, ""},
              {test::shipped_grader(), options, ""});
  CHECK(undone.worse() == 0);
  CHECK(undone.better() == moved["risk-raised"]);
}

TEST_CASE("units judged as of two days: the day moves what is due") {
  const std::vector<History> units = intake();
  const Changes c =
      compare(units, {test::shipped_grader(), {.today = parse_date("2026-03-20")}, ""},
              {test::shipped_grader(), {.today = parse_date("2027-03-20")}, ""});
  REQUIRE(c.rules.size() == 1);
  CHECK(c.rules[0].kind == "day");
  CHECK(c.rules[0].id == "2026-03-20 to 2027-03-20");
  CHECK(!c.units.empty());
  for (const UnitChange& u : c.units) {
    CHECK(u.rules.size() == (u.grade_moved() || u.action_moved || !u.dates.empty() ? 1 : 0));
    CHECK(!u.together);
  }
  CHECK(c.better() == 0);
}

TEST_CASE("what is no report is refused, each with its place") {
  const auto said = [](std::string_view text) {
    return complaints(read_reports(text, "old.jsonl").diagnostics);
  };
  CHECK(said("") == "old.jsonl: error[empty]: holds no report\n");
  CHECK(has(said("{\"format\":\"dryshaft-record/1\"}\n"),
            "old.jsonl:1:1: error[not-a-report]: is no report\n"));
  CHECK(has(said("\n{\"format\":\"dryshaft-report/1\",\"unit_id\":\"x\",\"grade\":\"E\"}\n"),
            "old.jsonl:2:"));
  const std::string one = "{\"format\":\"dryshaft-report/1\",\"unit_id\":\"x\",\"grade\":";
  const Result<std::vector<Report>> twice =
      read_reports(one + "\"D\"}\n" + one + "\"A\"}\n", "old.jsonl");
  CHECK(
      complaints(twice.diagnostics) ==
      "old.jsonl:2: error[repeated-unit]: is another report on x: the one with the worse grade is "
      "compared\n"
      "  hint: grade all records of a unit together: one run, or --format json\n");
  REQUIRE(twice.value->size() == 1);
  CHECK(twice.value->front().grade == Grade::D);
  // A list, and over several lines.
  CHECK(read_reports("[" + one + "\n\"D\"},\n " + one + "\"A\"}]", "x").value->size() == 1);
  CHECK(complaints(read_report_table("a,b\r\n1,2\r\n", "old.csv").diagnostics) ==
        "old.csv:1: error[not-a-report]: is no table of reports\n"
        "  allowed: what assess --format csv writes\n");
}

TEST_CASE("changes as JSON and as a table say the same") {
  std::vector<Report> before = {a_report("x", Grade::A, 0.02), a_report("y", Grade::D, 0.9)};
  std::vector<Report> after = {a_report("x", Grade::D, 0.9)};
  const Changes c = compare(before, after);
  const json j = json::parse(changes_to_json(c));
  CHECK(j["format"] == "dryshaft-comparison/1");
  CHECK(j["worse"] == 1);
  CHECK(j["grades"]["A"]["D"] == 1);
  CHECK(j["units"][0]["grade"] == json({{"before", "A"}, {"after", "D"}}));
  CHECK(j["gone"] == json::parse(R"([{"unit_id":"y","grade":"D"}])"));
  CHECK(changes_to_csv(c) ==
        "unit_id,change,grade_before,grade_after,risk_before,risk_after,first_action_before,"
        "first_action_after,urgency_before,urgency_after,due_moved,rules,basis\r\n"
        "x,worse,A,D,0.02,0.9,inspect-port,inspect-port,routine,routine,,,\r\n"
        "y,gone,D,,,,,,,,,,\r\n");
}

TEST_CASE("a known bad input is counted, and what is wrong with it is not told") {
  const std::string good =
      R"({"format":"dryshaft-record/1","unit":{"id":"x"},"inspection":{"date":"2026-03-01"}})";
  const std::string bad =
      R"({"format":"dryshaft-record/1","unit":{"id":"y"},"inspection":{"date":"2026-13-01"}})";
  ReadOptions options;
  const Records unknown = read_records(good + "\n" + bad + "\n", "a.jsonl", options);
  REQUIRE(unknown.diagnostics.size() == 1);
  CHECK(unknown.diagnostics[0].input_sha256 == sha256_hex(bad));
  CHECK(unknown.rejected == 1);
  options.accepted = {sha256_hex(bad)};
  const Records known = read_records(good + "\n" + bad + "\n" + bad, "a.jsonl", options);
  CHECK(known.diagnostics.empty());
  CHECK(known.rejected == 0);
  CHECK(known.accepted == std::vector<std::string>{sha256_hex(bad), sha256_hex(bad)});
  CHECK(known.records.size() == 1);
  // A blank more is another text.
  CHECK(read_records(good + "\n" + test::replaced(bad, "{\"id", "{ \"id"), "a.jsonl", options)
            .rejected == 1);
  // More than a hundred of a kind, and one that is known among the last.
  std::string many;
  for (int i = 0; i < 150; ++i) {
    many += test::replaced(bad, "\"y\"", "\"y" + std::to_string(i) + "\"") + "\n";
  }
  options.accepted = {sha256_hex(test::replaced(bad, "\"y\"", "\"y149\""))};
  const Records most = read_records(many, "a.jsonl", options);
  CHECK(most.accepted.size() == 1);
  CHECK(most.rejected == 149);
  options.list_all = true;
  CHECK(read_records(many, "a.jsonl", options).diagnostics.size() == 149);
}

TEST_CASE("what rests on the records alone does not change with a family of no concern") {
  std::vector<NamedText> families = test::shipped_families();
  NamedText other = *std::ranges::find_if(
      families, [](const NamedText& f) { return has(f.text, "\"plover-2\""); });
  other.name = "other.json";
  other.text = test::replaced(other.text, "\"plover-2\"", "\"heron-9\"");
  families.push_back(other);
  const Result<Knowledge> wider = load_knowledge(test::shipped_rules(), families);
  INFO(complaints(wider.diagnostics));
  REQUIRE(wider.value);
  const Grader grader(*wider.value);
  for (const History& unit : intake()) {
    CHECK(to_json(grader.report(unit)) == to_json(test::shipped_grader().report(unit)));
  }
}

}  // namespace
}  // namespace dryshaft
