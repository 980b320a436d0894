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

}  // namespace
}  // namespace dryshaft
