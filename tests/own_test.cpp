// Keys of the shop's own, from the record to table, CSV and page.
#include "record/own.hpp"

#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "dryshaft/report.hpp"
#include "report/words.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using test::has;

std::string of_day(std::string_view date, std::string_view own) {
  return test::record_text("", own, date);
}

std::string value(const std::string& records, std::string_view key) {
  const History history = test::history_of(records);
  const std::string* text = own_value(history, key);
  return text == nullptr ? "none" : *text;
}

Report shown(const std::string& records, std::vector<std::string> keys,
             Audience audience = Audience::technician) {
  return test::report_on(records, {.audience = audience, .own = std::move(keys)});
}

Batch yard() {
  Batch batch;
  batch.wanted.own = {"x_shelf", "x_bay_no"};
  batch.reports = {shown(of_day("2026-03-02", R"("x_shelf":"B3|<b>","x_bay_no":-4.50)"),
                         {"x_shelf", "x_bay_no"})};
  Report other = shown(of_day("2026-03-02", ""), batch.wanted.own);
  other.unit_id = "HL-0148";
  batch.reports.push_back(other);
  return batch;
}

TEST_CASE("a key of the shop's own is the end of its pointer") {
  CHECK(own_key("/unit/x_shelf") == "x_shelf");
  CHECK(own_key("/x_") == "x_");
  CHECK(own_key("/inspection/port/x_b~1c~0d~01") == "x_b/c~d~1");
}

TEST_CASE("of a unit counts the newest record that has the key") {
  const std::string old = of_day("2026-01-02", R"("x_shelf":"old","x_bay":1)");
  const std::string young = of_day("2026-03-02", R"("x_shelf":"new")");
  CHECK(value(young + old, "x_shelf") == "\"new\"");
  CHECK(value(young + old, "x_bay") == "1");
  CHECK(value(young + old, "x_b") == "none");
  // Null is as good as left out, and what is empty is said.
  CHECK(value(old + of_day("2026-03-02", R"("x_shelf":null)"), "x_shelf") == "\"old\"");
  CHECK(value(old + of_day("2026-03-02", R"("x_shelf":"")"), "x_shelf") == "\"\"");
  // At any level; of two the first in the record.
  CHECK(value(test::record_text(R"("port":{"x_a/b":2},"x_a/b":3)", ""), "x_a/b") == "2");
}

TEST_CASE("a record whose date cannot be right is asked last") {
  History history = test::history_of(of_day("2026-01-02", R"("x_shelf":"old")") +
                                     of_day("2026-03-02", R"("x_shelf":"new","x_bay":"7")"));
  history = as_of(std::move(history), *parse_date("2026-02-01"));
  REQUIRE(history.set_aside.size() == 1);
  CHECK(*own_value(history, "x_shelf") == "\"old\"");
  CHECK(*own_value(history, "x_bay") == "\"7\"");
}

TEST_CASE("a value as people read it") {
  CHECK(own_text(R"("B3")") == "B3");
  CHECK(own_text(R"("tab\tq\"\u00e9")") == "tab\tq\"\xC3\xA9");
  CHECK(own_text("-1.50") == "-1.50");
  CHECK(own_text("true") == "true");
  CHECK(own_text("{ \"a b\": [1,\n 2.0],\t\"c\\\" d\" : null }") ==
        R"({"a b":[1,2.0],"c\" d":null})");
}

TEST_CASE("a key as a title") {
  CHECK(words::own_title("x_shelf") == "shelf");
  CHECK(words::own_title("x_bay_no") == "bay no");
  CHECK(words::own_title("x_") == "x_");
  CHECK(words::own_title("x__") == "x__");
}

TEST_CASE("a report holds what was asked for, in that order") {
  const std::string record = of_day("2026-03-02", R"("x_shelf":"B3","x_customer":"Dale","x_c":1)");
  CHECK(shown(record, {}).own.empty());
  const Report r = shown(record, {"x_customer", "x_none", "x_shelf"});
  REQUIRE(r.own.size() == 2);
  CHECK(r.own[0].key == "x_customer");
  CHECK(r.own[0].text == "Dale");
  CHECK(r.own[1].key == "x_shelf");
}

TEST_CASE("one unit's page says them in its head") {
  const std::string record = of_day("2026-03-02", R"("x_shelf":"B3 <i>","x_bay_no":[1, 2])");
  for (const Audience audience : {Audience::technician, Audience::owner}) {
    const Report r = shown(record, {"x_shelf", "x_bay_no"}, audience);
    const std::string text = to_text(r, {});
    CHECK(has(text, "\n\nshelf: B3 <i>; bay no: [1,2]\n\n"));
    CHECK(text.find("shelf: B3") < text.find("Grade "));
    CHECK(has(to_html(r, Units::km), "<p>shelf: B3 &lt;i&gt;; bay no: [1,2]</p>"));
    CHECK(has(to_markdown(r, Units::km), "\n\nshelf: B3 &lt;i&gt;; bay no: \\[1,2\\]\n\n"));
    CHECK_FALSE(has(to_text(shown(record, {}, audience), {}), "shelf"));
  }
}

TEST_CASE("a yard's table has a column of each, behind the others") {
  const Batch batch = yard();
  const std::string markdown = to_markdown(batch, Units::km);
  CHECK(has(markdown, "| cause | rebuild | shelf | bay no |\n"));
  CHECK(has(markdown, " | B3\\|&lt;b&gt; | \\-4.50 |\n"));
  CHECK(has(markdown, " | \\- | \\- |\n"));
  const std::string page = to_html(batch, Units::km, false);
  CHECK(has(page, "<th scope=\"col\">shelf</th><th scope=\"col\">bay no</th></tr>"));
  CHECK(has(page, "<td data-head=\"shelf\">B3|&lt;b&gt;</td><td data-head=\"bay no\">-4.50</td>"));
  CHECK(has(page, "<td data-head=\"shelf\">-</td><td data-head=\"bay no\">-</td>"));
  const std::string text = to_text(batch, {.width = 120});
  CHECK(has(text, "  shelf   bay no\n"));
  CHECK(has(text, "  B3|<b>  -4.50\n"));
  CHECK(has(text, "  -       -\n"));
  // In less room below its row, and in hardly any among the rest.
  const std::string narrow = to_text(batch, {.width = 64});
  CHECK(has(narrow, " unknown\n  shelf B3|<b>, bay no -4.50\n2 HL-0148 "));
  CHECK_FALSE(has(narrow, "bay no -\n"));
  CHECK(has(to_text(batch, {.width = 50}), "shelf B3|<b>"));
  Batch due = batch;
  due.wanted.due_by_km = 1e6;
  CHECK(has(to_markdown(due, Units::km), "| at km | shelf | bay no |\n"));
}

TEST_CASE("CSV has a column of each at the end, named by its key, and safe") {
  Wanted wanted;
  wanted.own = {"x_shelf", "x_\",="};
  CHECK(has(csv_header(wanted), ",onset_sha256,overlay_sha256,x_shelf,\"x_\"\",=\"\r\n"));
  Report r = shown(of_day("2026-03-02", R"("x_shelf":"=1+1","x_\",=":"a;@b")"), wanted.own);
  r.actions.front().title = "look, then act";
  CHECK(has(to_csv(r, wanted), ",test,1,\"look, then act\",2026-03-02,1,"));
  CHECK(to_csv(r, wanted).ends_with(r.family_sha256 + ",,,\"'=1+1\",\"a;'@b\"\r\n"));
  wanted.worse_since = 0;
  CHECK(has(csv_header(wanted), ",overlay_sha256,was,x_shelf,"));
  CHECK(to_csv(r, wanted).ends_with(",,,new,\"'=1+1\",\"a;'@b\"\r\n"));
  CHECK(to_csv(shown(of_day("2026-03-02", ""), wanted.own), wanted).ends_with(",new,,\r\n"));
}

}  // namespace
}  // namespace dryshaft
