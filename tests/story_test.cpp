#include "decide/story.hpp"

#include <catch2/catch.hpp>
#include <cmath>

#include "support.hpp"

namespace dryshaft {
namespace {

using test::dry_and;
using test::record_text;
using test::report_on;
using test::shipped;

const Model& model() { return test::shipped_model(); }
History unit_of(const std::string& records) { return test::history_of(records); }

double began(const std::string& records) {
  const Report r = report_on(records);
  REQUIRE_FALSE(r.history.compared.empty());
  REQUIRE(r.history.compared.front().began.has_value());
  return *r.history.compared.front().began;
}

// The same question asked the long way: every state of the process at the earlier look by itself,
// what it becomes, and how likely that makes the later look.
double began_by_paths(const Model& model, const Case& then, const Case& now) {
  const Belief before = model.infer(then).belief;
  const auto sound = [](std::size_t core) { return core == 0; };
  double began = 0;
  double all = 0;
  for (std::size_t core = 0; core < kCores; ++core) {
    for (std::size_t r = 0; r < kRests; ++r) {
      Belief one{};
      one.at[core][r] = 1;
      model.life().drive(one, clock_of(then), clock_of(now));
      const Belief like = model.likelihood(now.level);
      for (std::size_t later = 0; later < kCores; ++later) {
        for (std::size_t q = 0; q < kRests; ++q) {
          const double p = before.at[core][r] * one.at[later][q] * like.at[later][q];
          all += p;
          began += sound(core) && !sound(later) ? p : 0;
        }
      }
    }
  }
  return began / all;
}

constexpr const char* kWetNow =
    R"("odometer_km":101000,"port":{"checked":true,"fluid":"droplets","fluid_kind":"coolant",)"
    R"("dried_residue":true,"corrosion":"light","debris":"fine"},"noise":{"present":true})";

TEST_CASE("a development: what began since is the sum over all paths", "[story]") {
  const std::string records = record_text(dry_and(R"("odometer_km":90000)"), "", "2024-03-02") +
                              record_text(kWetNow, "", "2025-03-02");
  const History unit = unit_of(records);
  const Presentation then = present(unit, 1, shipped(), days_from_date(2024, 3, 2));
  const Presentation now = present(unit, 2, shipped(), days_from_date(2025, 3, 2));
  CHECK(std::abs(began(records) - began_by_paths(model(), then.facts, now.facts)) < 1e-9);
}

TEST_CASE("a development needs news, time and no repair", "[story]") {
  const std::string dry = record_text(dry_and(R"("odometer_km":90000)"), "", "2024-03-02");
  CHECK(began(dry + record_text(dry_and(R"("odometer_km":101000)"), "", "2025-03-02")) < 0.01);
  const double wet = began(dry + record_text(kWetNow, "", "2025-03-02"));
  CHECK(wet > 0.5);
  // The longer ago the dry check, the likelier the leak is new.
  const std::string dry_early = record_text(dry_and(R"("odometer_km":20000)"), "", "2019-03-02");
  CHECK(began(dry_early + record_text(kWetNow, "", "2025-03-02")) > wet);
  // What was wet before has not begun since.
  CHECK(began(record_text(kWetNow, "", "2025-03-02") + record_text(kWetNow, "", "2025-03-09")) <
        0.05);
}

TEST_CASE("a repair begins the story anew", "[story]") {
  const std::string wet = record_text(kWetNow, "", "2024-03-02");
  const std::string unit = R"("seal_renewed_odometer_km":102000)";
  const std::string after =
      record_text(dry_and(R"("odometer_km":110000,"noise":{"present":false})"), unit, "2024-09-02");
  const Report r = report_on(wet + after);
  // A new seal mends neither bearings nor winding, and nobody says that they are well.
  CHECK(r.grade == Grade::B);
  REQUIRE(r.history.events.size() == 1);
  CHECK(r.history.events[0].id == "seal-renewed");
  CHECK(r.history.events[0].odometer_km == 102000);
  CHECK(r.history.events[0].date == "2024-09-02");
  CHECK(r.history.compared.at(0).reading == "repaired");
  CHECK_FALSE(r.history.compared.at(0).began.has_value());
  CHECK(r.history.change.ends_with(
      "Rotor shaft seal replaced in between, so wear counts anew, and earlier findings at the "
      "port no longer count"));
  const std::string bypassed = R"("rotor_cooling":"bypassed")";
  const Report dry =
      report_on(wet + record_text(dry_and(R"("odometer_km":110000)"), bypassed, "2024-09-02"));
  CHECK(dry.history.change.ends_with(
      "Rotor circuit bypassed in between, so that leak path is gone, and earlier findings at the "
      "port no longer count"));
  const Report later =
      report_on(wet + after + record_text(dry_and(R"("odometer_km":120000)"), unit, "2025-02-02") +
                record_text(dry_and(R"("odometer_km":125000)"), unit, "2025-08-02"));
  REQUIRE(later.history.compared.size() == 2);
  CHECK(later.history.compared[0].with == "2025-02-02");
  CHECK(later.history.compared[1].with == "2024-09-02");
  CHECK(later.history.compared[1].since_what == "last-repair");
  CHECK(later.history.compared[1].reading == "within-evidence");
}

TEST_CASE("what a weekly look asks for: worse since, and due", "[story]") {
  const Report r = report_on(record_text(dry_and(R"("odometer_km":90000)"), "", "2024-03-02") +
                             record_text(kWetNow, "", "2025-03-02"));
  const auto day = [](std::string_view text) { return *parse_date(text); };
  CHECK(grade_on(r, day("2024-03-01")) == std::nullopt);
  CHECK(grade_on(r, day("2024-03-02")) == Grade::A);
  CHECK(grade_on(r, day("2025-03-01")) == Grade::A);
  CHECK(grade_on(r, day("2025-03-02")) == r.grade);
  CHECK(is_wanted(r, {}));
  CHECK(is_wanted(r, {.worse_since = day("2025-03-01"), .due_by_date = {}, .due_by_km = {}}));
  CHECK_FALSE(is_wanted(r, {.worse_since = day("2025-03-02"), .due_by_date = {}, .due_by_km = {}}));
  // What is new is among what got worse where it is no good.
  REQUIRE(r.grade == Grade::D);
  CHECK(is_wanted(r, {.worse_since = day("2024-03-01"), .due_by_date = {}, .due_by_km = {}}));
  CHECK(was(r, day("2024-03-01")) == "new");
  CHECK(was(r, day("2025-03-01")) == "A");

  const Report dry = report_on(record_text(dry_and(R"("odometer_km":90000)"), "", "2024-03-02"));
  REQUIRE(dry.recheck.due_km.has_value());
  const int due = day(dry.recheck.due_date);
  CHECK(*dry.recheck.due_km == 90000 + *dry.recheck.km);
  CHECK(due == day("2024-03-02") + static_cast<int>(*dry.recheck.days));
  CHECK(is_wanted(dry, {.worse_since = {}, .due_by_date = due, .due_by_km = {}}));
  CHECK_FALSE(is_wanted(dry, {.worse_since = {}, .due_by_date = due - 1, .due_by_km = {}}));
  CHECK(is_wanted(dry, {.worse_since = {}, .due_by_date = {}, .due_by_km = dry.recheck.due_km}));
  CHECK_FALSE(
      is_wanted(dry, {.worse_since = {}, .due_by_date = {}, .due_by_km = *dry.recheck.due_km - 1}));
  // No reading: due at any. Nothing due: chosen all the same, for nobody knows.
  const Report unread = report_on(record_text(dry_and(""), "", "2024-03-02"));
  CHECK(is_wanted(unread, {.worse_since = {}, .due_by_date = {}, .due_by_km = 1}));
  const Report open = report_on(record_text("", "", "2024-03-02"));
  const Wanted before{.worse_since = day("2024-03-01"), .due_by_date = {}, .due_by_km = {}};
  CHECK(dry.grade == Grade::A);
  CHECK_FALSE(is_wanted(dry, before));
  CHECK(open.grade == Grade::U);
  CHECK(is_wanted(open, before));
  const Report hazard =
      report_on(record_text(R"("odometer_km":90000,"rotation":"seized")", "", "2024-03-02"));
  CHECK(hazard.recheck.due_date.empty());
  CHECK(hazard.due.front().action == "stop-driving");
  CHECK(is_wanted(hazard, {.worse_since = {}, .due_by_date = day("2024-03-02"), .due_by_km = {}}));
  CHECK(is_wanted(hazard, {.worse_since = {}, .due_by_date = {}, .due_by_km = 90000}));
  CHECK(is_wanted({}, {.worse_since = {}, .due_by_date = 0, .due_by_km = 1}));
}

}  // namespace
}  // namespace dryshaft
