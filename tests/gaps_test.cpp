// What mutation testing showed that no other test looked at.
#include <algorithm>
#include <catch2/catch.hpp>
#include <string>

#include "support.hpp"

namespace dryshaft {
namespace {

using test::record_text;
using test::report_on;

bool warns(const Report& report, std::string_view part) {
  return std::ranges::any_of(report.warnings,
                             [&](const std::string& w) { return test::has(w, part); });
}

TEST_CASE("an inspection dated after the day it is judged on is warned of") {
  const std::string record = record_text(test::dry_and(""));
  const auto on = [](std::string_view day) {
    AssessOptions options;
    options.today = parse_date(day);
    return options;
  };
  CHECK(warns(report_on(record, on("2026-03-01")), "is dated later than the day it is judged on"));
  CHECK_FALSE(warns(report_on(record, on("2026-03-02")), "is dated later"));
}

TEST_CASE("how sure names every grade, the best as well") {
  const std::vector<Model> varied = variations(test::shipped(), 8);
  AssessOptions options;
  options.variations = &varied;
  const Report report =
      report_on(record_text(test::dry_and(R"("noise":{"present":false},"odometer_km":9000)"),
                            R"("rotor_bearings":"hybrid","gear_bearings":"hybrid")"),
                options);
  REQUIRE(report.grade == Grade::A);
  REQUIRE(report.how_sure.has_value());
  CHECK(report.how_sure->grades.front() == Grade::A);
}

TEST_CASE("a refractometer reading above 60 % is not unique") {
  const auto reading = [](std::string_view percent) {
    return report_on(record_text(R"("port":{"checked":true,"fluid":"film","glycol_percent":)" +
                                 std::string(percent) + "}"));
  };
  CHECK(warns(reading("61"), "is not unique"));
  CHECK_FALSE(warns(reading("60"), "is not unique"));
}

TEST_CASE("what was found before this unit went in says nothing of it") {
  const auto fitted_at = [](std::string_view km) {
    const std::string unit = "\"fitted_odometer_km\":" + std::string(km);
    return report_on(record_text(R"("odometer_km":50000,"port":{"checked":true,"fluid":"pooled",)"
                                 R"("fluid_kind":"coolant"})",
                                 unit, "2025-03-02") +
                     record_text(test::dry_and("\"odometer_km\":60000"), unit));
  };
  CHECK(test::probability(fitted_at("40000"), "seal-leak") >
        2 * test::probability(fitted_at("55000"), "seal-leak"));
}

TEST_CASE("a port check without an odometer reading ages by its days") {
  const std::string check = record_text(test::kDry, "", "2026-02-26");
  const std::string then = record_text(R"("odometer_km":150000,"noise":{"present":false})");
  CHECK(report_on(check + then).grade != Grade::U);
}

TEST_CASE("months have a hyphen and two digits") {
  for (const std::string built :
       {"2017/05", "20170-5", "2017-5", "2017-055", "2017-13", "2017-00"}) {
    const Records read = read_records(record_text("", "\"built\":\"" + built + "\""), "a", {});
    INFO(built);
    REQUIRE(read.diagnostics.size() == 1);
    CHECK(read.diagnostics.front().code == "bad-date");
  }
}

TEST_CASE("an owner hears the worst reasons alone") {
  const Report report =
      report_on(record_text(R"("rotation":"seized","port":{"checked":true,"fluid":"film",)"
                            R"("fluid_kind":"coolant","dried_residue":true})"),
                {.audience = Audience::owner, .today = std::nullopt});
  REQUIRE(report.grade == Grade::D);
  const auto floor = [&](std::string_view id) {
    const auto found = std::ranges::find(report.floors, id, &FloorHeld::rule);
    REQUIRE(found != report.floors.end());
    return *found;
  };
  const std::string& why = *std::ranges::find_if(
      report.owner_summary, [](const std::string& text) { return text.starts_with("Why: "); });
  CHECK(test::has(why, floor("floor-seized").because));
  CHECK(floor("floor-residue").grade == Grade::B);
  CHECK_FALSE(test::has(why, floor("floor-residue").because));
}

TEST_CASE("liquid that would be found counts as found today") {
  // An old dry look leaves the grade open; a film would be news of this day.
  Case c = empty_case();
  c.seal_km = 60000;
  c.seal_years = 4;
  c.set(Finding::port_fluid, 0);
  c.set(Situation::port_check, PortCheck::stale);
  c.port_weight = 0.1;
  const Knowledge& k = test::shipped();
  const Verdict v = judge(k, test::shipped_model(), c);
  REQUIRE(v.grade == Grade::U);
  const auto changes = would_change(k, test::shipped_model(), c, v);
  const auto film = std::ranges::find_if(changes, [](const WouldChange& w) {
    return w.findings.size() == 1 && w.findings.front().second == "film";
  });
  REQUIRE(film != changes.end());
  CHECK(film->grade == Grade::C);
  c.set(Finding::port_fluid, 1);
  CHECK(judge(k, test::shipped_model(), c).grade == Grade::C);
}

TEST_CASE("insulation judged at an assumed voltage is warned of") {
  const std::string measured =
      record_text(R"("insulation":{"resistance_mohm":2,"winding_temp_c":20})");
  CHECK(warns(report_on(measured),
              "the system voltage is not known: the insulation is judged at 800 V"));
  CHECK_FALSE(warns(
      report_on(record_text(R"("insulation":{"resistance_mohm":2})", R"("system_voltage_v":400)")),
      "the system voltage is not known"));
}

TEST_CASE("earlier coolant is told of only where no liquid is found today") {
  const std::string wet = record_text(
      R"("port":{"checked":true,"fluid":"film","fluid_kind":"coolant"})", "", "2025-03-02");
  const auto earlier = [](const Report& r) {
    return std::ranges::any_of(r.observed,
                               [](const Observation& o) { return o.finding == "earlier-coolant"; });
  };
  CHECK(earlier(report_on(wet + record_text(test::dry_and("")))));
  CHECK_FALSE(earlier(report_on(
      wet + record_text(R"("port":{"checked":true,"fluid":"film","fluid_kind":"coolant"})"))));
}

}  // namespace
}  // namespace dryshaft
