// A shop's records over the years: what takes them out, and what becomes of their texts.
#include "dryshaft/archive.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "base/sha256.hpp"
#include "dryshaft/table.hpp"
#include "record/edit.hpp"
#include "record/withdrawn.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using nlohmann::json;
using test::complaints;
using test::read_file;
using test::shipped_grader;

ReadOptions keep_texts() {
  ReadOptions options = shipped_grader().read_options();
  options.keep_text = true;
  return options;
}

Record read_one(const std::string& text, std::uint32_t line = 1) {
  Result<Record> read = read_record(text, "a.jsonl", line, 1, keep_texts());
  std::string said;
  for (const Diagnostic& d : read.diagnostics) {
    said += to_text(d);
  }
  INFO(text << "\n" << said);
  REQUIRE(read.value.has_value());
  return *std::move(read.value);
}

std::string look(const std::string& id, const std::string& date, const std::string& fluid,
                 const std::string& more = "") {
  return R"({"format":"dryshaft-record/1","unit":{"id":")" + id + R"("},"inspection":{"date":")" +
         date + R"(","port":{"checked":true,"fluid":")" + fluid + "\"}}" + more + "}";
}

const Amendment kAmendment{.day = 20532, .because = "tag misread", .by = "desk"};  // 2026-03-20

// Dates of what counts and, in brackets, of what does not: ~ replaced, - withdrawn.
std::string outcome(std::vector<Record> records, std::optional<int> today = std::nullopt) {
  for (std::size_t i = 0; i < records.size(); ++i) {
    records[i].line = static_cast<std::uint32_t>(i + 1);
  }
  const Result<std::vector<History>> units = group_by_unit(std::move(records), today);
  std::string out;
  for (const History& unit : *units.value) {
    out += unit.unit_id + ":";
    for (const Record& r : unit.records) {
      out += " " + date_text(static_cast<int>(r.at(Field::date).number));
      out += r.has(Field::port_fluid) ? "" : "?";
    }
    for (const TakenOut& t : unit.taken_out) {
      out += " [" + std::string(t.replaced ? "~" : "-") +
             date_text(static_cast<int>(t.record.at(Field::date).number)) +
             (t.other_unit.empty() ? "" : " " + t.other_unit) + "]";
    }
    out += "\n";
  }
  return out + complaints(units.diagnostics);
}

TEST_CASE("a keyed hash is HMAC-SHA-256") {  // RFC 4231, cases 2 and 6
  CHECK(hmac_sha256_hex("Jefe", "what do ya want for nothing?") ==
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
  CHECK(hmac_sha256_hex(std::string(131, '\xaa'),
                        "Test Using Larger Than Block-Size Key - Hash Key First") ==
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54");
}

TEST_CASE("what a record withdraws is read, or refused at its place") {
  const std::string hash(64, 'a');
  const Record r =
      read_one(look("HL-1", "2026-03-01", "none",
                    R"(,"replaces":")" + std::string(64, 'b') + R"(","withdrawn":[{"sha256":")" +
                        hash + R"(","date":"2026-03-02","because":"why","by":"who"}])"));
  CHECK(r.replaces == std::string(64, 'b'));
  REQUIRE(r.withdrawn.size() == 1);
  CHECK(r.withdrawn[0] == Withdrawn{.sha256 = hash, .day = 20514, .because = "why", .by = "who"});
  const Result<Record> bad =
      read_record(look("HL-1", "2026-03-01", "none",
                       R"(,"replaces":"abc","withdrawn":[{"because":"why"},{"sha":1}])"),
                  "a.json", 1, 1, keep_texts());
  CHECK_FALSE(bad.value);
  CHECK(complaints(bad.diagnostics) ==
        R"(a.json:1:137: error[bad-value]: /replaces is "abc"
  "replaces":"abc","withdrawn":[{"because":"why"},{"sha":1}]}
             ^
  allowed: 64 digits, 0-9 and a-f
  hint: name the whole SHA-256 of the record's text, as reports do
a.json:1:156: error[missing-field]: /withdrawn/0/sha256 is missing
  "withdrawn":[{"because":"why"},{"sha":1}]}
               ^
  allowed: 64 digits, 0-9 and a-f
a.json:1:174: error[missing-field]: /withdrawn/1/sha256 is missing
  "withdrawn":[{"because":"why"},{"sha":1}]}
                                 ^
  allowed: 64 digits, 0-9 and a-f
a.json:1:175: error[unknown-field]: /withdrawn/1/sha is not a field of a record
  "sha":1}]}
  ^
)");
}

TEST_CASE("a notice is no inspection") {
  const Record wrong = read_one(look("HL-1", "2026-03-01", "film"));
  CHECK(is_notice(read_one(withdrawal(wrong, kAmendment))));
  CHECK(is_notice(read_one(retirement("HL-1", Did::unit_sold, kAmendment.day, "to a dealer"))));
  CHECK_FALSE(is_notice(wrong));
  CHECK_FALSE(is_notice(read_one(replacement(wrong, wrong.text, kAmendment))));
  CHECK_FALSE(
      is_notice(read_one(look("HL-1", "2026-03-01", "film", R"(,"work":[{"did":"unit-sold"}])"))));
  CHECK_FALSE(is_notice(read_one(
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-01"},)"
      R"("work":[{"did":"unit-sold"},{"did":"port-cleaned"}]})")));
}

TEST_CASE("what is withdrawn or replaced counts for nothing, in any order of input") {
  const Record first = read_one(look("HL-1", "2025-03-01", "none"));
  const Record wrong = read_one(look("HL-1", "2026-03-01", "film"));
  const Record right = read_one(replacement(wrong, look("HL-1", "2026-03-01", "none"), kAmendment));
  const Record notice = read_one(withdrawal(wrong, kAmendment));
  const Record undone = read_one(withdrawal(notice, kAmendment));
  const Record last = read_one(replacement(right, look("HL-1", "2026-03-02", "none"), kAmendment));
  const Record void_right = read_one(withdrawal(right, kAmendment));
  struct Expected {
    std::vector<Record> records;
    std::string outcome;
  };
  const std::vector<Expected> all = {
      {{first, wrong, right}, "HL-1: 2025-03-01 2026-03-01 [~2026-03-01]\n"},
      {{first, wrong, notice}, "HL-1: 2025-03-01 [-2026-03-01]\n"},
      // Withdrawing the withdrawal brings the record back.
      {{first, wrong, notice, undone}, "HL-1: 2025-03-01 2026-03-01 [-2026-03-20]\n"},
      // A chain: the middle goes on replacing the first.
      {{first, wrong, right, last}, "HL-1: 2025-03-01 2026-03-02 [~2026-03-01] [~2026-03-01]\n"},
      // A replacement that is withdrawn replaces nothing.
      {{first, wrong, right, void_right}, "HL-1: 2025-03-01 2026-03-01 [-2026-03-01]\n"},
      // A unit of which nothing counts is still there, and nothing is known of it.
      {{wrong, notice}, "HL-1: 2026-03-01? [-2026-03-01]\n"},
  };
  for (const Expected& e : all) {
    std::vector<std::size_t> order(e.records.size());
    for (std::size_t i = 0; i < order.size(); ++i) {
      order[i] = i;
    }
    do {
      std::vector<Record> records;
      for (const std::size_t i : order) {
        records.push_back(e.records[i]);
      }
      CHECK(outcome(records) == e.outcome);
    } while (std::ranges::next_permutation(order).found);
  }
}

TEST_CASE("a record that is moved to another unit leaves no ghost behind") {
  const Record wrong = read_one(look("HL-1", "2026-03-01", "film"));
  const Record right = read_one(replacement(wrong, look("HL-2", "2026-03-01", "film"), kAmendment));
  CHECK(outcome({wrong, right}) ==
        "HL-2: 2026-03-01 [~2026-03-01 HL-1]\n"
        "a.jsonl:1: warning[unit-moved]: no record of the unit \"HL-1\" is left, as one of "
        "\"HL-2\" took its place: it has no report\n");
}

TEST_CASE("in doubt both records count, and a warning says so") {
  const Record wrong = read_one(look("HL-1", "2026-03-01", "film"));
  const Record one = read_one(replacement(wrong, look("HL-1", "2026-03-01", "none"), kAmendment));
  const Record two = read_one(replacement(wrong, look("HL-1", "2026-03-01", "pooled"), kAmendment));
  const std::string hash = wrong.sha256.substr(0, 12);
  std::string said = outcome({wrong, one, two});
  CHECK(said.starts_with("HL-1: 2026-03-01 2026-03-01 [~2026-03-01]\na.jsonl:"));
  CHECK(said.find("warning[replaced-twice]: /withdrawn/0/sha256 is " + hash +
                  "..., which a.jsonl:") != std::string::npos);
  CHECK(said.find("takes the place of as well: both count, and the worse of them holds\n"
                  "  hint: withdraw one of the two\n") != std::string::npos);
  const Report report =
      shipped_grader().report(group_by_unit({wrong, one, two}).value->front(), {});
  CHECK(report.grade == shipped_grader().report(group_by_unit({two}).value->front(), {}).grade);
  // Nothing was read that has this hash.
  said = outcome({one});
  CHECK(
      said.starts_with("HL-1: 2026-03-01\n"
                       "a.jsonl:1:"));
  CHECK(said.ends_with("warning[no-such-record]: /withdrawn/0/sha256 is " + hash +
                       "..., and no record that was read with this one has that hash: it takes "
                       "nothing out\n"
                       "  hint: name the file with that record as well, or look for a slip of the "
                       "pen\n"));
}

// No text has the hash of another one in it and the other way round: these are made.
TEST_CASE("what goes round in a circle takes nothing out") {
  for (std::size_t length = 1; length <= 4; ++length) {
    std::vector<Record> ring;
    for (std::size_t i = 0; i < length; ++i) {
      Record r = read_one(look("HL-1", "2026-03-0" + std::to_string(i + 1), "film"));
      r.sha256 = std::string(64, static_cast<char>('a' + i));
      r.replaces = std::string(64, static_cast<char>('a' + (i + 1) % length));
      ring.push_back(r);
    }
    Record tail = read_one(look("HL-1", "2025-03-01", "none"));
    tail.sha256 = std::string(64, 'f');
    ring.push_back(tail);
    ring.front().withdrawn.push_back({.sha256 = tail.sha256});
    const std::string said = outcome(ring);
    const std::string line = said.substr(0, said.find('\n'));
    CHECK(std::ranges::count(line, '[') == 0);
    CHECK(std::ranges::count(line, '2') >= static_cast<std::ptrdiff_t>(length));
    std::size_t circles = 0;
    for (std::size_t at = 0; (at = said.find("warning[circular]", at)) != said.npos; ++at) {
      ++circles;
    }
    CHECK(circles == length + 1);
  }
}

TEST_CASE("a notice after the day of judgement is void, and said") {
  const Record wrong = read_one(look("HL-1", "2026-03-01", "film"));
  const std::string said =
      outcome({wrong, read_one(withdrawal(wrong, kAmendment))}, *parse_date("2026-03-10"));
  CHECK(said.starts_with("HL-1: 2026-03-01\na.jsonl:"));
  CHECK(said.find("error[date-after-today]: /inspection/date is 2026-03-20, after the day of "
                  "judgement, 2026-03-10: the record does not count yet") != std::string::npos);
}

// ------------------------------------------------------------ what reports say

json report_json(const History& unit, std::optional<int> today) {
  return json::parse(to_json(shipped_grader().report(unit, {.today = today})));
}

std::optional<int> newest_of(const std::vector<History>& units) {
  std::optional<int> newest;
  for (const History& unit : units) {
    const int day = static_cast<int>(unit.records.back().at(Field::date).number);
    newest = std::max(newest.value_or(day), day);
  }
  return newest;
}

// All units of one input, with what is said of records that do not count taken out of the reports.
std::map<std::string, json> reports_of(const std::vector<Record>& records) {
  const Result<std::vector<History>> units = group_by_unit(records);
  std::map<std::string, json> out;
  for (const History& unit : *units.value) {
    json report = report_json(unit, newest_of(*units.value));
    if (report["history"].contains("taken_out")) {
      for (const json& taken : report["history"]["taken_out"]) {
        std::erase(report["warnings"].get_ref<json::array_t&>(), taken["text"]);
      }
      report["history"].erase("taken_out");
    }
    out[unit.unit_id] = std::move(report);
  }
  return out;
}

TEST_CASE("a withdrawn record is as good as none, for each of a history") {
  std::vector<Record> records;
  for (const char* const fluid : {"none", "film", "pooled"}) {
    for (const char* const id : {"HL-1", "HL-2"}) {
      records.push_back(
          read_one(look(id, "202" + std::to_string(3 + records.size() / 2) + "-03-01", fluid)));
    }
  }
  for (std::size_t i = 0; i < records.size(); ++i) {
    std::vector<Record> without = records;
    without.erase(without.begin() + static_cast<std::ptrdiff_t>(i));
    std::vector<Record> withdrawn = records;
    withdrawn.push_back(read_one(withdrawal(records[i], kAmendment)));
    CHECK(reports_of(withdrawn) == reports_of(without));
    CHECK(reports_of(withdrawn) != reports_of(records));
  }
}

TEST_CASE("a report says what was withdrawn or replaced, and what it had shown for the worse") {
  const Record first = read_one(look("HL-1", "2025-03-01", "none"));
  const Record wrong = read_one(look("HL-1", "2026-03-01", "film"));
  const auto report_of = [](const std::vector<Record>& records) {
    return shipped_grader().report(group_by_unit(records).value->front(), {});
  };
  const Report withdrawn = report_of({first, wrong, read_one(withdrawal(wrong, kAmendment))});
  const std::string said =
      "Record of 2026-03-01 withdrawn on 2026-03-20 by desk: tag misread; it counts for nothing. "
      "It "
      "had shown: liquid at the port: a film of liquid";
  REQUIRE(withdrawn.history.taken_out.size() == 1);
  CHECK(withdrawn.history.taken_out[0].text.starts_with(said));
  CHECK(std::ranges::count(withdrawn.warnings, withdrawn.history.taken_out[0].text) == 1);
  CHECK(to_text(withdrawn, {.full = true}).find("withdrawn on 2026-03-20") != std::string::npos);
  // Good news that is withdrawn is told of in the history alone.
  const Report good = report_of({first, wrong, read_one(withdrawal(first, kAmendment))});
  CHECK(good.history.taken_out[0].text ==
        "Record of 2025-03-01 withdrawn on 2026-03-20 by desk: tag misread; it counts for nothing");
  CHECK(std::ranges::count(good.warnings, good.history.taken_out[0].text) == 0);
  const Report replaced = report_of(
      {first, wrong, read_one(replacement(wrong, look("HL-1", "2026-03-01", "none"), kAmendment))});
  CHECK(replaced.history.taken_out[0].text.starts_with(
      "Record of 2026-03-01 replaced by a corrected one on 2026-03-20 by desk: tag misread; it "
      "counts for nothing. It had shown: liquid at the port: a film of liquid"));
}

TEST_CASE("a unit that left has nothing due until it is looked at again") {
  const Record look_at = read_one(look("HL-1", "2026-03-01", "film"));
  const auto report_of = [](const std::vector<Record>& records) {
    return shipped_grader().report(group_by_unit(records).value->front(), {});
  };
  Wanted due;
  due.due_by_date = 40000;
  const Report before = report_of({look_at});
  CHECK_FALSE(before.due.empty());
  CHECK(is_wanted(before, due));
  for (std::size_t did = 0; did < kDidCount; ++did) {
    if (!leaves_care(static_cast<Did>(did))) {
      continue;
    }
    const Record left =
        read_one(retirement("HL-1", static_cast<Did>(did), kAmendment.day, "to a dealer"));
    const Report report = report_of({look_at, left});
    REQUIRE(report.left.has_value());
    CHECK(report.left->date == "2026-03-20");
    CHECK(report.left->note == "to a dealer");
    CHECK(report.due.empty());
    CHECK_FALSE(is_wanted(report, due));
    CHECK(is_wanted(report, {}));
    CHECK(report.grade == before.grade);
    CHECK(report.risk == before.risk);
    // On that day it still left; later it is back.
    CHECK(report_of({look_at, left, read_one(look("HL-1", "2026-03-20", "none"))}).left);
    const Report back = report_of({look_at, left, read_one(look("HL-1", "2026-03-21", "none"))});
    CHECK_FALSE(back.left);
    CHECK_FALSE(back.due.empty());
    // So does withdrawing it.
    CHECK_FALSE(report_of({look_at, left, read_one(withdrawal(left, kAmendment))}).left);
  }
  // As told by an inspection.
  CHECK(
      report_of({read_one(look("HL-1", "2026-03-01", "film", R"(,"work":[{"did":"unit-sold"}])"))})
          .left);
}

// --------------------------------------------------------------------- texts

std::vector<RecordText> texts_of(const std::vector<std::string>& texts) {
  std::vector<RecordText> out;
  for (const std::string& text : texts) {
    out.push_back(text_of(read_one(text)));
  }
  return out;
}

std::vector<std::string> some_texts() {
  const std::string wrong = look("HL-2", "2026-03-01", "film");
  const std::string over_lines =
      "{\n  \"format\": \"dryshaft-record/1\",\r\n  \"unit\": {\"id\": \"HL-1\"},\n"
      "  \"inspection\": {\"date\": \"2026-01-01\", \"odometer_mi\": 12.50},\n  \"note\": "
      "\"a\\nb\"\n}";
  const std::string right =
      replacement(read_one(over_lines), look("HL-1", "2026-01-02", "none"), kAmendment);
  return {wrong,
          over_lines,
          right,
          withdrawal(read_one(right), kAmendment),
          withdrawal(read_one(wrong), kAmendment),
          wrong};
}

TEST_CASE("records are brought together in one way, and once") {
  std::vector<std::string> texts = some_texts();
  const RecordLines once = in_order(texts_of(texts));
  CHECK(once.lines.size() == 5);
  CHECK(once.repeated == 1);
  CHECK(once.rewritten == 3);  // the one over several lines, and the two that hang on it
  CHECK(once.references == 2);
  CHECK(once.lines[0] ==
        "{  \"format\": \"dryshaft-record/1\",  \"unit\": {\"id\": \"HL-1\"},  \"inspection\": "
        "{\"date\": \"2026-01-01\", \"odometer_mi\": 12.50},  \"note\": \"a\\nb\"}");
  CHECK(once.lines[1].find("\"replaces\":\"" + sha256_hex(once.lines[0]) + "\"") !=
        std::string::npos);
  std::ranges::sort(texts);
  do {
    REQUIRE(in_order(texts_of(texts)).lines == once.lines);
  } while (std::ranges::next_permutation(texts).found);
  const RecordLines again = in_order(texts_of(once.lines));
  CHECK(again.lines == once.lines);
  CHECK(again.repeated + again.rewritten + again.references == 0);
}

TEST_CASE("a chain of any length is rewritten with its beginning") {
  std::vector<std::string> texts = {"{\n" + look("HL-1", "2026-01-01", "none").substr(1)};
  for (int i = 0; i < 3000; ++i) {
    texts.push_back(
        replacement(read_one(texts.back()), look("HL-1", "2026-01-01", "none"), kAmendment));
  }
  std::vector<RecordText> records = texts_of(texts);
  std::ranges::reverse(records);
  RecordLines lines = as_lines(std::move(records));
  std::ranges::reverse(lines.lines);
  for (std::size_t i = 1; i < lines.lines.size(); ++i) {
    REQUIRE(read_one(lines.lines[i]).replaces == sha256_hex(lines.lines[i - 1]));
  }
}

TEST_CASE("what an owner wants forgotten goes from that unit alone, and nothing else") {
  const std::string full =
      R"({"format":"dryshaft-record/1", "unit":{"id":"HL-1","x_owner":"A"}, "note":"n",)"
      R"("inspection":{"date":"2026-03-01","photos":["a.jpg"],"by":"owner","x_bay":[1,{"x_y":2}]},)"
      R"("work":[{"did":"port-cleaned","note":"n","by":"here"}],"x_z":1})";
  const std::string other = R"({"format":"dryshaft-record/1","unit":{"id":"HL-2"},"note":"n",)"
                            R"("inspection":{"date":"2026-03-01"}})";
  const std::vector<std::string> texts = {full, other, withdrawal(read_one(full), kAmendment)};
  const RecordLines lines = forgotten(texts_of(texts), "HL-1");
  const std::string left = R"({"format":"dryshaft-record/1", "unit":{"id":"HL-1"},)"
                           R"("inspection":{"date":"2026-03-01","by":"owner"},)"
                           R"("work":[{"did":"port-cleaned","by":"here"}]})";
  CHECK(
      lines.lines ==
      std::vector<std::string>{
          left, other,
          R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-20"},)"
          R"("withdrawn":[{"sha256":")" +
              sha256_hex(left) + R"(","date":"2026-03-20","because":"tag misread"}]})"});
}

TEST_CASE("records for others have the same grades, dates and probabilities") {
  std::vector<Record> records;
  for (const char* const name : {"intake.jsonl", "teardowns.jsonl", "history-ten-years.jsonl"}) {
    const std::string text = read_file(std::string(DRYSHAFT_EXAMPLES_DIR) + "/" + name);
    for (Record& r : read_records(text, name, keep_texts()).records) {
      if (name != std::string("history-ten-years.jsonl") || r.unit_id.ends_with("7")) {
        records.push_back(std::move(r));
      }
    }
  }
  REQUIRE(records.size() > 350);
  records.push_back(read_one(withdrawal(records[0], kAmendment)));
  std::vector<RecordText> texts;
  for (const Record& r : records) {
    texts.push_back(text_of(r));
  }
  const std::string key = "a secret of this test";
  std::vector<Record> given;
  for (const std::string& line : anonymous(texts, key).lines) {
    CHECK(line.find("x_") == std::string::npos);
    CHECK(line.find("HL-") == std::string::npos);
    CHECK(line.find("tag misread") == std::string::npos);
    given.push_back(read_one(line));
  }
  const auto told = [](const History& unit, std::optional<int> today) {
    const Report r = shipped_grader().report(unit, {.today = today});
    std::string out = std::string(name(r.grade)) + r.date + std::to_string(r.risk);
    for (const Prognosis& p : r.prognosis) {
      out += " " + std::to_string(p.damage.probability) + " " +
             std::to_string(p.breakdown.probability);
    }
    for (const HistoryEntry& e : r.history.earlier) {
      out += " " + e.date + std::string(name(e.grade)) + std::to_string(e.risk);
    }
    for (const Due& d : r.due) {
      out += " " + d.action + d.due_date;
    }
    return out + std::to_string(r.history.taken_out.size());
  };
  const auto units = group_by_unit(records).value;
  const auto others = group_by_unit(given).value;
  std::map<std::string, std::string> by_id;
  for (const History& unit : *others) {
    by_id[unit.unit_id] = told(unit, newest_of(*others));
  }
  REQUIRE(units->size() == others->size());
  for (const History& unit : *units) {
    const std::string id = hmac_sha256_hex(key, unit.unit_id).substr(0, 16);
    CHECK(by_id[id] == told(unit, newest_of(*units)));
  }
}

// ------------------------------------------------------------ new values, edits

TEST_CASE("a member is set, added or taken out, and no other byte moves") {
  const std::string text = R"({ "a": {"b": 1.50, "c":[1, 2]}, "d": null })";
  CHECK(with_member(text, "/a/b", "2") == R"({ "a": {"b": 2, "c":[1, 2]}, "d": null })");
  CHECK(with_member(text, "/a/e", "2") == R"({ "a": {"b": 1.50, "c":[1, 2], "e": 2}, "d": null })");
  CHECK(with_member(text, "/d/e/f", "2") ==
        R"({ "a": {"b": 1.50, "c":[1, 2]}, "d": {"e": {"f": 2}} })");
  CHECK(with_member(text, "/a", std::nullopt) == R"({ "d": null })");
  CHECK(with_member(text, "/d", std::nullopt) == R"({ "a": {"b": 1.50, "c":[1, 2]} })");
  CHECK(with_member(text, "/x", std::nullopt) == text);
  CHECK(with_member(R"({"a":1})", "/a", std::nullopt) == "{}");
  CHECK(with_member("{}", "/a", "1") == R"({"a":1})");
}

TEST_CASE("values are set as a table writes them") {
  const std::string text = R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},)"
                           R"("inspection":{"date":"2026-03-01","odometer_mi":50000}})";
  const auto set = [&](const std::vector<std::pair<std::string, std::string>>& values) {
    const Result<std::string> done = with_values(text, values, "--set", keep_texts());
    return done.value.value_or(complaints(done.diagnostics));
  };
  CHECK(set({{"odometer_km", "99000"}, {"fluid", "Film"}, {"x_bay", "3, \"b\""}}) ==
        R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-01",)"
        R"("odometer_km":99000,"port":{"fluid":"film"}},"x_bay":"3, \"b\""})");
  CHECK(
      set({{"unit.id", "HL-2"}, {"date", "2026-03-02"}, {"odometer_mi", ""}}) ==
      R"({"format":"dryshaft-record/1","unit":{"id":"HL-2"},"inspection":{"date":"2026-03-02"}})");
  CHECK(set({{"fluid", "dropplets"}}) ==
        "--set: error[bad-value]: /inspection/port/fluid is \"dropplets\"\n"
        "  allowed: none, film, droplets, pooled\n"
        "  hint: did you mean \"droplets\"?\n");
}

TEST_CASE("a record is found by the beginning of its hash") {
  const std::vector<Record> records = {read_one(look("HL-1", "2026-03-01", "film"), 1),
                                       read_one(look("HL-2", "2026-03-01", "film"), 2),
                                       read_one(look("HL-1", "2026-03-01", "film"), 3)};
  CHECK(find_record(records, records[1].sha256.substr(0, 8)).value->unit_id == "HL-2");
  CHECK(find_record(records, records[0].sha256).value->unit_id == "HL-1");  // told twice: one
  CHECK(complaints(find_record(records, "").diagnostics) ==
        "a.jsonl:2: error[which-record]: has a hash that begins with , and so has a.jsonl:1\n"
        "  hint: name more digits of the hash\n");
  CHECK_FALSE(find_record(records, std::string(64, '0')).value);
}

// -------------------------------------------------------------------- tables

TEST_CASE("a table that is written reads back as the same records") {
  std::size_t seen = 0;
  for (const char* const name : {"intake.jsonl", "teardowns.jsonl", "history-ten-years.jsonl"}) {
    const std::string text = read_file(std::string(DRYSHAFT_EXAMPLES_DIR) + "/" + name);
    const Records read = read_records(text, name, keep_texts());
    const TableWritten table = write_table(read.records, keep_texts());
    const Records back = read_table(table.text, "t.csv", {}, keep_texts());
    CHECK(back.records.size() + table.left_out == read.records.size());
    CHECK(back.rejected == 0);
    CHECK(complaints(table.diagnostics).empty() == (table.left_out == 0));
    // A record of a row is written in one way, so twice through a table is the same as once.
    CHECK(write_table(back.records, keep_texts()).text == table.text);
    seen += back.records.size();
  }
  CHECK(seen > 300);
}

TEST_CASE("what no cell holds is said, and its record left out") {
  const std::string head = R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},)";
  const std::vector<std::string> texts = {
      head + R"("inspection":{"date":"2026-03-01"},"note":"=1+1, \"so\"\nand so"})",
      head + R"("inspection":{"date":"2026-03-02"},"note":" blank"})",
      head + R"("inspection":{"date":"2026-03-03"},"work":[{"did":"port-cleaned","note":"n"}]})",
      head + R"("inspection":{"date":"2026-03-04","x_bay":"4"},"x_rows":4})",
      head + R"("inspection":{"date":"2026-03-05","noise":{"when":[]}}})",
      head + R"("inspection":{"date":"2026-03-06"},"work":[{"did":"port-cleaned"}],"x_bay":"4"})",
      withdrawal(read_one(head + R"("inspection":{"date":"2026-03-01"}})"), kAmendment)};
  std::vector<Record> records;
  for (const std::string& text : texts) {
    records.push_back(read_one(text, static_cast<std::uint32_t>(records.size() + 1)));
  }
  const TableWritten table = write_table(records, keep_texts());
  CHECK(table.left_out == 5);
  CHECK(table.text ==
        "id,date,when,note,work,x_bay\r\n"
        "HL-1,2026-03-01,,\"'=1+1, \"\"so\"\"\nand so\",,\r\n"
        "HL-1,2026-03-06,,,port-cleaned,4\r\n");
  CHECK(
      complaints(table.diagnostics) ==
      R"(a.jsonl:2: error[not-in-a-table]: /note cannot stand in a cell as it is: the record is left out
  hint: keep this record as JSON
a.jsonl:3: error[not-in-a-table]: /work says more than the words that a cell holds: the record is left out
  hint: keep this record as JSON
a.jsonl:4: error[not-in-a-table]: /inspection/x_bay is not a text of the record itself that a cell holds as it is: the record is left out
  hint: keep this record as JSON
a.jsonl:4: error[not-in-a-table]: /x_rows is not a text of the record itself that a cell holds as it is: the record is left out
  hint: keep this record as JSON
a.jsonl:5: error[not-in-a-table]: /inspection/noise/when cannot stand in a cell as it is: the record is left out
  hint: keep this record as JSON
a.jsonl:7: error[not-in-a-table]: /withdrawn is a list, which a table has no column for: the record is left out
  hint: keep this record as JSON
)");
  CHECK(read_table(table.text, "t.csv", {}, keep_texts()).records.front().note ==
        records.front().note);
}

TEST_CASE("a title of the shop's own may be a key of its own") {
  const auto map = read_column_map(
      R"({"format":"dryshaft-columns/1","columns":{"No.":"unit.id","Customer":"x_Owner",)"
      R"("Bay":{"field":"x_bay","values":{"-":null,"one":"1"}}}})",
      "c.json");
  CHECK(complaints(map.diagnostics).empty());
  REQUIRE(map.value);
  const Records read =
      read_table("No.,date,Customer,Bay\nHL-1,2026-03-01,J. Q.,-\nHL-2,2026-03-01,,one\n", "t.csv",
                 *map.value, {});
  REQUIRE(read.records.size() == 2);
  CHECK(read.records[0].own ==
        std::vector<std::pair<std::string, std::string>>{{"/x_Owner", "\"J. Q.\""}});
  CHECK(read.records[1].own ==
        std::vector<std::pair<std::string, std::string>>{{"/x_bay", "\"1\""}});
  CHECK(
      complaints(read_column_map(R"({"format":"dryshaft-columns/1","columns":{"A":"x_","B":"qqqq",)"
                                 R"("C":{"field":"x_c","dates":"day-month-year"}}})",
                                 "c.json")
                     .diagnostics)
          .find("allowed: x_ and letters, digits, _ and -") != std::string::npos);
}

}  // namespace
}  // namespace dryshaft
