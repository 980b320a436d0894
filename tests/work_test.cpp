// Work on record: read, put in order, counted, shown.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "diagnose/model.hpp"
#include "diagnose/present.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"
#include "dryshaft/table.hpp"
#include "families.hpp"
#include "knowledge/owner_words.hpp"
#include "record/events.hpp"
#include "report/words.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using nlohmann::json;

// A record of a day, of a reading in thousands of km where it is not below 0.
std::string look(const std::string& date, double thousand_km, const std::string& work = "",
                 const std::string& unit = "", const std::string& inspection = "") {
  std::string text = R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147")" + unit +
                     R"(},"inspection":{"date":")" + date + "\"";
  text += thousand_km < 0 ? "" : fmt::format(R"(,"odometer_km":{})", thousand_km * 1000);
  return text + inspection + "}" + (work.empty() ? "" : R"(,"work":[)" + work + "]") + "}";
}
constexpr const char* kDry =
    R"(,"port":{"checked":true,"fluid":"none","dried_residue":false,"corrosion":"none",)"
    R"("debris":"none"},"noise":{"present":false},"rotation":"free","faults":{"isolation":"none"})";
constexpr const char* kWet =
    R"(,"port":{"checked":true,"fluid":"droplets","fluid_kind":"coolant"},"rotation":"free")";

std::string done(const std::string& did, const std::string& more = "") {
  return R"({"did":")" + did + "\"" + (more.empty() ? "" : "," + more) + "}";
}

Result<Record> read(const std::string& text) {
  return read_record(text, "a.json", 1, 1, test::kFamilies);
}
std::string complaints(const std::string& text) {
  std::string out;
  for (const Diagnostic& d : read(text).diagnostics) {
    out += to_text(d);
  }
  return out;
}
// Without line, column and excerpt.
std::string short_complaint(const std::string& work, const std::string& unit = "") {
  std::string out;
  for (const Diagnostic& d : read(look("2026-03-01", 150, work, unit)).diagnostics) {
    out += fmt::format("{} {} {}", d.code, d.pointer, d.message);
    out += d.allowed.empty() ? "" : " | " + d.allowed;
    out += d.hint.empty() ? "" : " | " + d.hint;
    out += "\n";
  }
  return out;
}

Result<std::vector<History>> grouped(const std::vector<std::string>& texts) {
  std::vector<Record> records;
  for (const std::string& text : texts) {
    Result<Record> r = read(text);
    REQUIRE(r.value.has_value());
    r.value->source = fmt::format("{}.json", records.size());
    records.push_back(*std::move(r.value));
  }
  return group_by_unit(std::move(records));
}
History history(const std::vector<std::string>& texts) { return grouped(texts).value->front(); }

std::string shown(const std::vector<UnitEvent>& events) {
  std::string out;
  for (const UnitEvent& e : events) {
    out += out.empty() ? "" : "; ";
    out += e.day ? date_text(*e.day) : "?";
    out += e.km ? fmt::format("@{}", *e.km / 1000) : "@?";
    out += e.work ? " " + std::string(spec(e.work->did).id) : "";
  }
  return out;
}
std::string in_order(const std::vector<std::string>& texts) {
  return shown(unit_events(history(texts).records).happened);
}
std::string doubted(const std::vector<std::string>& texts) {
  return shown(unit_events(history(texts).records).doubted);
}

Report report_after(const std::vector<std::string>& texts,
                    Audience audience = Audience::technician) {
  return assess(history(texts), test::shipped(), test::shipped_model(),
                {.audience = audience, .today = std::nullopt});
}
std::vector<std::string> contradictions(const std::vector<std::string>& texts) {
  std::vector<std::string> ids;
  for (const Contradiction& c : report_after(texts).contradictions) {
    ids.emplace_back(c.id);
  }
  return ids;
}
using Ids = std::vector<std::string>;
const TextStyle kWide{.width = 200};

// ------------------------------------------------------------------ reading

TEST_CASE("bearings that went in beside others on record are judged all the same") {
  // The material that work tells against the record, or does not tell, is none of the two words.
  for (const std::string_view material :
       {R"(,"material":"hybrid")", R"(,"material":"steel")", ""}) {
    for (const std::string_view rotor : {"rotor", "gear"}) {
      const std::string text = fmt::format(
          R"({{"format":"dryshaft-record/1","unit":{{"id":"HL-1","{0}_bearings":"steel"}},)"
          R"("inspection":{{"date":"2026-03-18"}},"work":[{{"did":"{0}-bearings-renewed"{1}}}]}})",
          rotor, material);
      INFO(text);
      CHECK(test::report_on(text).grade == Grade::U);
    }
  }
}

TEST_CASE("work is read as it stands") {
  const Record r =
      *read(look("2026-03-01", 150,
                 done("seal-renewed", R"("date":"2026-01-02","odometer_mi":90000)") + "," +
                     done("rotor-bearings-renewed",
                          R"("material":"hybrid","by":"elsewhere","note":"n","x_a":1)") +
                     "," + done("rotor-circuit-bypassed", R"("keeps_crossover":true)")))
           .value;
  std::vector<Work> expected(3);
  expected[0].day = parse_date("2026-01-02");
  expected[0].odometer_km = 90000 * kKmPerMile;
  expected[1].did = Did::rotor_bearings_renewed;
  expected[1].material = Bearings::hybrid;
  expected[1].by = DoneBy::elsewhere;
  expected[1].note = "n";
  expected[2].did = Did::rotor_circuit_bypassed;
  expected[2].keeps_crossover = true;
  CHECK(r.work == expected);
  CHECK(r.own.front().first == "/work/1/x_a");
}

TEST_CASE("every word of work is read, and every member may be left open") {
  const ReservedWords reserved(test::shipped());
  for (const Choice& did : spec(Field::work_did).choices) {
    CAPTURE(did.id);
    CHECK_FALSE(did.plain.empty());
    CHECK_FALSE(did.owner.empty());
    CHECK(reserved.in(did.owner).empty());
    const Result<Record> r = read(look(
        "2026-03-01", 150,
        done(std::string(did.id),
             R"("date":null,"odometer_km":"unknown","material":null,"keeps_crossover":"unknown",)"
             R"("by":null,"note":"")")));
    CHECK(r.diagnostics.empty());
    REQUIRE(r.value.has_value());
    REQUIRE(r.value->work.size() == 1);
    CHECK(spec(r.value->work.front().did).id == did.id);
  }
  for (const std::string none : {"null", "\"unknown\"", "[]"}) {
    const std::string text = look("2026-03-01", 150);
    const Result<Record> r = read(text.substr(0, text.size() - 1) + ",\"work\":" + none + "}");
    REQUIRE(r.value.has_value());
    CHECK(r.value->work.empty());
  }
}

TEST_CASE("each thing that can be wrong with work has its complaint") {
  CHECK(complaints(look("2026-03-01", 150, done("seal-renewd"))) ==
        R"(a.json:1:126: error[bad-value]: /work/0/did is "seal-renewd"
  "did":"seal-renewd"}]}
        ^
  allowed: seal-renewed, rotor-bearings-renewed, gear-bearings-renewed, rotor-circuit-bypassed, rotor-circuit-restored, winding-dried, major-parts-replaced, unit-replaced, cooling-bled, coolant-leak-repaired, gear-oil-changed, gear-oil-seal-renewed, port-cleaned, fault-repaired-elsewhere, noise-repaired-elsewhere, unit-sold, unit-scrapped, unit-returned
  hint: did you mean "seal-renewed"?
)");
  CHECK(short_complaint(done("seal-renewed") + R"(,{"date":"2026-01-02"})")
            .starts_with("missing-field /work/1/did is missing | seal-renewed, "));
  CHECK(short_complaint(R"({"did":null})").starts_with("missing-field /work/0/did is null | "));
  CHECK(short_complaint(done("seal-renewed", R"("material":"steel")")) ==
        "not-with-this-work /work/0/material is given, but did is \"seal-renewed\" | with did "
        "rotor-bearings-renewed, gear-bearings-renewed | leave it out\n");
  CHECK(short_complaint(done("rotor-circuit-restored", R"("keeps_crossover":false)")) ==
        "not-with-this-work /work/0/keeps_crossover is given, but did is "
        "\"rotor-circuit-restored\" | with did rotor-circuit-bypassed | leave it out\n");
  CHECK(short_complaint(done("seal-renewed", R"("date":"2026-02-30")")) ==
        "bad-date /work/0/date is \"2026-02-30\" | YYYY-MM-DD | 2026-02 has 28 days\n");
  CHECK(short_complaint(done("seal-renewed", R"("odometer_km":1,"odometer_mi":1)")) ==
        "both-units /work/0/odometer_mi is given as well as /work/0/odometer_km | keep one of the "
        "two\n");
  CHECK(short_complaint(done("seal-renewed", R"("odometer_k":1)")) ==
        "unknown-field /work/0/odometer_k is not a field of a record | did you mean "
        "\"odometer_km\"?\n");
  CHECK(short_complaint(R"("seal-renewed")") ==
        "wrong-type /work/0 is \"seal-renewed\" | an object | write {\"did\": \"seal-renewed\"}\n");
  const std::string text = look("2026-03-01", 150);
  CHECK(read(text.substr(0, text.size() - 1) + R"(,"work":{"did":"seal-renewed"}})")
            .diagnostics.front()
            .hint == "put it in brackets");
}

TEST_CASE("a record holds a hundred entries of work at most") {
  std::string work = done("gear-oil-changed");
  for (std::size_t i = 1; i < kMaxWork; ++i) {
    work += "," + done("gear-oil-changed");
  }
  CHECK(read(look("2026-03-01", 150, work)).value.has_value());
  CHECK(short_complaint(work + "," + done("gear-oil-changed")) ==
        "too-long /work holds 101 entries | at most 100 | leave the oldest to earlier records\n");
}

TEST_CASE("work at no possible time is an error beside a record that stays") {
  const std::string hint =
      " | look for a slip of the pen in either; until then it does not count as done\n";
  CHECK(short_complaint(done("seal-renewed", R"("date":"2026-03-02")")) ==
        "work-out-of-place /work/0/date is \"2026-03-02\", after the inspection of 2026-03-01" +
            hint);
  CHECK(short_complaint(done("seal-renewed", R"("odometer_km":150001)")) ==
        "work-out-of-place /work/0/odometer_km is 150001, but the odometer of the inspection is "
        "150000" +
            hint);
  CHECK(short_complaint(done("seal-renewed", R"("date":"2015-12-31")"), R"(,"built":"2016")") ==
        "work-out-of-place /work/0/date is \"2015-12-31\", but the unit was built in 2016" + hint);
  CHECK(short_complaint(done("seal-renewed", R"("date":"2016-01-01")"), R"(,"built":"2016")")
            .empty());
  CHECK(read(look("2026-03-01", 150, done("seal-renewed", R"("date":"2026-03-02")")))
            .value->work.front()
            .misplaced);
}

TEST_CASE("the schema names every member of work, and what goes with what") {
  const json work = json::parse(record_schema())["properties"]["work"]["anyOf"][1];
  CHECK(work["maxItems"] == 100);
  const json& entry = work["items"];
  CHECK(entry["required"] == json::parse(R"(["did"])"));
  CHECK(entry["additionalProperties"] == false);
  for (const FieldSpec& field : work_fields()) {
    CAPTURE(field.pointer);
    const json& member = entry["properties"][std::string(field.pointer.substr(1))];
    CHECK(member["description"] == field.question);
  }
  CHECK(entry["properties"]["did"]["enum"].size() == kDidCount);
  CHECK(entry["properties"].contains("odometer_mi"));
  std::string with_material;
  for (const json& rule : entry["allOf"]) {
    if (rule.contains("if") && rule["if"]["required"][0] == "material") {
      with_material = rule["then"]["properties"]["did"]["enum"].dump();
    }
  }
  CHECK(with_material == R"(["rotor-bearings-renewed","gear-bearings-renewed"])");
}

// -------------------------------------------------------------------- tables

TEST_CASE("a cell of a table names the work of its row") {
  const auto works = [](const std::string& title, const std::string& cell) {
    const Records out = read_table("id,date," + title + "\nHL-0147,2026-03-01,\"" + cell + "\"\n",
                                   "a.csv", {}, test::kFamilies);
    std::string said;
    for (const Diagnostic& d : out.diagnostics) {
      said += fmt::format("{}:{} {}", d.line, d.column, d.pointer);
    }
    for (const Record& r : out.records) {
      for (const Work& w : r.work) {
        said += std::string(spec(w.did).id) + ".";
      }
    }
    return said;
  };
  CHECK(works("work", "seal-renewed; Rotor bearings renewed") ==
        "seal-renewed.rotor-bearings-renewed.");
  CHECK(works("Work done", "port_cleaned, ") == "port-cleaned.");
  CHECK(works("work", "").empty());
  CHECK(works("work", "unknown").empty());
  CHECK(works("work", "port-cleaned + seal-changed") == "2:20 /work/1/did");
  CHECK(column_names(spec(Field::work_did)) == std::vector<std::string>{"work"});
}

// ------------------------------------------------------------------- events

TEST_CASE("looks and work stand in the order in which they happened") {
  const std::string first = look("2024-05-01", 98);
  const std::string second = look("2025-05-01", 120);
  SECTION("without day and reading: at the inspection, after the look") {
    CHECK(in_order({first, look("2025-05-01", 120, done("seal-renewed"))}) ==
          "2024-05-01@98; 2025-05-01@120; 2025-05-01@120 seal-renewed");
  }
  SECTION("told later") {
    CHECK(
        in_order({first, second,
                  look("2026-03-01", 150,
                       done("port-cleaned") + "," +
                           done("seal-renewed", R"("date":"2024-06-01","odometer_km":99000)"))}) ==
        "2024-05-01@98; 2024-06-01@99 seal-renewed; 2025-05-01@120; 2026-03-01@150; "
        "2026-03-01@150 port-cleaned");
  }
  SECTION("a day alone: its distance is not known") {
    CHECK(in_order(
              {first, look("2026-03-01", 150, done("seal-renewed", R"("date":"2024-06-01")"))}) ==
          "2024-05-01@98; 2024-06-01@? seal-renewed; 2026-03-01@150");
  }
  SECTION("a distance alone: after the last look that is not beyond it") {
    CHECK(in_order({first, second,
                    look("2026-03-01", 150, done("seal-renewed", R"("odometer_km":98000)"))}) ==
          "2024-05-01@98; ?@98 seal-renewed; 2025-05-01@120; 2026-03-01@150");
    CHECK(in_order(
              {first, look("2026-03-01", 150, done("seal-renewed", R"("odometer_km":97999)"))}) ==
          "?@97.999 seal-renewed; 2024-05-01@98; 2026-03-01@150");
  }
  SECTION("on the day of a look: after it, unless at a lower distance") {
    CHECK(in_order({look("2025-05-01", 120,
                         done("seal-renewed", R"("date":"2025-05-01","odometer_km":119000)") + "," +
                             done("port-cleaned", R"("date":"2025-05-01")"))}) ==
          "2025-05-01@119 seal-renewed; 2025-05-01@120; 2025-05-01@120 port-cleaned");
  }
  SECTION("told twice, in whole or in part, it counts once") {
    const std::string whole = done("seal-renewed", R"("date":"2024-06-01","odometer_km":99000)");
    for (const std::string& again : {whole, done("seal-renewed", R"("date":"2024-06-01")"),
                                     done("seal-renewed", R"("odometer_km":99000)")}) {
      CAPTURE(again);
      CHECK(in_order({first, look("2025-05-01", 120, whole), look("2026-03-01", 150, again)}) ==
            "2024-05-01@98; 2024-06-01@99 seal-renewed; 2025-05-01@120; 2026-03-01@150");
      CHECK(in_order({first, look("2025-05-01", 120, again), look("2026-03-01", 150, whole)}) ==
            "2024-05-01@98; 2024-06-01@99 seal-renewed; 2025-05-01@120; 2026-03-01@150");
    }
    CHECK(in_order({first, look("2026-03-01", 150, whole + "," + done("port-cleaned"))}) ==
          "2024-05-01@98; 2024-06-01@99 seal-renewed; 2026-03-01@150; 2026-03-01@150 port-cleaned");
  }
  SECTION("at a distance that the readings around its day do not allow it is doubted") {
    const std::vector<std::string> texts = {
        first, second,
        look("2026-03-01", 150,
             done("seal-renewed", R"("date":"2024-06-01","odometer_km":140000)"))};
    CHECK(in_order(texts) == "2024-05-01@98; 2025-05-01@120; 2026-03-01@150");
    CHECK(doubted(texts) == "2024-06-01@140 seal-renewed");
    CHECK(contradictions(texts) == Ids{"work-out-of-place"});
  }
}

// What a history comes to, wherever its records stood.
std::string all_of(const History& h) {
  const UnitEvents e = unit_events(h.records);
  std::string out = shown(e.happened) + " / " + shown(e.doubted);
  for (const UnitEvent& event : e.happened) {
    out += event.work
               ? fmt::format(" {} {} {}", event.looks_before,
                             event.work->material ? static_cast<int>(*event.work->material) : -1,
                             event.work->note)
               : "";
  }
  return out;
}

TEST_CASE("the order of the records and their files changes no event") {
  const std::string by_day = R"("date":"2025-06-02")";
  std::vector<std::string> texts = {
      look("2024-05-01", 98, done("seal-renewed")),
      look("2025-05-01", -1, done("port-cleaned") + "," + done("gear-oil-changed", by_day)),
      look("2025-06-02", 120,
           done("rotor-bearings-renewed", R"("material":"hybrid","note":"b")") + "," +
               done("gear-oil-changed")),
      look("2026-03-01", 150,
           done("seal-renewed", R"("odometer_km":98000)") + "," +
               done("rotor-bearings-renewed", by_day + R"(,"odometer_km":120000,"note":"a")") +
               "," + done("winding-dried", R"("odometer_km":119000)")),
      look("2026-04-01", 151,
           done("winding-dried", R"("date":"2024-05-02","odometer_km":140000)"))};
  std::ranges::sort(texts);
  const std::string once = all_of(history(texts));
  REQUIRE(once.find("winding-dried") != std::string::npos);
  int orders = 0;
  do {
    CHECK(all_of(history(texts)) == once);
    ++orders;
  } while (std::ranges::next_permutation(texts).found);
  CHECK(orders == 120);
  // What one record tells may as well be told by another one of its day.
  texts.push_back(look("2025-06-02", 120, done("gear-oil-changed"), "", R"(,"by":"owner")"));
  const std::string with_another = all_of(history(texts));
  texts.back() = look("2025-06-02", 120, "", "", R"(,"by":"owner")");
  CHECK(all_of(history(texts)) == with_another);
}

// Every pair of works at every place that can be told, in both orders.
TEST_CASE("two works stand by day, or else by distance, whichever record tells them") {
  const std::vector<std::string> places = {R"("date":"2024-05-01","odometer_km":98000)",
                                           R"("date":"2024-12-01","odometer_km":110000)",
                                           R"("odometer_km":111000)",
                                           R"("date":"2025-01-01")",
                                           R"("odometer_km":120000)",
                                           ""};
  for (std::size_t a = 0; a < places.size(); ++a) {
    for (std::size_t b = a + 1; b < places.size(); ++b) {
      const std::string one = done("port-cleaned", places[a]);
      const std::string two = done("cooling-bled", places[b]);
      const auto told = [&](const std::string& in_second, const std::string& in_third) {
        return in_order({look("2024-05-01", 98), look("2025-05-01", 120, in_second),
                         look("2026-03-01", 150, in_third)});
      };
      const std::string together = told("", one + "," + two);
      CHECK(together == told("", two + "," + one));
      CHECK(together.find("port-cleaned") < together.find("cooling-bled"));
      if (b + 1 < places.size()) {
        const std::string elsewhere = told(one, two);
        CHECK(elsewhere.find("port-cleaned") < elsewhere.find("cooling-bled"));
      }
    }
  }
}

// ------------------------------------------------------------------ counting

// Grade and what the unit is taken to be.
std::string verdict(const std::vector<std::string>& texts) {
  const History h = history(texts);
  const Presentation p = present(h, h.records.size(), test::shipped(),
                                 static_cast<int>(h.records.back().at(Field::date).number));
  const Report r = report_after(texts);
  return fmt::format("{} seal {} cooling {} rotor {} gear {} crossover {} {}", name(r.grade),
                     p.facts.seal_km, p.facts.at(Situation::rotor_cooling),
                     p.facts.at(Situation::rotor_bearings), p.facts.at(Situation::gear_bearings),
                     p.facts.at(Situation::crossover), fmt::join(contradictions(texts), ","));
}

TEST_CASE("work counts as the same said in the fields of the unit") {
  const std::string wet = look("2024-05-01", 98, "", "", kWet);
  const auto dry = [](const std::string& unit, const std::string& work) {
    return look("2026-03-01", 150, work, unit, kDry);
  };
  const std::string at = R"("date":"2024-06-01","odometer_km":99000)";
  const std::string never = verdict({wet, dry("", "")});
  struct Row {
    std::string field;
    std::string work;
  };
  for (const Row& row :
       std::vector<Row>{{R"(,"seal_renewed_odometer_km":99000)", done("seal-renewed", at)},
                        {R"(,"fitted_odometer_km":99000)", done("unit-replaced", at)},
                        {R"(,"rotor_cooling":"bypassed")", done("rotor-circuit-bypassed", at)},
                        {R"(,"rotor_cooling":"bypassed","bypass_keeps_crossover":true)",
                         done("rotor-circuit-bypassed", at + R"(,"keeps_crossover":true)")},
                        {R"(,"rotor_cooling":"wet")", done("rotor-circuit-restored", at)},
                        {R"(,"rotor_bearings":"hybrid")",
                         done("rotor-bearings-renewed", at + R"(,"material":"hybrid")")},
                        {R"(,"gear_bearings":"steel")",
                         done("gear-bearings-renewed", at + R"(,"material":"steel")")}}) {
    CAPTURE(row.work);
    const std::string by_field = verdict({wet, dry(row.field, "")});
    CHECK(by_field != never);
    // The same but for the risk, for only the work tells when it was done.
    CHECK(verdict({wet, dry("", row.work)}) == by_field);
    CHECK(verdict({wet, dry(row.field, row.work)}) == by_field);
    CHECK(report_after({wet, dry("", row.work)}).risk ==
          Approx(report_after({wet, dry(row.field, row.work)}).risk).epsilon(1e-12));
  }
  // What no field can say makes no other unit of it.
  for (std::size_t did = static_cast<std::size_t>(Did::cooling_bled); did < kDidCount; ++did) {
    CHECK(verdict({wet, dry("", done(std::string(spec(static_cast<Did>(did)).id), at))}) == never);
  }
}

TEST_CASE("work between two looks counts from there on, at whatever reading") {
  // The car stood in the workshop: by distance alone the last wet look would be old.
  const std::string wet_before = look("2025-05-01", 120, "", "", kWet);
  const std::string wet_after = look("2025-06-01", 120, "", "", kWet);
  const std::string dry = look("2026-03-01", 125, "", "", kDry);
  const std::string renewed =
      look("2026-03-02", 125, done("seal-renewed", R"("date":"2025-05-15","odometer_km":120000)"),
           "", kDry);
  CHECK(report_after({wet_before, dry, renewed}).grade == Grade::A);
  const Report r = report_after({wet_before, wet_after, dry, renewed});
  CHECK(r.grade == Grade::C);
}

TEST_CASE("work that has no distance of its own lies rather too far back") {
  const auto seal_km = [](const std::vector<std::string>& texts) {
    const History h = history(texts);
    return present(h, h.records.size(), test::shipped(),
                   static_cast<int>(h.records.back().at(Field::date).number))
        .facts.seal_km;
  };
  const std::string first = look("2024-05-01", 98, "", "", kDry);
  const auto told = [](const std::string& day) {
    return look("2026-03-01", 150, done("seal-renewed", R"("date":")" + day + "\""), "", kDry);
  };
  CHECK(seal_km({told("2026-03-01")}) == 0);
  CHECK(seal_km({told("2026-02-27")}) == 400);
  CHECK(seal_km({first, told("2024-06-01")}) == 52000);  // no further back than the look before
  CHECK(seal_km({told("2016-06-01")}) == 150000);
}

TEST_CASE("coolant that called for the bypass does not contradict it") {
  const std::string found = look("2025-05-01", 120, done("rotor-circuit-bypassed"), "", kWet);
  CHECK(contradictions({found}).empty());
  CHECK(report_after({found}).grade == Grade::C);
  const std::string after = look("2026-03-01", 150, "", "", kDry);
  CHECK(verdict({found, after}).find("cooling 1") != std::string::npos);
}

TEST_CASE("field and work that disagree are a contradiction, and the worse counts") {
  const auto one = [](const std::string& unit, const std::string& work) {
    return verdict({look("2026-03-01", 150, work, unit, kDry)});
  };
  const auto has = [](const std::string& verdict, const std::string& what) {
    CAPTURE(verdict);
    return verdict.find(what) != std::string::npos && verdict.ends_with("work-told-two-ways");
  };
  const std::string at = R"("date":"2024-06-01","odometer_km":120000)";
  CHECK(has(one(R"(,"seal_renewed_odometer_km":90000)", done("seal-renewed", at)), "seal 60000 "));
  CHECK(has(one(R"(,"seal_renewed_odometer_km":140000)", done("seal-renewed", at)), "seal 30000 "));
  CHECK(has(one(R"(,"fitted_odometer_km":90000)", done("unit-replaced", at)), "seal 60000 "));
  CHECK(has(one(R"(,"rotor_cooling":"wet")", done("rotor-circuit-bypassed", at)), "cooling 0"));
  CHECK(
      has(one(R"(,"rotor_cooling":"bypassed")", done("rotor-circuit-restored", at)), "cooling 0"));
  CHECK(has(one(R"(,"rotor_bearings":"hybrid")",
                done("rotor-bearings-renewed", at + R"(,"material":"steel")")),
            "rotor 2"));
  CHECK(has(one(R"(,"gear_bearings":"steel")",
                done("gear-bearings-renewed", at + R"(,"material":"hybrid")")),
            "gear 2"));
  CHECK(has(one(R"(,"rotor_cooling":"bypassed","bypass_keeps_crossover":true)",
                done("rotor-circuit-bypassed", at + R"(,"keeps_crossover":false)")),
            "crossover 2"));
  // A reading by heart, and bearings of which the work does not tell the material.
  CHECK(one(R"(,"seal_renewed_odometer_km":120900)", done("seal-renewed", at)).ends_with(" "));
  CHECK(one(R"(,"rotor_bearings":"hybrid")", done("rotor-bearings-renewed", at)).ends_with(" "));
  // A seal that was renewed once more after the work, as a later record says.
  CHECK(verdict({look("2024-06-01", 120, done("seal-renewed"), "", kDry),
                 look("2026-03-01", 150, "", R"(,"seal_renewed_odometer_km":140000)", kDry)})
            .ends_with(" "));
}

TEST_CASE("work that does not fit the rest is warned of where it stands") {
  const auto said = [](const std::vector<std::string>& texts) {
    std::string out;
    for (const Diagnostic& d : grouped(texts).diagnostics) {
      out += to_text(d);
    }
    return out;
  };
  CHECK(said({look("2024-05-01", 98),
              look("2026-03-01", 150,
                   done("seal-renewed", R"("date":"2025-06-01","odometer_km":90000)"))}) ==
        "1.json:1: warning[work-out-of-place]: /work says seal-renewed on 2025-06-01 at 90000 km, "
        "which the readings around that day do not allow: it does not count as done\n");
  CHECK(said({look("2026-03-01", 150, done("rotor-circuit-bypassed"),
                   R"(,"rotor_cooling":"wet")")}) ==
        "0.json:1: warning[work-told-two-ways]: /unit/rotor_cooling is not what the work on record "
        "tells: the worse of the two counts\n");
  const std::string steel = done("gear-bearings-renewed", R"("material":"steel")");
  const std::string hybrid = done("gear-bearings-renewed", R"("material":"hybrid")");
  CHECK(said({look("2026-03-01", 150, steel + "," + hybrid)}) ==
        "0.json:1: warning[work-told-two-ways]: /work tells details of gear-bearings-renewed that "
        "another entry tells otherwise: they count as not known\n");
}

TEST_CASE("work at no possible time does not count, save for the worse") {
  const std::string wet = look("2024-05-01", 98, "", "", kWet);
  const auto told = [&](const std::string& unit, const std::string& work) {
    return verdict({wet, look("2026-03-01", 150, work, unit, kDry)});
  };
  const std::string late = R"("odometer_km":160000)";
  const std::string never = told("", "");
  CHECK(told("", done("seal-renewed", late)) == never + "work-out-of-place");
  CHECK(told("", done("rotor-circuit-bypassed", late)) == never + "work-out-of-place");
  CHECK(told(R"(,"rotor_cooling":"bypassed")", done("rotor-circuit-restored", late))
            .find("cooling 0") != std::string::npos);
}

// What is believed of the unit at its newest look, and what its clocks say.
std::vector<double> course_after(const std::vector<std::string>& texts) {
  const History unit = history(texts);
  const Presentation p = present(unit, unit.records.size(), test::shipped(),
                                 static_cast<int>(unit.records.back().at(Field::date).number));
  Clock now = clock_of(p.facts);
  now.cooling = now.cooling == Cooling::unknown ? Cooling::wet : now.cooling;
  std::vector<double> out = {now.seal_km,
                             now.seal_years,
                             now.rotor_km,
                             now.gear_km,
                             static_cast<double>(now.cooling),
                             static_cast<double>(now.rotor),
                             static_cast<double>(now.gear)};
  std::ranges::copy(chances(test::shipped_model().prior(p.facts).belief).cause,
                    std::back_inserter(out));
  return out;
}

TEST_CASE("work on the unit that was there before bears on nothing of the one that went in") {
  const std::string fitted_by_field = R"(,"fitted_odometer_km":130000)";
  const std::string at = R"("date":"2025-06-01","odometer_km":130000)";
  for (const bool by_field : {true, false}) {
    for (const std::string& replaced :
         {at, std::string(R"("date":"2025-06-01")"), std::string(R"("odometer_km":130000)")}) {
      const auto after = [&](const std::string& of_old, const std::string& told_later) {
        std::string later = told_later;
        if (!by_field) {
          later += (later.empty() ? "" : ",") + done("unit-replaced", replaced);
        }
        return course_after({look("2024-05-01", 98, of_old, "", kWet),
                             look("2026-03-01", 150, later, by_field ? fitted_by_field : "", kDry),
                             look("2026-09-01", 158, "", "", kDry)});
      };
      const std::vector<double> untouched = after("", "");
      for (const char* did :
           {"seal-renewed", "rotor-bearings-renewed", "gear-bearings-renewed",
            "rotor-circuit-bypassed", "winding-dried", "noise-repaired-elsewhere"}) {
        CAPTURE(did, by_field, replaced);
        CHECK(after(done(did), "") == untouched);
        CHECK(after(done(did, R"("date":"2023-06-01")"), "") == untouched);
        CHECK(after(done(did, R"("odometer_km":90000)"), "") == untouched);
        CHECK(after("", done(did, R"("date":"2023-06-01")")) == untouched);
        CHECK(after("", done(did, R"("date":"2024-07-01")")) == untouched);
        CHECK(after("", done(did, R"("odometer_km":110000)")) == untouched);
      }
    }
  }
}

TEST_CASE("what is told beside a replacement was done to the unit that went in") {
  const auto after = [](const std::string& work) {
    return verdict({look("2024-05-01", 98, "", R"(,"rotor_bearings":"steel")", kWet),
                    look("2026-03-01", 150, work, "", kDry),
                    look("2026-09-01", 158, "", "", kDry)});
  };
  const std::string new_unit = done("unit-replaced");
  const std::string bypassed = done("rotor-circuit-bypassed");
  const std::string bearings = done("rotor-bearings-renewed", R"("material":"hybrid")");
  CAPTURE(after(new_unit), after(new_unit + "," + bypassed));
  CHECK(test::has(after(new_unit), "cooling 3 rotor 2"));
  for (const std::string& work :
       {new_unit + "," + bypassed + "," + bearings, bearings + "," + bypassed + "," + new_unit}) {
    CHECK(test::has(after(work), "cooling 1 rotor 1"));
  }
}

TEST_CASE("a replaced unit is not taken for bypassed as the old one was") {
  const std::string bypassed = look("2024-05-01", 98, done("rotor-circuit-bypassed"),
                                    R"(,"rotor_bearings":"hybrid","built":"2015")", kDry);
  const std::string replaced =
      look("2026-03-01", 150, done("unit-replaced", R"("date":"2025-06-01","odometer_km":130000)"),
           R"(,"built":"2021")", kDry);
  const std::string v = verdict({bypassed, replaced});
  CHECK(v.find("cooling 0 rotor 2") != std::string::npos);
  CHECK(v.find("seal 20000") != std::string::npos);
  CHECK(v.ends_with(" "));  // two build dates, and yet no contradiction
  // The car did not move in between.
  CHECK(verdict({look("2025-06-01", 130, "", R"(,"built":"2015")", kWet),
                 look("2026-03-01", 130,
                      done("unit-replaced", R"("date":"2025-07-01","odometer_km":130000)"),
                      R"(,"built":"2021")", kDry)})
            .ends_with(" "));
  // On the day of the look that found the old one bad.
  CHECK(verdict({look("2025-06-01", 130, done("unit-replaced"), R"(,"built":"2015")", kWet),
                 look("2026-03-01", 150, "", R"(,"built":"2021")", kDry)})
            .starts_with("A "));
}

TEST_CASE("a rebuild that is on record in full gives A after the first dry look") {
  const std::string wet = look("2024-05-01", 98, "", "", kWet);
  const std::string at = R"("date":"2024-06-01","odometer_km":99000)";
  const auto after = [&](const std::string& work) {
    return report_after({wet, look("2024-08-01", 100, work, "", kDry)});
  };
  const std::string seal = done("seal-renewed", at);
  const std::string bearings = done("rotor-bearings-renewed", at + R"(,"material":"hybrid")");
  const Report full = after(seal + "," + bearings + "," + done("winding-dried", at));
  CHECK(full.grade == Grade::A);
  CHECK(full.risk < after(seal + "," + bearings).risk);
  CHECK(after(seal + "," + bearings).risk < after(seal).risk);
}

TEST_CASE("work told by a record that cannot be of the unit is none of its work") {
  const std::string wet = look("2024-05-01", 98, "", R"(,"built":"2015")", kWet);
  const std::string other =
      look("2026-03-01", 150, done("seal-renewed", R"("date":"2024-06-01","odometer_km":99000)"),
           R"(,"built":"2021")", kDry);
  const Report r = report_after({wet, other});
  CHECK(r.grade == Grade::C);
}

// ------------------------------------------------------------------- showing

TEST_CASE("the report shows work between the earlier grades") {
  const std::vector<std::string> texts = {
      look("2025-06-01", 140, "", "", kWet),
      look(
          "2026-03-01", 152,
          done("seal-renewed", R"("date":"2026-01-02","odometer_km":150000)") + "," +
              done(
                  "rotor-bearings-renewed",
                  R"("date":"2026-01-02","odometer_km":150000,"material":"hybrid","by":"elsewhere")") +
              "," + done("port-cleaned"),
          "", kDry)};
  const Report r = report_after(texts);
  const std::string text = to_text(r, {.width = kWide.width, .full = true});
  CAPTURE(text);
  const std::size_t first = text.find("2025-06-01, 140,000 km: grade C, risk ");
  const std::size_t seal = text.find("2026-01-02, 150,000 km: rotor shaft seal replaced\n");
  const std::size_t bearings =
      text.find("2026-01-02, 150,000 km: rotor bearings replaced (hybrid; done elsewhere)\n");
  const std::size_t second = text.find("2026-03-01, 152,000 km: grade B, risk ");
  const std::size_t port = text.find("2026-03-01, 152,000 km: sensor port cleaned\n");
  CHECK(first < seal);
  CHECK(seal < bearings);
  CHECK(bearings < second);
  CHECK(second < port);
  CHECK(port != std::string::npos);
  CHECK(text.find("on record from") == std::string::npos);  // nothing is said twice
  CHECK(to_markdown(r, Units::km, true).find("2026-01-02, 150,000 km: rotor shaft seal replaced") !=
        std::string::npos);
  CHECK(to_html(r, Units::km).find(": rotor shaft seal replaced</li>") != std::string::npos);
  const json out = json::parse(to_json(r));
  CHECK(out["history"]["works"][1] ==
        json::parse(R"({"did":"rotor-bearings-renewed","text":"rotor bearings replaced",
                        "date":"2026-01-02","odometer_km":150000,"material":"hybrid",
                        "keeps_crossover":null,"by":"elsewhere","note":null,
                        "told_on":"2026-03-01"})"));
  CHECK(out["history"]["events"][0]["id"] == "seal-renewed");
  CHECK(out["history"]["compared"][0]["reading"] == "repaired");
  const std::string owner =
      to_text(report_after(texts, Audience::owner), {.width = kWide.width, .full = true});
  CAPTURE(owner);
  CHECK(owner.find("2026-01-02, 150,000 km: the seal on the motor's shaft was replaced") !=
        std::string::npos);
  CHECK(json::parse(to_json(report_after({texts.front()})))["history"].contains("works") == false);
}

TEST_CASE("a line says when work was done, what, and what else is told of it") {
  HistoryWork work;
  work.did = Did::rotor_circuit_bypassed;
  work.odometer_km = 98000;
  work.told_on = "2026-03-01";
  CHECK(words::work_done(work, Audience::technician, Units::km) ==
        "98,000 km: rotor circuit bypassed (told on 2026-03-01)");
  work.date = "2024-06-01";
  work.keeps_crossover = false;
  work.by = DoneBy::here;
  work.note = "Bill 17.";
  CHECK(words::work_done(work, Audience::technician, Units::mi) ==
        "2024-06-01, 60,894 mi: rotor circuit bypassed (crossover pipe not kept; done here). "
        "Bill 17.");
  CHECK(words::work_done(work, Audience::owner, Units::km) ==
        "2024-06-01, 98,000 km: the coolant was led past the motor's shaft");
  work.odometer_km.reset();
  CHECK(words::work_done(work, Audience::owner, Units::km) ==
        "2024-06-01: the coolant was led past the motor's shaft");
}

TEST_CASE("what a recording showed leaves work as it stands in the text") {
  const std::string text = look("2026-03-01", 150, done("seal-renewed", R"("note" : "as is")"), "",
                                R"(,"noise":{"present":true})");
  const Result<std::string> written =
      write_recording(text, "a.json", {{Field::recording_rotor_bearing, "clear"}}, {}, {});
  REQUIRE(written.value.has_value());
  CHECK(written.value->find(done("seal-renewed", R"("note" : "as is")")) != std::string::npos);
  CHECK(read(*written.value).value->work == read(text).value->work);
}

TEST_CASE("thousands of looks and works take time in proportion") {
  std::vector<Record> records;
  for (int i = 0; i < 5000; ++i) {
    Result<Record> r = read(look(date_text(10000 + i), i / 10.0, done("gear-oil-changed")));
    records.push_back(*std::move(r.value));
  }
  const UnitEvents e = unit_events(records);
  CHECK(e.happened.size() == 10000);
  CHECK(e.doubted.empty());
}

}  // namespace
}  // namespace dryshaft
