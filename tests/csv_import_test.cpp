// Tables: rows and cells (RFC 4180), names of columns, the shop's own titles, complaints.
#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/table.hpp"
#include "families.hpp"
#include "record/cells.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

std::string complaints_of(const std::vector<Diagnostic>& diagnostics) {
  std::string out;
  for (const Diagnostic& d : diagnostics) {
    out += to_text(d);
  }
  return out;
}

Records table(std::string_view text, const ColumnMap& map = {}) {
  return read_table(text, "t.csv", map, test::kFamilies);
}

std::string table_complaints(std::string_view text, const ColumnMap& map = {}) {
  return complaints_of(table(text, map).diagnostics);
}

Record only_row(std::string_view text, const ColumnMap& map = {}) {
  Records read = table(text, map);
  CHECK(complaints_of(read.diagnostics).empty());
  REQUIRE(read.records.size() == 1);
  return read.records.front();
}

ColumnMap column_map(std::string_view columns) {
  const std::string text =
      "{\"format\": \"dryshaft-columns/1\", \"columns\": {" + std::string(columns) + "}}";
  Result<ColumnMap> map = read_column_map(text, "c.json");
  CHECK(complaints_of(map.diagnostics).empty());
  REQUIRE(map.value.has_value());
  return *map.value;
}

std::string map_complaints(std::string_view text) {
  const Result<ColumnMap> map = read_column_map(text, "c.json");
  CHECK_FALSE(map.value.has_value());
  return complaints_of(map.diagnostics);
}

std::string_view word_of(const Record& record, Field field) {
  return record.has(field) ? spec(field).choices[record.at(field).code].id : "";
}

std::vector<std::string> cells_of(std::string_view text, char separator = ',') {
  std::vector<std::string> out;
  for (const TableCell& cell : read_row(text, 0, separator).cells) {
    out.push_back(cell.text);
  }
  return out;
}

using Cells = std::vector<std::string>;

TEST_CASE("cells of a row") {
  // RFC 4180, section 2.
  CHECK(cells_of("aaa,bbb,ccc\r\nzzz") == Cells{"aaa", "bbb", "ccc"});
  CHECK(cells_of("aaa,bbb,ccc") == Cells{"aaa", "bbb", "ccc"});
  CHECK(cells_of("\"aaa\",\"bbb\",\"ccc\"\r\nzzz") == Cells{"aaa", "bbb", "ccc"});
  CHECK(cells_of("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz") == Cells{"aaa", "b\r\nbb", "ccc"});
  CHECK(cells_of("\"aaa\",\"b\"\"bb\",\"ccc\"") == Cells{"aaa", "b\"bb", "ccc"});
  // More than it says.
  CHECK(cells_of("") == Cells{""});
  CHECK(cells_of(",") == Cells{"", ""});
  CHECK(cells_of(" a , \"b;c\" \t,5\" pipe") == Cells{"a", "b;c", "5\" pipe"});
  CHECK(cells_of("a;b,c;\"d;e\"", ';') == Cells{"a", "b,c", "d;e"});
  CHECK(cells_of("a\t\tb", '\t') == Cells{"a", "", "b"});
  CHECK(read_row("a,b\r\nc", 0, ',').next == 5);
  CHECK(read_row("a,b", 0, ',').next == 3);
}

TEST_CASE("a bad quote ends its row with its first line") {
  const TableRow open = read_row("a,\"b\nc,d\n", 0, ',');
  CHECK(open.fault == "a quote that opens here is never closed");
  CHECK(open.fault_at == 2);
  CHECK(open.next == 5);
  const TableRow swallowed = read_row("a,\"b\nc,\"d\"\n", 0, ',');
  CHECK(swallowed.fault == "a quote that opens here is not closed on its line");
  CHECK(swallowed.next == 5);
  const TableRow early = read_row("a,\"b\"c,d\ne", 0, ',');
  CHECK(early.fault == "text follows a closing quote");
  CHECK(early.fault_at == 5);
  CHECK(early.next == 9);
}

TEST_CASE("what separates cells") {
  CHECK(find_separator("unit.id,date\n1;2;3;4") == ',');
  CHECK(find_separator("unit.id;date\n1,2,3,4") == ';');
  CHECK(find_separator("unit.id\tdate\n") == '\t');
  CHECK(find_separator("\"a;b;c\",date\n") == ',');
  CHECK(find_separator("unit.id") == ',');
}

TEST_CASE("any cells survive quoting") {
  std::mt19937 random(7);
  const std::string_view letters = "ab,;\"\r\n \t\xC3";
  for (int round = 0; round < 2000; ++round) {
    Cells cells(1 + random() % 4);
    std::string row;
    for (std::string& cell : cells) {
      for (std::size_t n = random() % 6; n > 0; --n) {
        cell += letters[random() % letters.size()];
      }
      cell = "x" + cell + "x";  // white space around a text does not count
      row += (row.empty() ? "\"" : ",\"");
      for (const char c : cell) {
        row += c == '"' ? "\"\"" : std::string(1, c);
      }
      row += '"';
    }
    const std::string next = row + "\r\nnext";
    CHECK(cells_of(next) == cells);
    CHECK(read_row(next, 0, ',').next == row.size() + 2);
  }
}

TEST_CASE("every field has a name that is its own") {
  for (const FieldSpec& field : fields()) {
    INFO(field.pointer);
    REQUIRE_FALSE(column_names(field).empty());
    std::string whole(field.pointer.substr(1));
    std::ranges::replace(whole, '/', '.');
    CHECK(column_names(field).back() == whole);
  }
  CHECK(column_names(spec(Field::port_fluid)) ==
        Cells{"fluid", "port.fluid", "inspection.port.fluid"});
  // Two fields are called `date`: the one that every record must have is meant.
  CHECK(column_names(spec(Field::date)) == Cells{"date", "inspection.date"});
  CHECK(column_names(spec(Field::teardown_date)) == Cells{"teardown.date"});
}

TEST_CASE("a row becomes a record") {
  const Record r = only_row(
      "\xEF\xBB\xBFunit.id,Family,DATE,odometer_mi,checked,fluid,Fluid kind,dried-residue,when,"
      "/inspection/noise/present,glycol_percent,winding temperature,seal-leak,x_shelf,note\r\n"
      "HL-0147, plover-2 ,2026-03-01,100,Yes,Droplets,gear oil,NO,\"accelerating, steady\",1,"
      "+038.50,-4,not-examined,R2-03,\"two\r\nlines, \"\"so\"\"\"\r\n");
  CHECK(r.unit_id == "HL-0147");
  CHECK(r.family == "plover-2");
  CHECK(date_text(static_cast<int>(r.at(Field::date).number)) == "2026-03-01");
  CHECK(r.at(Field::odometer_km).number == Approx(160.9344).margin(1e-9));
  CHECK(r.at(Field::port_checked).code == 1);
  CHECK(word_of(r, Field::port_fluid) == "droplets");
  CHECK(word_of(r, Field::port_fluid_kind) == "gear-oil");
  CHECK(r.has(Field::port_dried_residue));
  CHECK(r.at(Field::port_dried_residue).code == 0);
  CHECK(r.at(Field::noise_when).code == 3);
  CHECK(r.at(Field::noise_present).code == 1);
  CHECK(r.at(Field::port_glycol_percent).number == 38.5);
  CHECK(r.at(Field::insulation_winding_temp_c).number == -4);
  CHECK_FALSE(r.has(Field::teardown_seal_leak));
  CHECK(r.own == std::vector<std::pair<std::string, std::string>>{{"/x_shelf", "\"R2-03\""}});
  CHECK(r.note == "two\r\nlines, \"so\"");
  CHECK(r.source == "t.csv");
  CHECK(r.line == 2);
  CHECK(r.odometer_line == 2);
  CHECK(r.odometer_column == 31);
}

TEST_CASE("a blank cell was not observed, nor was an unknown one") {
  const Record r =
      only_row("id,date,fluid,checked,corrosion\nHL-1,2026-03-01, ,,Unknown\n,,,,\n\n");
  CHECK_FALSE(r.has(Field::port_fluid));
  CHECK_FALSE(r.has(Field::port_checked));
  CHECK_FALSE(r.has(Field::port_corrosion));
}

TEST_CASE("blanks that nobody sees are no part of a cell") {
  const Record r = only_row(
      "id,date,odometer_km,fluid\xE2\x80\x8B\n"
      "HL-1\xC2\xA0,\xC2\xA0"
      "2026-03-01,131240\xC2\xA0,film\xEF\xBB\xBF\n");
  CHECK(r.unit_id == "HL-1");
  CHECK(r.at(Field::odometer_km).number == 131240);
  CHECK(r.has(Field::port_fluid));
}

TEST_CASE("a decimal comma goes with every separator but the comma") {
  CHECK(only_row("id;date;glycol_percent\nHL-1;2026-03-01;12,5\n")
            .at(Field::port_glycol_percent)
            .number == 12.5);
  CHECK(only_row("id;date;glycol_percent\nHL-1;2026-03-01;12.5\n")
            .at(Field::port_glycol_percent)
            .number == 12.5);
  CHECK(table_complaints("id,date,glycol_percent\nHL-1,2026-03-01,\"12,5\"\n") ==
        "t.csv:2:17: error[wrong-type]: /inspection/port/glycol_percent is \"12,5\"\n"
        "  HL-1,2026-03-01,\"12,5\"\n"
        "                  ^\n"
        "  allowed: a number (% by volume)\n"
        "  hint: write a decimal point and no mark between thousands\n");
  CHECK(only_row("id\tdate\tglycol_percent\nHL-1\t2026-03-01\t12,5\n")
            .at(Field::port_glycol_percent)
            .number == 12.5);
  CHECK(table_complaints("id\tdate\todometer_km\nHL-1\t2026-03-01\t148.210\n")
            .starts_with(
                "t.csv:2:17: error[ambiguous-number]: /inspection/odometer_km is \"148.210\"\n"));
  // 131.24 km or 131 240 km: not guessed.
  for (const std::string cell : {"131.240", "131,240"}) {
    CHECK(table_complaints("id;date;odometer_km\nHL-1;2026-03-01;" + cell + "\n") ==
          "t.csv:2:17: error[ambiguous-number]: /inspection/odometer_km is \"" + cell +
              "\"\n"
              "  HL-1;2026-03-01;" +
              cell +
              "\n"
              "                  ^\n"
              "  allowed: a number (km)\n"
              "  hint: write it without a mark between thousands, or with other than three "
              "decimals\n");
  }
  CHECK(only_row("id,date,odometer_km\nHL-1,2026-03-01,131.240\n").at(Field::odometer_km).number ==
        131.24);
}

TEST_CASE("a date whose order nobody told is not guessed") {
  for (const std::string date : {"01.03.2026", "1/3/2026", "01-03-2026"}) {
    CHECK(table_complaints("id,date\nHL-1," + date + "\n")
              .starts_with("t.csv:2:6: error[bad-date]: /inspection/date is \"" + date + "\"\n"));
  }
  CHECK(only_row("id,date\nHL-1,2026-03-01\n").at(Field::date).observed);
}

TEST_CASE("numbers as people write them") {
  const auto reading = [](const std::string& cell) {
    return only_row("id,date,winding_temp_c\nHL-1,2026-03-01," + cell + "\n")
        .at(Field::insulation_winding_temp_c)
        .number;
  };
  CHECK(reading("0") == 0);
  CHECK(reading("000") == 0);
  CHECK(reading("-0") == 0);
  CHECK(reading("007") == 7);
  CHECK(reading(".5") == 0.5);
  CHECK(reading("-0.50") == -0.5);
  CHECK(reading("+1e1") == 10);
  for (const std::string cell :
       {"-", "+", "e", "1e", "--1", "1.2.3", "0x10", "1 000", "NaN", "1."}) {
    INFO(cell);
    CHECK(table("id,date,winding_temp_c\nHL-1,2026-03-01," + cell + "\n").rejected == 1);
  }
}

TEST_CASE("a quoted cell on its own line does not hide that a row is ragged") {
  CHECK(table_complaints("id,date,note\nHL-1,\"2026-03-01\"\n") ==
        "t.csv:2:1: error[ragged-row]: the row has 2 cells, the header 3\n"
        "  HL-1,\"2026-03-01\"\n"
        "  ^\n"
        "  hint: a separator is missing\n");
}

TEST_CASE("a header with an open quote rejects every row") {
  const Records read = table("id,\"date\nHL-1,2026-03-01\n");
  CHECK(complaints_of(read.diagnostics) ==
        "t.csv:1:4: error[quotes]: a quote that opens here is never closed\n"
        "  id,\"date\n"
        "     ^\n");
  CHECK(read.records.empty());
  CHECK(read.rejected == 1);
}

TEST_CASE("complaints name the cell, and no good row is lost") {
  const Records read = table(
      "id,date,checked,fluid,odometer_km\r\n"
      "HL-1,2026-03-01,yes,dropplets,1e999\r\n"
      "HL-2,2026-03-02,yes,none,10\r\n"
      "HL-3,01.03.2026,perhaps,none,-5\r\n"
      "HL-4,,yes,none,5\r\n"
      "HL-5,2026-03-05,no,film,5\r\n"
      "HL-6,2026-03-05,yes\r\n"
      "HL-7,2026-03-05,yes,none,5,6\r\n"
      "HL-8,2026-03-05,yes,none,5,\r\n"
      "HL-9,\"2026-03-05,yes,none,5\r\n"
      "HL-10,2026-03-05,yes,\"none\",5\r\n"
      "HL-11,2026-03-05,yes,n\xFFne,5\r\n");
  CHECK(complaints_of(read.diagnostics) ==
        "t.csv:2:21: error[bad-value]: /inspection/port/fluid is \"dropplets\"\n"
        "  HL-1,2026-03-01,yes,dropplets,1e999\n"
        "                      ^\n"
        "  allowed: none, film, droplets, pooled\n"
        "  hint: did you mean \"droplets\"?\n"
        "t.csv:2:31: error[wrong-type]: /inspection/odometer_km is \"1e999\"\n"
        "  HL-1,2026-03-01,yes,dropplets,1e999\n"
        "                                ^\n"
        "  allowed: a number (km)\n"
        "t.csv:4:6: error[bad-date]: /inspection/date is \"01.03.2026\"\n"
        "  HL-3,01.03.2026,perhaps,none,-5\n"
        "       ^\n"
        "  allowed: YYYY-MM-DD\n"
        "  hint: write the year first, then the month, then the day\n"
        "t.csv:4:17: error[bad-value]: /inspection/port/checked is \"perhaps\"\n"
        "  HL-3,01.03.2026,perhaps,none,-5\n"
        "                  ^\n"
        "  allowed: yes, no, true, false, 1, 0\n"
        "t.csv:4:30: error[out-of-range]: /inspection/odometer_km is -5\n"
        "  HL-3,01.03.2026,perhaps,none,-5\n"
        "                               ^\n"
        "  allowed: 0 to 2000000 km\n"
        "t.csv:5:6: error[missing-field]: /inspection/date is missing\n"
        "  HL-4,,yes,none,5\n"
        "       ^\n"
        "  allowed: YYYY-MM-DD\n"
        "t.csv:6:20: error[port-not-checked]: /inspection/port/fluid is \"film\", but the port "
        "was not checked\n"
        "  HL-5,2026-03-05,no,film,5\n"
        "                     ^\n"
        "  hint: leave it out, or set /inspection/port/checked to true\n"
        "t.csv:7:1: error[ragged-row]: the row has 3 cells, the header 5\n"
        "  HL-6,2026-03-05,yes\n"
        "  ^\n"
        "  hint: a separator is missing\n"
        "t.csv:8:28: error[ragged-row]: the row has 6 cells, the header 5\n"
        "  HL-7,2026-03-05,yes,none,5,6\n"
        "                             ^\n"
        "  hint: a text with a separator in it stands in quotes\n"
        "t.csv:10:6: error[quotes]: a quote that opens here is not closed on its line\n"
        "  HL-9,\"2026-03-05,yes,none,5\n"
        "       ^\n"
        "  hint: a quote within quotes is written twice\n"
        "t.csv:12:22: error[utf-8]: /inspection/port/fluid holds the byte 0xFF, which is not "
        "UTF-8\n"
        "  HL-11,2026-03-05,yes,n\xEF\xBF\xBDne,5\n"
        "                       ^\n"
        "  hint: save the file as UTF-8\n");
  CHECK(read.records.size() == 3);
  CHECK(read.rejected == 8);
}

TEST_CASE("a header with an error rejects every row") {
  const Records read =
      table("id,dte,fluid,liquid at the port,,x_a,X_A,customer\nHL-1,1,,,,,,\n\nHL-2,1,,,,,,\n");
  CHECK(complaints_of(read.diagnostics) ==
        "t.csv:1:4: error[unknown-column]: the column \"dte\" is not a field of a record\n"
        "  id,dte,fluid,liquid at the port,,x_a,X_A,customer\n"
        "     ^\n"
        "  hint: did you mean \"date\"?\n"
        "t.csv:1:14: error[duplicate-column]: /inspection/port/fluid is the column \"liquid at the "
        "port\", and so is \"fluid\"\n"
        "  id,dte,fluid,liquid at the port,,x_a,X_A,customer\n"
        "               ^\n"
        "  hint: keep one of the two\n"
        "t.csv:1:38: error[duplicate-column]: /x_a is the column \"X_A\", and so is \"x_a\"\n"
        "  e,fluid,liquid at the port,,x_a,X_A,customer\n"
        "                                  ^\n"
        "  hint: keep one of the two\n"
        "t.csv:1:42: error[unknown-column]: the column \"customer\" is not a field of a record\n"
        "  uid,liquid at the port,,x_a,X_A,customer\n"
        "                                  ^\n"
        "  hint: say what it holds in a file for --columns, or begin its title with x_\n");
  CHECK(read.rejected == 2);
  CHECK(read.records.empty());
  CHECK(table_complaints("odometer_km,odometer_mi,id\n1,2,3\n") ==
        "t.csv:1:13: error[duplicate-column]: /inspection/odometer_mi is the column "
        "\"odometer_mi\", and so is \"odometer_km\"\n"
        "  odometer_km,odometer_mi,id\n"
        "              ^\n"
        "  hint: keep one of the two\n");
  CHECK(table_complaints("fluid\nnone\n") ==
        "t.csv:1:1: error[missing-column]: /unit/id has no column\n"
        "  fluid\n  ^\n  hint: name a column \"unit.id\"\n"
        "t.csv:1:1: error[missing-column]: /inspection/date has no column\n"
        "  fluid\n  ^\n  hint: name a column \"inspection.date\"\n");
}

TEST_CASE("a title that is not UTF-8 is refused") {
  CHECK(table_complaints("id,date,x_shel\xDA\nHL-1,2026-03-01,R1\n") ==
        "t.csv:1:9: error[utf-8]: holds the byte 0xDA, which is not UTF-8\n"
        "  id,date,x_shel\xEF\xBF\xBD\n"
        "          ^\n"
        "  hint: save the file as UTF-8\n");
}

TEST_CASE("what stands under no title is complained of") {
  CHECK(table("id,date,\nHL-1,2026-03-01,\n").records.size() == 1);
  CHECK(table_complaints("id,date,\nHL-1,2026-03-01,pooled\n") ==
        "t.csv:2:17: error[untitled-column]: stands in a column that has no title\n"
        "  HL-1,2026-03-01,pooled\n"
        "                  ^\n"
        "  hint: give the column a title\n");
}

TEST_CASE("files that are no table") {
  const auto [text, said] = GENERATE(Catch::Generators::table<std::string, std::string>({
      {"",
       "t.csv:1:1: error[not-a-table]: holds no header row\n"
       "  hint: the first row names the columns\n"},
      {"\n,,\n\n",
       "t.csv:1:1: error[not-a-table]: holds no header row\n"
       "  hint: the first row names the columns\n"},
      {"id,date\n,\n",
       "t.csv:1:1: error[empty]: holds no row beneath its header\n  id,date\n  ^\n"},
      {"\x1F\x8B\x08",
       "t.csv:1:1: error[not-a-table]: looks like gzip-compressed data, not like a "
       "table\n  hint: unpack it first\n"},
      {"\xFF\xFEi\x01",
       "t.csv:1:1: error[not-a-table]: looks like UTF-16 text, not like a table\n"
       "  hint: save it as UTF-8\n"},
      {" [{}]",
       "t.csv:1:1: error[not-a-table]: looks like JSON, not like a table\n   [{}]\n  ^\n"
       "  hint: give it a name that ends in .json or .jsonl\n"},
      {"id,date\rA,2026-03-01\rB,2026-03-02\r",
       "t.csv:1:1: error[not-a-table]: has lines that end in a carriage return alone\n"
       "  id,date\n  ^\n"
       "  hint: save it with line feeds, as every current program does\n"},
  }));
  CHECK(table_complaints(text) == said);
}

TEST_CASE("a first line may say what separates the cells") {
  for (const std::string_view end : {"\n", "\r\n"}) {
    const Record r =
        only_row("sep=;" + std::string(end) + "id;date;odometer_km\nA;2026-03-01;7,5\n");
    CHECK(r.unit_id == "A");
    CHECK(r.line == 3);
    CHECK(r.at(Field::odometer_km).number == 7.5);
  }
  // It counts for more than what stands more often.
  CHECK(only_row("sep=,\nid,date,x_a\nA,2026-03-01,;;;;;;\n").own.front().second == "\";;;;;;\"");
  CHECK(
      test::has(table_complaints("sep=:\nA,2026-03-01\n"), "the column \"sep=:\" is not a field"));
}

TEST_CASE("a stray NUL in a row does not make the table binary data") {
  const std::string text =
      std::string("id,date,note\nA,2026-03-01,\nB,2026-03-02,n") + '\0' + "\nC,2026-03-03,\n";
  const Records read = table(text);
  CHECK(complaints_of(read.diagnostics).empty());
  REQUIRE(read.records.size() == 3);
  CHECK(read.records[2].unit_id == "C");
  CHECK(test::has(table_complaints(std::string("id,da") + '\0' + "te\nA,2026-03-01\n"),
                  "looks like binary data, not like a table"));
}

TEST_CASE("titles of the shop's own") {
  const ColumnMap map = column_map(
      R"("No.": "unit.id", "Looked at": {"field": "date", "dates": "day-month-year"},)"
      R"("Tip": {"field": "fluid", "values": {"dry": "none", "wet": "film", "not seen": null}},)"
      R"("Hum": {"field": "noise.present", "values": {"ja": "yes", "nein": false}},)"
      R"("Miles": "odometer_mi", "Customer": null, "Not in this table": "family")");
  const std::string head = "no.;LOOKED AT; Tip ;Hum;Miles;Customer;rust on the tip\n";
  const Record r = only_row(head + "HL-1;1.3.2026;Wet;JA;10,5;=1+1;Light\n", map);
  CHECK(date_text(static_cast<int>(r.at(Field::date).number)) == "2026-03-01");
  CHECK(word_of(r, Field::port_fluid) == "film");
  CHECK(word_of(r, Field::port_corrosion) == "light");
  CHECK(r.at(Field::noise_present).code == 1);
  CHECK(r.at(Field::odometer_km).number == Approx(16.898112).margin(1e-9));
  CHECK(r.family.empty());
  CHECK_FALSE(only_row(head + "HL-1;01/03/2026;not seen;nein;;;\n", map).has(Field::port_fluid));
  CHECK(table_complaints(head + "HL-1;2026-03-01;moist;;;;\n", map) ==
        "t.csv:2:17: error[bad-value]: /inspection/port/fluid is \"moist\"\n"
        "  HL-1;2026-03-01;moist;;;;\n"
        "                  ^\n"
        "  allowed: none, film, droplets, pooled\n");
  for (const std::string cut :
       {"1", "1.", "1.3", "1.3.", "1.3.2026.1", "1.003.2026", "001.3.2026"}) {
    CAPTURE(cut);
    CHECK(test::has(table_complaints(head + "HL-1;" + cut + ";;;;;\n", map),
                    "error[bad-date]: /inspection/date is \"" + cut + "\"\n"));
  }
  CHECK(table_complaints(head + "HL-1;13/13/2026;;;;;\n", map) ==
        "t.csv:2:6: error[bad-date]: /inspection/date is \"2026-13-13\"\n"
        "  HL-1;13/13/2026;;;;;\n"
        "       ^\n"
        "  allowed: YYYY-MM-DD\n");
}

TEST_CASE("complaints about a file of titles") {
  CHECK(
      map_complaints(
          R"({"format": "x", "columns": {"A": "fluud", "a": null, "B": 7, "C": {"field": "fluid",)"
          "\n"
          R"("values": {"x": "flim", "y": 3}, "dates": "day-month-year"}, "D": {"field": "date",)"
          "\n"
          R"("dates": "q", "zz": 1}, "E": {}}, "more": 1})") ==
      "c.json:1:12: error[bad-value]: /format is \"x\"\n"
      "  \"format\": \"x\", \"columns\": {\"A\": \"fluud\", \"a\": null, \"B\": 7, \"C\": "
      "{\"field\n"
      "            ^\n"
      "  allowed: dryshaft-columns/1\n"
      "c.json:1:34: error[unknown-field]: /columns/A is \"fluud\", which is no field\n"
      "  \"A\": \"fluud\", \"a\": null, \"B\": 7, \"C\": {\"field\": \"fluid\",\n"
      "       ^\n"
      "  hint: did you mean \"fluid\"?\n"
      "c.json:1:59: error[wrong-type]: /columns/B is 7\n"
      "  \"B\": 7, \"C\": {\"field\": \"fluid\",\n"
      "       ^\n"
      "  allowed: the name of a field, null, or an object with \"field\"\n"
      "c.json:2:17: error[bad-value]: /columns/C/values/x is \"flim\"\n"
      "  \"x\": \"flim\", \"y\": 3}, \"dates\": \"day-month-year\"}, \"D\": {\"field\": \"date\",\n"
      "       ^\n"
      "  allowed: none, film, droplets, pooled\n"
      "  hint: did you mean \"film\"?\n"
      "c.json:2:30: error[wrong-type]: /columns/C/values/y is 3\n"
      "  \"y\": 3}, \"dates\": \"day-month-year\"}, \"D\": {\"field\": \"date\",\n"
      "       ^\n"
      "  allowed: a string, true, false, null\n"
      "c.json:2:43: error[bad-value]: /columns/C/dates is \"day-month-year\", but "
      "/inspection/port/fluid is no date\n"
      "  \"dates\": \"day-month-year\"}, \"D\": {\"field\": \"date\",\n"
      "           ^\n"
      "c.json:3:10: error[bad-value]: /columns/D/dates is \"q\"\n"
      "  \"dates\": \"q\", \"zz\": 1}, \"E\": {}}, \"more\": 1}\n"
      "           ^\n"
      "  allowed: year-month-day, day-month-year, month-day-year\n"
      "c.json:3:15: error[unknown-field]: /columns/D/zz is not known here\n"
      "  \"zz\": 1}, \"E\": {}}, \"more\": 1}\n"
      "  ^\n"
      "  allowed: field, values, dates\n"
      "c.json:3:30: error[missing-field]: /columns/E has no \"field\"\n"
      "  \"E\": {}}, \"more\": 1}\n"
      "       ^\n"
      "c.json:3:35: error[unknown-field]: /more is not known here\n"
      "  \"more\": 1}\n"
      "  ^\n"
      "  allowed: format, columns\n");
  CHECK(map_complaints("{\"columns\": []}") ==
        "c.json:1:1: error[missing-field]: has no \"format\"\n"
        "  {\"columns\": []}\n  ^\n"
        "c.json:1:13: error[wrong-type]: /columns is an array\n"
        "  \"columns\": []}\n             ^\n  allowed: an object\n");
  CHECK(map_complaints("{").find("c.json:1:2: error[syntax]: ") == 0);
  CHECK(map_complaints("[]") ==
        "c.json:1:1: error[wrong-type]: is an array\n  []\n  ^\n  allowed: an object\n");
}

TEST_CASE("a table and the same records as JSON Lines are the same") {
  const auto slurp_file = [](const std::string& name) {
    std::ifstream file(std::string(DRYSHAFT_EXAMPLES_DIR) + "/" + name, std::ios::binary);
    REQUIRE(file.good());
    return std::string(std::istreambuf_iterator<char>(file), {});
  };
  const Records read = read_table(slurp_file("intake.csv"), "intake.csv", {}, test::kFamilies);
  CHECK(complaints_of(read.diagnostics).empty());
  CHECK(read.records.size() == 8);
  const Result<ColumnMap> map = read_column_map(slurp_file("shelf-list.columns"), "m");
  REQUIRE(map.value.has_value());
  CHECK(complaints_of(
            read_table(slurp_file("shelf-list.csv"), "s", *map.value, test::kFamilies).diagnostics)
            .empty());
}

TEST_CASE("a damaged line loses no whole row") {
  std::mt19937 random(11);
  const std::string_view letters = "a,;\"\"\r\t \n";
  for (int round = 0; round < 2000; ++round) {
    std::string text = "id,date,note\n";
    const unsigned damaged = random() % 4;
    for (unsigned row = 0; row < 4; ++row) {
      if (row == damaged) {
        text += "J";
        for (std::size_t n = random() % 12; n > 0; --n) {
          text += letters[random() % letters.size()];
        }
        text += '\n';
      }
      text += "HL-" + std::to_string(row) + ",2026-03-01," + (random() % 2 == 0 ? "n" : "\"n,m\"") +
              "\n";
    }
    const Records read = table(text);
    INFO(text);
    CHECK(std::ranges::count_if(read.records, [](const Record& r) {
            return r.unit_id.starts_with("HL-") && r.unit_id.size() == 4;
          }) == 4);
  }
}

}  // namespace
}  // namespace dryshaft
