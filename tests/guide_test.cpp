#include "dryshaft/guide.hpp"

#include <catch2/catch.hpp>

#include "knowledge/owner_words.hpp"
#include "report/render.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using test::complaints;
using test::edited;
using test::has;
using test::shipped;
using test::shipped_families;
using test::shipped_guides;

const Guides& guides() {
  static const Guides loaded = [] {
    Result<Guides> result = load_guides(shipped_guides(), {}, shipped_families(), shipped());
    if (!result.value || !result.diagnostics.empty()) {
      throw std::runtime_error(complaints(result.diagnostics));
    }
    return std::move(*result.value);
  }();
  return loaded;
}

std::string text_of(const Guides& g, const GuideRequest& request) {
  return guide_to_text(g, shipped(), request, {});
}

// On one line, as texts stand in the data.
std::string unwrapped(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c != '\n' && c != ' ') {
      out += c;
    } else if (!out.empty() && out.back() != ' ') {
      out += ' ';
    }
  }
  return out;
}

// Complaints after one edit of one shipped guide.
std::string after(std::string_view file, std::string_view from, std::string_view to) {
  const Result<Guides> loaded =
      load_guides(edited(shipped_guides(), file, from, to), {}, shipped_families(), shipped());
  CHECK(!loaded.value);
  return complaints(loaded.diagnostics);
}

// A family with a car "Heron" (test-made), and what its file says of the guide.
NamedText heron(std::string_view access, std::string_view guide) {
  return {
      "heron-1.json",
      R"({"format": "dryshaft-family/1", "id": "heron-1", "title": "heron-1", "rotor_magnets": "yes",
"periods": [{"rotor_cooling": "wet", "rotor_bearings": "steel", "gear_bearings": "steel"}],
"vehicles": [{"id": "Heron", "port_access": ")" +
          std::string(access) + R"("}],
"reason": "Made for this test.", "source": "from memory")" +
          (guide.empty() ? std::string() : ",\n\"guide\": " + std::string(guide)) + "}\n"};
}

struct WithHeron {
  Knowledge knowledge;
  Result<Guides> guides;
};
WithHeron with_heron(std::string_view access, std::string_view guide) {
  std::vector<NamedText> families = shipped_families();
  families.push_back(heron(access, guide));
  Result<Knowledge> knowledge = load_knowledge(test::shipped_rules(), families);
  REQUIRE(knowledge.value);
  WithHeron made{std::move(*knowledge.value), {}};
  made.guides = load_guides(shipped_guides(), {}, std::move(families), made.knowledge);
  return made;
}

TEST_CASE("every shipped procedure shows every caution of its action before its first step") {
  std::size_t seen = 0;
  for (const Family& family : shipped().families) {
    std::vector<std::string> vehicles = {""};
    for (const VehicleProfile& v : family.vehicles) {
      vehicles.push_back(v.id);
    }
    for (const std::string& vehicle : vehicles) {
      for (const Procedure& p : guides().of(family.id).procedures) {
        const bool owner = p.audience == Audience::owner;
        const std::string text = unwrapped(text_of(
            guides(),
            {.family = family.id, .vehicle = vehicle, .check = p.id, .audience = p.audience}));
        const std::size_t steps = text.find(" Steps 1. ");
        REQUIRE(steps != std::string::npos);
        for (const std::string& id : shipped().action(p.action)->cautions) {
          const CautionRule& c = *shipped().caution(id);
          INFO(p.id << " " << id);
          CHECK(text.find(owner ? c.owner_text : c.text) < steps);
          ++seen;
        }
      }
    }
  }
  CHECK(seen > 50);
}

TEST_CASE("the checks that the guide must have are there, the port check first") {
  const GuideRequest request{.family = "plover-2", .vehicle = "Tarn"};
  const std::vector<std::string_view> checks = guide_checks(guides(), shipped(), request);
  CHECK(checks == std::vector<std::string_view>{"check-port", "identify-fluid", "road-test",
                                                "record-noise", "measure-insulation"});
  for (const std::string_view id : checks) {
    CHECK(shipped().action(id)->minutes > 0);
  }
}

TEST_CASE("an owner is told nothing that is reserved for trained people") {
  const ReservedWords never(shipped());
  CHECK(never.size() > 10);
  for (const std::string_view family : {"", "plover-2", "dunlin-1"}) {
    const std::string text =
        text_of(guides(), {.family = std::string(family), .audience = Audience::owner});
    CHECK(never.in(unwrapped(text)) == "");
    CHECK(has(unwrapped(text), "Ask a workshop to take out the rotor-speed sensor"));
    CHECK(has(unwrapped(text), "Ask a workshop that is licensed for high-voltage work"));
    CHECK(!has(text, "megohm"));
  }
  const std::string one = text_of(guides(), {.check = "check-port", .audience = Audience::owner});
  CHECK(has(one, "For a workshop, not for you"));
  CHECK(!has(one, "Steps"));
}

TEST_CASE("a vehicle gets the steps of its own access to the port alone") {
  const std::string tarn = unwrapped(text_of(guides(), {.family = "plover-2", .vehicle = "Tarn"}));
  const std::string corrie =
      unwrapped(text_of(guides(), {.family = "plover-2", .vehicle = "Corrie"}));
  const std::string any = unwrapped(text_of(guides(), {}));
  CHECK(has(tarn, "2. Where the car may be switched on: steer the wheel at the port fully away"));
  CHECK(!has(tarn, "under-tray"));
  CHECK(has(corrie, "4. Take off the under-tray"));
  CHECK(!has(corrie, "liner"));
  CHECK(has(any, "2. Port in the wheel arch: Where the car may be switched on: steer"));
  CHECK(has(any, "Port under the floor: Take off the under-tray"));
  CHECK(has(any, "In the wheel arch: Behind the liner"));
  CHECK(has(any, "Under the floor: From below"));
}

TEST_CASE("no guide drives or energises a unit of grade D") {
  const auto of = [](std::string_view check, Audience audience) {
    return unwrapped(text_of(guides(), {.family = "plover-2",
                                        .vehicle = "Tarn",
                                        .check = std::string(check),
                                        .audience = audience}));
  };
  for (const Audience audience : {Audience::technician, Audience::owner}) {
    for (const std::string_view check : {"road-test", "record-noise"}) {
      CHECK(has(of(check, audience), "grade D"));
    }
  }
  const std::string port = of("check-port", Audience::technician);
  CHECK(has(port, "1. With grade D on file the car is neither driven nor switched on"));
  CHECK(has(port, "do not energise the car while the grade is D"));
  // What the reading says comes before the car is switched on, with the limit of the rules.
  const std::string insulation = of("measure-insulation", Audience::technician);
  const std::size_t judged = insulation.find("Below 100 ohm/V (0.04 megohm) the unit is grade D");
  REQUIRE(judged != std::string::npos);
  CHECK(insulation.find("Switch on:") > judged);
  CHECK(has(insulation, "Where the reading and the grade let the car be switched on: reconnect"));
}

TEST_CASE("values come from the rules and the family") {
  const auto insulation = [&](const Guides& g, std::string_view family) {
    return unwrapped(text_of(g, {.family = std::string(family), .check = "measure-insulation"}));
  };
  CHECK(has(insulation(guides(), "plover-2"), "500 ohm/V at 400 V is 0.2 megohm"));
  CHECK(has(insulation(guides(), "generic"),
            "500 ohm/V at 800 V (assumed: not known for this family) is 0.4 megohm"));
  // Magnets where the family has them or where that is not known.
  CHECK(!has(insulation(guides(), "plover-2"), "permanent-magnet rotor"));
  CHECK(has(insulation(guides(), "dunlin-1"), "permanent-magnet rotor"));
  CHECK(has(insulation(guides(), ""), "permanent-magnet rotor"));
  const std::string miles = unwrapped(
      text_of(guides(), {.family = "plover-2", .check = "check-port", .units = Units::mi}));
  CHECK(has(miles, "Check again within 12,000 mi or 1 year"));
  CHECK(has(miles, "/inspection/ date, odometer_mi;"));
}

TEST_CASE("what is to be written down comes from the table of fields") {
  const std::string text = text_of(guides(), {.check = "port-check"});
  for (const Field f : {Field::port_checked, Field::port_fluid, Field::port_corrosion}) {
    CHECK(has(text, "  " + std::string(spec(f).title) + "  "));
    for (const Choice& c : spec(f).choices) {
      CHECK(has(text, "[ ] " + std::string(c.id)));
    }
  }
  CHECK(has(unwrapped(text),
            "/inspection/port/ checked, fluid, fluid_kind, dried_residue, "
            "corrosion, debris."));
}

TEST_CASE("another family's steps need no compiler") {
  const WithHeron made = with_heron("boot-floor", R"({
"access": [{"id": "boot-floor", "title": "below the boot floor", "find": "Lift the mat.",
            "reason": "Made for this test.", "source": "from memory"}],
"steps": [
  {"procedure": "port-check", "after": "find-sensor", "id": "mat", "access": "boot-floor", "text": "Roll the mat up."},
  {"procedure": "port-check", "after": "find-sensor", "id": "lid", "text": "Lift the lid.", "why": "It hides the plug."},
  {"procedure": "port-check", "before": "unbolt", "id": "second-cable", "text": "Move the second cable aside."},
  {"procedure": "port-check", "replace": "unbolt", "id": "unbolt", "text": "Take out both bolts."}],
"figures": [{"procedure": "port-check", "text": "Two bolts here."}],
"reason": "Made for this test.", "source": "published: a test"})");
  REQUIRE(made.guides.value);
  CHECK(made.guides.diagnostics.empty());
  const std::string text = unwrapped(
      guide_to_text(*made.guides.value, made.knowledge,
                    {.family = "heron-1", .vehicle = "Heron", .check = "check-port"}, {}));
  CHECK(has(text, "Sensor port below the boot floor."));
  CHECK(has(text, "Heron, below the boot floor: Lift the mat."));
  CHECK(has(text,
            "3. Find the sensor: one thin cable, one plug, one bolt. Find the orange cables "
            "too, and keep clear of them. 4. Roll the mat up. 5. Lift the lid. Why: It hides "
            "the plug. 6. Brush"));
  CHECK(has(text, "9. Move the second cable aside. 10. Take out both bolts. 11. Hold"));
  CHECK(!has(text, "Take out the one bolt"));
  CHECK(has(text, "Two bolts here."));
  CHECK(has(text, "(common practice, no source; the steps for heron-1: a test)"));
  // Nobody else gets them.
  const std::string others = unwrapped(guide_to_text(*made.guides.value, made.knowledge, {}, {}));
  CHECK(!has(others, "both bolts"));
  CHECK(!has(others, "boot floor"));
}

TEST_CASE("a family's own steps grade nothing, so the hash of the families leaves them out") {
  const auto hash = [](const NamedText& family) {
    std::vector<NamedText> families = shipped_families();
    families.push_back(family);
    return load_knowledge(test::shipped_rules(), families).value->families_sha256;
  };
  const NamedText plain = heron("wheel-arch", "");
  CHECK(hash(heron("wheel-arch", R"({"reason": "a", "source": "from memory"})")) == hash(plain));
  CHECK(hash(heron("under-floor", "")) != hash(plain));
  // In front, it leaves nothing behind either.
  NamedText in_front = plain;
  in_front.text.insert(1, R"("guide": {"reason": "}", "source": "from memory"}, )");
  CHECK(hash(in_front) == hash(plain));
}

TEST_CASE("bad guide data are refused, each with its place") {
  CHECK(after("20-identify-fluid.json", R"("action": "identify-fluid")",
              R"("action": "identify-fluids")")
            .find("20-identify-fluid.json:4:46: error[bad-value]: /procedures/0/action is "
                  "\"identify-fluids\"\n"
                  "  \"action\": \"identify-fluids\", \"for\": \"technician\",\n"
                  "            ^\n"
                  "  allowed: stop-driving, ") == 0);
  CHECK(has(after("20-identify-fluid.json", R"("action": "identify-fluid")",
                  R"("action": "identify-fluids")"),
            "  hint: did you mean \"identify-fluid\"?\n"));
  CHECK(after("20-identify-fluid.json", "/inspection/port/glycol_percent",
              "/inspection/port/glycol_percnt") ==
        "20-identify-fluid.json:29:47: error[no-such-field]: /procedures/0/write/1 is "
        "\"/inspection/port/glycol_percnt\"\n"
        "  \"write\": [\"/inspection/port/fluid_kind\", \"/inspection/port/glycol_percnt\n"
        "                                           ^\n"
        "  allowed: the JSON pointer of a field of the record\n"
        "  hint: did you mean \"/inspection/port/glycol_percent\"?\n");
  CHECK(has(
      after("50-measure-insulation.json", R"("cautions": ["magnets")", R"("cautions": ["magnet")"),
      "error[bad-value]: /procedures/0/cautions/0 is \"magnet\"\n"));
  CHECK(has(after("10-check-port.json", R"("access": "wheel-arch", "text": "Take out)",
                  R"("access": "wheel-arc", "text": "Take out)"),
            "error[bad-value]: /procedures/0/steps/4/access is \"wheel-arc\"\n"
            "  \"access\": \"wheel-arc\", \"text\": \"Take out the clips or the screw of the "));
  CHECK(has(after("50-measure-insulation.json", "{insulation-ieee43}", "{insulation-iee43}"),
            "error[no-such-name]: /procedures/0/figures/2 names the value \"insulation-iee43\"\n"));
  CHECK(has(after("50-measure-insulation.json", R"("Barrier and sign,)", R"("Barrier {and sign,)"),
            "/procedures/0/tools/1 names the value \"and sign, padlock and tag.\"\n"));
  CHECK(
      has(after("20-identify-fluid.json", R"("fluid-identification")", R"("port-check")"),
          "20-identify-fluid.json:4:12: error[repeated-id]: /procedures/0/id is \"port-check\"\n"));
  CHECK(has(after("20-identify-fluid.json", R"("id": "strip")", R"("id": "zero")"),
            "error[repeated-id]: /procedures/0/steps/5/id is \"zero\"\n"));
  CHECK(has(after("20-identify-fluid.json", R"("steps": [)", R"("stepz": [)"),
            "error[missing]: /procedures/0 has no \"steps\"\n"));
  CHECK(has(after("20-identify-fluid.json", R"("source": "common practice")", R"("source": "me")"),
            "allowed: from memory, common practice, own shop, published: SOURCE\n"));
  CHECK(has(after("20-identify-fluid.json", "dryshaft-guide/1", "dryshaft-guide/2"),
            "error[bad-value]: /format is \"dryshaft-guide/2\"\n"));
}

TEST_CASE("what is for trained people is refused in an owner's procedure") {
  CHECK(
      has(after("30-road-test.json", R"("text": "Keep a steady speed for a while.")",
                R"("text": "Unplug the sensor.")"),
          "error[for-trained-people]: /procedures/1/steps/5/text tells an owner to \"unplug\"\n"));
  CHECK(has(after("30-road-test.json", R"("action": "road-test", "for": "owner")",
                  R"("action": "measure-insulation", "for": "owner")"),
            "error[for-trained-people]: /procedures/1/action lets an owner do "
            "\"measure-insulation\"\n"));
}

TEST_CASE("a vehicle whose port nobody can reach is refused") {
  CHECK(complaints(with_heron("wheel-arc", "").guides.diagnostics) ==
        "heron-1.json:3:45: error[no-such-name]: /vehicles/0/port_access is \"wheel-arc\", for "
        "which no guide has steps\n"
        "  \"port_access\": \"wheel-arc\"}],\n"
        "                 ^\n"
        "  allowed: wheel-arch, under-floor\n"
        "  hint: did you mean \"wheel-arch\"?\n");
  CHECK(has(complaints(with_heron("roof", "").guides.diagnostics),
            "  hint: add the access kind and its steps to \"guide\" in this file\n"));
  CHECK(has(complaints(with_heron("roof", R"({"access": [{"id": "roof", "title": "on the roof",
"find": "Look up.", "reason": "a", "source": "from memory"}], "reason": "a", "source": "from memory"})")
                           .guides.diagnostics),
            "error[missing]: /guide/access/0 has no step for the access \"roof\"\n"));
}

TEST_CASE("a family's step says where it goes") {
  const auto step = [](std::string_view place) {
    return complaints(
        with_heron("wheel-arch", R"({"steps": [{"procedure": "port-check", )" + std::string(place) +
                                     R"("text": "x"}], "reason": "a", "source": "from memory"})")
            .guides.diagnostics);
  };
  CHECK(has(step(R"("id": "x", )"), "error[missing]: /guide/steps/0 says not where it goes\n"));
  CHECK(has(step(R"("id": "x", "after": "unblt", )"), "hint: did you mean \"unbolt\"?\n"));
  CHECK(has(step(R"("id": "x", "after": "pull", "before": "pull", )"), "stands beside \"before\""));
  CHECK(has(step(R"("id": "pull", "after": "unbolt", )"), "error[repeated-id]"));
  CHECK(step(R"("id": "x", "after": "unbolt", )") == "");
  const std::string nameless =
      step(R"("after": "pull", "text": "x"}, {"procedure": "port-check", "after": "pull", )");
  CHECK(has(nameless, "error[missing]: /guide/steps/0 has no \"id\"\n"));
  CHECK(has(nameless, "error[missing]: /guide/steps/1 has no \"id\"\n"));
  CHECK(!has(nameless, "repeated-id"));
}

TEST_CASE("guides lent to other rules go without what these rules lack") {
  std::vector<NamedText> rules =
      test::edited_rules("actions.json", R"("cautions": ["toxic-coolant"])",
                         R"("cautions": ["toxic-coolant", "lifting"])");
  std::string& actions = std::ranges::find(rules, "actions.json", &NamedText::name)->text;
  constexpr std::string_view kOld = "\"record-noise\"";
  for (std::size_t at = actions.find(kOld); at != std::string::npos; at = actions.find(kOld)) {
    actions.replace(at, kOld.size(), "\"record-sound\"");
  }
  const Result<Knowledge> knowledge = load_knowledge(rules, shipped_families());
  REQUIRE(knowledge.value);
  const Result<Guides> lent =
      load_guides({}, shipped_guides(), shipped_families(), *knowledge.value);
  REQUIRE(lent.value);
  CHECK(has(complaints(lent.diagnostics),
            "40-record-noise.json:4:41: warning[left-out]: /procedures/0/action is "
            "\"record-noise\", which these rules do not have\n"));
  CHECK(lent.value->common.procedures.size() == guides().common.procedures.size() - 2);
  // A caution that these rules add to an action is shown, whatever the guide says.
  CHECK(has(guide_to_text(*lent.value, *knowledge.value, {.check = "identify-fluid"}, {}),
            "- Lifting: never get under a car"));
  CHECK(!load_guides(shipped_guides(), {}, shipped_families(), *knowledge.value).value);
}

TEST_CASE("boxes to tick stay with their words") {
  const document::Document form = {
      document::Heading{"Write down"},
      document::Entry{
          "liquid at the port", {"none", "film", "droplets", "standing in the port"}, {}},
      document::Entry{"a word", {"no", "one that is much too long for a narrow page"}, {}},
      document::Entry{"a label that is longer than its column is wide", {}, "% by volume"}};
  CHECK(document::in_text(form, {}) ==
        "Write down\n"
        "  liquid at the port              [ ] none   [ ] film   [ ] droplets\n"
        "                                  [ ] standing in the port\n"
        "  a word                          [ ] no\n"
        "                                  [ ] one that is much too long for a narrow\n"
        "                                      page\n"
        "  a label that is longer than     .................... % by volume\n"
        "  its column is wide\n");
  CHECK(document::in_text(form, {.width = 40}) ==
        "Write down\n"
        "  liquid at the port\n"
        "      [ ] none   [ ] film   [ ] droplets\n"
        "      [ ] standing in the port\n"
        "  a word\n"
        "      [ ] no\n"
        "      [ ] one that is much too long for\n"
        "          a narrow page\n"
        "  a label that is longer than its column\n"
        "  is wide\n"
        "      .................... % by volume\n");
  CHECK(document::in_markdown(form) ==
        "## Write down\n\n"
        "- liquid at the port: ☐ none ☐ film ☐ droplets ☐ standing in the port\n"
        "- a word: ☐ no ☐ one that is much too long for a narrow page\n"
        "- a label that is longer than its column is wide: .................... % by volume\n");
}

TEST_CASE("on a page, each box and line can be filled in and says what it is for") {
  CHECK(document::in_html({document::Entry{"rust on <it>", {"none", "light"}, {}},
                           document::Entry{"glycol", {}, "% by volume"}}) ==
        "<dl class=\"entries\">\n"
        "<div><dt>rust on &lt;it&gt;</dt><dd>"
        "<label><input type=\"checkbox\" aria-label=\"rust on &lt;it&gt;: none\">none</label>"
        "<label><input type=\"checkbox\" aria-label=\"rust on &lt;it&gt;: light\">light</label>"
        "</dd></div>\n"
        "<div><dt>glycol</dt><dd><label><input type=\"text\" autocomplete=\"off\" "
        "aria-label=\"glycol\">% by volume</label></dd></div>\n"
        "</dl>\n");
  const std::string page =
      to_html(guide_sheet(guides(), shipped(), {.family = "plover-2", .vehicle = "Tarn"}));
  CHECK(page.starts_with("<!DOCTYPE html>\n"));
  CHECK(has(page, "<title>Inspection guide: plover-2, Tarn</title>"));
  CHECK(has(page, ">1. Check the sensor port<"));
  CHECK(test::count_of(page, "<h1>") == 6);
  CHECK(!has(page, "<script"));
  CHECK(!has(page, "http:"));
}

TEST_CASE("no line of a guide is wider than the page") {
  for (const std::size_t width : {std::size_t{40}, std::size_t{80}}) {
    for (const Audience audience : {Audience::technician, Audience::owner}) {
      const std::string text =
          guide_to_text(guides(), shipped(), {.audience = audience}, {.width = width});
      std::size_t begin = 0;
      for (std::size_t end = text.find('\n'); end != std::string::npos;
           begin = end + 1, end = text.find('\n', begin)) {
        CHECK(end - begin <= width);
      }
    }
  }
}

}  // namespace
}  // namespace dryshaft
