// Intervals of awkward histories, each rule with a case; judgement and data
// joined; rechecks; onset files and what they do to a report.
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <optional>
#include <set>

#include "dryshaft/onset.hpp"
#include "families.hpp"
#include "support.hpp"

using dryshaft::kNoEnd;
using dryshaft::OnsetAxis;
using dryshaft::OnsetData;
using dryshaft::OnsetInterval;

namespace {

const std::string kDryPort =
    R"("port":{"checked":true,"fluid":"none","dried_residue":false,"corrosion":"none"})";
const std::string kWetPort = R"("port":{"checked":true,"fluid":"film","fluid_kind":"coolant"})";

std::string port_of(const std::string& inside) {
  return R"("port":{"checked":true,)" + inside + "}";
}

// A record of unit u1; `unit` and `more` are further members, or empty.
std::string look(const std::string& date, int km, const std::string& port,
                 const std::string& unit = R"("family":"plover-2")", const std::string& more = "") {
  std::string text = R"({"format":"dryshaft-record/1","unit":{"id":"u1")";
  text += unit.empty() ? "" : "," + unit;
  text += R"(},"inspection":{"date":")" + date + "\"";
  text += km >= 0 ? ",\"odometer_km\":" + std::to_string(km) : "";
  text += port.empty() ? "" : "," + port;
  text += "}" + (more.empty() ? "" : "," + more) + "}\n";
  return text;
}

OnsetData data_of(const std::string& lines, OnsetAxis axis = OnsetAxis::km,
                  std::string_view by = "") {
  auto read = dryshaft::read_records(lines, "r.jsonl", dryshaft::test::kFamilies);
  for (const auto& d : read.diagnostics) {
    UNSCOPED_INFO(dryshaft::to_text(d));
  }
  REQUIRE(read.rejected == 0);
  const auto grouped = dryshaft::group_by_unit(std::move(read.records));
  return dryshaft::onset_intervals(*grouped.value, dryshaft::test::shipped(), axis, by);
}

// "(50000, 90000] " for each interval, then what was left out: "unit factory-dry ".
std::string made(const std::string& lines, OnsetAxis axis = OnsetAxis::km) {
  const OnsetData data = data_of(lines, axis);
  std::string out;
  const auto number = [](double x) {
    std::string text = std::isfinite(x) ? std::to_string(std::round(x * 100) / 100) : "inf";
    while (text.find('.') != std::string::npos && (text.back() == '0' || text.back() == '.')) {
      const bool point = text.back() == '.';
      text.pop_back();
      if (point) {
        break;
      }
    }
    return text;
  };
  for (const OnsetInterval& i : data.intervals) {
    out += "(" + number(i.left) + ", " + number(i.right) + "] ";
  }
  for (const auto& l : data.left_out) {
    CHECK_FALSE(l.reason.empty());
    CHECK(l.unit == "u1");
    CHECK(l.line > 0);
    out += l.what + " " + l.id + " ";
  }
  return out;
}

}  // namespace

TEST_CASE("Looks make intervals") {
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, kWetPort)) ==
        "(50000, 90000] ");
  CHECK(made(look("2020-01-01", 50000, kWetPort)) == "(0, 50000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 70000, kDryPort)) ==
        "(70000, inf] ");
  // The unit that is first seen late and dry: it came on record by being looked at.
  CHECK(made(look("2020-01-01", 150000, kDryPort)) == "(150000, inf] ");
  // Dry after wet with no renewal is no all-clear.
  CHECK(made(look("2020-01-01", 50000, kWetPort) + look("2021-01-01", 70000, kDryPort)) ==
        "(0, 50000] ");
  // Dry and wet at the same reading: the dry look before it counts.
  CHECK(made(look("2020-01-01", 30000, kDryPort) + look("2020-02-01", 50000, kDryPort) +
             look("2020-02-02", 50000, kWetPort)) == "(30000, 50000] ");
}

TEST_CASE("What counts as wet, as dry, and as nothing") {
  const auto second = [](const std::string& port) {
    return made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, port));
  };
  const std::string wet = "(50000, 90000] ";
  const std::string dry = "(90000, inf] ";
  const std::string nothing = "(50000, inf] ";
  CHECK(second(port_of(R"("fluid":"droplets")")) == wet);
  CHECK(second(port_of(R"("fluid":"pooled","fluid_kind":"emulsion")")) == wet);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"unknown")")) == wet);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"water")")) == wet);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"water","glycol_percent":3)")) == wet);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"water","glycol_percent":0)")) == nothing);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"gear-oil")")) == nothing);
  const std::string residue_alone = nothing + "look residue-alone ";
  CHECK(second(port_of(R"("fluid":"none","dried_residue":true)")) == residue_alone);
  CHECK(second(port_of(R"("fluid":"none","corrosion":"light")")) == nothing);
  CHECK(second(port_of(R"("fluid":"none","corrosion":"heavy")")) == wet);
  CHECK(second(port_of(R"("fluid":"none")")) == dry);
  CHECK(second(R"("port":{"checked":false})") == nothing);
  CHECK(second(R"("port":{"checked":true,"corrosion":"none"})") == nothing);
  CHECK(second(R"("port":{"fluid":"none"})") == nothing);  // nobody says that it was checked
  CHECK(second(R"("port":{"fluid":"film"})") == wet);
  CHECK(second("") == nothing);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"gear-oil","dried_residue":true)")) ==
        residue_alone);
  CHECK(second(port_of(R"("fluid":"film","dried_residue":true)")) == wet);
  // Contradictions: the worse reading, as in a verdict.
  CHECK(second(port_of(R"("fluid":"none","fluid_kind":"coolant")")) == wet);
  CHECK(second(port_of(R"("fluid":"none","fluid_kind":"water")")) == wet);
  CHECK(second(port_of(R"("fluid":"none","glycol_percent":30)")) == wet);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"coolant","glycol_percent":0)")) == wet);
  CHECK(second(port_of(R"("fluid":"film","fluid_kind":"gear-oil","glycol_percent":30)")) == wet);
  CHECK(second(port_of(R"("fluid":"none","fluid_kind":"gear-oil")")) == nothing);
  CHECK(second(port_of(R"("fluid":"none","fluid_kind":"water","glycol_percent":0)")) == nothing);
  const auto worse = [](const std::string& port) {
    return data_of(look("2020-01-01", 50000, port)).intervals.at(0).worse_reading;
  };
  CHECK(worse(port_of(R"("fluid":"none","glycol_percent":30)")));
  CHECK_FALSE(worse(kWetPort));
  CHECK(made(look("2020-01-01", 50000, port_of(R"("fluid":"none","dried_residue":true)"))) ==
        "look residue-alone ");
}

TEST_CASE("Opening the unit is a look") {
  const std::string unit = R"("family":"plover-2")";
  const auto opened = [&](const std::string& port, const std::string& seal) {
    return made(look("2020-01-01", 50000, kDryPort) +
                look("2021-01-01", 90000, port, unit,
                     R"("teardown":{"date":"2021-01-02","seal-leak":")" + seal + "\"}"));
  };
  CHECK(opened(kDryPort, "present") == "(50000, 90000] ");  // the check had missed it
  CHECK(opened("", "present") == "(50000, 90000] ");
  CHECK(opened("", "absent") == "(90000, inf] ");
  CHECK(opened(kDryPort, "not-examined") == "(90000, inf] ");
  CHECK(opened(kWetPort, "absent") == "(50000, 90000] ");  // the worse reading
  CHECK(opened(port_of(R"("fluid":"none","dried_residue":true)"), "absent") == "(90000, inf] ");
  // Rusted rotor bearings tell of coolant.
  CHECK(opened(kDryPort, R"(absent","rotor-bearing-corrosion":"present)") == "(50000, 90000] ");
  CHECK(opened("", R"(not-examined","rotor-bearing-corrosion":"present)") == "(50000, 90000] ");
}

TEST_CASE("A dry look after marks is no all-clear where a leak follows") {
  for (const std::string marks :
       {R"("fluid":"none","corrosion":"light")", R"("fluid":"none","debris":"chips")",
        R"("fluid":"none","dried_residue":true)"}) {
    CAPTURE(marks);
    const std::string told = marks.find("residue") == marks.npos ? "" : "look residue-alone ";
    CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, port_of(marks)) +
               look("2022-01-01", 130000, kDryPort)) == "(130000, inf] " + told);
    // A leak that is found later still has the dry look before the marks; a new seal starts anew.
    CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, port_of(marks)) +
               look("2022-01-01", 130000, kDryPort) + look("2023-01-01", 150000, kWetPort)) ==
          "(50000, 150000] " + told + "look dry-after-marks ");
    CHECK(made(look("2021-01-01", 90000, port_of(marks)) +
               look("2022-01-01", 130000, kDryPort,
                    R"("family":"plover-2","seal_renewed_odometer_km":100000)")) ==
          "(30000, inf] " + told);
  }
  CHECK(made(look("2021-01-01", 90000, port_of(R"("corrosion":"light")"))) == "unit nothing-told ");
  CHECK(made(look("2020-01-01", 50000, port_of(R"("fluid":"film","fluid_kind":"gear-oil")")) +
             look("2021-01-01", 90000, kDryPort)) == "(90000, inf] ");
}

TEST_CASE("What a look says of a leak is what a verdict takes from it") {
  // Each way to fill in the port, alone and after a dry look: where the verdict has coolant at the
  // port, the onset has a leak by then; a look that is dry for the onset is one for the verdict.
  const auto& k = dryshaft::test::shipped();
  for (const char* fluid : {"", R"("fluid":"none")", R"("fluid":"film")"}) {
    for (const char* kind : {"", R"("fluid_kind":"gear-oil")", R"("fluid_kind":"water")",
                             R"("fluid_kind":"emulsion")", R"("fluid_kind":"coolant")"}) {
      for (const char* glycol : {"", R"("glycol_percent":0)", R"("glycol_percent":30)"}) {
        for (const char* residue : {"", R"("dried_residue":false)", R"("dried_residue":true)"}) {
          for (const char* checked : {"", R"("checked":true)"}) {
            std::string port;
            for (const std::string part : {checked, fluid, kind, glycol, residue}) {
              port += (port.empty() || part.empty() ? "" : ",") + part;
            }
            CAPTURE(port);
            const std::string text = look("2020-01-01", 50000, "\"port\":{" + port + "}");
            const OnsetData data = data_of(text);
            auto read = dryshaft::read_records(text, "r.jsonl", dryshaft::test::kFamilies);
            const auto grouped = dryshaft::group_by_unit(std::move(read.records));
            const auto facts = dryshaft::present(grouped.value->front(), 1, k, 0).facts;
            using dryshaft::Finding;
            const int kind_level = facts.at(Finding::port_fluid_kind);
            const auto& kinds = dryshaft::spec(Finding::port_fluid_kind).levels;
            const bool coolant =
                facts.at(Finding::port_fluid) > 0 &&
                (kind_level < 0 || kinds[static_cast<std::size_t>(kind_level)].id == "coolant" ||
                 kinds[static_cast<std::size_t>(kind_level)].id == "emulsion");
            // Residue alone is a trace for the verdict; here it does not say whose.
            const bool leak = coolant;
            const bool dry =
                !leak && facts.at(Finding::port_residue) <= 0 && facts.at(Finding::port_fluid) == 0;
            CHECK(data.intervals.size() == (leak || dry ? 1 : 0));
            if (!data.intervals.empty()) {
              CHECK(std::isfinite(data.intervals[0].right) == leak);
            }
          }
        }
      }
    }
  }
}

TEST_CASE("A renewed seal starts anew, a bypassed circuit leaves") {
  const std::string renewed = R"("family":"plover-2","seal_renewed_odometer_km":90000)";
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, kWetPort, renewed) +
             look("2022-01-01", 130000, kDryPort, renewed)) == "(50000, 90000] (40000, inf] ");
  // Told of later: by its reading, an earlier look still was at the old seal.
  CHECK(made(look("2020-01-01", 80000, kDryPort) + look("2021-01-01", 120000, kWetPort, renewed)) ==
        "(80000, inf] (0, 30000] ");
  // Dry at the very reading of the renewal may be either seal.
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, kDryPort, renewed)) ==
        "(50000, inf] look dry-at-renewal ");
  const std::string again = R"("family":"plover-2","seal_renewed_odometer_km":150000)";
  CHECK(made(look("2020-01-01", 90000, kWetPort, renewed) +
             look("2021-01-01", 150000, kWetPort, again) +
             look("2022-01-01", 160000, kDryPort, again)) == "(0, 90000] (0, 60000] (10000, inf] ");
  const std::string bypassed = R"("family":"plover-2","rotor_cooling":"bypassed")";
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, kDryPort, bypassed)) ==
        "(50000, inf] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, kWetPort) +
             look("2022-01-01", 91000, kDryPort, bypassed)) == "(50000, 90000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 90000, kWetPort, bypassed)) ==
        "(50000, 90000] ");  // the bypass may be its cure
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 60000, "", bypassed) +
             look("2022-01-01", 90000, kWetPort, bypassed)) == "(50000, 90000] ");
  // A unit fitted used counts from its fitting.
  CHECK(made(look("2020-01-01", 120000, kDryPort,
                  R"("family":"plover-2","fitted_odometer_km":70000)")) == "(50000, inf] ");
}

TEST_CASE("Units, seals and looks that are left out") {
  const std::string plover = R"("family":"plover-2")";
  CHECK(made(look("2022-01-01", 50000, kDryPort, R"("family":"dunlin-1","built":"2021-10")")) ==
        "unit factory-dry ");
  CHECK(made(look("2022-01-01", 50000, kDryPort, R"("family":"dunlin-1","built":"2021-03")")) ==
        "(50000, inf] ");
  CHECK(made(look("2022-01-01", 50000, kDryPort, R"("rotor_cooling":"factory-dry")")) ==
        "unit factory-dry ");
  CHECK(made(look("2022-01-01", 50000, kDryPort,
                  R"("family":"plover-2","built":"2018-01","rotor_cooling":"factory-dry")")) ==
        "unit cooling-against-family ");
  // A leak counts all the same.
  CHECK(made(look("2021-01-01", 50000, kDryPort, R"("rotor_cooling":"factory-dry")") +
             look("2022-01-01", 90000, kWetPort, R"("rotor_cooling":"factory-dry")")) ==
        "(50000, 90000] ");
  CHECK(made(look("2021-01-01", 50000, kDryPort) +
             look("2022-01-01", 90000, kWetPort,
                  R"("family":"plover-2","built":"2018-01","rotor_cooling":"factory-dry")")) ==
        "(50000, 90000] ");
  CHECK(made(look("2020-01-01", 50000, "")) == "unit never-looked-at ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("seal_renewed_odometer_km":60000)")) ==
        "unit renewed-after-inspection ");
  // Where its seals stood is not known: the distance is what a verdict assumes.
  CHECK(made(look("2020-01-01", 50000, kWetPort, R"("seal_renewed_odometer_km":60000)")) ==
        "(0, 160000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("fitted_odometer_km":60000)")) ==
        "unit fitted-after-inspection ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("seal_renewed_odometer_km":40000)") +
             look("2021-01-01", 60000, kDryPort, R"("seal_renewed_odometer_km":30000)")) ==
        "unit renewals-disagree ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("seal_renewed_odometer_km":40000)") +
             look("2021-01-01", 60000, kWetPort, R"("seal_renewed_odometer_km":30000)")) ==
        "(0, 30000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("fitted_odometer_km":40000)") +
             look("2021-01-01", 60000, kDryPort, R"("fitted_odometer_km":30000)")) ==
        "unit fitted-twice ");
  CHECK(made(look("2020-01-01", 50000, kWetPort, R"("fitted_odometer_km":40000)") +
             look("2021-01-01", 60000, kDryPort, R"("fitted_odometer_km":30000)")) ==
        "(0, 10000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("rotor_cooling":"bypassed")") +
             look("2021-01-01", 60000, kDryPort, R"("rotor_cooling":"wet")")) ==
        "look bypass-undone ");
  CHECK(made(look("2020-01-01", 50000, kDryPort, R"("rotor_cooling":"bypassed")") +
             look("2021-01-01", 60000, kWetPort, R"("rotor_cooling":"wet")")) == "(0, 60000] ");
  CHECK(made(look("2020-01-01", 30000, kDryPort) +
             look("2021-01-01", 60000, kDryPort, R"("fitted_odometer_km":50000)")) ==
        "(10000, inf] look before-fitting ");
  CHECK(made(look("2020-01-01", 0, kDryPort)) == "seal only-new ");
  CHECK(made(look("2020-01-01", 0, kWetPort)) == "seal leak-when-new ");
  // No odometer: a dry look has no place; a wet one is bounded by the next reading.
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", -1, kDryPort)) ==
        "(50000, inf] look odometer-missing ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", -1, kWetPort) +
             look("2021-06-01", 95000, "")) == "(50000, 95000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", -1, kWetPort)) ==
        "(50000, 70041.07] ");  // a verdict takes 20,000 km a year
  CHECK(made(look("2021-01-01", -1, kWetPort)) == "(0, 160000] ");
  // By when the seal was out, and which seal it was: the newest that it can have been.
  const std::string then = R"("family":"plover-2","seal_renewed_odometer_km":90000)";
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", -1, kWetPort) +
             look("2022-01-01", 120000, kDryPort, then)) == "(50000, inf] (0, 30000] ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", -1, kWetPort, then) +
             look("2022-01-01", 120000, kDryPort, then)) == "(50000, 90000] (30000, inf] ");
  CHECK(made(look("2020-01-01", 90000, kDryPort, then) + look("2021-01-01", -1, kWetPort) +
             look("2022-01-01", 120000, kDryPort, then)) == "(0, 30000] look dry-at-renewal ");
  CHECK(made(look("2020-01-01", 50000, kDryPort) + look("2021-01-01", 40000, kDryPort) +
             look("2022-01-01", 90000, kWetPort)) == "(50000, 90000] look odometer-backwards ");
}

TEST_CASE("Intervals of age") {
  const std::string month = R"("family":"plover-2","built":"2015-01")";
  const std::string year = R"("family":"plover-2","built":"2015")";
  // Not earlier than the month's last day for a dry look, its first for a wet one.
  CHECK(made(look("2019-01-01", 50000, kDryPort, month) + look("2021-01-01", -1, kWetPort, month),
             OnsetAxis::years) == "(3.92, 6] ");
  CHECK(made(look("2019-01-01", 50000, kDryPort, year) + look("2021-01-01", 90000, kWetPort, year),
             OnsetAxis::years) == "(3, 6] ");
  CHECK(made(look("2019-01-01", 50000, kDryPort), OnsetAxis::years) == "seal age-not-known ");
  // A renewal has its day where a record has its reading.
  const std::string renewed = R"("built":"2015-01","seal_renewed_odometer_km":90000)";
  CHECK(made(look("2019-01-01", 90000, kWetPort, renewed) +
                 look("2021-01-01", 120000, kDryPort, renewed),
             OnsetAxis::years) == "(0, 4] (2, inf] ");
  CHECK(made(look("2021-01-01", 120000, kDryPort, renewed), OnsetAxis::years) ==
        "seal age-not-known ");
  CHECK(made(look("2019-01-01", 50000, kDryPort, R"("built":"2015-01")") +
                 look("2021-01-01", -1, kDryPort, renewed),
             OnsetAxis::years) == "(3.92, inf] look odometer-missing ");
}

TEST_CASE("Groups of units") {
  const std::string lines =
      look("2020-01-01", 50000, kDryPort,
           R"("family":"plover-2","vehicle":"Tarn","built":"2015-01","x_route":"town")",
           R"("x_shelf":7)");
  const auto group = [&](std::string_view by) {
    return data_of(lines, OnsetAxis::km, by).intervals.at(0).group;
  };
  CHECK(group("family") == "plover-2");
  CHECK(group("vehicle") == "Tarn");
  CHECK(group("rotor_bearings") == "steel");
  CHECK(group("gear_bearings") == "steel");
  CHECK(group("x_route") == "town");
  CHECK(group("x_shelf") == "7");
  CHECK(group("x_other").empty());
}

// ------------------------------------------------------------ judgement joined

TEST_CASE("Without data the joined curve is the judgement") {
  const dryshaft::OnsetPrior prior{2.5, 320000, 0.35, 0.5};
  const auto joined = dryshaft::onset_posterior({}, prior);
  CHECK(joined.checked);
  CHECK(joined.log_evidence == Approx(0).margin(1e-9));
  const auto shape = joined.posterior.shape();
  CHECK(shape.median == Approx(2.5).epsilon(1e-3));
  CHECK(shape.range.low == Approx(2.5 * std::exp(-1.96 * 0.35)).epsilon(5e-3));
  CHECK(shape.range.high == Approx(2.5 * std::exp(1.96 * 0.35)).epsilon(5e-3));
  CHECK(shape.mean == Approx(2.5 * std::exp(0.35 * 0.35 / 2)).epsilon(1e-6));
  CHECK(joined.posterior.scale().mean == Approx(320000 * std::exp(0.5 * 0.5 / 2)).epsilon(1e-6));
}

TEST_CASE("The joined curve by another way of integrating") {
  std::vector<OnsetInterval> rows(3);
  rows[0].left = 60000;
  rows[0].right = 110000;
  rows[1].left = 150000;
  rows[1].count = 5;
  rows[2].right = 200000;
  const dryshaft::OnsetPrior prior{2.5, 320000, 0.35, 0.5};
  const auto joined = dryshaft::onset_posterior(rows, prior);
  CHECK(joined.checked);
  // Midpoints of a plain grid over 7 standard deviations of the judgement.
  double sum = 0;
  double below = 0;
  constexpr int kSteps = 300;
  for (int i = 0; i < kSteps; ++i) {
    for (int j = 0; j < kSteps; ++j) {
      const double u = (i + 0.5) / kSteps * 14 - 7;
      const double v = (j + 0.5) / kSteps * 14 - 7;
      const double shape = prior.shape * std::exp(prior.sd_log_shape * u);
      const double scale = prior.scale * std::exp(prior.sd_log_scale * v);
      const auto survives = [&](double at) { return std::exp(-std::pow(at / scale, shape)); };
      const double like = (survives(60000) - survives(110000)) * std::pow(survives(150000), 5) *
                          (1 - survives(200000));
      const double weight = like * std::exp(-(u * u + v * v) / 2);
      sum += weight;
      below += weight * (1 - survives(120000));
    }
  }
  CHECK(joined.posterior.probability(120000) == Approx(below / sum).epsilon(1e-5));
  CHECK(joined.log_evidence ==
        Approx(std::log(sum * (14.0 / kSteps) * (14.0 / kSteps) / (2 * 3.14159265358979)))
            .epsilon(1e-5));
}

TEST_CASE("Twelve units give a wide answer, many a narrow one, and data outweigh the judgement") {
  std::vector<OnsetInterval> rows(2);
  rows[0].left = 80000;
  rows[0].right = 120000;
  rows[0].count = 3;
  rows[1].left = 120000;
  rows[1].count = 9;
  const dryshaft::OnsetPrior prior{2.5, 320000, 0.35, 0.5};
  const auto few = dryshaft::onset_posterior(rows, prior).posterior.probability_at(120000);
  CHECK(few.range.high - few.range.low > 0.2);
  rows[0].count = 3000;
  rows[1].count = 9000;
  const auto many = dryshaft::onset_posterior(rows, prior).posterior.probability_at(120000);
  CHECK(many.range.high - many.range.low < 0.03);
  CHECK(many.median == Approx(0.25).margin(0.01));
}

TEST_CASE("The widths of the judgement are data, with located errors") {
  const auto good = dryshaft::load_onset_prior(
      {"prior.json", dryshaft::test::read_file(std::filesystem::path(DRYSHAFT_DATA_DIR) / "onset" /
                                               "prior.json")});
  REQUIRE(good.value);
  CHECK(good.value->sd_log_scale == 0.5);
  const auto bad = dryshaft::load_onset_prior(
      {"p.json",
       R"({"format":"dryshaft-onset-prior/1","id":"w","sd_log_shape":0,"sd_log_scale":0.5,"reason":"r","source":"from memory"})"});
  CHECK_FALSE(bad.value);
  REQUIRE(bad.diagnostics.size() == 1);
  CHECK(dryshaft::to_text(bad.diagnostics[0]) ==
        "p.json:1:60: error[out-of-range]: /sd_log_shape is 0\n"
        "  \"sd_log_shape\":0,\"sd_log_scale\":0.5,\"reason\":\"r\",\"source\":\"from memory\"}\n"
        "                 ^\n"
        "  allowed: a number from 0.01 to 3\n");
}

// ------------------------------------------------------------------- rechecks

namespace {

// Thirty seals that began to leak between two looks, and sixty that are dry.
dryshaft::OnsetSheet some_sheet(OnsetAxis axis) {
  const double unit = axis == OnsetAxis::km ? 1 : dryshaft::test::shipped().settings.km_per_year;
  OnsetData data;
  data.axis = axis;
  data.intervals.resize(2);
  data.intervals[0].left = 100000 / unit;
  data.intervals[0].right = 180000 / unit;
  data.intervals[0].count = 30;
  data.intervals[1].left = 150000 / unit;
  data.intervals[1].count = 60;
  data.units = 90;
  const auto widths = dryshaft::load_onset_prior(
      {"prior.json", dryshaft::test::read_file(std::filesystem::path(DRYSHAFT_DATA_DIR) / "onset" /
                                               "prior.json")});
  auto options = dryshaft::onset_options(dryshaft::test::shipped(), axis, widths.value);
  options.resamples = 0;
  dryshaft::OnsetSheet sheet;
  sheet.report = dryshaft::fit_onset(data, options, {});
  return sheet;
}

// Rules and records as `assess --onset FILE` has them.
struct Shop {
  explicit Shop(const dryshaft::OnsetSheet& sheet) {
    std::vector<dryshaft::Diagnostic> complaints;
    REQUIRE(use_onset(k, {"onset.json", onset_to_json(sheet)}, complaints));
  }
  // Days on which a unit that is driven as the rules assume has its looks.
  [[nodiscard]] double next_look(const std::vector<double>& looks) const {
    std::string lines;
    for (const double km : looks) {
      const int day = *dryshaft::parse_date("2000-01-01") +
                      static_cast<int>(std::round(km / k.settings.km_per_year * 365.25));
      lines += look(dryshaft::date_text(day), static_cast<int>(km), kAllDry);
    }
    auto read = dryshaft::read_records(lines, "r.jsonl", dryshaft::test::kFamilies);
    const auto grouped = dryshaft::group_by_unit(std::move(read.records));
    return assess(grouped.value->front(), k, *model, {}).recheck.km.value_or(0);
  }
  static inline const std::string kAllDry =
      port_of(R"("fluid":"none","dried_residue":false,"corrosion":"none","debris":"none")");
  dryshaft::Knowledge k = dryshaft::test::shipped();
  std::optional<dryshaft::Model> model;
};

std::vector<double> every(double step, double until) {
  std::vector<double> looks;
  for (double at = until; at > 0; at -= step) {
    looks.insert(looks.begin(), at);
  }
  return looks.empty() ? std::vector<double>{until} : looks;
}

}  // namespace

TEST_CASE("Next looks are those that assess gives with the fitted file") {
  const auto sheet = some_sheet(OnsetAxis::km);
  Shop shop(sheet);
  shop.model.emplace(shop.k);
  REQUIRE(sheet.report.rechecks.size() == 13);
  std::set<double> different;
  for (const auto& c : sheet.report.rechecks) {
    CAPTURE(c.at);
    CHECK(shop.next_look({c.at}) == c.first);
    CHECK(shop.next_look(every(c.regular, c.at)) >= c.regular);
    if (c.regular < *shop.k.grades[0].recheck_km) {
      const double longer = c.regular + 500;
      CHECK(shop.next_look(every(longer, c.at)) < longer);
    }
    different.insert(c.first);
    different.insert(c.regular);
  }
  CHECK(different.size() > 4);
}

TEST_CASE("Next looks by age are those of a unit driven as the rules assume") {
  const auto sheet = some_sheet(OnsetAxis::years);
  Shop shop(sheet);
  shop.model.emplace(shop.k);
  const double a_year = shop.k.settings.km_per_year;
  REQUIRE(sheet.report.rechecks.size() == 11);
  for (const auto& c : sheet.report.rechecks) {
    CAPTURE(c.at);
    CHECK(shop.next_look({c.at * a_year}) == Approx(c.first * a_year).epsilon(1e-12));
  }
}

TEST_CASE("The recheck table shortens as the seal ages, and looks save units") {
  const auto sheet = some_sheet(OnsetAxis::km);
  const auto& report = sheet.report;
  for (std::size_t i = 1; i < report.rechecks.size(); ++i) {
    const auto& c = report.rechecks[i];
    CHECK(c.first <= report.rechecks[i - 1].first);
    CHECK(c.leak_by > report.rechecks[i - 1].leak_by);
  }
  REQUIRE(report.plan);
  const auto& plan = *report.plan;
  CHECK(plan.damaged < plan.without);
  CHECK(plan.found + plan.damaged <= 100);
  CHECK(plan.checks < 100 * static_cast<double>(plan.looks.size()));
  CHECK(plan.looks.front() == report.rechecks.front().regular);
}

TEST_CASE("Without rules to go by there are no rechecks") {
  auto options = some_sheet(OnsetAxis::km).report.options;
  options.rules.reset();
  OnsetData data;
  data.intervals.resize(1);
  data.intervals[0].left = 100000;
  dryshaft::OnsetSheet sheet;
  sheet.report = dryshaft::fit_onset(data, options, {});
  CHECK(sheet.report.joined);
  CHECK(sheet.report.rechecks.empty());
  CHECK_FALSE(sheet.report.plan);
  CHECK(dryshaft::test::has(onset_to_json(sheet), R"("recheck_rests_on":null,"plan":null)"));
}

// ---------------------------------------------------------------- onset files

TEST_CASE("An onset file takes the place of the rules' wear, and the report says so") {
  using namespace dryshaft;
  const std::string text =
      R"({"format":"dryshaft-onset/1","units":42,"grader":{"axis":"km","hazard":[[1000,1e-6],[100000,0.01],[300000,0.5]]}})";
  Knowledge k = test::shipped();
  std::vector<Diagnostic> complaints;
  REQUIRE(use_onset(k, {"onset.json", text}, complaints));
  CHECK(complaints.empty());
  CHECK(k.rules_sha256 == test::shipped().rules_sha256);
  const Model model(k);
  const Wear& wear = *k.causes[0].wear;
  // At its points, between them straight in logs, beyond them by the last slope; age on top.
  CHECK(model.life().wear_hazard(100000, 0) == Approx(0.01).epsilon(1e-12));
  CHECK(model.life().wear_hazard(std::sqrt(1e8), 0) == Approx(1e-4).epsilon(1e-9));
  CHECK(model.life().wear_hazard(900000, 0) == Approx(25).epsilon(1e-9));
  CHECK(model.life().wear_hazard(0, 10) ==
        Approx(std::pow(10 / wear.scale_years, wear.shape)).epsilon(1e-12));
  CHECK(model.life().wear_hazard(100000, 10) ==
        Approx(0.01 + std::pow(10 / wear.scale_years, wear.shape)).epsilon(1e-12));
  auto read = read_records(look("2024-01-01", 250000, kDryPort), "r.jsonl", test::kFamilies);
  const auto grouped = group_by_unit(std::move(read.records));
  const Report before = assess(grouped.value->front(), test::shipped(), test::shipped_model(), {});
  const Report after = assess(grouped.value->front(), k, model, {});
  CHECK_FALSE(before.onset);
  REQUIRE(after.onset);
  CHECK(after.onset->units == 42);
  CHECK(to_json(before).find("\"onset\"") == std::string::npos);
  CHECK(to_json(after).find("\"onset\":{\"source\":\"onset.json\",\"sha256\":\"" + k.onset->sha256 +
                            "\",\"units\":42,\"by\":\"km\"}") != std::string::npos);
  CHECK(to_text(after, {.full = true}).find("onset.json") != std::string::npos);
}

TEST_CASE("Errors of an onset file are located") {
  using namespace dryshaft;
  const auto errors = [](const std::string& text) {
    Knowledge k = test::shipped();
    std::vector<Diagnostic> complaints;
    CHECK_FALSE(use_onset(k, {"o.json", text}, complaints));
    CHECK_FALSE(k.onset);
    CHECK(k.causes[0].wear->table.empty());
    std::string all;
    for (const Diagnostic& d : complaints) {
      all += to_text(d);
    }
    return all;
  };
  CHECK(errors("{") != "");
  CHECK(errors("[]") != "");
  const std::string head = R"({"format":"dryshaft-onset/1","units":3,"grader":)";
  CHECK(errors(head + "null}") ==
        "o.json:1:49: error[no-grader]: /grader is null\n"
        "  \"grader\":null}\n"
        "           ^\n"
        "  allowed: what fit onset writes from records\n"
        "  hint: fit records, or a table with --over km or --over years\n");
  CHECK(errors(head + R"({"axis":"km","hazard":[[1000,0.1],[2000,0.05]]}})")
            .find("error[not-rising]: /grader/hazard/1/1 is 0.05") != std::string::npos);
  CHECK(errors(head + R"({"axis":"km","hazard":[[1000,0.1],[900,0.2]]}})")
            .find("/grader/hazard/1/0 is 900") != std::string::npos);
  // Numbers that differ, and logs that do not.
  CHECK(errors(head + R"({"axis":"km","hazard":[[900000,0.1],[900000.0000000001,0.2]]}})")
            .find("error[not-rising]: /grader/hazard/1/0 is 900000.0000000001") !=
        std::string::npos);
  CHECK(errors(head + R"({"axis":"km","hazard":[[1000,0.1]]}})")
            .find("an array of at least 2 pairs") != std::string::npos);
  CHECK(errors(head + R"({"axis":"miles","hazard":[[1000,0.1],[2000,0.2]]}})")
            .find("/grader/axis is \"miles\"") != std::string::npos);
  CHECK(errors(head + R"({"axis":"km","hazard":[[1000,-0.1],[2000,0.2]]}})")
            .find("/grader/hazard/0/1 is -0.1") != std::string::npos);
  CHECK(errors(R"({"format":"dryshaft-report/1"})").find("/format is") != std::string::npos);
}
