// What mutation testing showed that no other test looked at.
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <string>
#include <tuple>

#include "base/draw.hpp"
#include "base/odds.hpp"
#include "decide/story.hpp"
#include "dryshaft/onset.hpp"
#include "families.hpp"
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
  CHECK(warns(report_on(record, on("2026-03-01")), "test:1 is dated 2026-03-02, too late"));
  CHECK(report_on(record, on("2026-03-01")).grade == Grade::U);
  CHECK_FALSE(warns(report_on(record, on("2026-03-02")), "is dated"));
}

TEST_CASE("how sure names every grade, the best as well") {
  const Report report = test::shipped_grader().report(
      test::history_of(record_text(test::dry_and(R"("noise":{"present":false},"odometer_km":9000)"),
                                   R"("rotor_bearings":"hybrid","gear_bearings":"hybrid")")));
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
  const std::string page = to_text(report, {.width = 1000});
  CHECK(floor("floor-seized").grade == Grade::D);
  CHECK(test::has(page, report.floors.front().because));
  CHECK(floor("floor-residue").grade == Grade::B);
  CHECK_FALSE(test::has(page, floor("floor-residue").because));
}

TEST_CASE("liquid that would be found counts as found today") {
  // An old dry look leaves the grade open; a film would be news of this day.
  Case c = empty_case();
  c.seal_km = 60000;
  c.seal_years = 4;
  c.set(Finding::port_fluid, 0);
  c.set(Situation::port_check, PortCheck::stale);
  c.earlier = 1U << static_cast<unsigned>(Finding::port_fluid);
  const Knowledge& k = test::shipped();
  const Verdict v = judge(k, test::shipped_model(), c);
  REQUIRE(v.grade == Grade::U);
  const auto changes = would_change(k, test::shipped_model(), c, test::shipped_model().prior(c), v);
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

TEST_CASE("of outlooks that are as bad, the first by its words gives its reason") {
  const Report both = report_on(record_text(
      R"("rotation":"seized","port":{"checked":true,"fluid":"film","fluid_kind":"coolant"},)"
      R"("faults":{"isolation":"active"})"));
  CHECK(both.rebuild_outlook == "doubtful");
  const auto reason = [](std::string_view id) {
    return std::ranges::find(test::shipped().outlooks, id, &OutlookRule::id)->reason;
  };
  CHECK(both.rebuild_outlook_text == reason("outlook-seized"));
  const Report dry =
      report_on(record_text(R"("rotation":"seized","faults":{"isolation":"stored"})"));
  CHECK(dry.rebuild_outlook_text == reason("outlook-seized"));
  const Report rusty = report_on(record_text(
      R"("port":{"checked":true,"fluid":"none","corrosion":"heavy"},"faults":{"isolation":"stored"})"));
  CHECK(rusty.rebuild_outlook == "major-parts");
  CHECK(rusty.rebuild_outlook_text == reason("outlook-rust"));
}

TEST_CASE("what an owner tells of a recording names the bearings") {
  const Report report =
      report_on(record_text(R"("noise":{"present":true},"recording":{"rotor_bearing":"clear"})"),
                {.audience = Audience::owner, .today = std::nullopt});
  CHECK(test::has(report.tell, "rotor bearings by recording (clear lines of this bearing)"));
}

TEST_CASE("an old dry look is looked at anew, as if there had been none") {
  Case never = empty_case();
  never.seal_km = 120000;
  never.seal_years = 6;
  Case old = never;
  for (const Finding f : {Finding::port_fluid, Finding::port_residue, Finding::port_rust}) {
    old.set(f, 0);
  }
  old.set(Situation::port_check, PortCheck::stale);
  for (const Finding f : {Finding::port_fluid, Finding::port_residue, Finding::port_rust}) {
    old.earlier |= 1U << static_cast<unsigned>(f);
  }
  const auto gain = [](const Case& c) {
    const Knowledge& k = test::shipped();
    const Model& model = test::shipped_model();
    const auto checks =
        next_checks(k, model, c, model.prior(c), judge(k, model, c), Audience::technician);
    return std::ranges::find(checks, "check-port", &NextCheck::id)->gain_bits;
  };
  CHECK(gain(old) == Approx(gain(never)).epsilon(1e-12));
}

TEST_CASE("a unit's story has it fitted and opened") {
  const std::string opened =
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","fitted_odometer_km":80000},)"
      R"("inspection":{"date":"2026-03-02","odometer_km":95000},)"
      R"("teardown":{"date":"2026-03-04","seal-leak":"absent"}})"
      "\n";
  const Report report = report_on(
      record_text(R"("odometer_km":82000)", R"("fitted_odometer_km":80000)", "2025-03-02") +
      opened);
  REQUIRE(report.history.events.size() == 2);
  CHECK(report.history.events[0].id == "unit-fitted");
  CHECK(report.history.events[0].odometer_km == 80000);
  CHECK(report.history.events[0].date == "2025-03-02");
  CHECK(report.history.events[1].id == "unit-opened");
  CHECK(report.history.events[1].date == "2026-03-04");
  // From the beginning is no event.
  CHECK(report_on(record_text(R"("odometer_km":82000)", R"("fitted_odometer_km":0)"))
            .history.events.empty());
}

TEST_CASE("a look at the port without its fluid is warned of, a noise without a word is none") {
  CHECK(warns(report_on(record_text(R"("port":{"checked":true,"corrosion":"none"})")),
              "the port was checked, but whether it was dry is not on record"));
  CHECK_FALSE(warns(report_on(record_text(test::dry_and(""))), "whether it was dry"));
  const auto contradicts = [](std::string_view noise) {
    return test::has_id(report_on(record_text(noise)).contradictions, "noise-described-but-absent");
  };
  CHECK(contradicts(R"("noise":{"present":false,"level":"loud"})"));
  CHECK_FALSE(contradicts(R"("noise":{"level":"loud"})"));
  for (const std::string_view said :
       {R"("pitch_follows_speed":true)", R"("changes_with_steering_or_surface":true)",
        R"("onset":"gradual")", R"("onset_odometer_km":1000)", R"("when":["steady"])"}) {
    CAPTURE(said);
    CHECK(contradicts(R"("noise":{"present":false,)" + std::string(said) + "}"));
  }
}

TEST_CASE("without wear-out, only a seal that was bad when it was new leaks") {
  Knowledge k = test::shipped();
  k.causes[0].wear.reset();
  const Model model(k);
  Case c = empty_case();
  c.set(Situation::rotor_cooling, Cooling::wet);
  const double base = k.causes[0].base[0];
  CHECK(chances(model.prior(c).belief).cause[0] == Approx(base).epsilon(1e-12));
  c.seal_km = 290000;
  c.seal_years = 14;
  CHECK(chances(model.prior(c).belief).cause[0] == Approx(base).epsilon(1e-9));
  CHECK(model.life().wear_hazard(290000, 14) == 0);
}

TEST_CASE("a look that is not on record in full is why a unit is B") {
  const Report report = report_on(record_text(
      R"("odometer_km":9000,"port":{"checked":true,"fluid":"none"},"noise":{"present":false})"));
  REQUIRE(report.grade == Grade::B);
  CHECK(report.reasons == std::vector{test::shipped().settings.unsound_reason});
}

TEST_CASE("evidence names a link of its finding, that of its cause where there is one") {
  const Knowledge& k = test::shipped();
  for (const FindingSpec& f : findings()) {
    for (const CauseSpec& c : causes()) {
      const int carrier = test::shipped_model().carrier(f.id, c.id);
      const Link* own = nullptr;
      const Link* first = nullptr;
      for (const Link& link : k.links) {
        if (link.finding == f.id) {
          own = link.cause == c.id ? &link : own;
          first = first == nullptr || link.cause < first->cause ? &link : first;
        }
      }
      REQUIRE((carrier < 0) == (first == nullptr));
      if (carrier >= 0) {
        REQUIRE(&k.links[static_cast<std::size_t>(carrier)] == (own == nullptr ? first : own));
      }
    }
  }
}

TEST_CASE("by a shop's own onset, a recheck comes just before damage gets likely") {
  Knowledge k = test::shipped();
  std::vector<Diagnostic> complaints;
  REQUIRE(use_onset(k,
                    {"onset.json", R"({"format":"dryshaft-onset/1","units":42,"grader":)"
                                   R"({"axis":"km","hazard":[[1000,1e-6],[100000,0.02],)"
                                   R"([300000,0.9]]}})"},
                    complaints));
  const Model model(k);
  const Report report =
      assess(test::history_of(record_text(test::dry_and(R"("odometer_km":140000)"),
                                          R"("built":"2020-03","rotor_cooling":"wet")")),
             k, model, {});
  const Settings& s = k.settings;
  REQUIRE(report.recheck.km.has_value());
  REQUIRE(*report.recheck.km > s.recheck_least_km);
  Case seen = empty_case();
  for (const Finding f : {Finding::port_fluid, Finding::port_residue, Finding::port_rust}) {
    seen.set(f, 0);
  }
  seen.set(Situation::rotor_cooling, Cooling::wet);
  seen.seal_km = 140000;
  seen.seal_years = 6;
  const Clock at = clock_of(seen);
  const Belief now = model.infer(seen).belief;
  const auto damage = [&](double km) {
    Belief then = now;
    model.life().drive(then, at, at.later(km, km / s.km_per_year));
    return (chances(then).damaged - chances(now).damaged) / (1 - chances(now).damaged);
  };
  CHECK(damage(*report.recheck.km) <= s.damage_target);
  CHECK(damage(*report.recheck.km + 500) > s.damage_target);
}

TEST_CASE("a voltage that drives no car lets no winding pass") {
  const auto shorted = [](std::string_view volt) {
    return report_on(record_text(R"("insulation":{"resistance_mohm":0.0001})",
                                 R"("system_voltage_v":)" + std::string(volt)));
  };
  for (const std::string_view volt : {"1e-300", "0.4", "60"}) {
    const Report r = shorted(volt);
    CHECK(r.grade == Grade::D);
    CHECK(warns(r, "drives no car (high voltage begins above 60 V): it is not used"));
    CHECK(warns(r, "the system voltage is not known: the insulation is judged at 800 V"));
  }
  CHECK_FALSE(warns(shorted("61"), "drives no car"));
  CHECK(warns(shorted("0.4"), "a system voltage of 0.4 V drives no car"));
}

TEST_CASE("liquid of a kind that nobody told counts as earlier coolant, water does not") {
  const auto earlier = [](std::string_view port) {
    const Report r =
        report_on(record_text("\"port\":{" + std::string(port) + "}", "", "2025-03-02") +
                  record_text(test::dry_and("")));
    return std::ranges::any_of(r.observed,
                               [](const Observation& o) { return o.finding == "earlier-coolant"; });
  };
  CHECK(earlier(R"("checked":true,"fluid":"film")"));
  CHECK(earlier(R"("checked":true,"fluid":"film","fluid_kind":"emulsion")"));
  CHECK_FALSE(earlier(R"("checked":true,"fluid":"film","fluid_kind":"gear-oil")"));
}

TEST_CASE("a unit that went in after it was inspected has no distance on record") {
  const Report r =
      report_on(record_text(R"("odometer_km":50000)", R"("fitted_odometer_km":60000)"));
  CHECK(test::has_id(r.contradictions, "fitted-after-inspection"));
  CHECK_FALSE(r.seal_km.has_value());
  CHECK(warns(r, "the distance on the seal is not known"));
}

TEST_CASE("a reading that is only assumed contradicts no repair") {
  for (const auto& [field, id, said] :
       {std::tuple("seal_renewed_odometer_km", "renewed-after-inspection", "the seal was replaced"),
        std::tuple("fitted_odometer_km", "fitted-after-inspection", "the unit was fitted")}) {
    const auto later = [&, field = field](int km) {
      return report_on(
          record_text(R"("odometer_km":50000)", "", "2025-09-02") +
          record_text("", "\"" + std::string(field) + "\":" + std::to_string(km), "2026-03-02"));
    };
    const std::string beyond =
        std::string(said) + " at a reading beyond the one that is assumed for this inspection";
    const Report after = later(90000);
    CHECK_FALSE(test::has_id(after.contradictions, id));
    CHECK(warns(after, beyond));
    CHECK_FALSE(after.seal_km.has_value());
    CHECK(warns(after, "the distance on the seal is not known"));
    CHECK_FALSE(warns(later(51000), beyond));
    CHECK_FALSE(warns(later(51000), "the distance on the seal is not known"));
  }
}

TEST_CASE("what the periods of a family do not agree on is not known") {
  Knowledge k = test::shipped();
  Family& family = *std::ranges::find(k.families, "dunlin-1", &Family::id);
  family.periods = {{.from = {},
                     .before = 2018 * 12,
                     .cooling = Cooling::wet,
                     .rotor = Bearings::steel,
                     .gear = Bearings::steel},
                    {.from = 2018 * 12,
                     .before = {},
                     .cooling = Cooling::factory_dry,
                     .rotor = Bearings::hybrid,
                     .gear = Bearings::steel}};
  const auto facts = [&](std::string_view built) {
    return present(
               test::history_of(record_text("", "\"family\":\"dunlin-1\"" + std::string(built))), 1,
               k, 0)
        .facts;
  };
  const Case open = facts("");
  CHECK(open.at(Situation::rotor_cooling) == static_cast<unsigned>(Cooling::unknown));
  CHECK(open.at(Situation::rotor_bearings) == static_cast<unsigned>(Bearings::unknown));
  CHECK(open.at(Situation::gear_bearings) == static_cast<unsigned>(Bearings::steel));
  const Case late = facts(R"(,"built":"2019-05")");
  CHECK(late.at(Situation::rotor_cooling) == static_cast<unsigned>(Cooling::factory_dry));
  CHECK(late.at(Situation::rotor_bearings) == static_cast<unsigned>(Bearings::hybrid));
}

TEST_CASE("the only odometer reading may be the first") {
  const std::string records = record_text(R"("odometer_km":90000)", "", "2025-03-02") +
                              record_text(R"("noise":{"present":false})");
  CHECK(warns(report_on(records), "the odometer was not recorded this time, or is not used"));
  const Case c =
      present(test::history_of(records), 2, test::shipped(), parse_date("2026-03-02").value())
          .facts;
  CHECK(c.seal_km == Approx(90000 + test::shipped().settings.km_per_year).epsilon(0.01));
}

TEST_CASE("what changed leaves out what was looked at first and found harmless") {
  const auto text = [](std::string_view now) {
    return report_on(record_text(R"("odometer_km":90000,"port":{"checked":true,"fluid":"none"})",
                                 "", "2025-03-02") +
                     record_text(R"("odometer_km":99000,"port":{"checked":true,"fluid":"none",)" +
                                 std::string(now) + "}"))
        .history.compared.at(0)
        .text;
  };
  CHECK_FALSE(test::has(text(R"("corrosion":"none")"), "; changed: "));
  CHECK(test::has(text(R"("corrosion":"heavy")"), "; changed: "));
}

TEST_CASE("what began in between is named as it is probable") {
  const auto by = [](std::string_view km) {
    return report_on(record_text(test::dry_and(R"("odometer_km":30000,"noise":{"present":false})"),
                                 "", "2025-03-02") +
                     record_text(R"("odometer_km":)" + std::string(km) +
                                 R"(,"port":{"checked":true,"fluid":"pooled",)"
                                 R"("fluid_kind":"coolant"})"))
        .history.compared.at(0);
  };
  const Comparison sure = by("190000");
  CHECK(sure.began.value() >= 0.9);
  CHECK(sure.reading == "development");
  CHECK(test::has(sure.text, "A real development"));
  const Comparison likely = by("40000");
  CHECK(likely.began.value() < 0.9);
  CHECK(likely.reading != "development");
}

// Rules of which every value is published.
Knowledge published_rules() {
  Knowledge k = test::shipped();
  const auto cite = [](auto& items) {
    for (auto& item : items) {
      item.source.mark = SourceMark::published;
    }
  };
  cite(k.causes);
  cite(k.stages);
  cite(k.harms);
  cite(k.broken);
  cite(k.links);
  cite(k.backgrounds);
  cite(k.setting_items);
  return k;
}

Case film_at(double km) {
  Case c = empty_case();
  c.seal_km = km;
  c.seal_years = km / 20000;
  c.set(Situation::rotor_cooling, Cooling::wet);
  c.set(Situation::port_check, PortCheck::fresh);
  c.set(Finding::port_fluid, 1);
  return c;
}

TEST_CASE("only judgement is varied") {
  const Knowledge k = published_rules();
  const Model model(k);
  CHECK(judged_values(k).values.empty());
  const Case c = film_at(90000);
  const Prior prior = model.prior(c);
  const HowSure sure = how_sure(k, model, judged_values(k), c, prior, judge(k, model, c));
  CHECK(sure.risk_low == Approx(sure.risk_high));
  CHECK(sure.grade_holds == Approx(1));
  // As shipped, wear-out and what a leak shows carry most of a film.
  const Knowledge& shipped = test::shipped();
  const Model& of_shipped = test::shipped_model();
  const HowSure all = how_sure(shipped, of_shipped, judged_values(shipped), c, of_shipped.prior(c),
                               judge(shipped, of_shipped, c));
  CHECK(all.risk_low < judge(shipped, of_shipped, c).posterior.risk);
  CHECK(all.risk_high > judge(shipped, of_shipped, c).posterior.risk);
  REQUIRE(all.rests_on.size() == 3);
  CHECK(std::ranges::any_of(all.rests_on, [](const RestsOn& r) { return r.value == "wear"; }));
}

TEST_CASE("how sure: nine in ten sets of values drawn at once lie within the range") {
  Knowledge k = published_rules();
  const auto judge_it = [](auto& item) { item.source.mark = SourceMark::from_memory; };
  Link& link = *std::ranges::find(k.links, "fluid-from-seal-leak", &Link::id);
  Background& background = *std::ranges::find(k.backgrounds, "fluid-anyway", &Background::id);
  judge_it(k.causes[0]);
  judge_it(k.stages[0]);
  judge_it(k.harms[0]);
  judge_it(link);
  judge_it(background);
  const Model model(k);
  const Case c = film_at(150000);
  const HowSure sure = how_sure(k, model, judged_values(k), c, model.prior(c), judge(k, model, c));
  Knowledge moved = k;
  Link& moved_link = *std::ranges::find(moved.links, link.id, &Link::id);
  Background& moved_background = *std::ranges::find(moved.backgrounds, background.id, &Item::id);
  constexpr int kSets = 2000;
  int below = 0;
  int above = 0;
  for (int n = 0; n < kSets; ++n) {
    std::uint64_t count = 0;
    const auto factor = [&] {
      const double even =
          std::ldexp(
              static_cast<double>(draw::mixed(77 + static_cast<std::uint64_t>(n), ++count) >> 11U),
              -52) -
          1;
      return std::exp(std::log(k.settings.memory_band) * even);
    };
    const auto shift = [&](auto& values, const auto& from) {
      const double by = factor();
      std::ranges::transform(from, values.begin(), [&](double p) { return with_odds(p, by); });
    };
    shift(moved.causes[0].base, k.causes[0].base);
    const double scale = std::pow(factor(), -1 / k.causes[0].wear->shape);
    moved.causes[0].wear->scale_km = k.causes[0].wear->scale_km * scale;
    moved.causes[0].wear->scale_years = k.causes[0].wear->scale_years * scale;
    moved.stages[0].reaches = with_odds(k.stages[0].reaches, factor());
    moved.stages[0].lasts_km = k.stages[0].lasts_km * factor();
    const double after = factor();
    for (std::size_t s = 0; s < kSealStages; ++s) {
      moved.harms[0].after_km.at(s) = k.harms[0].after_km.at(s) * after;
    }
    moved.harms[0].breakdown_km = k.harms[0].breakdown_km * factor();
    shift(moved_link.shows, link.shows);
    shift(moved_background.anyway, background.anyway);
    const double risk = Model(moved).infer(c).risk;
    below += risk < sure.risk_low ? 1 : 0;
    above += risk > sure.risk_high ? 1 : 0;
  }
  // One in twenty on either side, as far as moves add up and so many draws can tell.
  CHECK(below == Approx(kSets / 20).margin(kSets / 50));
  CHECK(above == Approx(kSets / 20).margin(kSets / 50));
}

TEST_CASE("hints name only what may stand there") {
  const auto hint = [](std::string_view inspection, std::string_view unit = "") {
    const Records read = read_records(record_text(inspection, unit), "a", test::kFamilies);
    REQUIRE(read.diagnostics.size() == 1);
    return read.diagnostics.front().hint;
  };
  CHECK(hint(R"("rotation":"unknwn")") == "did you mean \"unknown\"?");
  CHECK(hint(R"("noise":{"when":["unknwn"]})").empty());
  CHECK(hint("", R"("built":"2025-02-28")") == "leave the day out");
  CHECK(hint("", R"("built":"2025-02-30")").empty());
  const auto dated = [](std::string_view date) {
    const Records read = read_records(record_text("", "", date), "a", {});
    REQUIRE(read.diagnostics.size() == 1);
    return read.diagnostics.front().hint;
  };
  CHECK(dated("2025-02-30") == "2025-02 has 28 days");
  CHECK(dated("2025-02-3x").empty());
  CHECK(dated("2025-02-301").empty());
}

TEST_CASE("the thermosetting rule has its second slope from 40 deg C on") {
  CHECK(insulation_thermosetting_factor(40) == Approx(1).epsilon(1e-12));
  CHECK(insulation_thermosetting_factor(40.5) ==
        Approx(std::exp(-4230 * (1 / 313.5 - 1 / 313.0))).epsilon(1e-12));
  CHECK(insulation_thermosetting_factor(39.5) ==
        Approx(std::exp(-1245 * (1 / 312.5 - 1 / 313.0))).epsilon(1e-12));
}

}  // namespace
}  // namespace dryshaft
