// A unit's records in order, and what is taken out of them.
#include <algorithm>
#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "dryshaft/record.hpp"
#include "families.hpp"

namespace dryshaft {
namespace {

Record record_on(const std::string& id, const std::string& date, const std::string& more = "",
                 const std::string& source = "a.json") {
  const std::string text = R"({"format":"dryshaft-record/1","unit":{"id":")" + id +
                           R"("},"inspection":{"date":")" + date + "\"" + more + "}}";
  Result<Record> read = read_record(text, source, 1, 1, test::kFamilies);
  REQUIRE(read.value.has_value());
  return *std::move(read.value);
}
std::string km(int reading) { return ",\"odometer_km\":" + std::to_string(reading); }

// Everything that grouping decides, as one text.
std::string outcome(const Result<std::vector<History>>& result) {
  std::string out;
  REQUIRE(result.value.has_value());
  for (const History& h : *result.value) {
    out += h.unit_id + ":";
    REQUIRE(h.refused.size() == h.records.size());
    for (std::size_t i = 0; i < h.records.size(); ++i) {
      const Record& r = h.records[i];
      out += " " + date_text(static_cast<int>(r.at(Field::date).number)) + "@" +
             (r.has(Field::odometer_km)
                  ? std::to_string(static_cast<int>(r.at(Field::odometer_km).number))
                  : "-") +
             (h.refused[i] != 0 ? "!" : "");
    }
    out += "\n";
  }
  for (const Diagnostic& d : result.diagnostics) {
    out += to_text(d);
  }
  return out;
}

TEST_CASE("units come by id, their records by date and odometer") {
  CHECK(outcome(group_by_unit(
            {record_on("HL-0148", "2025-03-01"), record_on("HL-0147", "2025-03-01", km(90)),
             record_on("HL-0147", "2025-03-01", km(80)), record_on("HL-0147", "2024-11-05", km(70)),
             record_on("HL-0147", "2025-03-01")})) ==
        "HL-0147: 2024-11-05@70 2025-03-01@- 2025-03-01@80 2025-03-01@90\n"
        "HL-0148: 2025-03-01@-\n");
}

TEST_CASE("of two records at one reading the one that tells of the new seal comes last") {
  for (int i = 0; i < 8; ++i) {  // whatever their checksums
    const std::string mark = ",\"x_mark\":" + std::to_string(i);
    const Record before = record_on("HL-0147", "2025-03-01", km(80) + mark);
    Result<Record> after = read_record(
        R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","seal_renewed_odometer_km":80},)"
        R"("inspection":{"date":"2025-03-01","odometer_km":80)" +
            mark + "}}",
        "b.json", 1, 1, {});
    REQUIRE(after.value);
    const Result<std::vector<History>> units = group_by_unit({*after.value, before});
    REQUIRE(units.value);
    CHECK(units.value->at(0).records.back().has(Field::seal_renewed_odometer_km));
  }
}

TEST_CASE("no records make no units") { CHECK(outcome(group_by_unit({})).empty()); }

TEST_CASE("an odometer reading that runs backwards is refused, the record is not") {
  CHECK(outcome(group_by_unit({record_on("HL-0147", "2025-03-01", km(81200)),
                               record_on("HL-0147", "2024-11-05", km(90000))})) ==
        R"(HL-0147: 2024-11-05@90000 2025-03-01@-!
a.json:1:103: error[odometer-backwards]: /inspection/odometer_km is 81200 km on 2025-03-01, but 90000 km was recorded on 2024-11-05
  hint: look for a slip of the pen; if the instrument was replaced, add the old one's distance
)");
}

TEST_CASE("a refused reading is not what later ones are held against") {
  CHECK(outcome(group_by_unit({record_on("HL-0147", "2025-01-01", km(500)),
                               record_on("HL-0147", "2025-02-01", km(400)),
                               record_on("HL-0147", "2025-03-01", km(450)),
                               record_on("HL-0147", "2025-04-01"),
                               record_on("HL-0147", "2025-05-01", km(500))}))
            .starts_with("HL-0147: 2025-01-01@500 2025-02-01@-! 2025-03-01@-! 2025-04-01@- "
                         "2025-05-01@500\n"));
}

TEST_CASE("readings of other units are not compared") {
  CHECK(group_by_unit({record_on("HL-0147", "2025-01-01", km(500)),
                       record_on("HL-0148", "2025-02-01", km(400))})
            .diagnostics.empty());
}

TEST_CASE("the same record twice counts once, with a warning") {
  CHECK(outcome(
            group_by_unit({record_on("HL-0147", "2025-01-01", km(500), "b.json"),
                           record_on("HL-0147", "2025-01-01", km(500), "a.json"),
                           record_on("HL-0147", "2025-01-01", km(500) + ",\"by\":\"intake\"")})) ==
        "HL-0147: 2025-01-01@500 2025-01-01@500\n"
        "b.json:1: warning[repeated-record]: is the same record as a.json:1, and counts once\n");
}

TEST_CASE("a repeated record whose reading is refused is complained of once each way") {
  const auto result = group_by_unit({record_on("HL-0147", "2025-01-01", km(500)),
                                     record_on("HL-0147", "2025-02-01", km(400), "b.json"),
                                     record_on("HL-0147", "2025-02-01", km(400), "c.json")});
  REQUIRE(result.diagnostics.size() == 2);
  CHECK(result.diagnostics[0].code == "odometer-backwards");
  CHECK(result.diagnostics[1].code == "repeated-record");
}

TEST_CASE("the order of the input never matters") {
  std::vector<Record> records = {
      record_on("HL-0147", "2025-01-01", km(500)),
      record_on("HL-0147", "2025-01-01", km(500), "b.json"),
      record_on("HL-0147", "2025-01-01", km(500) + ",\"by\":\"owner\""),
      record_on("HL-0147", "2025-02-01", km(400)),
      record_on("HL-0148", "2025-02-01"),
      record_on("HL-0148", "2025-02-01", ",\"rotation\":\"stiff\""),
  };
  const std::string expected = outcome(group_by_unit(records));
  std::vector<std::size_t> order = {0, 1, 2, 3, 4, 5};
  do {
    std::vector<Record> shuffled;
    for (const std::size_t i : order) {
      shuffled.push_back(records[i]);
    }
    REQUIRE(outcome(group_by_unit(std::move(shuffled))) == expected);
  } while (std::ranges::next_permutation(order).found);
}

}  // namespace
}  // namespace dryshaft
