// What only an embedder calls: records that a program fills itself, texts that come in pieces, the
// interface for C.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <iterator>
#include <limits>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <string>
#include <string_view>
#include <thread>
#include <utility>
#include <vector>

#include "dryshaft/dryshaft.h"
#include "dryshaft/dryshaft.hpp"
#include "dryshaft/stream.hpp"
#include "record/limits.hpp"

namespace dryshaft {
namespace {

using nlohmann::json;

std::string text_of_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  REQUIRE(file.good());
  return {std::istreambuf_iterator<char>(file), {}};
}
std::string example_text(const std::string& name) {
  return text_of_file(DRYSHAFT_EXAMPLES_DIR "/" + name);
}

const Grader& from_data() {
  static const Grader grader = *Grader::open(DRYSHAFT_DATA_DIR).value;
  return grader;
}

std::string told(const std::vector<Diagnostic>& diagnostics) {
  std::string out;
  for (const Diagnostic& d : diagnostics) {
    out += to_text(d);
  }
  return out;
}

void set(Record& record, Field field, Value value) {
  value.observed = true;
  record.values[static_cast<std::size_t>(field)] = value;
}

Record by_hand(int day = days_from_date(2026, 3, 18)) {
  Record record;
  record.unit_id = "HL-9001";
  record.family = "plover-2";
  set(record, Field::date, {.number = static_cast<double>(day)});
  set(record, Field::odometer_km, {.number = 80000});
  set(record, Field::port_checked, {.code = 1});
  return record;
}

std::string faults(const Record& record) {
  return told(validate(record, from_data().read_options()));
}

// ------------------------------------------------------- filled by hand

TEST_CASE("a record filled by hand is told what no reader would have let it say") {
  CHECK(faults(by_hand()).empty());

  Record record = by_hand();
  set(record, Field::odometer_km, {.number = -80000});
  CHECK(faults(record) ==
        "record of HL-9001: error[out-of-range]: /inspection/odometer_km is -80000\n"
        "  allowed: 0 to 2000000 km\n");
  record = by_hand();
  set(record, Field::port_glycol_percent, {.number = std::nan("")});
  CHECK(faults(record) ==
        "record of HL-9001: error[out-of-range]: /inspection/port/glycol_percent is nan\n"
        "  allowed: 0 to 100 % by volume\n");
  record = by_hand();
  set(record, Field::port_fluid, {.code = 9});
  CHECK(faults(record) ==
        "record of HL-9001: error[bad-value]: /inspection/port/fluid is word 9 of 4\n"
        "  allowed: none, film, droplets, pooled\n");
  record = by_hand();
  set(record, Field::date, {.number = 20000.5});
  CHECK(faults(record) ==
        "record of HL-9001: error[bad-date]: /inspection/date is day 20000.5 after 1970-01-01\n"
        "  allowed: YYYY-MM-DD\n");
  record = by_hand();
  record.family = "dunlin1";
  CHECK(faults(record).find("error[unknown-family]: /unit/family is \"dunlin1\"\n") !=
        std::string::npos);
  CHECK(told(validate(by_hand(), {})).find("error[unknown-family]") != std::string::npos);
  record = by_hand();
  set(record, Field::port_checked, {.code = 0});
  set(record, Field::port_fluid, {.code = 3});
  CHECK(faults(record) ==
        "record of HL-9001: error[port-not-checked]: /inspection/port/fluid is \"pooled\", but the "
        "port was not checked\n"
        "  hint: leave it out, or set /inspection/port/checked to true\n");
  record = by_hand();
  record.work.push_back({.did = Did::seal_renewed, .material = Bearings::hybrid});
  CHECK(faults(record).starts_with(
      "record of HL-9001: error[not-with-this-work]: /work/0/material is given, but did is "
      "\"seal-renewed\"\n"));
  record = by_hand();
  record.work.push_back({.did = Did::seal_renewed, .odometer_km = -1});
  CHECK(faults(record).starts_with(
      "record of HL-9001: error[out-of-range]: /work/0/odometer_km is -1\n"));
  record = by_hand();
  record.unit_id.clear();
  CHECK(faults(record) ==
        "record of a unit without an id: error[missing-field]: /unit/id is missing\n"
        "  allowed: a string\n");
  record = by_hand();
  record.own = {{"/shelf", "\"B2\""}, {"/x_shelf", "B2"}};
  CHECK(faults(record) ==
        "record of HL-9001: error[unknown-field]: /shelf is not a field of a record\n"
        "  hint: keys of a shop's own begin with x_\n"
        "record of HL-9001: error[syntax]: /x_shelf holds no JSON text\n");
}

// Each number just beyond its limits, each word beyond the last: one table, so none is forgotten.
TEST_CASE("no field takes a value beyond the vocabulary, and a report is never without a number") {
  for (const FieldSpec& field : fields()) {
    std::vector<Value> wrong;
    switch (field.type) {
      case FieldType::number:
        for (const double number :
             {field.minimum_excluded ? field.minimum : std::nextafter(field.minimum, -HUGE_VAL),
              std::nextafter(field.maximum, HUGE_VAL), std::numeric_limits<double>::quiet_NaN(),
              HUGE_VAL, -HUGE_VAL}) {
          wrong.push_back({.number = number});
        }
        break;
      case FieldType::choice: {
        // What bearings work left is not known where it does not say.
        const bool may_be_unknown =
            field.id == Field::rotor_bearings || field.id == Field::gear_bearings;
        wrong.push_back(
            {.code = static_cast<std::uint16_t>(field.choices.size() + (may_be_unknown ? 1 : 0))});
        break;
      }
      case FieldType::choices:
        wrong.push_back({.code = static_cast<std::uint16_t>(1U << field.choices.size())});
        break;
      case FieldType::flag:
        wrong.push_back({.code = 2});
        break;
      case FieldType::month:
      case FieldType::date:
        wrong.push_back({.number = 0.5});
        wrong.push_back({.number = 1e9});
        wrong.push_back({.number = -1e9});
        break;
      case FieldType::text:
      case FieldType::hash:
      case FieldType::photos:
        break;
    }
    for (const Value& value : wrong) {
      Record record = by_hand();
      set(record, field.id, value);
      INFO(field.pointer << " " << value.number << " " << value.code);
      CHECK(faults(record).find(field.pointer) != std::string::npos);
      CHECK_FALSE(is_within_limits(record));
      // Neither grouping lets it through, nor a history that was made by hand.
      const auto units = group_by_unit({record, by_hand()});
      CHECK(units.has_errors());
      REQUIRE(units.value->size() == 1);
      CHECK(units.value->front().records.size() == 1);
      CHECK_THROWS_AS(
          from_data().report({.unit_id = "HL-9001", .records = {record}, .refused = {0}}),
          std::invalid_argument);
    }
  }
  CHECK_THROWS_AS(from_data().report({.unit_id = "HL-9001", .records = {}, .refused = {}}),
                  std::invalid_argument);
}

TEST_CASE("what a reader gives has no faults, and validate finds in it what it is told of") {
  for (const char* name : {"intake.jsonl", "history-ten-years.jsonl", "teardowns.jsonl"}) {
    const Records read = read_records(example_text(name), name, from_data().read_options());
    REQUIRE(read.records.size() > 50);
    for (const Record& record : read.records) {
      INFO(record.unit_id);
      CHECK(faults(record).empty());
      CHECK(is_within_limits(record));
    }
  }
}

TEST_CASE(
    "records filled by hand are graded as if they had been read, and none is taken for another") {
  Record older = by_hand(days_from_date(2025, 3, 18));
  set(older, Field::odometer_km, {.number = 60000});
  set(older, Field::port_fluid, {.code = 3});
  const auto units = group_by_unit({by_hand(), older});
  CHECK(told(units.diagnostics).empty());
  REQUIRE(units.value->size() == 1);
  REQUIRE(units.value->front().records.size() == 2);
  const Report report = from_data().report(units.value->front());
  const std::string text =
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-9001","family":"plover-2"},"inspection":)"
      R"({"date":"2025-03-18","odometer_km":60000,"port":{"checked":true,"fluid":"pooled"}}})"
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-9001","family":"plover-2"},"inspection":)"
      R"({"date":"2026-03-18","odometer_km":80000,"port":{"checked":true}}})";
  const auto read = from_data().read(text, "read");
  const Report same = from_data().report(read.value->front());
  CHECK(report.grade == same.grade);
  CHECK(report.risk == same.risk);
}

TEST_CASE("work that a record filled by hand tells of before it was done does not count") {
  Record record = by_hand();
  record.work.push_back({.did = Did::seal_renewed, .day = days_from_date(2027, 1, 1)});
  const auto units = group_by_unit({record});
  CHECK(
      told(units.diagnostics) ==
      "record of HL-9001: error[work-out-of-place]: /work/0 tells of seal-renewed, which the day, "
      "the reading or the build date does not allow\n"
      "  hint: look for a slip of the pen in either; until then it does not count as done\n");
  CHECK(units.value->front().records.front().work.front().misplaced);
}

// ------------------------------------------------------------- in pieces

std::string all_of(const Records& read) {
  std::string out = told(read.diagnostics);
  for (const Record& r : read.records) {
    out +=
        fmt::format("{} {}:{} {}-{} {}\n", r.unit_id, r.source, r.line, r.begin, r.end, r.sha256);
  }
  return out + fmt::format("{} {}", read.rejected, read.rejected_at_least);
}

template <typename Make>
std::string in_steps(const Make& make, std::string_view text, std::size_t step) {
  RecordStream stream = make();
  Records all;
  const auto take = [&](Records more) {
    std::ranges::move(more.records, std::back_inserter(all.records));
    std::ranges::move(more.diagnostics, std::back_inserter(all.diagnostics));
    all.rejected += more.rejected;
    all.rejected_at_least = all.rejected_at_least || more.rejected_at_least;
  };
  for (std::size_t at = 0; at < text.size(); at += step) {
    take(stream.next(text.substr(at, step)));
  }
  take(stream.finish());
  return all_of(all);
}

TEST_CASE("a stream gives what the whole text gives, wherever its pieces end") {
  const ReadOptions& options = from_data().read_options();
  std::vector<std::string> texts{example_text("film-caught-early.json"),
                                 example_text("history.json"),
                                 example_text("intake.jsonl").substr(0, 20000),
                                 "",
                                 "\n",
                                 "[",
                                 "[]",
                                 "{\"a\":1}\n{",
                                 "no record",
                                 "{\"format\":\"dryshaft-record/1\"\n{\"x\":"};
  for (const std::string& text : texts) {
    const std::string wanted = all_of(read_records(text, "f", options));
    for (const std::size_t step : {std::size_t{1}, std::size_t{7}, std::size_t{4096}}) {
      INFO(text.substr(0, 80) << " by " << step);
      CHECK(in_steps([&] { return RecordStream("f", options); }, text, step) == wanted);
    }
  }
  const std::string table = example_text("intake.csv");
  const std::string wanted = all_of(read_table(table, "t", {}, options));
  CHECK(in_steps([&] { return RecordStream("t", options, {}); }, table, 100) == wanted);
}

TEST_CASE("a record on a line comes from a stream when its line ends") {
  const std::string line =
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-18"}})";
  RecordStream stream("f", {});
  CHECK(stream.next(line).records.empty());
  CHECK(stream.next("\n").records.size() == 1);
  RecordStream moved = std::move(stream);
  CHECK(moved.next(line + "\n" + line.substr(0, 10)).records.size() == 1);
  CHECK(moved.finish().rejected == 1);
}

// ---------------------------------------------------------------- for C

struct Answer {
  int status = 0;
  std::string report;
  json complaints;
  bool has_report = false;
};

Answer assess_in_c(const dryshaft_grader* grader, const std::string& text,
                   const dryshaft_options* options) {
  char* report = nullptr;
  char* complaints = nullptr;
  Answer out;
  out.status = dryshaft_assess(grader, text.data(), text.size(), options, &report, &complaints);
  REQUIRE(complaints != nullptr);
  out.complaints = json::parse(complaints);
  out.has_report = report != nullptr;
  out.report = report == nullptr ? "" : report;
  dryshaft_free(report);
  dryshaft_free(complaints);
  CHECK(out.complaints["format"] == "dryshaft-complaints/1");
  return out;
}

dryshaft_grader* opened() {
  dryshaft_grader* grader = nullptr;
  char* complaints = nullptr;
  REQUIRE(dryshaft_open(DRYSHAFT_DATA_DIR, &grader, &complaints) == DRYSHAFT_DONE);
  CHECK(json::parse(complaints)["complaints"].empty());
  dryshaft_free(complaints);
  REQUIRE(grader != nullptr);
  return grader;
}

TEST_CASE("C gets the report that C++ gets") {
  dryshaft_grader* const grader = opened();
  CHECK(std::string(dryshaft_version()) == DRYSHAFT_VERSION);
  const std::string text = example_text("film-caught-early.json");
  const auto units = from_data().read(text, "f.json");
  const int day = static_cast<int>(units.value->front().records.back().at(Field::date).number);
  const AssessOptions as_owner{.audience = Audience::owner, .today = day};
  const Report owner = from_data().report(units.value->front(), as_owner);
  const Report technician = from_data().report(units.value->front(), {.today = day});
  dryshaft_options options = {};
  options.name = "f.json";
  CHECK(assess_in_c(grader, text, &options).report == to_json(technician));
  options.reader = "owner";
  options.format = "html";
  options.units = "mi";
  CHECK(assess_in_c(grader, text, &options).report == to_html(owner, Units::mi));
  options.format = "markdown";
  CHECK(assess_in_c(grader, text, &options).report == to_markdown(owner, Units::mi));
  options.format = "text";
  CHECK(assess_in_c(grader, text, &options).report == to_text(owner, {.units = Units::mi}));
  options.today = "2026-12-31";
  CHECK(assess_in_c(grader, text, &options).report != to_text(owner, {.units = Units::mi}));
  const Answer bare = assess_in_c(grader, text, nullptr);
  CHECK(bare.status == DRYSHAFT_DONE);
  CHECK(json::parse(bare.report)["record"]["source"] == "<records>");
  dryshaft_free_grader(grader);
}

TEST_CASE("what C asks amiss is answered by a status and a reason") {
  dryshaft_grader* const grader = opened();
  const std::string good = example_text("dry-and-quiet.json");
  dryshaft_options options = {};
  options.format = "pdf";
  options.today = "tomorrow";
  const Answer wrong = assess_in_c(grader, good, &options);
  CHECK(wrong.status == DRYSHAFT_USAGE);
  CHECK_FALSE(wrong.has_report);
  CHECK(wrong.complaints["complaints"] == json::parse(R"([
    {"severity":"error","code":"bad-option","message":"is \"pdf\"","source":"format",
     "allowed":"json, text, markdown, html, csv"},
    {"severity":"error","code":"bad-option","message":"is \"tomorrow\"","source":"today",
     "allowed":"YYYY-MM-DD"}])"));
  const Answer none = assess_in_c(nullptr, good, nullptr);
  CHECK(none.status == DRYSHAFT_USAGE);
  CHECK(none.complaints["complaints"][0]["message"] == "is a null pointer");

  const Answer refused =
      assess_in_c(grader, good + "\n{\"format\":\"dryshaft-record/1\"}", nullptr);
  CHECK(refused.status == DRYSHAFT_REJECTED);
  CHECK(json::parse(refused.report)["grade"].is_string());
  CHECK(refused.complaints["complaints"][0]["code"] == "missing-field");
  CHECK(refused.complaints["complaints"][0]["line"].get<int>() > 1);
  const Answer nothing = assess_in_c(grader, "", nullptr);
  CHECK(nothing.status == DRYSHAFT_REJECTED);
  CHECK((nothing.has_report && nothing.report.empty()));

  dryshaft_grader* no_grader = grader;
  char* complaints = nullptr;
  CHECK(dryshaft_open("/nowhere", &no_grader, &complaints) == DRYSHAFT_REJECTED);
  CHECK(no_grader == nullptr);
  CHECK(json::parse(complaints)["complaints"][0]["code"] == "no-folder");
  dryshaft_free(complaints);
  CHECK(dryshaft_open(nullptr, &no_grader, nullptr) == DRYSHAFT_USAGE);
  CHECK(dryshaft_open_texts(nullptr, 0, nullptr, 0, &no_grader, nullptr) == DRYSHAFT_REJECTED);
  dryshaft_free(nullptr);
  dryshaft_free_grader(nullptr);
  dryshaft_free_grader(grader);
}

TEST_CASE("C may bring rules and families as texts, and use one grader in many threads") {
  const auto load = [](const char* folder) {
    return *read_folder(std::string(DRYSHAFT_DATA_DIR "/") + folder).value;
  };
  const std::vector<NamedText> rules = load("rules");
  const std::vector<NamedText> families = load("families");
  const auto files = [](const std::vector<NamedText>& texts) {
    std::vector<dryshaft_file> out;
    for (const NamedText& t : texts) {
      out.push_back({t.name.c_str(), t.text.data(), t.text.size()});
    }
    return out;
  };
  dryshaft_grader* grader = nullptr;
  const auto rule_files = files(rules);
  const auto family_files = files(families);
  REQUIRE(dryshaft_open_texts(rule_files.data(), rule_files.size(), family_files.data(),
                              family_files.size(), &grader, nullptr) == DRYSHAFT_DONE);
  const std::string text = example_text("droplets-rust-tone.json");
  const std::string wanted = assess_in_c(grader, text, nullptr).report;
  std::vector<std::string> got(4);
  {
    std::vector<std::jthread> threads;
    for (std::string& one : got) {
      threads.emplace_back([&one, grader, &text] {
        char* report = nullptr;
        if (dryshaft_assess(grader, text.data(), text.size(), nullptr, &report, nullptr) ==
            DRYSHAFT_DONE) {
          one = report;
        }
        dryshaft_free(report);
      });
    }
  }
  for (const std::string& one : got) {
    CHECK(one == wanted);
  }
  dryshaft_free_grader(grader);
}

}  // namespace
}  // namespace dryshaft
