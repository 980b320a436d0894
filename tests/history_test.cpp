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
                 const std::string& source = "a.json", const std::string& unit = "") {
  const std::string text = R"({"format":"dryshaft-record/1","unit":{"id":")" + id + "\"" + unit +
                           R"(},"inspection":{"date":")" + date + "\"" + more + "}}";
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
    for (const Record& r : h.set_aside) {
      out += " (" + date_text(static_cast<int>(r.at(Field::date).number)) + ")";
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

TEST_CASE("the reading that disagrees with the most others is the slip") {
  CHECK(
      outcome(group_by_unit({record_on("HL-0147", "2025-01-01", km(90000)),
                             record_on("HL-0147", "2025-02-01", km(990000)),
                             record_on("HL-0147", "2025-03-01", km(100000)),
                             record_on("HL-0147", "2025-04-01"),
                             record_on("HL-0147", "2025-05-01", km(110000)),
                             record_on("HL-0147", "2025-06-01", km(120000))})) ==
      R"(HL-0147: 2025-01-01@90000 2025-02-01@-! 2025-03-01@100000 2025-04-01@- 2025-05-01@110000 2025-06-01@120000
a.json:1:103: error[odometer-backwards]: /inspection/odometer_km is 990000 km on 2025-02-01, but 100000 km was recorded on 2025-03-01
  hint: look for a slip of the pen; if the instrument was replaced, add the old one's distance
)");
  CHECK(outcome(group_by_unit({record_on("HL-0147", "2025-01-01", km(500)),
                               record_on("HL-0147", "2025-02-01", km(400)),
                               record_on("HL-0147", "2025-03-01", km(450)),
                               record_on("HL-0147", "2025-05-01", km(460))}))
            .starts_with("HL-0147: 2025-01-01@-! 2025-02-01@400 2025-03-01@450 2025-05-01@460\n"));
}

TEST_CASE("what two records say of one look is one reading") {
  CHECK(outcome(group_by_unit({record_on("HL-0147", "2025-01-01", km(990)),
                               record_on("HL-0147", "2025-01-01", km(990) + ",\"by\":\"owner\""),
                               record_on("HL-0147", "2025-01-01", km(990) + ",\"by\":\"intake\""),
                               record_on("HL-0147", "2025-02-01", km(100)),
                               record_on("HL-0147", "2025-03-01", km(110))}))
            .starts_with("HL-0147: 2025-01-01@-! 2025-01-01@-! 2025-01-01@-! 2025-02-01@100 "
                         "2025-03-01@110\n"));
}

// The readings that are kept, the long way: of all sets that never run backwards the largest ones,
// and of these the one whose last reading is greatest, then the one before it, and so on.
std::vector<int> kept_of(const std::vector<int>& readings) {
  std::vector<int> best;
  const auto better = [&](const std::vector<int>& kept) {
    return kept.size() != best.size() ? kept.size() > best.size()
                                      : std::ranges::lexicographical_compare(
                                            best.rbegin(), best.rend(), kept.rbegin(), kept.rend());
  };
  for (unsigned set = 0; set < 1U << readings.size(); ++set) {
    std::vector<int> kept;
    for (std::size_t i = 0; i < readings.size(); ++i) {
      if ((set >> i & 1U) != 0) {
        kept.push_back(readings[i]);
      }
    }
    if (std::ranges::is_sorted(kept) && better(kept)) {
      best = kept;
    }
  }
  return best;
}

TEST_CASE("as few readings as can be are refused, and in doubt the greater distance counts") {
  constexpr int kLongest = 6;
  constexpr int kValues = 4;
  std::vector<std::vector<Record>> on_day(kLongest);
  for (int day = 0; day < kLongest; ++day) {
    for (int value = 1; value <= kValues; ++value) {
      on_day[static_cast<std::size_t>(day)].push_back(
          record_on("HL-0147", "2025-01-0" + std::to_string(day + 1), km(value)));
    }
  }
  for (int length = 1, all = kValues; length <= kLongest; ++length, all *= kValues) {
    for (int code = 0; code < all; ++code) {
      std::vector<int> readings;
      std::vector<Record> records;
      for (int i = 0, rest = code; i < length; ++i, rest /= kValues) {
        readings.push_back(rest % kValues + 1);
        records.push_back(
            on_day[static_cast<std::size_t>(i)][static_cast<std::size_t>(readings.back() - 1)]);
      }
      const std::vector<int> expected = kept_of(readings);
      if (code % 2 == 0) {  // the order of the input is nothing
        std::ranges::reverse(records);
      }
      const auto result = group_by_unit(std::move(records));
      std::vector<int> kept;
      for (const Record& r : result.value->front().records) {
        if (r.has(Field::odometer_km)) {
          kept.push_back(static_cast<int>(r.at(Field::odometer_km).number));
        }
      }
      REQUIRE(kept == expected);
      REQUIRE(result.diagnostics.size() == readings.size() - expected.size());
    }
  }
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
  CHECK(result.diagnostics[0].code == "repeated-record");
  CHECK(result.diagnostics[1].code == "odometer-backwards");
}

// ------------------------------------------------------------------ dates

TEST_CASE("a record dated after the day of judgement is set aside, and said at its date") {
  const std::vector<Record> records = {record_on("HL-0147", "2026-06-01", km(500)),
                                       record_on("HL-0147", "2027-03-02", km(400))};
  CHECK(outcome(group_by_unit(records, *parse_date("2026-06-02"))) ==
        R"(HL-0147: 2026-06-01@500 (2027-03-02)
a.json:1:76: error[date-after-today]: /inspection/date is 2027-03-02, after the day of judgement, 2026-06-02: the record is set aside, and only what it says for the worse counts
  hint: look for a slip of the pen, or name a later --today
)");
  CHECK(outcome(group_by_unit({records.front()}, *parse_date("2026-06-01"))) ==
        "HL-0147: 2026-06-01@500\n");
}

TEST_CASE("a unit that has nothing else keeps its place, with nothing known on that day") {
  const auto result = group_by_unit(
      {record_on("HL-0147", "2027-03-02",
                 km(400) + R"(,"by":"owner","port":{"checked":true,"fluid":"none"})", "a.json",
                 R"(,"family":"plover-2","built":"2018","seal_renewed_odometer_km":300)")},
      *parse_date("2026-06-02"));
  CHECK(outcome(result).starts_with("HL-0147: 2026-06-02@- (2027-03-02)\n"));
  const Record& empty = result.value->front().records.front();
  CHECK(empty.family == "plover-2");
  CHECK(empty.source == "a.json");
  for (const FieldSpec& f : fields()) {
    const bool kept = f.id == Field::format || f.id == Field::unit_id || f.id == Field::family ||
                      f.id == Field::date || f.id == Field::by;
    CHECK(empty.has(f.id) == kept);
  }
}

TEST_CASE("a look that stands alone a year after all others is refused") {
  std::vector<Record> records = {record_on("HL-0147", "2026-03-02"),
                                 record_on("HL-0148", "2026-03-10"),
                                 record_on("HL-0149", "2027-03-10")};
  CHECK(outcome(group_by_unit(records)) ==
        R"(HL-0147: 2026-03-02@-
HL-0148: 2026-03-10@-
HL-0149: 2026-03-10@- (2027-03-10)
a.json:1:76: error[date-alone]: /inspection/date is 2027-03-10, 365 days after every other date: the record is set aside, and only what it says for the worse counts
  hint: look for a slip of the pen; if the day is right, say --today 2027-03-10
)");
  // The day of judgement covers it.
  CHECK(group_by_unit(records, *parse_date("2027-03-10")).diagnostics.empty());
  // What another record tells of the same look bears nothing out.
  records.push_back(record_on("HL-0149", "2027-03-10", ",\"by\":\"owner\""));
  CHECK(group_by_unit(records).diagnostics.size() == 2);
  // A day less, another unit at that time, or another day of the same unit.
  CHECK(outcome(group_by_unit({records[0], records[1], record_on("HL-0149", "2027-03-09")})) ==
        R"(HL-0147: 2026-03-02@-
HL-0148: 2026-03-10@-
HL-0149: 2027-03-09@-
a.json:1:76: warning[date-far-ahead]: /inspection/date is 2027-03-09, 364 days after every other date, and the newest
  hint: units are judged as of the newest date; --today names another day
)");
  CHECK(group_by_unit({records[0], records[1], record_on("HL-0149", "2026-06-07")})
            .diagnostics.empty());
  CHECK(group_by_unit({records[0], records[2], record_on("HL-0150", "2027-03-10")})
            .diagnostics.empty());
  CHECK(group_by_unit({records[0], records[2], record_on("HL-0149", "2027-03-11")})
            .diagnostics.empty());
}

TEST_CASE("several slips are refused, one of each unit") {
  const auto result =
      group_by_unit({record_on("HL-0147", "2026-03-02"), record_on("HL-0148", "2062-03-10"),
                     record_on("HL-0149", "2082-03-10"), record_on("HL-0149", "2026-03-01")});
  CHECK(
      outcome(result).starts_with("HL-0147: 2026-03-02@-\n"
                                  "HL-0148: 2026-03-02@- (2062-03-10)\n"
                                  "HL-0149: 2026-03-01@- (2082-03-10)\n"));
  CHECK(result.diagnostics.size() == 2);
}

TEST_CASE("a unit by itself may go unseen for years, but not for ten") {
  CHECK(group_by_unit({record_on("HL-0147", "2062-03-02")}).diagnostics.empty());
  CHECK(outcome(group_by_unit({record_on("HL-0147", "2016-03-06", km(100)),
                               record_on("HL-0147", "2026-03-02", km(200))})) ==
        "HL-0147: 2016-03-06@100 2026-03-02@200\n");
  CHECK(outcome(group_by_unit({record_on("HL-0147", "2026-03-02", km(100)),
                               record_on("HL-0147", "2062-03-02", km(200))}))
            .starts_with("HL-0147: 2026-03-02@100 (2062-03-02)\n"));
}

TEST_CASE("one look never moves the day on which other units are judged by a year") {
  constexpr int kYears = 5;
  constexpr int kRecords = 4;
  const auto dated = [](int unit, int year) {
    return record_on("HL-" + std::to_string(unit), std::to_string(2020 + year) + "-03-02");
  };
  const auto newest = [](const std::vector<History>& units) {
    double day = 0;
    for (const History& h : units) {
      day = std::max(day, h.records.back().at(Field::date).number);
    }
    return day;
  };
  for (int code = 0; code < 3 * 3 * 3 * kYears * kYears * kYears; ++code) {
    std::vector<Record> records;
    int rest = code;
    for (int i = 0; i + 1 < kRecords; ++i) {
      const int unit = rest % 3;
      rest /= 3;
      records.push_back(dated(unit, rest % kYears));
      rest /= kYears;
    }
    const double before = newest(*group_by_unit(records).value);
    for (const int year : {kYears, kYears + 1, kYears + 30}) {
      std::vector<Record> more = records;
      more.push_back(dated(3, year));  // a unit of its own
      const auto grouped = group_by_unit(more);
      REQUIRE(newest(*grouped.value) == before);
      REQUIRE(grouped.value->back().unit_id == "HL-3");
      REQUIRE(grouped.value->back().set_aside.size() == 1);
      std::ranges::reverse(more);
      REQUIRE(outcome(group_by_unit(more)) == outcome(grouped));
    }
  }
}

// --------------------------------------------------------------- identity

TEST_CASE("records of one id that cannot be of one unit are warned of") {
  const auto unit = [](const std::string& date, const std::string& more, int reading = 100) {
    return record_on("my car", date, km(reading), "a.json", more);
  };
  CHECK(outcome(group_by_unit({unit("2026-03-02", R"(,"built":"2019")"),
                               unit("2026-03-03", R"(,"built":"2021-05")")})) ==
        R"(my car: 2026-03-02@100 2026-03-03@100
a.json:1: warning[not-one-unit]: differs from a.json:1 in the build date, but has the same id, "my car"
  hint: give each unit an id of its own; what is good of one does not count for the other
)");
  const auto differs = [&](const std::string& a, const std::string& b, int later = 100) {
    const auto result = group_by_unit({unit("2026-03-02", a), unit("2026-03-03", b, later)});
    return result.diagnostics.empty() ? std::string() : result.diagnostics.front().message;
  };
  CHECK(differs(R"(,"family":"plover-2")", R"(,"family":"dunlin-1")") ==
        R"(differs from a.json:1 in the family, but has the same id, "my car")");
  CHECK(differs(R"(,"vehicle":"Tarn")", R"(,"vehicle":"Corrie")") ==
        R"(differs from a.json:1 in the vehicle, but has the same id, "my car")");
  CHECK(differs(R"(,"fitted_odometer_km":0)", R"(,"fitted_odometer_km":1001)", 2000).empty());
  CHECK(group_by_unit({unit("2026-03-02", R"(,"fitted_odometer_km":0)", 90000),
                       unit("2026-03-03", R"(,"fitted_odometer_km":50000)", 91000)})
            .diagnostics.front()
            .message ==
        "differs from a.json:1 in the odometer reading at which it was fitted, but has the same "
        "id, \"my car\"");
  // What is not given, or fits, is no difference.
  CHECK(differs("", R"(,"built":"2019","family":"plover-2","vehicle":"Tarn")").empty());
  CHECK(differs(R"(,"built":"2019-12")", R"(,"built":"2019")").empty());
  CHECK(differs(R"(,"family":"generic")", R"(,"family":"plover-2")").empty());
  CHECK(differs(R"(,"built":"2019-11")", R"(,"built":"2019-12")") ==
        R"(differs from a.json:1 in the build date, but has the same id, "my car")");
  // A unit that was fitted since takes the place of the one before it.
  CHECK(differs(R"(,"built":"2019","vehicle":"Tarn")",
                R"(,"built":"2021","vehicle":"Corrie","fitted_odometer_km":150)", 200)
            .empty());
}

TEST_CASE("ids that look alike are warned of, once for each") {
  const auto warned = [](const std::vector<std::string>& ids) {
    std::vector<Record> records;
    for (const std::string& id : ids) {
      records.push_back(record_on(id, "2026-03-02"));
    }
    return group_by_unit(std::move(records)).diagnostics;
  };
  CHECK(outcome(group_by_unit(
            {record_on("AB-12", "2026-03-02"), record_on("ab-12", "2026-03-03", "", "b.json")})) ==
        R"(AB-12: 2026-03-02@-
ab-12: 2026-03-03@-
b.json:1: warning[ids-look-alike]: /unit/id is "ab-12" and looks like "AB-12" of a.json:1: they count as two units
  hint: where it is one unit, write its id in one way; the first difference is U+0061 and U+0041
)");
  for (const char* other : {
           "HL-Cor\u00e9-07",       // composed, and not
           "\uff28L-Cor\u00e9-07",  // a wide letter
           "\u041dL-Cor\u00e9-07",  // Cyrillic
           "\u0397L-Cor\u00e9-07",  // Greek
           "HL\u2013Cor\u00e9-07",  // a long dash
           "HL-Cor\u00e9-O7",       // O for 0
           "hl-cOR\u00c9-07",
       }) {
    CHECK(warned({"HL-Core\u0301-07", other}).size() == 1);
  }
  CHECK(warned({"HL-0147", "HL-0148", "HL-01477", "HL0147"}).empty());
  CHECK(warned({"ab", "AB", "aB", "Ab"}).size() == 3);
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
