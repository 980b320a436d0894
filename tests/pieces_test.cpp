// Texts read in pieces give what they give in one piece: tables, arrays, lines, single records.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <memory>
#include <random>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "families.hpp"
#include "pieces.hpp"
#include "record/cells.hpp"

namespace dryshaft {
namespace {

const ColumnMap kNoTitles;
constexpr std::size_t kLimit = 400;  // bytes of a record

using test::in_pieces;
using test::kNoEnd;
using test::Make;
using test::Pieces;
using test::whole;

std::unique_ptr<PieceReader> table() {
  return table_reader("f", kNoTitles, test::kFamilies, kLimit);
}
std::unique_ptr<PieceReader> records() { return records_reader("f", 1, test::kFamilies, kLimit); }

void same_both_ways(const Make& make, std::string_view text) {
  const std::string wanted = whole(make, text);
  for (const auto& [chunk, enough] :
       std::vector<std::pair<std::size_t, std::size_t>>{{1, kNoEnd}, {97, 1}, {1000, 3}}) {
    const Pieces got = in_pieces(make, text, chunk, enough);
    if (got.read != wanted) {
      INFO(text);
      CAPTURE(chunk, enough);
      CHECK(got.read == wanted);
      return;
    }
    CHECK(got.most_records <= enough);
    CHECK(got.most <= make()->look_ahead() + chunk);
    if (text.size() > 20 * kLimit && wanted.size() > text.size() / 10) {
      CHECK(got.calls > 3);
    }
  }
}

std::string one_record(int i, std::string_view more = {}) {
  return fmt::format(R"({{"format":"dryshaft-record/1","unit":{{"id":"HL-{}"}},"inspection":)"
                     R"({{"date":"2026-03-02","odometer_km":{}{}}}}})",
                     i, 1000 * i, more);
}

std::string note(std::size_t bytes) { return ",\"x_\":\"" + std::string(bytes, 'n') + "\""; }

// Records of about 120 to 700 bytes, the longest of them longer than they may be.
std::vector<std::string> some_records(int count) {
  std::vector<std::string> out;
  for (int i = 0; i < count; ++i) {
    out.push_back(one_record(i, i % 7 == 3    ? note(500)
                                : i % 7 == 5  ? ",\"x_b\":[\"\\\"}\",{\"a\":[1,2]}]"
                                : i % 11 == 4 ? ",\"port\":{\"fluid\":\"dropplets\"}"
                                : i % 13 == 6 ? ",\"x_u\":\"\u00e9\u20ac\U0001F600\""
                                              : ""));
  }
  return out;
}

std::string joined(const std::vector<std::string>& records, std::string_view between) {
  return fmt::format("{}", fmt::join(records, between));
}

std::string on_several_lines(std::string record) {
  for (std::size_t at = 0; (at = record.find_first_of("{,", at)) != std::string::npos; at += 4) {
    record.insert(at + 1, "\n  ");
  }
  return record;
}

std::vector<std::string> json_texts() {
  const std::vector<std::string> some = some_records(40);
  std::vector<std::string> spread;
  for (const std::string& r : some) {
    spread.push_back(on_several_lines(r));
  }
  std::vector<std::string> halves;
  for (std::size_t i = 0; i < spread.size(); ++i) {
    halves.push_back(i % 3 == 0 ? spread[i].substr(0, spread[i].size() / 2) : spread[i]);
  }
  const std::string white(3000, ' ');
  const std::string lines(2000, '\n');
  std::vector<std::string> out = {
      "[" + joined(some, ",") + "]", "\xEF\xBB\xBF [\n" + joined(some, ",\r\n") + "\n]\n",
      "[\n" + joined(spread, ",\n") + "\n]\n", "{\n" + joined(spread, "\n"), joined(spread, "\n"),
      joined(some, "\n"), "\xEF\xBB\xBF" + joined(some, "\r\n\r\n"),
      joined(some, " "),  // all on one line
      joined(some, ""), joined(spread, ""), joined(spread, " "), joined(spread, "]\n"),
      joined(spread, ",\n"), joined(some, "}\n"),
      "[" + joined(some, ",") + "]\n" + joined(spread, "\n") + "[" + joined(spread, ",\n") + "]" +
          joined(some, "\n"),
      joined(some, "\n") + "\n" + joined(spread, "\n") + "\n" + joined(some, "\n"),
      joined(halves, "\n"), joined(halves, "\n  "), joined(halves, "\n\n" + some[1] + "\n"),
      joined(halves, "\n[") + "]", joined(halves, lines),
      "  " + joined(some, "\n  ") + "\n" + white + joined(halves, "\n" + white),
      "\"junk\n" + joined(some, "\n"),      // a bad line first
      "junk" + lines + joined(some, "\n"),  // and further away
      "junk " + std::string(2000, 'x') + "\n" + one_record(1), std::string(9000, 'x'),
      "1,2,3\n" + std::string(9000, 'x') + lines + "{",
      // Around the commas and the end of an array.
      "[" + joined(some, ",") + ",]", "[" + joined(some, ",") + "," + white + "]",
      "[" + joined(some, ",") + "," + white, "[" + joined(some, white + "," + white),
      "[" + white + "]", "[" + lines + "," + lines + "]" + lines + "more",
      "[" + joined(some, ",") + "]" + white + one_record(1),
      "[" + joined(some, ",") + "}}" + white + "}, 12]", "[" + joined(some, ",,") + "]",
      "[" + joined(some, " ") + "]", "[" + joined(some, ",\n"),
      // What is longer than a record may be.
      "[" + std::string(2000, '1') + ",\"" + std::string(2000, ',') + "\"," + one_record(1) + "," +
          std::string(2000, 'x') + "  ," + one_record(2) + ",\"" + std::string(2000, 'x') + "\n]",
      "[" + std::string(5000, '['),
      "[" + std::string(5000, '[') + std::string(5000, ']') + "," + one_record(1) + "]",
      "[{\"a\":[" + joined(some, ",") + "]",
      one_record(1, note(3000)) + white + "," + one_record(2) + "\n" + one_record(3),
      one_record(1, note(3000)) + "\n" + one_record(2, note(3000)).substr(0, 2500) + " \t\r\n" +
          std::string(3000, 'x') + "  \n" + one_record(3),
      on_several_lines(one_record(1, note(3000))) + white + "{" + white,
      on_several_lines(one_record(1, note(3000))) + white,
      on_several_lines(one_record(1, note(3000))).substr(0, 3000) + white,
      on_several_lines(one_record(1)) + lines + "more", "", " ", lines + white, "\xEF\xBB\xBF", "{",
      "[", lines + "{\n"};
  out.push_back(out[0].substr(0, out[0].size() / 2) + "\xC3\x28\x80\x80\x80\x80\x80" +
                out[0].substr(out[0].size() / 2));
  out.push_back("[" + std::string(4000, '\x80') + "," + one_record(1) + "]");
  return out;
}

std::vector<std::string> tables() {
  const std::string head = "unit.id,date,odometer_km,x_note\n";
  std::string good;
  std::string quoted;
  for (int i = 0; i < 120; ++i) {
    const std::string long_one = i % 17 == 5 ? std::string(600, 'n') : "";
    good += fmt::format("HL-{},2026-03-02,{},{}\n", i, 1000 * i, long_one);
    quoted += fmt::format("HL-{},2026-03-02,\"{}\",\"a \"\"b\"\",\n{}c\"\r\n", i,
                          i % 19 == 7 ? "1,5" : "70", std::string(i % 23 == 9 ? 500 : 9, '\n'));
  }
  const std::string lines(3000, '\n');
  std::string bad = good;
  bad.insert(bad.find("HL-9,"), "HL-9a,2026-03-02,1,\"never closed\n");
  bad.insert(bad.find("HL-30,"), "\"HL-30a\" x,2026-03-02,1,\nHL-30b,2026-03-02,1\n");
  bad.insert(bad.find("HL-40,"), ",,,,,\n,,,,x\n\xC3(,2026-03-02,1,\n");
  bad.insert(bad.find("HL-90,"), "HL-90a,\"2026-03-02,1,\nHL-90b,\"2026-03-02,1,\n");
  return {head + good,
          "\xEF\xBB\xBF" + head + quoted,
          head + quoted + good + quoted,
          head + bad,
          head + bad + "\"" + quoted,
          lines + head + lines + good + lines,
          lines,
          lines + head + lines,
          "unit.id;date;x_note\n" + std::string(3000, ';') + "\nHL-1;2.3.2026;\n",
          "unit.id,datum\n" + good,
          "unit.id,\"date\nHL-1,2026-03-02\n" + good,
          "unit.id,date," + std::string(3000, ',') + "\n" + good,
          head + "HL-1,2026-03-02,1," + std::string(5000, 'x'),
          head + "HL-1,2026-03-02,1,\"" + std::string(5000, 'x') + "\"\nHL-2,2026-03-02,1,\n",
          head + "HL-1,2026-03-02,1,\"" + lines + "\"\nHL-2,2026-03-02,1,\n",
          head + "HL-1,2026-03-02,1,\"a\nb\"" + std::string(2000, ' ') + "\nHL-2,2026-03-02,1,\n",
          head + good + "HL-1,2026-03-02,1,\"",
          "",
          "\n",
          head,
          "{\"a\":1}" + lines,
          "\x1F\x8B" + lines,
          "\"" + lines,
          "a\"" + good};
}

// `text` with a few characters, of those that matter most, put in, taken out or changed.
std::string damaged(std::string text, std::string_view with, std::mt19937& random) {
  const auto below = [&](std::size_t n) { return static_cast<std::size_t>(random()) % n; };
  for (std::size_t n = 1 + below(6); n > 0 && !text.empty(); --n) {
    std::size_t at = below(text.size());
    if (below(2) == 0) {  // rather where it hurts
      at = std::min(text.find_first_of(with, at), text.size() - 1);
    }
    switch (below(4)) {
      case 0:
        text.erase(at, 1);
        break;
      case 1:
        text.insert(at, 1, with[below(with.size())]);
        break;
      case 2:
        text[at] = with[below(with.size())];
        break;
      default:
        text.erase(at, below(300));
        break;
    }
  }
  return text;
}

TEST_CASE("records read in pieces are those read in one piece") {
  for (const std::string& text : json_texts()) {
    same_both_ways(records, text);
  }
}

TEST_CASE("tables read in pieces are those read in one piece") {
  for (const std::string& text : tables()) {
    same_both_ways(table, text);
  }
}

TEST_CASE("damaged texts read in pieces are those read in one piece") {
  std::mt19937 random(20261126);
  const auto try_all = [&](const Make& make, const std::vector<std::string>& texts,
                           std::string_view with) {
    for (int round = 0; round < 8; ++round) {
      for (const std::string& text : texts) {
        const std::string bad = damaged(text, with, random);
        const Pieces got = in_pieces(make, bad, 200, 5);
        const std::string wanted = whole(make, bad);
        if (got.read != wanted) {
          INFO(bad);
          CHECK(got.read == wanted);
        }
      }
    }
  };
  try_all(records, json_texts(), "{}[]\",\\\n \x80");
  try_all(table, tables(), "\",;\n\r \x80");
}

std::string size_said(int line, std::size_t bytes, std::string_view shown) {
  return fmt::format("f:{}:1: error[size]: holds {} bytes\n  {}\n  ^\n  allowed: 400 bytes\n", line,
                     bytes, shown.substr(0, 72));
}

TEST_CASE("what is longer than a record may be says how long it is, and loses nothing else") {
  const std::string large = one_record(2, R"(,"x_b":["}\\\"}{[",{"a":[1,2]}])" + note(800));
  const std::string cut = large.substr(0, large.size() - 1);
  struct Row {
    std::string text;
    std::size_t bytes;
    std::size_t records;
    std::string_view then = {};  // the code of the next complaint
  };
  const std::vector<Row> rows = {
      {"[" + one_record(1) + ",\n" + large + ",\n" + one_record(3) + "]", large.size(), 2},
      {one_record(1) + "\n" + large + " \n" + one_record(3), large.size(), 2},
      {one_record(1) + "\n" + large + " x\n" + one_record(3), large.size(), 2, "trailing-text"},
      {one_record(1) + "\n" + cut + " \n" + one_record(3), cut.size(), 2},
      {"[" + one_record(1) + ",\n" + cut + " \n ", cut.size(), 1, "syntax"},
      {"\n" + on_several_lines(large) + "\n", on_several_lines(large).size(), 0},
      {"\n" + on_several_lines(cut) + "\n ", on_several_lines(cut).size(), 0},
      {"\n" + on_several_lines(large) + "\n" + one_record(3), on_several_lines(large).size(), 1},
      {"\n" + on_several_lines(cut) + "\n" + one_record(3), on_several_lines(cut).size(), 1},
  };
  for (const Row& row : rows) {
    CAPTURE(row.text);
    Records read;
    records()->read(row.text, true, kNoEnd, read);
    CHECK(read.records.size() == row.records);
    REQUIRE(read.diagnostics.size() == (row.then.empty() ? 1 : 2));
    CHECK(to_text(read.diagnostics[0]) ==
          size_said(2, row.bytes, row.text[2] == '\n' ? "{" : std::string_view(large)));
    CHECK(read.diagnostics.back().code == (row.then.empty() ? "size" : row.then));
  }
}

TEST_CASE("a row has a greatest length, and the next one is read") {
  const std::string head = "unit.id,date,x_note\n";
  const std::string start = "HL-1,2026-03-02,";
  const std::string next = "\nHL-2,2026-03-02,\n";
  for (const bool too_long : {false, true}) {
    const std::string fits(kLimit - start.size() + (too_long ? 1 : 0), 'x');
    Records read;
    const std::string text = head + start + fits + next;
    table()->read(text, true, kNoEnd, read);
    CHECK(read.records.size() == (too_long ? 1 : 2));
    CHECK(read.records.back().line == 3);
    CHECK(read.rejected == (too_long ? 1 : 0));
    REQUIRE(read.diagnostics.size() == (too_long ? 1 : 0));
    if (too_long) {
      CHECK(to_text(read.diagnostics[0]) ==
            "f:2:1: error[size]: the row holds more than 400 bytes\n  " + start +
                std::string(72 - start.size(), 'x') + "\n  ^\n");
    }
  }
  // A cell in quotes is no less too long; where it goes on in other lines, it is rather a quote
  // too many.
  Records quoted;
  table()->read(head + start + '"' + std::string(kLimit, 'x') + '"' + next, true, kNoEnd, quoted);
  REQUIRE(quoted.diagnostics.size() == 1);
  CHECK(quoted.diagnostics[0].message == "the row holds more than 400 bytes");
  CHECK(quoted.records.size() == 1);
  Records read;
  table()->read(head + start + "\"a\nb\"" + std::string(kLimit, ' ') + next, true, kNoEnd, read);
  REQUIRE(!read.diagnostics.empty());
  CHECK(read.diagnostics[0].message == "a quote that opens here is not closed on its line");
  CHECK(read.records.size() == 1);
}

TEST_CASE("a row has a greatest number of cells") {
  const std::string head = "unit.id,date\n";
  for (const std::size_t more : {0, 1}) {
    const std::string row = "HL-1,2026-03-02" + std::string(kMaxCells - 2 + more, ',') + "\n";
    const Records read =
        read_table(head + row + "HL-2,2026-03-02\n", "f", kNoTitles, test::kFamilies);
    CHECK(read.records.size() == 2 - more);
    REQUIRE(read.diagnostics.size() == more);
    if (more != 0) {
      CHECK(read.diagnostics[0].code == "size");
      CHECK(read.diagnostics[0].message == "the row holds more than 32768 cells");
    }
    const Records none = read_table(row, "f", kNoTitles, test::kFamilies);
    CHECK(none.diagnostics.front().code == (more == 0 ? "unknown-column" : "size"));
  }
}

TEST_CASE("a quote that is not closed within a row's length ends with its line") {
  Records read;
  table()->read(
      "unit.id,date\nHL-1,\"2026-03-02\n" + std::string(kLimit, '\n') + "HL-2,2026-03-02\nHL-3,\"",
      true, kNoEnd, read);
  CHECK(read.records.size() == 1);
  REQUIRE(read.diagnostics.size() == 2);
  CHECK(read.diagnostics[0].message == "a quote that opens here is not closed on its line");
  CHECK(read.diagnostics[1].message == "a quote that opens here is never closed");
}

TEST_CASE("of an array that holds nothing but a comma, the comma is complained of") {
  Records read;
  records()->read("[,]", true, kNoEnd, read);
  REQUIRE(read.diagnostics.size() == 1);
  CHECK(read.diagnostics[0].code == "syntax");
}

TEST_CASE("long junk before lines is complained of once") {
  Records read;
  records()->read("junk" + std::string(1000, '\n') + one_record(1) + "\n" + one_record(2), true,
                  kNoEnd, read);
  CHECK(read.records.size() == 2);
  REQUIRE(read.diagnostics.size() == 1);
  CHECK(read.diagnostics[0].message == "looks like plain text, not like a record");
  CHECK(read.rejected == 1);
}

}  // namespace
}  // namespace dryshaft
