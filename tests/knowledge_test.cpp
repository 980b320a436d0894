#include <fmt/format.h>
#include <algorithm>

#include <catch2/catch.hpp>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <random>
#include <span>

#include "knowledge/object_view.hpp"
#include "knowledge/safety.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using test::complaints;
using test::edited_rules;
using test::shipped;
using test::shipped_families;

std::string complaints_after(std::string_view file, std::string_view from, std::string_view to) {
  const Result<Knowledge> loaded = load_knowledge(edited_rules(file, from, to), shipped_families());
  CHECK(!loaded.value);
  return complaints(loaded.diagnostics);
}

TEST_CASE("the shipped rule data hold what the contract names") {
  const Knowledge& k = shipped();
  for (const std::string_view id :
       {"stop-driving", "open-and-rebuild", "renew-gear-bearings", "bypass-rotor-circuit",
        "replace-major-parts", "check-port", "identify-fluid", "measure-insulation", "road-test",
        "record-noise", "recheck", "bleed-cooling", "no-action", "trace-work", "mend-coolant-leak",
        "check-wheels"}) {
    CHECK(k.action(id) != nullptr);
  }
  for (const std::string_view id :
       {"high-voltage", "lifting", "stored-energy", "hot-coolant", "toxic-coolant", "magnets",
        "moving-parts", "connector-clip", "not-a-certificate"}) {
    CHECK(k.caution(id) != nullptr);
  }
  for (const std::string_view id : {"generic", "plover-2", "dunlin-1"}) {
    CHECK(k.family(id).id == id);
  }
  // UN R100 5.1.3.2 and 5.1.3.1; IEEE 43 minimum for random-wound stators at 40 deg C.
  CHECK(k.settings.ohm_per_volt_low == 500);
  CHECK(k.settings.ohm_per_volt_least == 100);
  CHECK(k.settings.ieee43_mohm == 5);
}

TEST_CASE("a probability of 1 is refused with its place") {
  CHECK(complaints_after("links.json", R"("shows": {"present": 0.50})",
                         R"("shows": {"present": 1})") ==
        "links.json:71:27: error[out-of-range]: /links/2/shows/present is 1\n"
        "  \"present\": 1},\n"
        "             ^\n"
        "  allowed: a probability from 1e-09 to 1 less 1e-09\n"
        "  hint: nothing is certain: a 0 or 1, or a number next to them, could never be outweighed "
        "by evidence\n");
}

TEST_CASE("a probability next to 0 or 1 is refused, the least and the greatest are not") {
  const auto shows = [](std::string_view value) {
    return complaints(
        load_knowledge(edited_rules("links.json", R"("shows": {"present": 0.50})",
                                    R"("shows": {"present": )" + std::string(value) + "}"),
                       shipped_families())
            .diagnostics);
  };
  for (const std::string_view value : {"1e-20", "9.9e-10", "0.9999999991", "0.99999999999999999"}) {
    INFO(value);
    CHECK(test::has(shows(value), "links.json:71:27: error[out-of-range]: /links/2/shows/present"));
  }
  CHECK(shows("1e-9").empty());
  CHECK(shows("0.999999999").empty());
  CHECK(test::has(complaints_after("causes.json", R"("base": 0.005)", R"("base": 1e-20)"),
                  "error[out-of-range]: /causes/4/base is 1e-20"));
}

TEST_CASE("a level that is next to impossible by itself is refused") {
  CHECK(test::has(
      complaints_after("links.json", R"("droplets": 0.55)", R"("droplets": 0.8799999999)"),
      "error[not-falling]: /links/0/shows/droplets is 0.8799999999\n"
      "  \"droplets\": 0.8799999999, \"pooled\": 0.15},\n"
      "              ^\n"
      "  allowed: a value below that of \"film\", by 1e-09 or more\n"));
  CHECK(load_knowledge(
            edited_rules("links.json", R"("droplets": 0.55)", R"("droplets": 0.879999999)"),
            shipped_families())
            .diagnostics.empty());
}

TEST_CASE("levels that do not fall are refused") {
  CHECK(complaints_after("links.json", R"("droplets": 0.55)", R"("droplets": 0.95)") ==
        "links.json:65:42: error[not-falling]: /links/0/shows/droplets is 0.95\n"
        "  \"droplets\": 0.95, \"pooled\": 0.15},\n"
        "              ^\n"
        "  allowed: a value below that of \"film\"\n"
        "  hint: each value says how often the finding is this bad or worse\n");
}

TEST_CASE("a misspelt name gets a suggestion") {
  const std::string text =
      complaints_after("floors.json", R"({"isolation-fault": ["active"]})",
                       R"({"isolation-falt": ["active"], "insulation": ["below-10"]})");
  CHECK(text.find("error[no-such-name]: /floors/0/when/finding/isolation-falt names no finding") !=
        std::string::npos);
  CHECK(text.find("hint: did you mean \"isolation-fault\"?") != std::string::npos);
  CHECK(text.find("is \"below-10\"") != std::string::npos);
  CHECK(text.find("hint: did you mean \"below-100\"?") != std::string::npos);
}

TEST_CASE("a reference to what does not exist is refused") {
  CHECK(complaints_after("actions.json", R"("with": ["bleed-cooling"])",
                         R"("with": ["bleed-coolant"])")
            .find("error[no-such-name]: advise-bypass-early names the action \"bleed-coolant\", "
                  "which does not exist\n  hint: did you mean \"bleed-cooling\"?\n") !=
        std::string::npos);
}

TEST_CASE("every item says why and where it comes from") {
  CHECK(complaints_after("cautions.json", R"("source": "common practice")", R"("source": "sure")")
            .find("allowed: from memory, common practice, own shop, published: SOURCE") !=
        std::string::npos);
  CHECK(complaints_after("cautions.json",
                         R"("reason": "Traction voltage is lethal.", "source": "common practice")",
                         R"("reason": "Traction voltage is lethal.")")
            .find("error[missing]: /cautions/0 has no \"source\"") != std::string::npos);
}

TEST_CASE("an owner is never given what is reserved for trained people") {
  CHECK(complaints_after("actions.json",
                         R"("owner_text": "Ask the workshop to find out what the liquid is.",
     "cautions": ["toxic-coolant"])",
                         R"("owner_text": "Ask the workshop to find out what the liquid is.",
     "owner_can": true, "cautions": ["high-voltage"])")
            .find("lets an owner do what \"high-voltage\" reserves for trained people") !=
        std::string::npos);
}

TEST_CASE("a repeated id and an unknown member are refused") {
  CHECK(complaints_after("floors.json", "floor-chips", "floor-stiff").find("error[repeated-id]") !=
        std::string::npos);
  const std::string text =
      complaints_after("floors.json", R"("plain": "Metal chips)", R"("plains": "Metal chips)");
  CHECK(text.find("has no \"plain\"") != std::string::npos);
  CHECK(text.find("hint: did you mean \"plain\"?") != std::string::npos);
}

TEST_CASE("each role is one action's, and the owner's form has a caution") {
  CHECK(complaints_after("actions.json", R"("role": "look-again", )", "") ==
        "actions.json:1:1: error[missing]: has no action with the role \"look-again\"\n"
        "  {\n"
        "  ^\n");
  CHECK(complaints_after("actions.json", R"("role": "look-again")", R"("role": "stop")") ==
        "actions.json:86:67: error[repeated]: /actions/10/role is \"stop\"\n"
        "  \"role\": \"stop\", \"importance\": 8,\n"
        "          ^\n"
        "  allowed: a role that no other action has\n"
        "  hint: \"stop-driving\" (actions.json:3) has it\n"
        "actions.json:1:1: error[missing]: has no action with the role \"look-again\"\n"
        "  {\n"
        "  ^\n");
  CHECK(test::has(complaints_after("actions.json", R"("role": "stop")", R"("role": "stopp")"),
                  "/actions/0/role is \"stopp\"\n"));
  auto files = test::own_rules();
  for (NamedText& f : files) {
    while (f.name == "cautions.json" && test::has(f.text, R"("on_form": true,)")) {
      f.text.erase(f.text.find(R"("on_form": true,)"), 16);
    }
  }
  CHECK(complaints(load_knowledge(std::move(files), shipped_families()).diagnostics) ==
        "cautions.json:1:1: error[missing]: has no caution with \"on_form\": true\n"
        "  {\n"
        "  ^\n");
}

// The rules with another `closed_by` of the action "renew-gear-bearings".
std::string complaints_closed_by(const std::string& value) {
  return complaints_after("actions.json",
                          R"({"work": [["gear-bearings-renewed"], ["unit-replaced"]]},
     "text": "Replace)",
                          value + R"(,
     "text": "Replace)");
}

TEST_CASE("an action that nothing would close is refused") {
  CHECK(complaints_after(
            "actions.json",
            R"(     "closed_by": {"work": [["gear-bearings-renewed"], ["unit-replaced"]]},
)",
            "") ==
        "actions.json:19:5: error[missing]: /actions/2 has no \"closed_by\"\n"
        "  {\"id\": \"renew-gear-bearings\", \"title\": \"Replace the gearbox input bearin\n"
        "  ^\n");
  for (const std::string value : {"{}", R"({"work": [], "look": []})", R"({"work": [[]]})"}) {
    CHECK(complaints_closed_by(value) ==
          "actions.json:20:19: error[missing]: /actions/2/closed_by names neither work nor a check "
          "that closes the action\n"
          "  \"closed_by\": " +
              value +
              ",\n"
              "               ^\n"
              "  hint: \"work\": lists of what has to be done, \"look\": findings\n");
  }
  CHECK(complaints_closed_by(R"(["unit-replaced"])") ==
        "actions.json:20:19: error[wrong-type]: /actions/2/closed_by is an array\n"
        "  \"closed_by\": [\"unit-replaced\"],\n"
        "               ^\n"
        "  allowed: an object\n");
  CHECK(complaints_closed_by(R"({"work": ["unit-replaced"], "look": ["noise"]})") ==
        "actions.json:20:29: error[wrong-type]: /actions/2/closed_by/work/0 is \"unit-replaced\"\n"
        "  \"work\": [\"unit-replaced\"], \"look\": [\"noise\"]},\n"
        "           ^\n"
        "  allowed: an array\n");
}

TEST_CASE("a word that closes no action is refused with the words that do") {
  CHECK(complaints_closed_by(R"({"work": [["gear-bearings-renewd"], ["unit-replaced"]]})") ==
        "actions.json:20:30: error[bad-value]: /actions/2/closed_by/work/0/0 is "
        "\"gear-bearings-renewd\"\n"
        "  [\"gear-bearings-renewd\"], [\"unit-replaced\"]]},\n"
        "   ^\n"
        "  allowed: " +
            joined(ids_of(spec(Field::work_did).choices)) +
            "\n"
            "  hint: did you mean \"gear-bearings-renewed\"?\n");
  CHECK(complaints_closed_by(R"({"work": [["unit-replaced"]], "look": ["noice"]})") ==
        "actions.json:20:58: error[bad-value]: /actions/2/closed_by/look/0 is \"noice\"\n"
        "  \"look\": [\"noice\"]},\n"
        "           ^\n"
        "  allowed: " +
            joined(names_of(findings())) +
            "\n"
            "  hint: did you mean \"noise\"?\n");
  CHECK(complaints_closed_by(R"({"work": [["unit-replaced"]], "looks": ["noise"]})") ==
        "actions.json:20:49: error[unknown-member]: /actions/2/closed_by/looks is not a member "
        "that is known here\n"
        "  \"looks\": [\"noise\"]},\n"
        "  ^\n"
        "  allowed: work, look\n"
        "  hint: did you mean \"look\"?\n");
}

// ---------------------------------------------------- safety floors

// Rules of one's own, without complaints but warnings.
Knowledge own(std::vector<NamedText> files, std::string* said = nullptr) {
  Result<Knowledge> loaded = load_knowledge(std::move(files), shipped_families());
  INFO(complaints(loaded.diagnostics));
  REQUIRE(loaded.value);
  CHECK(!loaded.has_errors());
  if (said != nullptr) {
    *said = complaints(loaded.diagnostics);
  }
  return std::move(*loaded.value);
}
Knowledge edited_own(std::string_view from, std::string_view to, std::string* said = nullptr) {
  return own(edited_rules("floors.json", from, to), said);
}
using Ids = std::vector<std::string>;

std::vector<NamedText> rules_without(std::string_view id) {
  auto files = test::own_rules();
  for (NamedText& f : files) {
    if (f.name == "floors.json") {
      auto json = nlohmann::ordered_json::parse(f.text);
      auto& floors = json["floors"];
      floors.erase(std::ranges::find_if(floors, [&](const auto& one) { return one["id"] == id; }));
      f.text = json.dump(1);
    }
  }
  return files;
}

Grade grade_by(const Knowledge& k, std::string_view inspection) {
  return assess(test::history_of(test::record_text(inspection)), k, Model(k), {}).grade;
}
constexpr std::string_view kPooled =
    R"("port":{"checked":true,"fluid":"pooled","fluid_kind":"coolant","dried_residue":false,)"
    R"("corrosion":"none","debris":"none"})";

TEST_CASE("a safety floor that is left out is named and holds all the same") {
  CHECK(shipped().reservations.empty());
  CHECK(shipped().unsafe.empty());
  std::string said;
  const Knowledge k = own(rules_without("floor-pooled-coolant"), &said);
  CHECK(said ==
        "floors.json:1:1: warning[unsafe-rules]: leaves out or weakens the safety floor "
        "\"floor-pooled-coolant\" (D) of the shipped rules\n"
        "  {\n"
        "  ^\n"
        "  hint: it holds all the same: rules of your own may be stricter\n");
  CHECK(k.unsafe == Ids{"floor-pooled-coolant"});
  CHECK(k.reservations ==
        Ids{"Rules harrow-lane 1 are not those that came with dryshaft " DRYSHAFT_VERSION
            ". Nothing proves them here: run rules verify on them.",
            "They leave out or weaken what the shipped rules hold for safety, which holds all the "
            "same: floor-pooled-coolant."});
  CHECK(k.floors.size() == shipped().floors.size());
  CHECK(k.floors.back().id == "floor-pooled-coolant");
  CHECK(k.floors.back().file == "shipped floors.json");
  CHECK(grade_by(k, kPooled) == Grade::D);
}

TEST_CASE("each safety floor is missed where it is left out, no other floor is") {
  std::size_t safety = 0;
  for (const Floor& f : shipped().floors) {
    CHECK(f.safety == (f.grade >= Grade::C));
    INFO(f.id);
    // What others say just as hard need not be said.
    const bool said_twice = f.id == "floor-earlier-coolant-bypassed";
    CHECK(own(rules_without(f.id)).unsafe == (f.safety && !said_twice ? Ids{f.id} : Ids{}));
    safety += f.safety ? 1U : 0U;
  }
  CHECK(safety == 24);
}

TEST_CASE(
    "a safety floor that is weakened is named and holds all the same, a stricter one is not") {
  constexpr std::string_view kGrade = R"("floor-pooled-coolant", "grade": "D", "safety": true)";
  const Knowledge milder =
      edited_own(kGrade, R"("floor-pooled-coolant", "grade": "C", "safety": true)");
  CHECK(milder.unsafe == Ids{"floor-pooled-coolant"});
  CHECK(milder.floors.back().id == "shipped-floor-pooled-coolant");
  CHECK(grade_by(milder, kPooled) == Grade::D);
  // The mark itself is the shipped rules' affair.
  CHECK(edited_own(kGrade, R"("floor-pooled-coolant", "grade": "D")").unsafe.empty());
  constexpr std::string_view kWhen =
      R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"]}})";
  const auto with = [&](std::string_view when) { return edited_own(kWhen, when).unsafe; };
  const Ids named{"floor-pooled-coolant"};
  CHECK(
      with(R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant"]}})") ==
      named);
  CHECK(
      with(
          R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"], "noise": ["present"]}})") ==
      named);
  CHECK(
      with(
          R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"]}, "situation": {"by": ["technician"]}})") ==
      named);
  CHECK(
      with(
          R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"]}, "none": [{"finding": {"port-rust": ["none"]}}]})") ==
      named);
  CHECK(
      with(
          R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"]}, "cause": {"seal-leak": {"at_least": 0.5}}})") ==
      named);
  CHECK(
      with(
          R"("when": {"finding": {"port-fluid": {"at_least": "droplets"}, "port-fluid-kind": ["coolant", "emulsion"]}})")
          .empty());
  CHECK(
      with(
          R"("when": {"any": [{"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant"]}}, {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["emulsion"]}}]})")
          .empty());
  CHECK(
      with(
          R"("when": {"finding": {"port-fluid": ["pooled"]}, "none": [{"finding": {"port-fluid-kind": ["gear-oil", "water", "not-observed"]}}]})")
          .empty());
}

TEST_CASE("rules without floors grade no better, and say so") {
  auto files = test::own_rules();
  for (NamedText& f : files) {
    if (f.name == "floors.json") {
      f.text = "{\"floors\": []}\n";
    }
    if (f.name == "grades.json") {
      const std::string_view when =
          R"("when": {"situation": {"port_check": ["stale", "not-made"]}})";
      f.text.replace(f.text.find(when), when.size(),
                     R"("when": {"situation": {"port_check": ["stale"]}})");
    }
  }
  const Knowledge k = own(std::move(files));
  CHECK(k.unsafe.size() == 25);
  CHECK(k.unsafe.back() == "verdict-ungraded");
  CHECK(grade_by(k, kPooled) == Grade::D);
  CHECK(grade_by(k, R"("rotation":"free")") == Grade::U);
  const Report r = assess(test::history_of(test::record_text(kPooled)), k, Model(k), {});
  CHECK(r.rules_reservations == k.reservations);
  CHECK(std::ranges::equal(k.reservations, std::span(r.warnings).first(k.reservations.size())));
  CHECK(r.floors.front().rule == "floor-pooled-coolant");
}

TEST_CASE("a search for cover agrees with drawn states") {
  const auto condition = [](std::string_view when) {
    const Knowledge k = edited_own(R"("when": {"finding": {"rotation": ["seized"]}})", when);
    return std::ranges::find(k.floors, "floor-seized", &Floor::id)->when;
  };
  const std::vector<Condition> conditions = {
      condition(R"("when": {"finding": {"rotation": {"at_least": "stiff"}}})"),
      condition(R"("when": {"finding": {"rotation": ["seized"], "noise": ["present"]}})"),
      condition(R"("when": {"finding": {"port-fluid": {"at_least": "film"}}})"),
      condition(
          R"("when": {"finding": {"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"]}})"),
      condition(
          R"("when": {"finding": {"port-fluid-kind": ["coolant", "emulsion", "water", "gear-oil"]}})"),
      condition(
          R"("when": {"any": [{"finding": {"rotation": ["seized"]}}, {"finding": {"noise": ["present"]}}]})"),
      condition(
          R"("when": {"finding": {"noise": ["present"]}, "none": [{"finding": {"rotation": ["free"]}}]})"),
      condition(R"("when": {"finding": {"noise": ["not-observed", "absent", "present"]}})"),
      condition(
          R"("when": {"situation": {"port_check": ["fresh"]}, "none": [{"finding": {"noise": ["absent"]}}]})"),
  };
  std::mt19937 draw(20261);
  std::vector<Facts> states(20000);
  for (Facts& s : states) {
    for (const FindingSpec& f : findings()) {
      auto& level = s.level.at(static_cast<std::size_t>(f.id));
      level = static_cast<std::int8_t>(static_cast<int>(draw() % (f.levels.size() + 1)) - 1);
      level = static_cast<std::int8_t>(f.never_absent && level == 0 ? -1 : level);
    }
    drop_what_does_not_exist(s.level);
    for (const SituationSpec& one : situations()) {
      s.situation.at(static_cast<std::size_t>(one.id)) =
          static_cast<std::uint8_t>(draw() % one.values.size());
    }
  }
  std::size_t covered = 0;
  for (const Condition& c : conditions) {
    for (const Condition& one : conditions) {
      for (const Condition& two : conditions) {
        const bool shown = std::ranges::none_of(states, [&](const Facts& s) {
          return holds(c, s) && !holds(one, s) && !holds(two, s);
        });
        CHECK(safety::is_covered(c, {&one, &two}) == shown);
        covered += shown ? 1U : 0U;
      }
    }
  }
  CHECK(covered > 100);
  CHECK(covered < 600);
  CHECK(!safety::is_covered(conditions[0], {}));
}

TEST_CASE("no published limit is lowered") {
  CHECK(test::has(complaints_after("rules.json", R"("id": "insulation-least", "value": 100)",
                                   R"("id": "insulation-least", "value": 99)"),
                  "is 99\n"));
  CHECK(own(edited_rules("rules.json", R"("id": "insulation-least", "value": 100)",
                         R"("id": "insulation-least", "value": 101)"))
            .unsafe.empty());
}

TEST_CASE("other content under the id of the shipped rules is refused") {
  const auto files = test::edited(test::shipped_rules(), "links.json",
                                  R"("shows": {"present": 0.50})", R"("shows": {"present": 0.41})");
  CHECK(complaints(load_knowledge(files, shipped_families()).diagnostics) ==
        "rules.json:3:9: error[not-the-shipped-rules]: /id is \"dryshaft-shipped\", and links.json "
        "is not what came with dryshaft " DRYSHAFT_VERSION
        "\n"
        "  \"id\": \"dryshaft-shipped\",\n"
        "        ^\n"
        "  hint: give rules of your own an id and a version of their own: reports name them\n");
  CHECK(own(test::own_rules()).unsafe.empty());
}

constexpr std::string_view kLayer =
    R"({"format": "dryshaft-rules/1", "id": "harrow-lane", "version": "3", "over": "dryshaft-shipped",
  "settings": [{"id": "risk-raised", "value": 0.08, "unit": "probability", "reason": "Far customers.",
    "source": "own shop"}]})";

// The shipped rules with a layer of a shop's own.
std::vector<NamedText> with_layer(std::string_view rules, std::vector<NamedText> more = {}) {
  std::vector<NamedText> files = test::shipped_rules();
  files.push_back({"own/rules.json", std::string(rules)});
  std::ranges::move(more, std::back_inserter(files));
  return files;
}

NamedText own_floor(std::string_view id, std::string_view grade) {
  return {"own/floors.json",
          fmt::format(R"({{"floors": [{{"id": "{}", "grade": "{}", "safety": true,
  "when": {{"finding": {{"port-fluid": ["pooled"], "port-fluid-kind": ["coolant", "emulsion"]}}}},
  "reason": "Seen here.", "plain": "Seen here.", "source": "own shop"}}]}})",
                      id, grade)};
}

TEST_CASE("a layer changes and adds what it names, and nothing else") {
  CHECK(rules_below(with_layer(kLayer)).empty());  // the first rules.json stands alone
  CHECK(rules_below(std::vector<NamedText>{{"own/rules.json", std::string(kLayer)}}) ==
        "dryshaft-shipped");
  std::string said;
  const Knowledge k = own(with_layer(kLayer, {own_floor("floor-own", "C")}), &said);
  CHECK(said.empty());
  CHECK(k.id == "harrow-lane");
  CHECK(k.version == "3 over dryshaft-shipped 1");
  CHECK(k.settings.risk_raised == 0.08);
  CHECK(k.settings.risk_high == shipped().settings.risk_high);
  REQUIRE(k.setting_items.size() == shipped().setting_items.size());
  CHECK(k.setting_items.front().file == "own/rules.json");
  CHECK(shown(k.setting_items.front().source) == "own shop");
  CHECK(k.setting_items[1].file == shipped().setting_items[1].file);
  REQUIRE(k.floors.size() == shipped().floors.size() + 1);
  CHECK(k.floors.back().id == "floor-own");
  CHECK(k.links.size() == shipped().links.size());
  CHECK(k.settings.stop == shipped().settings.stop);
  CHECK(k.unsafe.empty());
  CHECK(k.reservations.size() == 1);
  CHECK(k.rules_sha256 != shipped().rules_sha256);
}

TEST_CASE("a layer weakens no safety floor") {
  std::string said;
  const Knowledge k = own(with_layer(kLayer, {own_floor("floor-pooled-coolant", "B")}), &said);
  CHECK(test::has(said,
                  "own/floors.json:1:1: warning[unsafe-rules]: leaves out or weakens the safety "
                  "floor \"floor-pooled-coolant\" (D) of the shipped rules\n"));
  CHECK(grade_by(k, kPooled) == Grade::D);
  CHECK(k.floors.size() == shipped().floors.size() + 1);
  CHECK(k.floors.back().id == "shipped-floor-pooled-coolant");
}

TEST_CASE("a layer that cannot be laid is refused with its place") {
  const auto said = [](std::string_view from, std::string_view to,
                       std::vector<NamedText> more = {}) {
    std::string layer(kLayer);
    layer.replace(layer.find(from), from.size(), to);
    return complaints(
        load_knowledge(with_layer(layer, std::move(more)), shipped_families()).diagnostics);
  };
  CHECK(test::has(said(R"("over": "dryshaft-shipped")", R"("over": "dryshaft")"),
                  "own/rules.json:1:77: error[other-rules]: /over is \"dryshaft\"\n"));
  CHECK(test::has(said(R"( "over": "dryshaft-shipped",)", ""),
                  "error[other-rules]: has no \"over\", and lies over rules\n"));
  CHECK(test::has(said(R"("id": "harrow-lane")", R"("id": "dryshaft-shipped")"),
                  "error[not-the-shipped-rules]: /id is \"dryshaft-shipped\", as that of the rules "
                  "below\n"));
  CHECK(test::has(said(R"("id": "risk-raised")", R"("id": "risk-raisd")"),
                  "hint: did you mean \"risk-raised\"?"));
  // Twice in one layer.
  NamedText twice = own_floor("floor-own", "C");
  const std::string one =
      twice.text.substr(twice.text.find('[') + 1, twice.text.rfind(']') - twice.text.find('[') - 1);
  twice.text = R"({"floors": [)" + one + "," + one + "]}";
  CHECK(test::has(said("3", "4", {twice}), "error[repeated-id]: /floors/1/id is \"floor-own\""));
  // Alone.
  CHECK(test::has(
      complaints(load_knowledge({{"own/rules.json", std::string(kLayer)}}, shipped_families())
                     .diagnostics),
      "error[other-rules]: /over is \"dryshaft-shipped\", and these rules are not at hand\n"));
}

TEST_CASE("a file that is no rule file is refused") {
  auto files = test::shipped_rules();
  files.push_back({"rules/floor.json", "{}"});
  CHECK(complaints(load_knowledge(std::move(files), shipped_families()).diagnostics) ==
        "rules/floor.json: error[unknown-file]: is no rule file\n"
        "  allowed: rules.json, causes.json, life.json, links.json, floors.json, actions.json, "
        "cautions.json, grades.json\n"
        "  hint: did you mean \"floors.json\"?\n");
}

TEST_CASE("a missing rule file is named") {
  auto files = test::shipped_rules();
  std::erase_if(files, [](const NamedText& f) { return f.name == "links.json"; });
  const Result<Knowledge> loaded = load_knowledge(std::move(files), shipped_families());
  CHECK(complaints(loaded.diagnostics) ==
        "links.json: error[missing]: this rule file is missing\n");
}

TEST_CASE("the order of files does not matter to the hash, their texts do") {
  auto files = test::shipped_rules();
  std::ranges::reverse(files);
  CHECK(load_knowledge(files, shipped_families()).value->rules_sha256 == shipped().rules_sha256);
  const auto edited =
      load_knowledge(edited_rules("rules.json", "0.10", "0.11"), shipped_families()).value;
  CHECK(edited->rules_sha256 != shipped().rules_sha256);
  CHECK(edited->families_sha256 == shipped().families_sha256);
}

TEST_CASE("tyre sizes give their published outer diameters") {
  // Published to 0.1 mm: the first three by a tyre mailing list of 1996, the next two by a tyre
  // size calculator; the rest recomputed from D = rim * 25.4 + 2 * width * aspect / 100.
  const std::pair<std::string_view, double> published[] = {
      {"205/55R16", 631.9}, {"215/50R16", 621.4}, {"225/45R16", 608.9}, {"215/65R17", 711.3},
      {"225/60R17", 701.8}, {"225/50R16", 631.4}, {"235/45R18", 668.7}, {"255/35R20", 686.5}};
  for (const auto& [size, mm] : published) {
    CHECK(outer_diameter_mm(*parse_tyre(size)) == Approx(mm).margin(0.05));
  }
  for (const std::string_view bad :
       {"", "205/55", "205-55R16", "205/55R", "/55R16", "205/55R16 ", "2055/55R16", "000/55R16"}) {
    CHECK(!parse_tyre(bad));
  }
}

// The usual rules of design (from memory): a whole number of slots per pole and phase; of a cage,
// an even number of bars that differs from the slots by none of what makes noise or torque that
// sticks.
TEST_CASE("motors of the shipped families could be built") {
  int cages = 0;
  for (const Family& family : shipped().families) {
    INFO(family.id);
    if (!family.machine) {
      continue;
    }
    const Machine& m = *family.machine;
    const int poles = 2 * m.pole_pairs;
    REQUIRE(poles > 0);
    CHECK(m.stator_slots % (3 * poles) == 0);
    if (m.rotor_bars == 0) {
      continue;
    }
    ++cages;
    CHECK(m.rotor_bars % 2 == 0);
    const int apart = std::abs(m.stator_slots - m.rotor_bars);
    for (const int bad : {0, 1, 2, poles - 2, poles - 1, poles, poles + 1, poles + 2, 2 * poles,
                          3 * poles, 5 * poles}) {
      CHECK(apart != bad);
    }
  }
  CHECK(cages == 1);
}

TEST_CASE("conditions are told in words") {
  const auto floor = std::ranges::find(shipped().floors, "floor-coolant", &Floor::id);
  CHECK(describe(floor->when) ==
        "port-fluid is film or droplets or pooled, and port-fluid-kind is coolant");
}

}  // namespace
}  // namespace dryshaft
