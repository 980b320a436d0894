#include <catch2/catch.hpp>

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
  CHECK(complaints_after("links.json", R"("shows": {"present": 0.40})",
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
        load_knowledge(edited_rules("links.json", R"("shows": {"present": 0.40})",
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
      complaints_after("links.json", R"("droplets": 0.45)", R"("droplets": 0.6999999999)"),
      "error[not-falling]: /links/0/shows/droplets is 0.6999999999\n"
      "  \"droplets\": 0.6999999999, \"pooled\": 0.12},\n"
      "              ^\n"
      "  allowed: a value below that of \"film\", by 1e-09 or more\n"));
  CHECK(load_knowledge(
            edited_rules("links.json", R"("droplets": 0.45)", R"("droplets": 0.699999999)"),
            shipped_families())
            .diagnostics.empty());
}

TEST_CASE("levels that do not fall are refused") {
  CHECK(complaints_after("links.json", R"("droplets": 0.45)", R"("droplets": 0.75)") ==
        "links.json:65:42: error[not-falling]: /links/0/shows/droplets is 0.75\n"
        "  \"droplets\": 0.75, \"pooled\": 0.12},\n"
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
            .find("allowed: from memory, common practice, published: SOURCE") != std::string::npos);
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
  CHECK(load_knowledge(files, shipped_families()).value->sha256 == shipped().sha256);
  CHECK(load_knowledge(edited_rules("rules.json", "0.10", "0.11"), shipped_families())
            .value->sha256 != shipped().sha256);
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

TEST_CASE("conditions are told in words") {
  const auto floor = std::ranges::find(shipped().floors, "floor-coolant", &Floor::id);
  CHECK(describe(floor->when) ==
        "port-fluid is film or droplets or pooled, and port-fluid-kind is coolant");
}

}  // namespace
}  // namespace dryshaft
