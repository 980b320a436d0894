// What a recording showed, written into the text of a record.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "families.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using nlohmann::ordered_json;
using test::complaints;

const std::vector<FieldValue> kClear = {{Field::recording_rotor_bearing, "clear"},
                                        {Field::recording_gear_bearing, "none"},
                                        {Field::recording_other, "mesh"},
                                        {Field::recording_pattern, "washboard"}};
const std::vector<FieldValue> kNothing = {{Field::recording_rotor_bearing, "none"},
                                          {Field::recording_gear_bearing, "none"}};

std::string written(std::string_view text, const std::vector<FieldValue>& findings = kNothing,
                    const WhichRecord& which = {}) {
  const Result<std::string> result =
      write_recording(text, "a.json", findings, which, test::kFamilies);
  INFO(complaints(result.diagnostics));
  REQUIRE(result.value);
  CHECK(result.diagnostics.empty());
  return *result.value;
}

std::string refused(std::string_view text, const std::vector<FieldValue>& findings = kNothing,
                    const WhichRecord& which = {}) {
  const Result<std::string> result =
      write_recording(text, "a.json", findings, which, test::kFamilies);
  CHECK_FALSE(result.value);
  return complaints(result.diagnostics);
}

constexpr std::string_view kCompact =
    R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"date":"2026-03-02"}})";

// ------------------------------------------------------------- exact texts

TEST_CASE("a recording goes into a record on one line") {
  CHECK(
      written(kCompact, kClear) ==
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"date":"2026-03-02",)"
      R"("recording":{"rotor_bearing":"clear","gear_bearing":"none","other":"mesh","pattern":"washboard"}}})");
  CHECK(written(R"({ "format": "dryshaft-record/1", "unit": { "id": "HL-0147" }, )"
                R"("inspection": { "date": "2026-03-02", "rotation": "free" } })"
                "\n") == R"({ "format": "dryshaft-record/1", "unit": { "id": "HL-0147" }, )"
                         R"("inspection": { "date": "2026-03-02", "rotation": "free", )"
                         R"("recording": { "rotor_bearing": "none", "gear_bearing": "none" } } })"
                         "\n");
}

TEST_CASE("a recording takes the layout of the record's other objects") {
  // Objects on lines of their own.
  CHECK(written(R"({
    "format": "dryshaft-record/1",
    "unit": {
        "id": "HL-0147"
    },
    "inspection": {
        "date": "2026-03-02",
        "noise": {
            "present": true
        }
    },
    "note": "at the back"
}
)") == R"({
    "format": "dryshaft-record/1",
    "unit": {
        "id": "HL-0147"
    },
    "inspection": {
        "date": "2026-03-02",
        "noise": {
            "present": true
        },
        "recording": {
            "rotor_bearing": "none",
            "gear_bearing": "none"
        }
    },
    "note": "at the back"
}
)");
  // Small objects on one line, several members on a line.
  CHECK(written(R"({
  "format": "dryshaft-record/1",
  "unit": {"id": "HL-0147", "family": "plover-2"},
  "inspection": {
    "date": "2026-03-02", "odometer_km": 98000, "by": "technician",
    "noise": {"present": true}, "rotation": "free"
  }
}
)") == R"({
  "format": "dryshaft-record/1",
  "unit": {"id": "HL-0147", "family": "plover-2"},
  "inspection": {
    "date": "2026-03-02", "odometer_km": 98000, "by": "technician",
    "noise": {"present": true}, "rotation": "free",
    "recording": {"rotor_bearing": "none", "gear_bearing": "none"}
  }
}
)");
  // No other object to go by.
  CHECK(
      written(
          "{\n\t\"format\": \"dryshaft-record/1\",\n\t\"unit\": {\n\t\t\"id\": \"HL-0147\"\n\t},\n"
          "\t\"inspection\": {\n\t\t\"date\": \"2026-03-02\"\n\t}\n}") ==
      "{\n\t\"format\": \"dryshaft-record/1\",\n\t\"unit\": {\n\t\t\"id\": \"HL-0147\"\n\t},\n"
      "\t\"inspection\": {\n\t\t\"date\": \"2026-03-02\",\n\t\t\"recording\": {\n"
      "\t\t\t\"rotor_bearing\": \"none\",\n\t\t\t\"gear_bearing\": \"none\"\n\t\t}\n\t}\n}");
}

TEST_CASE("line ends of another system stay, and none of ours come in") {
  const std::string text =
      "{\r\n  \"format\": \"dryshaft-record/1\",\r\n  \"unit\": {\"id\": \"HL-0147\"},\r\n"
      "  \"inspection\": {\r\n\r\n    \"date\": \"2026-03-02\"\r\n  }\r\n}\r\n";
  CHECK(written(text) ==
        "{\r\n  \"format\": \"dryshaft-record/1\",\r\n  \"unit\": {\"id\": \"HL-0147\"},\r\n"
        "  \"inspection\": {\r\n\r\n    \"date\": \"2026-03-02\",\r\n    \"recording\": {\r\n"
        "      \"rotor_bearing\": \"none\",\r\n      \"gear_bearing\": \"none\"\r\n    }\r\n  "
        "}\r\n}\r\n");
}

TEST_CASE("what an earlier recording showed is replaced, and the shop's own keys stay") {
  const auto with = [](std::string_view recording) {
    return R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},"inspection":{"recording":)" +
           std::string(recording) + R"(,"date":"2026-03-02"},"note":"é \u20ac"})";
  };
  CHECK(written(with("null")) == with(R"({"rotor_bearing":"none","gear_bearing":"none"})"));
  CHECK(written(with(R"("unknown")")) == with(R"({"rotor_bearing":"none","gear_bearing":"none"})"));
  CHECK(written(with("{ }")) == with(R"({"rotor_bearing":"none","gear_bearing":"none"})"));
  // Same fields, in their order and with their white space.
  CHECK(written(with(R"({ "gear_bearing" : "clear", "rotor_bearing":null })")) ==
        with(R"({ "gear_bearing" : "none", "rotor_bearing":"none" })"));
  // What the new recording does not say goes: first, in between, last.
  CHECK(written(with(R"({"pattern":"washboard","gear_bearing":"clear"})")) ==
        with(R"({"gear_bearing":"none","rotor_bearing":"none"})"));
  CHECK(written(
            with(R"({"rotor_bearing":"clear", "pattern":"washboard",  "gear_bearing":"clear"})")) ==
        with(R"({"rotor_bearing":"none",  "gear_bearing":"none"})"));
  CHECK(written(with(R"({"rotor_bearing":"clear", "other":"mesh", "pattern":"washboard" })")) ==
        with(R"({"rotor_bearing":"none", "gear_bearing":"none" })"));
  CHECK(written(with(R"({"other":"mesh"})"), {{Field::recording_gear_bearing, "shared"}}) ==
        with(R"({"gear_bearing":"shared"})"));
  CHECK(
      written(with(R"({"x_file":{"pattern":1},"other":"mesh","x_by":"é"})")) ==
      with(R"({"x_file":{"pattern":1},"x_by":"é","rotor_bearing":"none","gear_bearing":"none"})"));
  // A key that is spelt with escapes is the same key.
  CHECK(written(with(R"({"rotor\u005fbearing":"clear"})")) ==
        with(R"({"rotor\u005fbearing":"none","gear_bearing":"none"})"));
}

TEST_CASE("among several inspections the newest of the unit is meant") {
  const auto one = [](std::string_view unit, std::string_view date, std::string_view more = "") {
    return R"({"format":"dryshaft-record/1","unit":{"id":")" + std::string(unit) +
           R"("},"inspection":{"date":")" + std::string(date) + "\"" + std::string(more) + "}}";
  };
  const std::string added = R"(,"recording":{"rotor_bearing":"none","gear_bearing":"none"})";
  // JSON Lines, oldest last.
  CHECK(
      written(one("HL-0147", "2026-03-02") + "\r\n\r\n" + one("HL-0147", "2025-03-02") + "\r\n") ==
      one("HL-0147", "2026-03-02", added) + "\r\n\r\n" + one("HL-0147", "2025-03-02") + "\r\n");
  // An array; the day decides, then the odometer.
  const std::string near = R"(,"odometer_km":98000)";
  const std::string far = R"(,"odometer_mi":70000)";
  CHECK(written("[" + one("HL-0147", "2026-03-02", far) + ", " +
                one("HL-0147", "2026-03-02", near) + "]") ==
        "[" + one("HL-0147", "2026-03-02", far + added) + ", " +
            one("HL-0147", "2026-03-02", near) + "]");
  // A byte order mark counts among the bytes.
  CHECK(written("\xEF\xBB\xBF" + one("HL-0147", "2026-03-02")) ==
        "\xEF\xBB\xBF" + one("HL-0147", "2026-03-02", added));
  // By unit, and by day.
  const std::string lines = one("HL-0147", "2025-03-02") + "\n" + one("HL-0147", "2026-03-02") +
                            "\n" + one("HL-0148", "2026-03-09") + "\n";
  CHECK(written(lines, kNothing, {.unit_id = "HL-0148", .date = {}}) ==
        one("HL-0147", "2025-03-02") + "\n" + one("HL-0147", "2026-03-02") + "\n" +
            one("HL-0148", "2026-03-09", added) + "\n");
  CHECK(written(lines, kNothing, {.unit_id = "HL-0147", .date = parse_date("2025-03-02")}) ==
        one("HL-0147", "2025-03-02", added) + "\n" + one("HL-0147", "2026-03-02") + "\n" +
            one("HL-0148", "2026-03-09") + "\n");

  CHECK(refused(lines) == R"(a.json:1: error[which-record]: the text holds inspections of 2 units
  allowed: HL-0147, HL-0148
  hint: name the unit
)");
  CHECK(refused(lines, kNothing, {.unit_id = "HL-0149", .date = {}}) ==
        R"(a.json:1: error[no-such-record]: the text holds no inspection of unit "HL-0149"
  allowed: HL-0147, HL-0148
  hint: did you mean "HL-0147"?
)");
  CHECK(
      refused(lines, kNothing, {.unit_id = "HL-0147", .date = parse_date("2026-03-03")}) ==
      R"(a.json:1: error[no-such-record]: the text holds no inspection of unit "HL-0147" on 2026-03-03
  allowed: 2025-03-02, 2026-03-02
)");
  CHECK(
      refused(one("HL-0147", "2026-03-02") + "\n" + one("HL-0147", "2026-03-02", near) + "\n" +
              one("HL-0147", "2026-03-02", near + R"(,"rotation":"free")")) ==
      R"(a.json:3: error[which-record]: the inspection of unit "HL-0147" on 2026-03-02 is no newer than that of line 2
  hint: make the two one record, or tell them apart by their odometer readings
)");
}

// --------------------------------------------------------------- complaints

TEST_CASE("a text with an error is left alone") {
  CHECK(refused(R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147"},)"
                R"("inspection":{"date":"2026-03-02","rotation":"fre"}})") ==
        R"(a.json:1:100: error[bad-value]: /inspection/rotation is "fre"
  "rotation":"fre"}}
             ^
  allowed: free, stiff, seized
  hint: did you mean "free"?
)");
  CHECK(refused("") == "a.json:1:1: error[empty]: holds no record\n");
  // One bad record among good ones: it may be the one that is meant.
  CHECK(refused(std::string(kCompact) + "\n{\n") != "");
}

TEST_CASE("findings that make no record are refused") {
  CHECK(refused(kCompact, {}) ==
        R"(a.json: error[empty]: /inspection/recording is to hold nothing
  allowed: one finding at least
)");
  CHECK(refused(kCompact, {{Field::recording_other, "gears"}}) ==
        R"(a.json: error[bad-value]: /inspection/recording/other is "gears"
  allowed: none, electrical, mesh, wheel
)");
  CHECK(refused(kCompact, {{Field::recording_other, "mesh"}, {Field::recording_other, "wheel"}}) ==
        "a.json: error[repeated-value]: /inspection/recording/other is given twice\n");
  CHECK(refused(kCompact, {{Field::rotation, "free"}}) ==
        "a.json: error[unknown-field]: /inspection/rotation is not what a recording shows\n");
  CHECK(
      refused(kCompact,
              {{Field::recording_gear_bearing, "none"}, {Field::recording_pattern, "washboard"}}) ==
      R"(a.json:1:134: error[nothing-to-describe]: /inspection/recording/pattern is "washboard", but /inspection/recording/rotor_bearing is not known and /inspection/recording/gear_bearing is "none"
  "pattern":"washboard"}}}
            ^
  hint: leave it out, or say what /inspection/recording/rotor_bearing or /inspection/recording/gear_bearing showed
)");
}

// ---------------------------------------------------------------- property

TEST_CASE("every good record takes a recording, and nothing else of it changes") {
  std::vector<NamedText> files =
      test::read_folder(std::filesystem::path(DRYSHAFT_TESTS_DIR) / "records/good");
  for (NamedText& file : test::read_folder(DRYSHAFT_EXAMPLES_DIR)) {
    if (file.name.ends_with(".json")) {
      files.push_back(std::move(file));
    }
  }
  std::size_t tried = 0;
  for (const NamedText& file : files) {
    INFO(file.name);
    const Records before = read_records(file.text, file.name, test::kFamilies);
    for (std::size_t i = 0; i < before.records.size(); ++i) {
      const Record& meant = before.records[i];
      const WhichRecord which{.unit_id = meant.unit_id,
                              .date = static_cast<int>(meant.at(Field::date).number)};
      const Result<std::string> result =
          write_recording(file.text, file.name, kClear, which, test::kFamilies);
      INFO(complaints(result.diagnostics));
      REQUIRE(result.value.has_value() == before.diagnostics.empty());
      if (!result.value) {
        continue;  // what is wrong in it is mended first
      }
      const std::string& text = *result.value;
      const Records after = read_records(text, file.name, test::kFamilies);
      REQUIRE(after.records.size() == before.records.size());
      std::size_t changed = 0;
      for (std::size_t k = 0; k < after.records.size(); ++k) {
        const Record& was = before.records[k];
        const Record& is = after.records[k];
        if (was.sha256 == is.sha256) {
          continue;
        }
        ++changed;
        // Bytes before and after the record, and its values.
        CHECK(text.substr(0, is.begin) == file.text.substr(0, was.begin));
        CHECK(text.substr(is.end) == file.text.substr(was.end));
        ordered_json expected =
            ordered_json::parse(file.text.substr(was.begin, was.end - was.begin));
        ordered_json& recording = expected["inspection"]["recording"];
        if (!recording.is_object()) {
          recording = ordered_json::object();
        }
        for (const FieldValue& f : kClear) {
          expected[ordered_json::json_pointer(std::string(spec(f.field).pointer))] = f.word;
        }
        CHECK(nlohmann::json(ordered_json::parse(text.substr(is.begin, is.end - is.begin))) ==
              nlohmann::json(expected));
        // Line breaks only where there were some.
        const bool broken =
            file.text.substr(was.begin, was.end - was.begin).find('\n') != std::string::npos;
        CHECK((text.substr(is.begin, is.end - is.begin).find('\n') != std::string::npos) == broken);
        // A second recording takes the place of the first, byte for byte.
        const Result<std::string> again =
            write_recording(text, file.name, kClear, which, test::kFamilies);
        REQUIRE(again.value);
        CHECK(*again.value == text);
        ++tried;
      }
      CHECK(changed == 1);
    }
  }
  CHECK(tried > 50);
}

}  // namespace
}  // namespace dryshaft
