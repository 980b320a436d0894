// What is written of a recording: for people, for programs, for a record.
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <nlohmann/json.hpp>

#include "noise_samples.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using nlohmann::json;
using test::plain_sheet;
using test::rich_sheet;

std::string golden(const std::string& name) {
  return test::read_file(std::string(DRYSHAFT_TESTS_DIR) + "/expected/" + name);
}

std::string first_line(const NoiseSheet& sheet) {
  TextStyle style;
  style.width = 200;
  const std::string text = noise_to_text(sheet, style);
  return text.substr(0, text.find('\n'));
}

// The line that begins with a label, at a width at which it is not broken.
std::string line_of(const NoiseSheet& sheet, const std::string& label) {
  TextStyle style;
  style.width = 400;
  const std::string text = noise_to_text(sheet, style);
  const std::size_t at = text.find("\n" + label);
  REQUIRE(at != std::string::npos);
  return text.substr(at + 1, text.find('\n', at + 1) - at - 1);
}

TEST_CASE("whole reports on recordings, read by eye") {
  CHECK(noise_to_text(rich_sheet(), {}) == golden("noise-rich.txt"));
  CHECK(noise_to_text(plain_sheet(), {}) == golden("noise-plain.txt"));
  CHECK(noise_to_markdown(rich_sheet()) == golden("noise-rich.md"));
  CHECK(noise_to_json(rich_sheet()) == golden("noise-rich.json"));
}

TEST_CASE("the answer comes first, in plain words") {
  NoiseSheet sheet = plain_sheet();
  CHECK(first_line(sheet) == "The inner race of rear fits, very clearly.");
  sheet.report.named[0].confidence = 0.75;
  CHECK(first_line(sheet) == "The inner race of rear fits, clearly.");
  sheet.report.named[0].confidence = 0.52;
  CHECK(first_line(sheet) == "The inner race of rear fits, faintly.");
  sheet.report.named[0].part.clear();
  CHECK(first_line(sheet) == "The inner race of the bearing fits, faintly.");
  sheet.report.named.clear();
  CHECK(first_line(sheet) == "No line is clear enough to name a part.");
  sheet.report.speed.alternatives_rpm = {3020, 4100};
  CHECK(first_line(sheet) == "No part is named: the recording leaves its speed open.");

  sheet = rich_sheet();
  CHECK(
      first_line(sheet) ==
      "Either the outer race of gear input bearing, motor end, or the outer race of rotor bearing, "
      "gear end: they fit equally well, very clearly; also the gear mesh of gear stage 1.");
  const PartKind others[] = {{"rotor", NoiseKind::shaft},
                             {"motor, poles", NoiseKind::electrical},
                             {"wheel and tyre", NoiseKind::wheel}};
  const char* words[] = {"The rotor itself fits, very clearly.",
                         "The electrical tone (motor, poles) fits, very clearly.",
                         "The wheel or tyre fits, very clearly."};
  for (std::size_t i = 0; i < 3; ++i) {
    NoiseSheet one = plain_sheet();
    static_cast<PartKind&>(one.report.named[0]) = others[i];
    CHECK(first_line(one) == words[i]);
  }
  sheet = plain_sheet();
  for (int i = 0; i < 4; ++i) {
    sheet.report.named.push_back(
        test::attribution("b" + std::to_string(i), NoiseKind::cage, 0.4, 0.4));
  }
  CHECK(first_line(sheet) ==
        "The inner race of rear fits, very clearly; also the cage of b0, the cage of b1 and 2 "
        "more.");
}

TEST_CASE("the speed that was used, and how it is known") {
  NoiseSheet sheet = plain_sheet();
  NoiseSpeed& s = sheet.report.speed;
  CHECK(line_of(sheet, "Speed") ==
        "Speed     1,620 rpm of the shaft, as given; confirmed by 5 lines.");
  s.shaft_lines = 1;
  CHECK(line_of(sheet, "Speed") ==
        "Speed     1,620 rpm of the shaft, as given; confirmed by 1 line.");
  s.shaft_lines = 0;
  CHECK(line_of(sheet, "Speed") ==
        "Speed     1,620 rpm of the shaft, as given; confirmed by no line.");
  s.shaft_lines = 4;
  s.used_rpm = 1597;
  s.uncertainty = 0.004;
  CHECK(line_of(sheet, "Speed") ==
        "Speed     1,597 rpm of the shaft, confirmed by 4 lines; given was 1,620 rpm, 1.4 % more; "
        "it may be off by 0.4 % either way.");
  s.shaft_lines = 1;
  CHECK(test::has(line_of(sheet, "Speed"), "confirmed by 1 line;"));
  sheet.report.plain_bearings = false;
  // A drive unit's own lines bear a right speed out: without any, nothing is named for certain.
  s.shaft_lines = 0;
  CHECK(test::has(line_of(sheet, "Speed"),
                  "1,597 rpm of the rotor, confirmed by no line; given was"));
  CHECK(first_line(sheet) == "The inner race of rear would fit, if the speed is right.");
  CHECK(
      test::has(line_of(sheet, "How sure"), "Vehicle, tyre or unit may differ from those given."));
  s = NoiseSpeed{};
  s.shaft_lines = 6;
  s.used_rpm = 4301;
  s.lowest_rpm = 1650;
  s.highest_rpm = 7205;
  CHECK(line_of(sheet, "Speed") ==
        "Speed     1,650 to 7,205 rpm of the rotor, 4,301 on average, estimated from 6 lines.");
  s.alternatives_rpm = {3020, 8600};
  CHECK(line_of(sheet, "Speed") ==
        "Speed     1,650 to 7,205 rpm of the rotor, 4,301 on average, estimated from 6 lines. The "
        "lines fit nearly as well at 3,020 or 8,600 rpm on average. Give the speed to decide.");
  s = NoiseSpeed{};
  CHECK(line_of(sheet, "Speed") == "Speed     Not given, and not found in the recording.");
}

TEST_CASE("how sure, in recordings") {
  NoiseSheet sheet = plain_sheet();
  sheet.report.named.clear();
  sheet.report.false_alarm = 1e-9;
  const std::pair<double, const char*> rows[] = {
      {0.7, "most recordings"},         {0.35, "1 of 3 recordings"},
      {0.0213, "1 of 47 recordings"},   {0.00123, "1 of 810 recordings"},
      {2e-5, "1 of 50,000 recordings"}, {1e-7, "fewer than 1 of 1,000,000 recordings"}};
  for (const auto& [p, words] : rows) {
    sheet.report.considered[0].p_value = p;
    CHECK(line_of(sheet, "How sure") ==
          "How sure  Nearest was the outer race of rear: noise alone does as well in " +
              std::string(words) + ". The lack of a clear line does not prove that all is good.");
  }
}

// --------------------------------------------------------------- for programs

void each_number(const json& value, const std::function<void(double)>& look) {
  if (value.is_number()) {
    look(value.get<double>());
  } else if (value.is_structured()) {
    for (const json& item : value) {
      each_number(item, look);
    }
  }
}

TEST_CASE("every number of a report is finite, whatever the analysis gave") {
  NoiseSheet sheet = rich_sheet();
  const double bad[] = {std::numeric_limits<double>::quiet_NaN(),
                        std::numeric_limits<double>::infinity(),
                        -std::numeric_limits<double>::infinity()};
  for (const double x : bad) {
    NoiseReport& r = sheet.report;
    r.rate = r.seconds = r.false_alarm = x;
    r.speed.given_rpm = r.speed.used_rpm = r.speed.highest_rpm = r.speed.uncertainty = x;
    r.speed.track[0].rpm = x;
    Attribution& a = r.named[0];
    a.expected_order = a.found_order = a.depth = a.level_db = a.p_value = a.confidence = x;
    a.band_low_hz = a.band_high_hz = a.share = x;
    r.lines[0].order = r.lines[0].hz = r.lines[0].level_db = x;
    r.loads[0].level_db[0] = x;
    r.order_spectrum.level_db[10] = static_cast<float>(x);
    r.map.level_db[3][5] = static_cast<float>(x);
    const std::string text = noise_to_json(sheet);
    CHECK(text.find("nan") == std::string::npos);
    CHECK(text.find("inf") == std::string::npos);
    each_number(json::parse(text), [](double number) { CHECK(std::isfinite(number)); });
    const std::string page = noise_to_html(std::span(&sheet, 1));
    for (const char* word : {"\"nan", " nan ", "Lnan", "inf ", "-nan"}) {
      CHECK(page.find(word) == std::string::npos);
    }
  }
}

TEST_CASE("lines that are there, but name nothing") {
  NoiseSheet sheet = plain_sheet();
  Attribution cage = test::attribution("rear", NoiseKind::cage, 0.4, 0.4);
  cage.confidence = 0.3;
  cage.depth = 0.21;
  sheet.report.named.clear();
  sheet.report.considered.push_back(cage);
  CHECK(line_of(sheet, "How sure") ==
        "How sure  Nearest was the cage of rear: lines are there, but too faint to name it. The "
        "lack of a clear line does not prove that all is good.");
}

TEST_CASE("what is left open, and why") {
  NoiseSheet sheet = plain_sheet();
  sheet.report.left_open = LeftOpen::lines_everywhere;
  sheet.report.decoys = 0.984375;
  sheet.report.name_nothing();
  CHECK(sheet.report.named.empty());
  CHECK(sheet.report.considered.size() == 2);
  CHECK(first_line(sheet) ==
        "No part is named: the recording has lines that fit nearly everything.");
  CHECK(line_of(sheet, "How sure") ==
        "How sure  A part would be named at 98 % of orders that belong to no part: such lines "
        "identify no part. Slow clicks make them, such as those of a flat spot on a tyre, and so "
        "do hums with many multiples.");
  CHECK(json::parse(noise_to_json(sheet))["left_open"] == "lines-everywhere");
  sheet.report.left_open = LeftOpen::repeats;
  CHECK(first_line(sheet) == "No part is named: the recording repeats itself exactly.");
  CHECK(line_of(sheet, "How sure") ==
        "How sure  The recording repeats itself sample for sample. A looped clip or a signal "
        "generator does that; a machine does not. Its lines are those of the loop.");
  CHECK(json::parse(noise_to_json(sheet))["left_open"] == "repeats");
  // Nothing of it goes into a record, not even that nothing was found.
  NoiseReport everything = rich_sheet().report;
  everything.left_open = LeftOpen::lines_everywhere;
  const RecordingFindings found =
      recording_findings(everything, *test::shipped().family("plover-2").machine);
  CHECK_FALSE(found.rotor_bearing);
  CHECK_FALSE(found.gear_bearing);
  CHECK_FALSE(found.other);
  CHECK_FALSE(found.pattern);
}

TEST_CASE("members of dryshaft-noise/1") {
  const json rich = json::parse(noise_to_json(rich_sheet()));
  CHECK(rich["format"] == "dryshaft-noise/1");
  CHECK(rich["clear"] == true);
  CHECK(rich["attributions"][0]["kind"] == "outer-race");
  CHECK(rich["attributions"][1]["band_hz"].is_null());
  CHECK(rich["element_line"] == "twice the spin frequency");
  CHECK(rich["loads"][0]["coasting_db"].is_null());
  CHECK(rich["speed"]["basis"] == "marks");
  // A constant speed is its own lowest and highest; a very small chance keeps its digits.
  const json plain = json::parse(noise_to_json(plain_sheet()));
  CHECK(plain["speed"]["rpm"] == json({{"mean", 1620.2}, {"lowest", 1620.2}, {"highest", 1620.2}}));
  CHECK(plain["attributions"][0]["p_value"] == 3e-9);
  CHECK(plain["attributions"][0]["share"].is_null());
  CHECK(plain["pattern"].is_null());
  CHECK(plain["left_open"].is_null());
  NoiseSheet none = plain_sheet();
  none.report.named.clear();
  CHECK(json::parse(noise_to_json(none))["clear"] == false);
}

TEST_CASE("hostile names are harmless in every format") {
  NoiseSheet sheet = plain_sheet();
  sheet.source = "</script><script>alert(1)</script>\x1b[2J\xFF.wav";
  sheet.report.named[0].part = "\"><img src=x onerror=alert(1)>";
  sheet.held_against = sheet.report.named[0].part;
  const std::string text = noise_to_json(sheet);
  CHECK(json::parse(text)["attributions"][0]["part"] == sheet.report.named[0].part);
  CHECK(text.find('\x1b') == std::string::npos);
  CHECK(noise_to_text(sheet, {}).find('\x1b') == std::string::npos);
  const std::string page = noise_to_html(std::span(&sheet, 1));
  CHECK(page.find("<script") == std::string::npos);
  CHECK(page.find("<img") == std::string::npos);
}

TEST_CASE("a page draws the map and the spectra, and stays small") {
  NoiseSheet sheet = rich_sheet();
  const std::string page = noise_to_html(std::span(&sheet, 1));
  CHECK(page == noise_to_html(std::span(&sheet, 1)));
  CHECK(page.size() < 200000);
  CHECK(page.find("<h2>Order map</h2>") != std::string::npos);
  CHECK(page.find("<h2>Order spectrum</h2>") != std::string::npos);
  CHECK(page.find("<h2>Envelope spectrum, 3,000 to 6,000 Hz</h2>") != std::string::npos);
  CHECK(page.find(">A×4</text>") != std::string::npos);
  // Nothing to draw: no picture, and no empty frame.
  sheet = plain_sheet();
  CHECK(noise_to_html(std::span(&sheet, 1)).find("<svg") == std::string::npos);
  // The largest map: noise in every cell.
  sheet = rich_sheet();
  sheet.report.map.level_db.assign(256, {});
  sheet.report.map.seconds.clear();
  unsigned seed = 1;
  for (std::size_t i = 0; i < 256; ++i) {
    sheet.report.map.seconds.push_back(static_cast<double>(i));
    for (int k = 0; k < 2000; ++k) {
      seed = seed * 1664525U + 1013904223U;
      sheet.report.map.level_db[i].push_back(static_cast<float>(seed >> 16U) / 2000);
    }
  }
  CHECK(noise_to_html(std::span(&sheet, 1)).size() < 400000);
}

// --------------------------------------------------------------- for a record

using Words = std::array<std::optional<std::string_view>, 4>;
Words words_of(const NoiseReport& report, const Machine& machine) {
  const RecordingFindings f = recording_findings(report, machine);
  return {f.rotor_bearing, f.gear_bearing, f.other, f.pattern};
}

TEST_CASE("what a record takes over from a recording") {
  const auto nothing = std::nullopt;
  Machine machine;
  machine.rotor_bearings = {{"rotor a", 8, 9, 46, 0}, {"rotor b", 9, 9, 52, 0}};
  machine.gear_bearings = {{"gear a", 9, 8, 44, 0}};
  const auto named = [](const char* part, NoiseKind kind, std::vector<PartKind> shared = {}) {
    Attribution a = test::attribution(part, kind, 3, 3);
    a.shared_with = std::move(shared);
    return a;
  };
  NoiseReport r;
  r.speed.basis = SpeedBasis::constant;
  CHECK(words_of(r, machine) == Words{"none", "none", "none", nothing});

  r.named = {named("rotor b", NoiseKind::inner_race)};
  CHECK(words_of(r, machine) == Words{"clear", "none", "none", nothing});
  // Which of the rotor's bearings it is does not matter here.
  r.named[0].shared_with = {{"rotor a", NoiseKind::outer_race}};
  CHECK(words_of(r, machine) == Words{"clear", "none", "none", nothing});
  r.named[0].shared_with = {{"gear a", NoiseKind::outer_race}};
  CHECK(words_of(r, machine) == Words{"shared", "shared", "none", nothing});
  r.named[0].shared_with = {{"motor, poles", NoiseKind::electrical}};
  CHECK(words_of(r, machine) == Words{"shared", "none", "none", nothing});
  // One clear line outweighs one that is shared.
  r.named.push_back(named("rotor a", NoiseKind::cage));
  CHECK(words_of(r, machine) == Words{"clear", "none", "none", nothing});

  r.pattern = PatternFound{DamagePattern::washboard, ""};
  CHECK(words_of(r, machine) == Words{"clear", "none", "none", "washboard"});
  r.pattern->pattern = DamagePattern::single_defect;
  CHECK(words_of(r, machine) == Words{"clear", "none", "none", "single-defect"});
  r.pattern->pattern = DamagePattern::unclear;
  CHECK(words_of(r, machine) == Words{"clear", "none", "none", nothing});

  r.pattern = PatternFound{DamagePattern::washboard, ""};
  r.named = {named("gear stage 1", NoiseKind::mesh), named("wheel", NoiseKind::wheel)};
  CHECK(words_of(r, machine) == Words{"none", "none", "mesh", nothing});
  // A tone that may be a bearing's must not speak against the bearing.
  r.named = {named("motor, poles", NoiseKind::electrical, {{"gear a", NoiseKind::element}})};
  CHECK(words_of(r, machine) == Words{"none", "shared", nothing, "washboard"});
  r.named = {named("rotor", NoiseKind::shaft)};
  CHECK(words_of(r, machine) == Words{"none", "none", "none", nothing});

  // What the machine's data do not know was not listened for.
  machine.rotor_bearings.clear();
  CHECK(words_of(r, machine) == Words{nothing, "none", "none", nothing});
  // An open speed says nothing at all.
  r.speed.alternatives_rpm = {3000};
  CHECK(words_of(r, machine) == Words{nothing, nothing, nothing, nothing});
  r.speed = NoiseSpeed{};
  CHECK(words_of(r, machine) == Words{nothing, nothing, nothing, nothing});
}

}  // namespace
}  // namespace dryshaft
