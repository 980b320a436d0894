// Records: fields, complaints, layouts of a file, the schema.
#include "dryshaft/record.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "base/sha256.hpp"
#include "dryshaft/table.hpp"
#include "families.hpp"
#include "record/pieces.hpp"

namespace dryshaft {
namespace {

using test::kFamilies;

using nlohmann::json;
namespace fs = std::filesystem;

std::string slurp(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  REQUIRE(file.good());
  return {std::istreambuf_iterator<char>(file), {}};
}

std::string all_text(const std::vector<Diagnostic>& diagnostics) {
  std::string out;
  for (const Diagnostic& d : diagnostics) {
    out += to_text(d);
  }
  return out;
}

// A record with more under /unit, under /inspection and beside them.
std::string record(const std::string& unit = "", const std::string& inspection = "",
                   const std::string& rest = "") {
  const auto more = [](const std::string& s) { return s.empty() ? s : "," + s; };
  return R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147")" + more(unit) +
         R"(},"inspection":{"date":"2025-03-01")" + more(inspection) + "}" + more(rest) + "}";
}

Record good(const std::string& text, const ReadOptions& options = kFamilies) {
  Result<Record> read = read_record(text, "a.json", 1, 1, options);
  CHECK(all_text(read.diagnostics).empty());
  REQUIRE(read.value.has_value());
  return *std::move(read.value);
}

// The complaints about a record that is refused.
std::string refusal(const std::string& text, const ReadOptions& options = kFamilies) {
  const Result<Record> read = read_record(text, "a.json", 1, 1, options);
  CHECK_FALSE(read.value.has_value());
  CHECK(read.has_errors());
  return all_text(read.diagnostics);
}

// ----------------------------------------------------------------- values

TEST_CASE("blanks around a unit's id are no part of it") {
  const auto text = [](const std::string& id) {
    return R"({"format":"dryshaft-record/1","unit":{"id":")" + id +
           R"("},"inspection":{"date":"2025-03-01"}})";
  };
  CHECK(good(text(" \\tHL 0147\\n ")).unit_id == "HL 0147");
  // A hard space, one of no width, a byte order mark.
  CHECK(good(text("\\ufeffHL 0147\\u00a0")).unit_id == "HL 0147");
  CHECK(good(text("HL 0147\xE2\x80\x8B")).unit_id == "HL 0147");
  CHECK(refusal(text("\\u200b"))
            .starts_with("a.json:1:44: error[bad-value]: /unit/id is \"\xE2\x80\x8B\"\n"));
  CHECK(refusal(text("unknown\\u3000"))
            .starts_with("a.json:1:44: error[missing-field]: /unit/id is \"unknown"));
  CHECK(refusal(text(" \\t ")) == R"(a.json:1:44: error[bad-value]: /unit/id is "   "
  "id":" \t "},"inspection":{"date":"2025-03-01"}}
       ^
  allowed: 1 to 64 characters
)");
  CHECK(refusal(text("unknown ")) == R"(a.json:1:44: error[missing-field]: /unit/id is "unknown "
  "id":"unknown "},"inspection":{"date":"2025-03-01"}}
       ^
  allowed: a string
  hint: this field must be given
)");
}

TEST_CASE("every field of a record is read") {
  const Record r = good(slurp(fs::path(DRYSHAFT_TESTS_DIR) / "records/good/every-field.json"));
  const auto code = [&](Field field) {
    REQUIRE(r.has(field));
    return spec(field).choices[r.at(field).code].id;
  };
  const auto number = [&](Field field) {
    REQUIRE(r.has(field));
    return r.at(field).number;
  };
  const auto flag = [&](Field field) {
    REQUIRE(r.has(field));
    return r.at(field).code;
  };
  CHECK(r.unit_id == "HL-0147");
  CHECK(r.family == "plover-2");
  CHECK(r.note == "Seal lip worn on one side.\nBearings turned rough by hand.");
  CHECK(number(Field::built) == 2015 * 12 + 10);
  CHECK(r.at(Field::built).code == 0);
  CHECK(code(Field::rotor_bearings) == "steel");
  CHECK(code(Field::gear_bearings) == "steel");
  CHECK(code(Field::rotor_cooling) == "bypassed");
  CHECK(flag(Field::bypass_keeps_crossover) == 1);
  CHECK(number(Field::fitted_odometer_km) == 0);
  CHECK(number(Field::seal_renewed_odometer_km) == Approx(64776.900672));
  CHECK(number(Field::system_voltage_v) == 360);
  CHECK(date_text(static_cast<int>(number(Field::date))) == "2024-02-29");
  CHECK(number(Field::odometer_km) == 131240);
  CHECK(code(Field::by) == "technician");
  CHECK(flag(Field::port_checked) == 1);
  CHECK(code(Field::port_fluid) == "droplets");
  CHECK(code(Field::port_fluid_kind) == "coolant");
  CHECK(flag(Field::port_dried_residue) == 0);
  CHECK(code(Field::port_corrosion) == "light");
  CHECK(code(Field::port_debris) == "fine");
  CHECK(number(Field::port_glycol_percent) == 38);
  CHECK(flag(Field::noise_present) == 1);
  CHECK(code(Field::noise_onset) == "gradual");
  CHECK(number(Field::noise_onset_odometer_km) == 118000);
  CHECK(flag(Field::noise_when) == 0b0011);
  CHECK(flag(Field::noise_pitch_follows_speed) == 1);
  CHECK(code(Field::noise_level) == "clear");
  CHECK(flag(Field::noise_changes_with_steering_or_surface) == 0);
  CHECK(code(Field::recording_rotor_bearing) == "clear");
  CHECK(code(Field::recording_gear_bearing) == "shared");
  CHECK(code(Field::recording_other) == "mesh");
  CHECK(code(Field::recording_pattern) == "washboard");
  CHECK(code(Field::rotation) == "free");
  CHECK(code(Field::fault_isolation) == "none");
  CHECK(flag(Field::fault_shutdown) == 0);
  CHECK(flag(Field::fault_reduced_power) == 0);
  CHECK(number(Field::insulation_resistance_mohm) == 550);
  CHECK(number(Field::insulation_test_voltage_v) == 500);
  CHECK(number(Field::insulation_winding_temp_c) == 21.5);
  CHECK(number(Field::coolant_loss_ml_per_1000km) == 20);
  CHECK(flag(Field::coolant_outside_leak_seen) == 0);
  CHECK(date_text(static_cast<int>(number(Field::teardown_date))) == "2024-03-04");
  CHECK(code(Field::teardown_seal_leak) == "present");
  CHECK(code(Field::teardown_rotor_bearing_corrosion) == "present");
  CHECK(code(Field::teardown_rotor_bearing_erosion) == "absent");
  CHECK_FALSE(r.has(Field::teardown_gear_bearing_erosion));
  CHECK_FALSE(r.has(Field::teardown_insulation_loss));
  CHECK_FALSE(r.has(Field::teardown_outside_noise));
  CHECK(r.own == std::vector<std::pair<std::string, std::string>>{{"/unit/x_shelf", "\"B3\""}});
  CHECK(r.odometer_line == 18);
  CHECK(r.odometer_column == 20);
}

TEST_CASE("a record knows where it comes from") {
  const std::string text = record();
  const Result<Record> read = read_record(" \n\n" + text + "\n", "b.json", 7, 3, {});
  REQUIRE(read.value.has_value());
  CHECK(read.value->source == "b.json");
  CHECK(read.value->line == 9);
  CHECK(read.value->sha256 == sha256_hex(text));
}

TEST_CASE("absent, null and unknown all mean not observed") {
  for (const std::string inspection :
       {"", R"("port":null)", R"("port":"unknown")", R"("port":{})", R"("port":{"fluid":null})",
        R"("port":{"fluid":"unknown"})"}) {
    const Record r = good(record("", inspection));
    for (const FieldSpec& field : fields()) {
      CAPTURE(field.pointer);
      CHECK(r.has(field.id) == field.required);
    }
  }
}

TEST_CASE("miles are turned into kilometres") {
  CHECK(good(record("", R"("odometer_mi":100)")).at(Field::odometer_km).number == 160.9344);
  CHECK(good(record("", R"("odometer_km":null,"odometer_mi":100)")).has(Field::odometer_km));
}

TEST_CASE("a year alone is told from its January") {
  const Record year = good(record(R"("built":"2016")"));
  const Record january = good(record(R"("built":"2016-01")"));
  CHECK(year.at(Field::built).number == january.at(Field::built).number);
  CHECK(year.at(Field::built).code == 1);
  CHECK(january.at(Field::built).code == 0);
}

TEST_CASE("an empty list is an observation: at none of them") {
  const Record r = good(record("", R"("noise":{"when":[]})"));
  CHECK(r.has(Field::noise_when));
  CHECK(r.at(Field::noise_when).code == 0);
}

TEST_CASE("the shop's own keys are kept at every level, as written") {
  const Record r =
      good(record(R"("x_a": {"b":  [1]} )", R"("port":{"x_b/c":"unknown"})", "\"x_\":1"));
  CHECK(r.own ==
        std::vector<std::pair<std::string, std::string>>{{"/unit/x_a", R"({"b":  [1]})"},
                                                         {"/inspection/port/x_b~1c", "\"unknown\""},
                                                         {"/x_", "1"}});
}

// ------------------------------------------------------------- complaints

TEST_CASE("each thing that can be wrong has its complaint") {
  struct Row {
    std::string text;
    std::string_view complaint;
  };
  const Row row = GENERATE(values<Row>({
      {record("", R"("port":{"fluid":"dropplets","fluid_kind":"coolant"})"),
       R"(1:105: error[bad-value]: /inspection/port/fluid is "dropplets"
  "fluid":"dropplets","fluid_kind":"coolant"}}}
          ^
  allowed: none, film, droplets, pooled
  hint: did you mean "droplets"?
)"},
      {record("", R"("rotation":"unknwon")"),
       R"(1:100: error[bad-value]: /inspection/rotation is "unknwon"
  "rotation":"unknwon"}}
             ^
  allowed: free, stiff, seized
  hint: did you mean "unknown"?
)"},
      {record("", "", R"("teardown":{"seal-leak":"not-examind"})"),
       R"(1:114: error[bad-value]: /teardown/seal-leak is "not-examind"
  "seal-leak":"not-examind"}}
              ^
  allowed: absent, present
  hint: did you mean "not-examined"?
)"},
      {record(R"("rotor_bearing":"steel")"),
       R"(1:54: error[unknown-field]: /unit/rotor_bearing is not a field of a record
  "rotor_bearing":"steel"},"inspection":{"date":"2025-03-01"}}
  ^
  hint: did you mean "rotor_bearings"?
)"},
      {record("", R"("odometr_mi":5)"),
       R"(1:89: error[unknown-field]: /inspection/odometr_mi is not a field of a record
  "odometr_mi":5}}
  ^
  hint: did you mean "odometer_mi"?
)"},
      {record("", "", R"("colour":"red")"),
       R"(1:90: error[unknown-field]: /colour is not a field of a record
  "colour":"red"}
  ^
)"},
      {record("", R"("odometer_km":"12")"),
       R"(1:103: error[wrong-type]: /inspection/odometer_km is "12"
  "odometer_km":"12"}}
                ^
  allowed: a number (km)
  hint: write numbers without quotes
)"},
      {record("", R"("odometer_mi":[])"),
       R"(1:103: error[wrong-type]: /inspection/odometer_mi is an array
  "odometer_mi":[]}}
                ^
  allowed: a number (mi)
)"},
      {record(R"("built":2016)"),
       R"(1:62: error[wrong-type]: /unit/built is 2016
  "built":2016},"inspection":{"date":"2025-03-01"}}
          ^
  allowed: YYYY, YYYY-MM
  hint: put it in quotes
)"},
      {record("", R"("faults":{"shutdown":"false"})"),
       R"(1:110: error[wrong-type]: /inspection/faults/shutdown is "false"
  "shutdown":"false"}}}
             ^
  allowed: true, false
  hint: write true and false without quotes
)"},
      {record("", R"("faults":{"shutdown":0})"),
       R"(1:110: error[wrong-type]: /inspection/faults/shutdown is 0
  "shutdown":0}}}
             ^
  allowed: true, false
)"},
      {record("", R"("faults":"none")"),
       R"(1:98: error[wrong-type]: /inspection/faults is "none"
  "faults":"none"}}
           ^
  allowed: an object
)"},
      {record("", R"("noise":{"when":"steady"})"),
       R"(1:105: error[wrong-type]: /inspection/noise/when is "steady"
  "when":"steady"}}}
         ^
  allowed: an array of accelerating, steady, coasting, regenerating
  hint: put it in brackets
)"},
      {record("", R"("noise":{"when":["steady",4]})"),
       R"(1:115: error[wrong-type]: /inspection/noise/when/1 is 4
  "when":["steady",4]}}}
                   ^
  allowed: accelerating, steady, coasting, regenerating
  hint: put it in quotes
)"},
      {record("", R"("noise":{"when":["steady","coasting","steady"]})"),
       R"(1:126: error[repeated-value]: /inspection/noise/when/2 is "steady" again
  "when":["steady","coasting","steady"]}}}
                              ^
  hint: name each word once
)"},
      {"[4]", "1:1: error[wrong-type]: the record is an array\n  [4]\n  ^\n  allowed: an object\n"},
      {record(R"("system_voltage_v":0)"),
       R"(1:73: error[out-of-range]: /unit/system_voltage_v is 0
  "system_voltage_v":0},"inspection":{"date":"2025-03-01"}}
                     ^
  allowed: more than 0 and at most 1500 V
)"},
      {record("", R"("insulation":{"test_voltage_v":0,"resistance_mohm":1000001})"),
       R"(1:120: error[out-of-range]: /inspection/insulation/test_voltage_v is 0
  "test_voltage_v":0,"resistance_mohm":1000001}}}
                   ^
  allowed: more than 0 and at most 15000 V
a.json:1:140: error[out-of-range]: /inspection/insulation/resistance_mohm is 1000001
  "resistance_mohm":1000001}}}
                    ^
  allowed: 0 to 1000000 megohm
)"},
      {record("", R"("odometer_mi":-0.5)"),
       R"(1:103: error[out-of-range]: /inspection/odometer_mi is -0.5
  "odometer_mi":-0.5}}
                ^
  allowed: 0 to 1242742 mi
)"},
      {record(R"("fitted_odometer_km":1e12,"system_voltage_v":-1e999)",
              R"("odometer_mi":1242743,"port":{"checked":"yes"})"),
       R"(1:75: error[out-of-range]: /unit/fitted_odometer_km is 1e12
  "fitted_odometer_km":1e12,"system_voltage_v":-1e999},"inspection":{"date
                       ^
  allowed: 0 to 2000000 km
a.json:1:99: error[out-of-range]: /unit/system_voltage_v is -1e999
  "system_voltage_v":-1e999},"inspection":{"date":"2025-03-01","odometer_m
                     ^
  allowed: more than 0 and at most 1500 V
a.json:1:155: error[out-of-range]: /inspection/odometer_mi is 1242743
  "odometer_mi":1242743,"port":{"checked":"yes"}}}
                ^
  allowed: 0 to 1242742 mi
a.json:1:181: error[wrong-type]: /inspection/port/checked is "yes"
  "checked":"yes"}}}
            ^
  allowed: true, false
)"},
      // What no double holds hides no other mistake.
      {record(R"("system_voltage_v":1e400)",
              R"("odometer_km":1e400,"port":{"checked":true,"fluid":"drops"})", R"("x_a":-1e400)"),
       R"(1:73: error[out-of-range]: /unit/system_voltage_v is 1e400
  "system_voltage_v":1e400},"inspection":{"date":"2025-03-01","odometer_km
                     ^
  allowed: more than 0 and at most 1500 V
a.json:1:128: error[out-of-range]: /inspection/odometer_km is 1e400
  "odometer_km":1e400,"port":{"checked":true,"fluid":"drops"}},"x_a":-1e40
                ^
  allowed: 0 to 2000000 km
a.json:1:165: error[bad-value]: /inspection/port/fluid is "drops"
  "fluid":"drops"}},"x_a":-1e400}
          ^
  allowed: none, film, droplets, pooled
a.json:1:181: error[number-range]: /x_a is -1e400
  "x_a":-1e400}
        ^
  allowed: numbers that a double holds exactly
)"},
      {record("", R"("port":{"glycol_percent":101})"),
       R"(1:114: error[out-of-range]: /inspection/port/glycol_percent is 101
  "glycol_percent":101}}}
                   ^
  allowed: 0 to 100 % by volume
)"},
      {record("", "", R"("teardown":{"date":"2025-02-30"})"),
       R"(1:109: error[bad-date]: /teardown/date is "2025-02-30"
  "date":"2025-02-30"}}
         ^
  allowed: YYYY-MM-DD
  hint: 2025-02 has 28 days
)"},
      {record("", "", R"("teardown":{"date":"2025-13-01"})"),
       R"(1:109: error[bad-date]: /teardown/date is "2025-13-01"
  "date":"2025-13-01"}}
         ^
  allowed: YYYY-MM-DD
)"},
      {record("", "", R"("teardown":{"date":"1/2/2025"})"),
       R"(1:109: error[bad-date]: /teardown/date is "1/2/2025"
  "date":"1/2/2025"}}
         ^
  allowed: YYYY-MM-DD
  hint: write the year first, then the month, then the day
)"},
      {record(R"("built":"2016-05-01")"),
       R"(1:62: error[bad-date]: /unit/built is "2016-05-01"
  "built":"2016-05-01"},"inspection":{"date":"2025-03-01"}}
          ^
  allowed: YYYY, YYYY-MM
  hint: leave the day out
)"},
      {R"({"format":"dryshaft-record/1","unit":{"id":""},"inspection":{"date":"2025-03-01"}})",
       R"(1:44: error[bad-value]: /unit/id is ""
  "id":""},"inspection":{"date":"2025-03-01"}}
       ^
  allowed: 1 to 64 characters
)"},
      {R"({"format":"dryshaft-record/1","unit":{"id":")" + std::string(65, 'x') +
           R"("},"inspection":{"date":"2025-03-01"}})",
       R"(1:44: error[too-long]: /unit/id is 65 characters long
  "id":"xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
       ^
  allowed: 1 to 64 characters
)"},
      {R"({"format":"dryshaft-record/2","unit":{"id":"HL-0147"},"inspection":{"date":"2025-03-01"}})",
       R"(1:11: error[bad-value]: /format is "dryshaft-record/2"
  "format":"dryshaft-record/2","unit":{"id":"HL-0147"},"inspection":{"date
           ^
  allowed: dryshaft-record/1
  hint: this program is older than the file: it knows dryshaft-record/1; take a newer one
)"},
      {R"({"format":"dryshaft-report/1","unit_id":"HL-0147","grade":"B"})",
       R"(1:11: error[bad-value]: /format is "dryshaft-report/1"
  "format":"dryshaft-report/1","unit_id":"HL-0147","grade":"B"}
           ^
  allowed: dryshaft-record/1
  hint: this is a report, which assess writes
)"},
      {record("", R"("odometer_mi":1,"odometer_km":2)"),
       R"(1:119: error[both-units]: /inspection/odometer_km is given as well as /inspection/odometer_mi
  "odometer_km":2}}
                ^
  hint: keep one of the two
)"},
      {record("", R"("port":{"fluid":"none","checked":false,"debris":"unknown"})"),
       R"(1:105: error[port-not-checked]: /inspection/port/fluid is "none", but the port was not checked
  "fluid":"none","checked":false,"debris":"unknown"}}}
          ^
  hint: leave it out, or set /inspection/port/checked to true
)"},
      {record(R"("bypass_keeps_crossover":true)"),
       R"(1:79: error[not-bypassed]: /unit/bypass_keeps_crossover is true, but /unit/rotor_cooling is not known
  "bypass_keeps_crossover":true},"inspection":{"date":"2025-03-01"}}
                           ^
  hint: leave it out, or set /unit/rotor_cooling to "bypassed"
)"},
      {record(R"("bypass_keeps_crossover":false,"rotor_cooling":"wet")"),
       R"(1:79: error[not-bypassed]: /unit/bypass_keeps_crossover is false, but /unit/rotor_cooling is "wet"
  "bypass_keeps_crossover":false,"rotor_cooling":"wet"},"inspection":{"dat
                           ^
  hint: leave it out, or set /unit/rotor_cooling to "bypassed"
)"},
      {record("", R"("recording":{"pattern":"washboard","rotor_bearing":"none"})"),
       R"(1:112: error[nothing-to-describe]: /inspection/recording/pattern is "washboard", but /inspection/recording/rotor_bearing is "none" and /inspection/recording/gear_bearing is not known
  "pattern":"washboard","rotor_bearing":"none"}}}
            ^
  hint: leave it out, or say what /inspection/recording/rotor_bearing or /inspection/recording/gear_bearing showed
)"},
      {record(R"("id":"HL-0148")"), R"(1:54: error[duplicate-key]: /unit/id is given twice
  "id":"HL-0148"},"inspection":{"date":"2025-03-01"}}
  ^
  hint: keep one of the two
)"},
      {record("", R"("odometer_km":9007199254740993)"),
       R"(1:103: error[out-of-range]: /inspection/odometer_km is 9007199254740993
  "odometer_km":9007199254740993}}
                ^
  allowed: 0 to 2000000 km
)"},
      {record("", "", R"("x_a":9007199254740993)"),
       R"(1:96: error[number-range]: /x_a is 9007199254740993
  "x_a":9007199254740993}
        ^
  allowed: numbers that a double holds exactly
)"},
      {record("", "", "\"x_a\":" + std::string(32, '[') + std::string(32, ']')),
       R"(1:127: error[depth]: is nested 33 deep
  [[]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]}
   ^
  allowed: 32 levels
)"},
      {"{\"format\":\"dryshaft-record/1\",}",
       R"(1:31: error[syntax]: expected a key, found "}"
  {"format":"dryshaft-record/1",}
                                ^
  hint: take out the comma before it
)"},
      {"{\"format\":\"\xFF\"}",
       "1:12: error[utf-8]: byte 0xFF is not UTF-8\n  {\"format\":\"\uFFFD\"}\n             ^\n"
       "  hint: save the file as UTF-8\n"},
  }));
  CAPTURE(row.text);
  CHECK(refusal(row.text) == "a.json:" + std::string(row.complaint));
}

TEST_CASE("what must be given and is not is named, where it should stand") {
  CHECK(refusal("{}") == R"(a.json:1:1: error[missing-field]: /format is missing
  {}
  ^
  allowed: a string
a.json:1:1: error[missing-field]: /unit/id is missing
  {}
  ^
  allowed: a string
a.json:1:1: error[missing-field]: /inspection/date is missing
  {}
  ^
  allowed: YYYY-MM-DD
)");
  CHECK(refusal(R"({"format":"dryshaft-record/1","unit":{"id":"unknown"},"inspection":{}})") ==
        R"(a.json:1:44: error[missing-field]: /unit/id is "unknown"
  "id":"unknown"},"inspection":{}}
       ^
  allowed: a string
  hint: this field must be given
a.json:1:68: error[missing-field]: /inspection/date is missing
  "inspection":{}}
               ^
  allowed: YYYY-MM-DD
)");
}

TEST_CASE("all complaints about a record are listed, in text order") {
  CHECK(refusal(R"({
  "unit": {"id": 147, "id": "HL-0147", "built": "2016-13"},
  "inspection": {"date": "2025-03-01", "port": {"fluid": "pooled", "corosion": "light",
    "checked": false}, "rotation": "Free"}
})") == R"(a.json:1:1: error[missing-field]: /format is missing
  {
  ^
  allowed: a string
a.json:2:18: error[wrong-type]: /unit/id is 147
  "id": 147, "id": "HL-0147", "built": "2016-13"},
        ^
  allowed: a string
  hint: put it in quotes
a.json:2:23: error[duplicate-key]: /unit/id is given twice
  "id": "HL-0147", "built": "2016-13"},
  ^
  hint: keep one of the two
a.json:2:49: error[bad-date]: /unit/built is "2016-13"
  "built": "2016-13"},
           ^
  allowed: YYYY, YYYY-MM
a.json:3:58: error[port-not-checked]: /inspection/port/fluid is "pooled", but the port was not checked
  "fluid": "pooled", "corosion": "light",
           ^
  hint: leave it out, or set /inspection/port/checked to true
a.json:3:68: error[unknown-field]: /inspection/port/corosion is not a field of a record
  "corosion": "light",
  ^
  hint: did you mean "corrosion"?
a.json:4:36: error[bad-value]: /inspection/rotation is "Free"
  "rotation": "Free"}
              ^
  allowed: free, stiff, seized
  hint: did you mean "free"?
)");
}

TEST_CASE("a reader that was told of no family takes none but the generic one") {
  CHECK(good(record(R"("family":"generic","vehicle":"Ouzel")"), {}).vehicle == "Ouzel");
  CHECK(good(record(R"("vehicle":"Ouzel")"), {}).family.empty());
  CHECK(refusal(record(R"("family":"plover-2")"), {}) ==
        R"(a.json:1:63: error[unknown-family]: /unit/family is "plover-2"
  "family":"plover-2"},"inspection":{"date":"2025-03-01"}}
           ^
  allowed: generic
  hint: the reader was told of no other: read_options(knowledge) tells it
)");
}

TEST_CASE("family and vehicle must be ones that are listed") {
  CHECK(good(record(R"("family":"plover-2","vehicle":"Corrie")"), kFamilies).family == "plover-2");
  CHECK(good(record(R"("family":"dunlin-1","vehicle":"Ouzel")"), kFamilies).vehicle == "Ouzel");
  CHECK(good(record(R"("family":"unknown")"), kFamilies).family.empty());
  CHECK(refusal(record(R"("family":"plover-3","vehicle":"Ouzel")"), kFamilies) ==
        R"(a.json:1:63: error[unknown-family]: /unit/family is "plover-3"
  "family":"plover-3","vehicle":"Ouzel"},"inspection":{"date":"2025-03-01"
           ^
  allowed: plover-2, dunlin-1, generic
  hint: did you mean "plover-2"?
)");
  CHECK(refusal(record(R"("family":"plover-2","vehicle":"tarn")"), kFamilies) ==
        R"(a.json:1:84: error[unknown-vehicle]: /unit/vehicle is "tarn"
  "vehicle":"tarn"},"inspection":{"date":"2025-03-01"}}
            ^
  allowed: Tarn, Corrie
  hint: did you mean "Tarn"?
)");
}

TEST_CASE("every misspelt field of the table is recognised") {
  for (const FieldSpec& field : fields()) {
    const std::string_view pointer = field.pointer;
    const std::string key(pointer.substr(pointer.rfind('/') + 1));
    if (key.size() < 4) {
      continue;
    }
    json document = json::parse(record());
    document[json::json_pointer(std::string(pointer) + "y")] = nullptr;
    CAPTURE(pointer);
    CHECK(refusal(document.dump()).find("hint: did you mean \"" + key + "\"?") !=
          std::string::npos);
  }
}

// ---------------------------------------------------------------- layouts

struct Summary {
  std::size_t records;
  std::size_t rejected;
  std::string complaints;
};
Summary read(const std::string& text) {
  const Records r = read_records(text, "a.json", {});
  return {r.records.size(), r.rejected, all_text(r.diagnostics)};
}

TEST_CASE("one object, an array and JSON Lines are told apart") {
  const std::string one = record();
  const std::string pretty = json::parse(one).dump(2);
  const std::string flat =  // lines within it begin like a record
      "{\n\"format\":\"dryshaft-record/1\",\n\"x_a\":[\n{\n\"b\":1\n},\n{\"c\":2}\n],\n" +
      one.substr(one.find("\"unit\""));
  const std::string allman =
      "{\n  \"format\":\"dryshaft-record/1\",\n  \"x_a\":\n  {\n    \"b\":1\n  },\n  " +
      one.substr(one.find("\"unit\""));
  CHECK(holds_whole_objects(one));
  CHECK(holds_whole_objects(R"( {"a":"}\"{"}{} {"b":1} )"));
  CHECK(holds_whole_objects(""));
  CHECK_FALSE(holds_whole_objects(R"( {"a":"}\"{"} more)"));
  CHECK_FALSE(holds_whole_objects("{}{"));
  CHECK_FALSE(holds_whole_objects(R"({"a":"})"));
  CHECK_FALSE(holds_whole_objects("[{}]"));
  struct Row {
    std::string text;
    std::size_t records;
  };
  const Row row = GENERATE_COPY(values<Row>({
      {one, 1},
      {one + "\n", 1},
      {"\xEF\xBB\xBF" + one, 1},
      {"\n\n  " + one + "\n\n", 1},
      {pretty, 1},
      {pretty + "\n\n", 1},
      {one + "\n" + one, 2},
      {one + "\r\n\r\n \n" + one + "\r\n", 2},
      {"[" + one + "]", 1},
      {"\n[ " + one + " ,\n" + pretty + ",\n" + one + "\n]\n", 3},
      // Values one after another, as other tools read them.
      {one + one, 2},
      {one + " " + one + "\n" + one, 3},
      {pretty + "\n" + pretty + "\n" + pretty + "\n", 3},
      {pretty + pretty + " " + one + "\n" + pretty, 4},
      {one + "\n" + pretty + "\n" + one + "\n" + one + "\n" + pretty, 5},
      {"[" + one + "] " + one + "[" + pretty + "," + one + "]\n[" + one + "]", 5},
      {"  " + one + "\n  " + pretty + "\n\t" + one, 3},
      {flat + flat + "\n" + flat + one, 4},
      {allman + "\n" + allman + one, 3},
  }));
  CAPTURE(row.text);
  const Summary summary = read(row.text);
  CHECK(summary.complaints.empty());
  CHECK(summary.records == row.records);
  CHECK(summary.rejected == 0);
}

TEST_CASE("places are those of the file, in every layout") {
  const std::string bad = record("", R"("rotation":"Free")");
  const auto first_line = [](const std::string& text) {
    const std::string complaints = read(text).complaints;
    return complaints.substr(0, complaints.find(": error"));
  };
  CHECK(first_line(bad) == "a.json:1:100");
  CHECK(first_line("\xEF\xBB\xBF" + bad) == "a.json:1:100");
  CHECK(first_line(record() + "\r\n\n  " + bad) == "a.json:3:102");
  CHECK(first_line("[" + record() + ",\n " + bad + "]") == "a.json:2:101");
  CHECK(first_line("[" + bad + "]") == "a.json:1:101");
  const Records r =
      read_records("[" + record() + ",\n\n" + record("", "\"odometer_km\":1") + "]", "a.json", {});
  REQUIRE(r.records.size() == 2);
  CHECK(r.records[1].line == 3);
  CHECK(r.records[1].odometer_line == 3);
  CHECK(r.records[1].odometer_column == 103);
  CHECK(r.records[1].sha256 == sha256_hex(record("", "\"odometer_km\":1")));
}

TEST_CASE("a bad record never loses a good one") {
  const std::string ok = record();
  const std::string open_string = R"({"format":"dryshaft-record/1","unit":{"id":"HL})";
  const std::string no_brace = R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"})";
  const std::string extra_brace = ok + "}";
  const std::string no_bracket = R"({"format":"dryshaft-record/1","x_a":[1,2})";
  const std::string pretty = json::parse(ok).dump(2);
  const std::string half = pretty.substr(0, pretty.size() / 2);
  const std::string wrong = "{\n  \"format\": \"dryshaft-record/1\"\n  \"x_a\": [1, 2]\n}";
  struct Row {
    std::string text;
    std::size_t records;
    std::size_t rejected;
  };
  const Row row = GENERATE_COPY(values<Row>({
      // JSON Lines
      {ok + "\n{\"format\":\n" + ok, 2, 1},
      {"{\"format\":\n" + ok + "\n" + ok, 2, 1},
      {ok + "\nnot a record\n" + ok, 2, 1},
      {"not a record\n" + ok, 1, 1},
      {ok + "\n[1]\n" + ok, 2, 1},
      {ok + "\n" + open_string + "\n" + ok, 2, 1},
      {ok + ",\n" + ok + ",\n", 2, 0},
      {extra_brace + "\n" + ok, 2, 0},
      // arrays
      {"[" + ok + "," + open_string + "," + ok + "]", 2, 1},
      {"[" + open_string + "," + open_string + ", " + ok + "]", 1, 2},
      {"[" + ok + "," + no_brace + ",\n" + ok + "]", 2, 1},
      {"[" + no_brace + "]", 0, 1},
      {"[" + ok + "," + extra_brace + "," + ok + "]", 3, 0},
      {"[" + no_bracket + "," + ok + "]", 1, 1},
      {"[" + ok + " " + ok + "]", 2, 0},
      {"[" + ok + ",," + ok + "]", 2, 0},
      {"[," + ok + ",]", 1, 0},
      {"[" + ok + "," + ok, 2, 0},
      {"[" + ok + ",", 1, 0},
      {"[" + ok + ",7,\"a{[\",null,[{}]," + ok + "]", 2, 4},
      // One after another: what is broken ends where the next one begins.
      {ok + " x " + ok + "\n" + ok, 3, 0},
      {ok + ", " + ok + "\n" + ok, 3, 0},
      {pretty + "\n" + half + "\n" + pretty + "\n" + pretty, 3, 1},
      {half + "\n" + pretty + "\n" + half + "\n" + half + "\n" + ok, 2, 3},
      {half + "\n[" + ok + "," + pretty + "]\n" + ok, 3, 1},
      {ok + "\n" + half + "\n" + ok + "\n" + ok, 3, 1},
      {wrong + "\n" + pretty + wrong + "\n" + ok, 2, 2},
      {"[" + ok + ",\n" + half + "\n" + pretty, 2, 1},
      {"[" + ok + "] 7\n[" + ok + "]\n", 2, 0},
      {"[" + ok + ",{\"x_note\":\"a\nb\"}," + ok + "]", 2, 1},
      {"[" + ok + "," + record("", "", "\"note\":\"},{\"") + "," + ok + "]", 3, 0},
  }));
  CAPTURE(row.text);
  const Summary summary = read(row.text);
  CAPTURE(summary.complaints);
  CHECK(summary.records == row.records);
  CHECK(summary.rejected == row.rejected);
  CHECK(summary.complaints.empty() == (row.text.find("},{\"},") != std::string::npos));
}

TEST_CASE("many broken elements do not lose the good ones between them") {
  std::string text = "[";
  for (int i = 0; i < 100; ++i) {
    text += R"({"unit":{"id":"HL},)" + record() + ",";
  }
  text.back() = ']';
  const Summary summary = read(text);
  CHECK(summary.records == 100);
  CHECK(summary.rejected == 100);
}

TEST_CASE("what is wrong with a layout is located") {
  const std::string ok = record();
  CHECK(read(ok + " x " + ok).complaints ==
        R"(a.json:1:91: error[trailing-text]: more text follows the record
  pection":{"date":"2025-03-01"}} x {"format":"dryshaft-record/1","unit":{
                                  ^
)");
  CHECK(read(ok + ",\n" + ok).complaints ==
        R"(a.json:1:90: error[trailing-text]: more text follows the record
  spection":{"date":"2025-03-01"}},
                                  ^
  hint: records on lines have no comma between them
)");
  CHECK(read("[" + ok + "] x").complaints ==
        R"(a.json:1:93: error[trailing-text]: more text follows the list of records
  ection":{"date":"2025-03-01"}}] x
                                  ^
)");
  CHECK(read("[\n" + ok + "\n" + ok + "]").complaints ==
        R"(a.json:3:1: error[syntax]: expected "," or "]", found "{"
  {"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"dat
  ^
  hint: put a comma between records
)");
  CHECK(read("[" + ok + ",]").complaints == R"(a.json:1:91: error[syntax]: expected "]", found ","
  spection":{"date":"2025-03-01"}},]
                                  ^
  hint: take out the comma
)");
  CHECK(read("[," + ok + "]").complaints ==
        R"(a.json:1:2: error[syntax]: expected a record or "]", found ","
  [,{"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"d
   ^
  hint: take out one comma
)");
  CHECK(read("[" + ok + "}]").complaints ==
        R"(a.json:1:91: error[syntax]: expected "," or "]", found "}"
  spection":{"date":"2025-03-01"}}}]
                                  ^
  hint: take out the brace
)");
  CHECK(read("[" + ok).complaints ==
        R"(a.json:1:91: error[syntax]: expected "," or "]", found the end of the text
  spection":{"date":"2025-03-01"}}
                                  ^
  hint: the list of records is cut short
)");
}

TEST_CASE("of what is broken beyond telling, the count of records is the least there can be") {
  const std::string ok = record();
  const std::string pretty = json::parse(ok).dump(2);
  const std::string half = pretty.substr(0, pretty.size() / 2);
  struct Row {
    std::string text;
    bool at_least;
  };
  const Row row = GENERATE_COPY(values<Row>({
      {ok + "\n{\"format\":\n" + ok, false},
      {ok + "\nnot a record\n" + ok, false},
      {pretty + ok + "[" + ok + ",7]", false},
      {half + "\n" + ok, true},
      {ok + "\n" + half, true},
      {ok + " x " + ok, true},
      {"1,2\n3,4\n" + ok, false},
      {"1;2\n3;4\n", true},
      {"[" + ok + "," + half + "," + ok, true},
  }));
  CAPTURE(row.text);
  CHECK(read_records(row.text, "a.json", {}).rejected_at_least == row.at_least);
}

TEST_CASE("complaints of a kind are listed a hundred times, and then counted") {
  const auto ending = [](const Records& r) { return to_text(r.diagnostics.back()); };
  const std::string bad = R"({"format":"dryshaft-record/1","x":1,"y":2})";
  std::string lines;
  for (int i = 0; i < 1200; ++i) {
    lines += bad + "\n";
  }
  const Records on_lines = read_records(lines, "a.jsonl", {});
  CHECK(on_lines.rejected == 1200);
  CHECK(on_lines.diagnostics.size() == 202);
  CHECK(std::ranges::count(on_lines.diagnostics, "missing-field", &Diagnostic::code) == 101);
  CHECK(to_text(on_lines.diagnostics[200]) ==
        "a.jsonl: error[missing-field]: and 2,300 more like these\n");
  CHECK(ending(on_lines) == "a.jsonl: error[unknown-field]: and 2,300 more like these\n");
  std::string rows = "unit.id,date\n";
  for (int i = 0; i < 101; ++i) {
    rows += "a,2026-01-01,1\n";
  }
  const Records of_table = read_table(rows, "a.csv", {}, {});
  CHECK(of_table.rejected == 101);
  CHECK(of_table.diagnostics.size() == 101);
  CHECK(ending(of_table) == "a.csv: error[ragged-row]: and 1 more like it\n");
  std::string members = R"({"format":"dryshaft-record/1")";
  for (int i = 0; i < 150; ++i) {
    members += fmt::format(",\"n{0}\":1,\"n{0}\":1", i);
  }
  const Records one = read_records(members + "}", "a.json", {});
  CHECK(one.rejected == 1);
  CHECK(std::ranges::count(one.diagnostics, "duplicate-key", &Diagnostic::code) == 101);
  CHECK(std::ranges::count(one.diagnostics, "unknown-field", &Diagnostic::code) == 101);
  CHECK(ending(one) == "a.json: error[unknown-field]: and 50 more like these\n");
}

TEST_CASE("a text without records says what it looks like") {
  using namespace std::string_literals;
  struct Row {
    std::string text;
    std::string_view complaint;
  };
  const Row row = GENERATE(values<Row>({
      {"", "1:1: error[empty]: holds no record\n"},
      {"\xEF\xBB\xBF", "1:1: error[empty]: holds no record\n"},
      {" \n", "2:1: error[empty]: holds no record\n"},
      {"[ ]", "1:1: error[empty]: holds no record\n  [ ]\n  ^\n"},
      {"\x1F\x8B\x08",
       "1:1: error[not-json]: looks like gzip-compressed data, not like a record\n"
       "  hint: unpack it first\n"},
      {"PK\x03\x04",
       "1:1: error[not-json]: looks like a zip archive or a spreadsheet, not like a "
       "record\n  hint: unpack an archive; save a spreadsheet's sheet as CSV\n"},
      {"\xFF\xFE{\0"s,
       "1:1: error[not-json]: looks like UTF-16 text, not like a record\n"
       "  hint: save it as UTF-8\n"},
      {"\xFE\xFF\0{"s,
       "1:1: error[not-json]: looks like UTF-16 text, not like a record\n"
       "  hint: save it as UTF-8\n"},
      {"%PDF-1.7",
       "1:1: error[not-json]: looks like a PDF document, not like a record\n"
       "  hint: export the records as JSON\n"},
      {"<!doctype html>\n{}",
       "1:1: error[not-json]: looks like a web page, not like a record\n"
       "  hint: save the record itself, not the page around it\n"},
      {"<?xml version=\"1.0\"?>",
       "1:1: error[not-json]: looks like XML, not like a record\n"
       "  hint: export the records as JSON\n"},
      {"\x7F"
       "ELF\0"s,
       "1:1: error[not-json]: looks like binary data, not like a record\n"
       "  hint: give a text file with JSON records\n"},
      {"unit;date;fluid\nHL-0147;2025-03-01;none\n",
       "1:1: error[not-json]: looks like a table of separated values, not like a record\n"
       "  unit;date;fluid\n  ^\n  hint: it is read as one where its file name ends in .csv\n"},
      {"Nothing to see here.",
       "1:1: error[not-json]: looks like plain text, not like a record\n"
       "  Nothing to see here.\n  ^\n  hint: a record is a JSON object, and begins with {\n"},
  }));
  CAPTURE(row.text);
  const Summary summary = read(row.text);
  CHECK(summary.records == 0);
  CHECK(summary.complaints == "a.json:" + std::string(row.complaint));
}

TEST_CASE("a record over 1 MiB is refused alone") {
  const std::string small = record();
  const std::size_t frame = record("", "", "\"note\":\"\"").size();
  const auto of_size = [&](std::size_t bytes) {
    return record("", "", "\"note\":\"" + std::string(bytes - frame, 'x') + "\"");
  };
  CHECK(good(of_size(kMaxRecordBytes)).note.size() == kMaxRecordBytes - frame);
  const std::string large = of_size(kMaxRecordBytes + 1);
  for (const std::string& text :
       {small + "\n" + large + "\n" + small, "[" + small + ",\n" + large + ",\n" + small + "]"}) {
    const Summary summary = read(text);
    CHECK(summary.records == 2);
    CHECK(summary.rejected == 1);
    CHECK(summary.complaints == R"(a.json:2:1: error[size]: holds 1048577 bytes
  {"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"dat
  ^
  allowed: 1048576 bytes
)");
  }
  // White space at the end is no part of what is refused.
  const Summary trailing =
      read(small + "\n" + std::string(kMaxRecordBytes + 1, 'x') + " \t \r\n" + small);
  CHECK(trailing.records == 2);
  CHECK(trailing.complaints.starts_with("a.json:2:1: error[size]: holds 1048577 bytes\n"));
}

TEST_CASE("a text cut anywhere is refused or read, and says so") {
  const std::string text = "[" + record("", R"("port":{"checked":true})") + ",\n" + record() + "]";
  for (std::size_t i = 0; i < text.size(); ++i) {
    const Summary summary = read(text.substr(0, i));
    CHECK_FALSE(summary.complaints.empty());
    for (const char c : {'"', '{', '}', '[', ']', ',', '\\', '\n', '\0', '\xFF'}) {
      std::string changed = text;
      changed[i] = c;
      const Summary other = read(changed);
      CHECK((other.records == 2 || !other.complaints.empty()));
    }
  }
}

TEST_CASE("a text that is hard on the reader is still read in a moment") {
  const std::size_t n = kMaxRecordBytes / 32;
  std::string repeated;
  for (std::size_t i = 0; i < n; ++i) {
    repeated += "\"x_\":0,";
  }
  CHECK(refusal("{" + repeated + "\"x_\":0}").size() > n / 4);
  std::string wrong = "1";
  for (std::size_t i = 0; i < n; ++i) {
    wrong += ",1";
  }
  CHECK(refusal(record("", "\"noise\":{\"when\":[" + wrong + "]}")).size() > n / 4);
  std::string broken = "[";
  for (std::size_t i = 0; i < n; ++i) {
    broken += "{\"},";
  }
  CHECK(read(broken).records == 0);
  CHECK(read(std::string(n, '[')).records == 0);
  CHECK(read(std::string(n, '{')).records == 0);
  CHECK(read("[" + std::string(n, '}')).records == 0);
}

// ------------------------------------------------------------------ dates

TEST_CASE("days are counted from 1970-01-01") {
  CHECK(days_from_date(1970, 1, 1) == 0);
  CHECK(days_from_date(1969, 12, 31) == -1);
  CHECK(days_from_date(2000, 3, 1) == 11017);
  CHECK(date_text(0) == "1970-01-01");
  CHECK(date_text(days_from_date(1, 1, 1)) == "0001-01-01");
  for (int day = days_from_date(1896, 1, 1); day < days_from_date(2104, 12, 31); ++day) {
    REQUIRE(parse_date(date_text(day)) == day);
  }
}

TEST_CASE("only days that exist are dates") {
  for (const std::string_view good : {"2024-02-29", "2000-02-29", "0001-01-01", "9999-12-31"}) {
    CHECK(parse_date(good).has_value());
  }
  for (const std::string_view bad :
       {"", "2025-02-29", "1900-02-29", "2025-04-31", "2025-00-01", "2025-01-00", "2025-13-01",
        "0000-01-01", "2025-1-1", "20250101", "2025-01-01 ", " 2025-01-01", "2025-01-1x",
        "+025-01-01", "2025/01/01", "2025-01-01T00:00"}) {
    CAPTURE(bad);
    CHECK_FALSE(parse_date(bad).has_value());
  }
}

// ----------------------------------------------------------------- corpus

std::vector<fs::path> corpus(const char* kind) {
  std::vector<fs::path> files;
  for (const auto& entry :
       fs::directory_iterator(fs::path(DRYSHAFT_TESTS_DIR) / "records" / kind)) {
    files.push_back(entry.path());
  }
  REQUIRE(files.size() >= 25);
  return files;
}

TEST_CASE("good files are read without a complaint") {
  for (const fs::path& path : corpus("good")) {
    CAPTURE(path);
    const Records r = read_records(slurp(path), "a.json", kFamilies);
    CHECK(all_text(r.diagnostics).empty());
    CHECK(r.rejected == 0);
    CHECK_FALSE(r.records.empty());
  }
}

TEST_CASE("bad files are complained of, each complaint at a place") {
  for (const fs::path& path : corpus("bad")) {
    CAPTURE(path);
    const Records r = read_records(slurp(path), "a.json", kFamilies);
    CHECK_FALSE(r.diagnostics.empty());
    for (const Diagnostic& d : r.diagnostics) {
      CHECK(d.severity == Severity::error);
      CHECK(d.line > 0);
      CHECK(d.column > 0);
    }
  }
}

// ----------------------------------------------------------------- schema

TEST_CASE("the shipped schema is the one that the vocabulary makes") {
  CHECK(slurp(fs::path(DRYSHAFT_DATA_DIR) / "record.schema.json") == record_schema());
}

// Not a test: hidden, and run by name when the vocabulary has changed.
TEST_CASE("write the shipped schema", "[.write]") {
  std::ofstream out(fs::path(DRYSHAFT_DATA_DIR) / "record.schema.json", std::ios::binary);
  out << record_schema();
  REQUIRE(out.flush());
}

TEST_CASE("the schema names every field") {
  const json schema = json::parse(record_schema());
  for (const FieldSpec& field : fields()) {
    const json* at = &schema;
    std::string_view path = field.pointer;
    while (!path.empty()) {
      path.remove_prefix(1);
      const std::string key(path.substr(0, path.find('/')));
      path.remove_prefix(key.size());
      at = at->contains("anyOf") ? &at->at("anyOf").at(1) : at;
      CAPTURE(field.pointer);
      REQUIRE(at->at("properties").contains(key));
      at = &at->at("properties").at(key);
    }
    CHECK(at->at("description") == field.question);
  }
}

TEST_CASE("what cannot be beside the rest is refused, and the rest is not") {
  const auto beside = [](const std::string& text) {
    const Result<Record> read = read_record(text, "a.json", 1, 1, {});
    REQUIRE(read.value.has_value());
    CHECK(read.has_errors());
    return all_text(read.diagnostics);
  };
  CHECK(
      beside(record(R"("built":"2031-05")")) ==
      R"(a.json:1:62: error[built-after-inspection]: /unit/built is "2031-05", after the inspection of 2025-03-01
  "built":"2031-05"},"inspection":{"date":"2025-03-01"}}
          ^
  hint: look for a slip of the pen in either; until then the build date is not used
)");
  CHECK(
      beside(record("", R"("odometer_km":109000,"noise":{"onset_odometer_km":900000})")) ==
      R"(a.json:1:139: error[noise-before-it-began]: /inspection/noise/onset_odometer_km is 900000, but the odometer of the inspection is 109000
  "onset_odometer_km":900000}}}
                      ^
  hint: look for a slip of the pen in either
)");
  CHECK(
      beside(
          record(R"("fitted_odometer_km":5,"seal_renewed_odometer_km":6)", R"("odometer_km":4)")) ==
      R"(a.json:1:75: error[fitted-after-inspection]: /unit/fitted_odometer_km is 5, but the odometer of the inspection is 4
  "fitted_odometer_km":5,"seal_renewed_odometer_km":6},"inspection":{"date
                       ^
  hint: look for a slip of the pen in either
a.json:1:104: error[renewed-after-inspection]: /unit/seal_renewed_odometer_km is 6, but the odometer of the inspection is 4
  "seal_renewed_odometer_km":6},"inspection":{"date":"2025-03-01","odomete
                             ^
  hint: look for a slip of the pen in either
)");
  // The month of the inspection, and the very reading, can be.
  good(record(R"("built":"2025-03","seal_renewed_odometer_km":4)",
              R"("odometer_km":4,"noise":{"onset_odometer_km":4})"));
  // A text of records keeps the record, and so does a table.
  const Records read = read_records(record(R"("built":"2031")"), "a.json", {});
  CHECK(read.records.size() == 1);
  CHECK(read.rejected == 0);
  CHECK(read.diagnostics.size() == 1);
  const Records rows = read_table("id,date,built\nHL-0147,2025-03-01,2031\n", "a.csv", {}, {});
  REQUIRE(rows.records.size() == 1);
  CHECK(rows.rejected == 0);
  CHECK(
      all_text(rows.diagnostics) ==
      R"(a.csv:2:20: error[built-after-inspection]: /unit/built is "2031", after the inspection of 2025-03-01
  HL-0147,2025-03-01,2031
                     ^
  hint: look for a slip of the pen in either; until then the build date is not used
)");
  CHECK(rows.records.front().date_line == 2);
  CHECK(rows.records.front().date_column == 9);
}

TEST_CASE("an id holds nothing that nobody sees") {
  const auto with_id = [](const std::string& id) {
    return R"({"format":"dryshaft-record/1","unit":{"id":")" + id +
           R"("},"inspection":{"date":"2025-03-01"}})";
  };
  CHECK(refusal(with_id("HL-\\udb40\\udd00147")) ==
        R"(a.json:1:44: error[unseen-character]: /unit/id holds U+E0100, which nobody sees
  "id":"HL-\udb40\udd00147"},"inspection":{"date":"2025-03-01"}}
       ^
  hint: take it out: a name with it looks like another one
)");
  for (const char* unseen : {"\\u0007", "\\t", "\\u200b", "\\u202e", "\\ufe0f", "\\udb40\\uddef",
                             "\\u00ad", "\\u3164"}) {
    CHECK(refusal(with_id("HL" + std::string(unseen) + "147")).find("[unseen-character]") !=
          std::string::npos);
    CHECK(refusal(record(R"("family":"plover)" + std::string(unseen) + R"(-2")"))
              .find("[unseen-character]: /unit/family") != std::string::npos);
  }
  // Blanks are seen between letters, and a note is shown with what does harm taken out.
  CHECK(good(with_id("HL\xC2\xA0 147")).unit_id == "HL\xC2\xA0 147");
  good(record("", "", R"("note":"a \u26a0\ufe0f sign\u0007")"));
}

}  // namespace
}  // namespace dryshaft
