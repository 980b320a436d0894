// The shipped rules are proven; rules that are wrong in one way are caught,
// with a record that shows it.
#include "dryshaft/prove.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "decide/assess.hpp"
#include "dryshaft/report.hpp"
#include "knowledge/owner_words.hpp"
#include "prove/reports.hpp"
#include "prove/space.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using proof::Draft;
using proof::Space;
using test::edited_rules;
using test::shipped;
using test::shipped_families;
using test::shipped_model;

void in_turn(std::size_t count, const std::function<void(std::size_t)>& work) {
  for (std::size_t i = 0; i < count; ++i) {
    work(i);
  }
}

// As the files say it, without what holds for safety whatever they say: that would hide what the
// proofs are to find.
Knowledge loaded(std::vector<NamedText> rules) {
  Result<Knowledge> result = load_knowledge(std::move(rules), shipped_families());
  INFO(test::complaints(result.diagnostics));
  REQUIRE(result.value);
  Knowledge k = *std::move(result.value);
  std::erase_if(k.floors, [](const Floor& f) { return f.file == "shipped floors.json"; });
  if (std::ranges::find(k.unsafe, k.settings.ungraded_id) != k.unsafe.end()) {
    k.settings.ungraded = Condition(k.settings.ungraded.any.at(0).at(0));
  }
  return k;
}

const Property& property(const std::vector<Property>& all, std::string_view id) {
  const auto found = std::ranges::find(all, id, &Property::id);
  REQUIRE(found != all.end());
  return *found;
}

// The flaws of a property in words, for messages.
std::string told(const Property& p) {
  std::string text = p.id + ": " + std::string(name(p.outcome)) + "\n";
  for (const Flaw& f : p.flaws) {
    text += f.what + "\n" + f.shows + "\n" + f.record + f.compared;
  }
  return text;
}

// What `dryshaft assess` says of a record that a proof printed.
Report assessed(const Knowledge& k, const std::string& lines,
                Audience audience = Audience::technician) {
  Records read = read_records(lines, "flaw.jsonl", read_options(k));
  INFO(lines << test::complaints(read.diagnostics));
  REQUIRE(read.rejected == 0);
  REQUIRE(!read.records.empty());
  const auto units = group_by_unit(std::move(read.records));
  REQUIRE(units.value->size() == 1);
  return assess(units.value->front(), k, Model(k), {.audience = audience, .today = std::nullopt});
}

std::size_t findings_in(const Report& r) { return r.observed.size(); }

// One way of breaking the rules: what is edited, and what then fails.
struct Broken {
  Knowledge k;
  std::vector<Property> properties;
  Broken(std::vector<std::string_view> only, std::string_view file, std::string_view from,
         std::string_view to)
      : k(loaded(edited_rules(file, from, to))), properties(prove(k, {.only = std::move(only)})) {}

  // The first flaw of the property that has a record; the property must be broken.
  const Flaw& flaw(std::string_view id) const {
    const Property& p = property(properties, id);
    INFO(told(p));
    REQUIRE(p.outcome == Proof::broken);
    REQUIRE(!all_held(properties));
    const auto found =
        std::ranges::find_if(p.flaws, [](const Flaw& f) { return !f.record.empty(); });
    REQUIRE(found != p.flaws.end());
    return *found;
  }
  std::string words(std::string_view id) const { return told(property(properties, id)); }
};

bool says(const std::string& text, std::string_view part) {
  return text.find(part) != std::string::npos;
}

TEST_CASE("all properties of the shipped rules hold", "[long]") {
  const std::vector<Property> properties = prove(shipped(), {});
  CHECK(properties.size() == 13);
  for (const Property& p : properties) {
    INFO(told(p));
    CHECK(p.outcome == Proof::held);
    CHECK(p.flaws.empty());
    CHECK(p.states > 0);
    CHECK_FALSE(p.argument.empty());
  }
  CHECK(all_held(properties));
  CHECK_FALSE(all_held({}));
}

TEST_CASE("a safety floor that is left out breaks a property, and no other one") {
  ProveOptions only;
  only.only = {"safety", "checked"};
  const Knowledge k = loaded(edited_rules("floors.json", R"({"rotation": ["seized"]})",
                                          R"({"rotation": ["seized"], "noise": ["present"]})"));
  const std::vector<Property> properties = prove(k, only);
  CHECK(told(property(properties, "safety")) ==
        "safety: BROKEN\n\"floor-seized\" is left out or weakened\n\n");
  CHECK(property(properties, "checked").outcome == Proof::held);
}

TEST_CASE("a proof does not depend on who shares its work", "[long]") {
  ProveOptions backwards;
  backwards.spread = [](std::size_t count, const std::function<void(std::size_t)>& work) {
    while (count-- > 0) {
      work(count);
    }
  };
  const Knowledge k = loaded(edited_rules("links.json", R"("droplets": 0.55, "pooled": 0.15)",
                                          R"("droplets": 0.55, "pooled": 0.0005)"));
  const std::vector<Property> one = prove(k, {});
  const std::vector<Property> other = prove(k, backwards);
  REQUIRE(one.size() == other.size());
  for (std::size_t i = 0; i < one.size(); ++i) {
    CHECK(told(one[i]) == told(other[i]));
    CHECK(one[i].states == other[i].states);
    CHECK(one[i].argument == other[i].argument);
  }
}

// ------------------------------------------------------ broken on purpose

TEST_CASE("a floor that forgets the worst level is caught") {
  const Broken b(
      {"monotone-grade"}, "floors.json",
      R"("isolation-fault": {"at_least": "stored"}, "port-fluid": {"at_least": "film"}})",
      R"("isolation-fault": {"at_least": "stored"}, "port-fluid": ["film", "droplets"]})");
  const Flaw& flaw = b.flaw("monotone-grade");
  const Report bad = assessed(b.k, flaw.record);
  const Report better = assessed(b.k, flaw.compared);
  CHECK(bad.grade == Grade::C);
  CHECK(better.grade == Grade::D);
  CHECK(findings_in(bad) == 3);
  CHECK(says(flaw.record, R"("fluid":"pooled")"));
  CHECK(says(flaw.compared, R"("fluid":"droplets")"));
  CHECK(says(b.words("monotone-grade"), "port-fluid pooled gives a better grade"));
}

TEST_CASE("a link whose worst level says less than the one before is caught") {
  const Broken b({"monotone-risk", "small-records"}, "links.json",
                 R"("droplets": 0.55, "pooled": 0.15)", R"("droplets": 0.55, "pooled": 0.0005)");
  const Flaw& flaw = b.flaw("monotone-risk");
  const Report bad = assessed(b.k, flaw.record);
  const Report better = assessed(b.k, flaw.compared);
  CHECK(bad.risk < better.risk);
  CHECK(findings_in(bad) == 1);
  CHECK(says(flaw.record, R"("fluid":"pooled")"));
  CHECK(says(b.words("monotone-risk"), "port-fluid pooled speaks less for seal-leak than"));
  CHECK(property(b.properties, "small-records").outcome == Proof::broken);
}

TEST_CASE("an ordered finding that can be explained away is caught", "[long]") {
  const Broken b({"monotone-risk"}, "links.json", R"({"id": "loss-from-seal-leak")",
                 R"({"id": "loss-from-outside", "finding": "coolant-loss", "cause": "outside-noise",
                     "shows": {"some": 0.9, "marked": 0.5},
                     "reason": "Made up.", "source": "from memory"},
                    {"id": "loss-from-seal-leak")");
  const Flaw& flaw = b.flaw("monotone-risk");
  const Report bad = assessed(b.k, flaw.record);
  const Report better = assessed(b.k, flaw.compared);
  CHECK(bad.risk < better.risk);
  CHECK(findings_in(bad) <= 3);
  CHECK(says(flaw.record, "loss_ml_per_1000km"));
}

TEST_CASE("a detail whose worse level gives a better grade is caught", "[long]") {
  const Broken b({"monotone-grade"}, "floors.json",
                 R"({"recorded-rotor-bearing": {"at_least": "shared"}})",
                 R"({"recorded-rotor-bearing": ["shared"]})");
  const Flaw& flaw = b.flaw("monotone-grade");
  CHECK(assessed(b.k, flaw.record).grade == Grade::A);
  CHECK(assessed(b.k, flaw.compared).grade == Grade::B);
  CHECK(says(flaw.record, R"("rotor_bearing":"clear")"));
  CHECK(says(flaw.compared, R"("rotor_bearing":"shared")"));
}

TEST_CASE("grade A without residue on record is caught") {
  const Broken b({"checked"}, "grades.json", R"("port-residue": ["absent"])",
                 R"("port-residue": ["not-observed", "absent"])");
  const Flaw& flaw = b.flaw("checked");
  const Report r = assessed(b.k, flaw.record);
  CHECK(r.grade == Grade::A);
  CHECK(findings_in(r) == 2);
  CHECK_FALSE(says(flaw.record, "dried_residue"));
}

TEST_CASE("a grade in place of U is caught", "[long]") {
  const Broken b({"checked", "alive"}, "grades.json",
                 R"({"situation": {"port_check": ["stale", "not-made"]}},
    "reason": "What)",
                 R"({"none": [{}]},
    "reason": "What)");
  const Flaw& flaw = b.flaw("checked");
  const Report r = assessed(b.k, flaw.record);
  CHECK(r.grade == Grade::B);
  CHECK(findings_in(r) == 0);
  CHECK(says(b.words("alive"), "grade U is never given"));
}

TEST_CASE("a best value that is worse than nothing is caught") {
  const Broken b({"unknown"}, "floors.json", R"({"insulation": {"at_least": "below-ieee43"}}},
     "reason": "Insulation below the IEEE)",
                 R"({"insulation": ["sound", "below-ieee43", "below-500", "below-100"]}},
     "reason": "Insulation below the IEEE)");
  const Flaw& flaw = b.flaw("unknown");
  const Report open = assessed(b.k, flaw.record);
  const Report known = assessed(b.k, flaw.compared);
  CHECK(open.grade == Grade::A);
  CHECK(known.grade == Grade::B);
  CHECK(says(flaw.compared, "resistance_mohm"));
  CHECK_FALSE(says(flaw.record, "resistance_mohm"));
}

// Rules changed after they were read, as no file could say them.
Property proven(const Knowledge& k, std::string_view id) {
  return property(prove(k, {.only = {id}}), id);
}

TEST_CASE("a wear-out that falls with distance is caught") {
  Knowledge k = shipped();
  k.causes[idx(Cause::seal_leak)].wear->shape = -0.3;
  const Property p = proven(k, "monotone-distance");
  CHECK(p.outcome == Proof::not_proven);
  CHECK(says(told(p), "seal-leak (causes.json:"));
  CHECK(says(told(p), "has a wear-out that does not rise"));

  k = shipped();
  k.causes[idx(Cause::seal_leak)].wear->table = {{1000, 0.5}, {1000000, 0.01}};
  CHECK(says(told(proven(k, "monotone-distance")), "has a wear-out that does not rise"));
}

TEST_CASE("stages out of order are caught") {
  Knowledge dry = shipped();
  dry.stages[2].reaches = 0.5;
  const Property less = proven(dry, "structure");
  CHECK(less.outcome == Proof::not_proven);
  REQUIRE(less.flaws.size() == 1);
  CHECK(says(less.flaws[0].what, "stage-dripping (life.json:"));
  CHECK(says(less.flaws[0].what, "less reaches the tip than in the stage before"));

  Knowledge slow = shipped();
  slow.harms[0].after_km[2] = 400000;
  const std::string words = told(proven(slow, "structure"));
  CHECK(says(words, "harm-corrosion (life.json:"));
  CHECK(says(words, "stage-dripping harms more slowly than the stage before"));
  // The chain, compiled, tells the same.
  CHECK(says(words, "a unit is better off than one that was at stage 2, corrosion 0"));
}

TEST_CASE("a worse grade that waits longer is caught") {
  const Broken b({"dates"}, "grades.json", R"("recheck_km": 7500)", R"("recheck_km": 30000)");
  const Flaw& flaw = b.flaw("dates");
  const Report bad = assessed(b.k, flaw.record);
  const Report better = assessed(b.k, flaw.compared);
  CHECK(bad.grade == Grade::B);
  CHECK(better.grade == Grade::A);
  CHECK(*bad.recheck.km > *better.recheck.km);
  CHECK(findings_in(bad) <= 5);  // grade A needs four
  INFO(b.words("dates"));
  CHECK(says(b.words("dates"),
             "grade B is looked at again within 20500 km or 120 days, grade A within"));
  CHECK(says(flaw.shows, "looked at again within 30000 km or 180 days"));
}

TEST_CASE("advice that forgets the worst level is caught by its date") {
  const Broken b({"dates"}, "actions.json",
                 R"("when": {"grade": ["B"], "finding": {"coolant-loss": ["marked"]}})",
                 R"("when": {"grade": ["B"], "finding": {"coolant-loss": ["some"]}})");
  const Flaw& flaw = b.flaw("dates");
  const Report bad = assessed(b.k, flaw.record);
  const Report better = assessed(b.k, flaw.compared);
  CHECK(*bad.recheck.km > *better.recheck.km);
  CHECK(*better.recheck.km == 1500);
  CHECK(findings_in(bad) == 2);
  CHECK(says(b.words("dates"), "with coolant-loss marked a unit of grade B is looked at again"));
}

TEST_CASE("a worse level that speaks less for a leak is caught by its date") {
  const Broken b({"dates"}, "links.json", R"({"id": "loss-from-seal-leak")",
                 R"({"id": "loss-from-outside", "finding": "coolant-loss", "cause": "outside-noise",
                     "shows": {"some": 0.9, "marked": 0.5},
                     "reason": "Made up.", "source": "from memory"},
                    {"id": "loss-from-seal-leak")");
  CHECK(says(b.words("dates"), "joins a leak and what comes without one"));
  CHECK_FALSE(all_held(b.properties));

  const Broken less({"dates"}, "links.json", R"("some": 0.35, "marked": 0.12)",
                    R"("some": 0.35, "marked": 0.00001)");
  CHECK(says(less.words("dates"), "coolant-loss marked speaks less for a leak than"));
  CHECK_FALSE(all_held(less.properties));
}

TEST_CASE("a process in which dates need not keep their order is caught") {
  Knowledge slow = shipped();
  slow.harms[0].after_km[2] = slow.harms[1].after_km[2] = 400000;
  const std::string words = told(proven(slow, "dates"));
  CHECK(says(words, "stage 3 of the seal harms more slowly than the one before"));

  // Weeps that at once become leaks which reach the tip: what an older look missed may be none.
  Knowledge sudden = shipped();
  sudden.stages[0].lasts_km = 20;
  sudden.stages[0].reaches = 0;
  const Property p = proven(sudden, "dates");
  CHECK(p.outcome != Proof::held);
  CHECK(says(told(p), "an older look that saw no leak leaves more unharmed after"));
}

TEST_CASE("a breakdown that shows less than harm is caught") {
  const Broken b({"monotone-risk"}, "life.json", R"("shows": {"stiff": 0.99, "seized": 0.70})",
                 R"("shows": {"stiff": 0.99, "seized": 0.0001})");
  CHECK(says(b.words("monotone-risk"),
             "rotation seized speaks less for rotor-bearing-corrosion, rotor bearings broken down "
             "than rotation stiff does"));
  CHECK_FALSE(says(b.words("monotone-risk"), "insulation broken down"));
  CHECK_FALSE(all_held(b.properties));

  const Broken free({"unknown"}, "life.json", R"("shows": {"stiff": 0.99, "seized": 0.70})",
                    R"("shows": {"stiff": 0.001, "seized": 0.0005})");
  CHECK(says(free.words("unknown"),
             "not to observe rotation can give a lower risk than rotation free"));
}

TEST_CASE("a grade without advice is caught") {
  const Broken b({"complete"}, "actions.json", R"({"grade": ["B"]},
     "reason": "There is a finding to watch)",
                 R"({"grade": ["D"]},
     "reason": "There is a finding to watch)");
  const Flaw& flaw = b.flaw("complete");
  const Report r = assessed(b.k, flaw.record);
  CHECK(r.grade == Grade::B);
  CHECK(r.actions.empty());
  CHECK(findings_in(r) <= 3);
}

TEST_CASE("a leak that is damaging, bringing about what is not, is not proven") {
  const Broken b({"structure", "monotone-risk"}, "causes.json", R"("damaging": "yes",
     "base": 0.005,)",
                 R"("damaging": "slowly",
     "base": 0.005,)");
  CHECK(property(b.properties, "structure").outcome == Proof::not_proven);
  CHECK(says(b.words("structure"), "insulation-loss (causes.json:"));
  CHECK_FALSE(all_held(b.properties));
  CHECK(property(b.properties, "monotone-risk").outcome != Proof::held);
}

TEST_CASE("a floor that asks for a probability is not proven") {
  const Broken b(
      {"structure"}, "floors.json",
      R"("when": {"any": [{"finding": {"shutdown": {"at_least": "explained"}}})",
      R"("when": {"cause": {"seal-leak": {"below": 0.5}}, "any": [{"finding": {"shutdown": {"at_least": "explained"}}})");
  CHECK(property(b.properties, "structure").outcome == Proof::not_proven);
  CHECK(says(b.words("structure"), "floor-drive-fault (floors.json:"));
  CHECK_FALSE(all_held(b.properties));
}

TEST_CASE("a caution that nobody needs is caught") {
  const Broken b(
      {"alive"}, "cautions.json", R"({"id": "not-a-certificate")",
      R"({"id": "spare", "brief": "Step.", "text": "Mind the step.", "owner_text": "Mind the step.",
                     "reason": "Made up.", "source": "from memory"},
                    {"id": "not-a-certificate")");
  CHECK(property(b.properties, "alive").outcome == Proof::broken);
  CHECK(says(b.words("alive"), "caution spare (cautions.json:"));
  CHECK(says(b.words("alive"), "is needed by no action"));
}

TEST_CASE("a floor that no state reaches is caught") {
  const Broken b({"alive"}, "floors.json", R"({"id": "floor-stiff")",
                 R"({"id": "floor-never", "grade": "C", "plain": "Made up.",
                     "when": {"finding": {"noise": ["absent"], "noise-load": ["under-load"]}},
                     "reason": "Made up.", "source": "from memory"},
                    {"id": "floor-stiff")");
  CHECK(property(b.properties, "alive").outcome == Proof::broken);
  CHECK_FALSE(says(b.words("alive"), "states tried"));
  CHECK(says(b.words("alive"), "floor floor-never (floors.json:"));
}

TEST_CASE("a floor that another one always outdoes is caught") {
  const Broken b({"alive"}, "floors.json", R"({"id": "floor-stiff")",
                 R"({"id": "floor-shadow", "grade": "C", "plain": "Made up.",
                     "when": {"finding": {"rotation": ["seized"]}},
                     "reason": "Made up.", "source": "from memory"},
                    {"id": "floor-stiff")");
  CHECK(property(b.properties, "alive").outcome == Proof::broken);
  CHECK(says(b.words("alive"), "floor floor-shadow (floors.json:"));
  CHECK_FALSE(says(b.words("alive"), "states tried"));
}

TEST_CASE("advice and an outlook that never hold are caught") {
  const Broken b({"alive"}, "actions.json",
                 R"("when": {"finding": {"opened-insulation-loss": ["present"]}})",
                 R"("when": {"grade": ["A"], "finding": {"opened-insulation-loss": ["present"]}})");
  CHECK(says(b.words("alive"), "advice advise-major-parts-opened (actions.json:"));
  const Broken o(
      {"alive"}, "grades.json", R"({"finding": {"rotation": ["seized"]}})",
      R"({"finding": {"rotation": ["seized"], "noise": ["absent"], "noise-load": ["under-load"]}})");
  CHECK(says(o.words("alive"), "outlook outlook-seized (grades.json:"));
}

TEST_CASE("a link too weak to show is caught") {
  const Broken b({"alive"}, "links.json", R"("shows": {"clear": 0.40, "loud": 0.25})",
                 R"("shows": {"clear": 0.0004, "loud": 0.0002})");
  const Flaw& flaw = b.flaw("alive");
  CHECK(says(flaw.what, "link level-from-corrosion (links.json:"));
  const Report r = assessed(b.k, flaw.record);
  CHECK(findings_in(r) == 2);
  for (const CauseReport& c : r.causes) {
    for (const auto* side : {&c.for_it, &c.against_it}) {
      CHECK(std::ranges::find(*side, "level-from-corrosion", &Evidence::rule) == side->end());
    }
  }
}

TEST_CASE("units are varied in what the rules ask for, those that come in first") {
  const Space plain(shipped(), shipped_model());
  CHECK(plain.configurations.all.size() == 36);
  CHECK(plain.configurations.describable == 36);
  CHECK(plain.configurations.few == 4);

  const proof::Configurations more = plain.configurations_by(1U << idx(Situation::rotor_magnets) |
                                                             1U << idx(Situation::crossover));
  CHECK(more.all.size() == 36U * 3 * 3);  // magnets: yes, no and not known
  std::size_t described = 0;
  for (const proof::AsBuilt& unit : more.all) {
    Draft d;
    d.unit = unit;
    const auto lines = record_of(shipped(), plain.realize(d));
    CHECK(lines.has_value() == (described < more.describable));
    described += lines ? 1 : 0;
  }
  CHECK(described == more.describable);
  // A crossover pipe is on record next to a bypass alone.
  CHECK(std::ranges::all_of(more.described(), [](const proof::AsBuilt& unit) {
    return unit.crossover == Crossover::unknown || unit.cooling == Cooling::bypassed;
  }));
  for (const Magnets magnets : {Magnets::yes, Magnets::no, Magnets::unknown}) {
    CHECK(std::ranges::any_of(more.described().first(more.few),
                              [&](const proof::AsBuilt& unit) { return unit.magnets == magnets; }));
  }
}

// Shipped rules with one more piece of advice.
Broken with_advice(std::string_view when) {
  return {{"alive"},
          "actions.json",
          R"({"id": "advise-nothing")",
          fmt::format(R"({{"id": "advise-more", "action": "stop-driving", "urgency": "soon",
                          "within_km": 1000, "within_days": 30, "when": {},
                          "reason": "Made up.", "plain": "It is made up.",
                          "source": "common practice"}},
                         {{"id": "advise-nothing")",
                      when)};
}

TEST_CASE("advice that holds between two distances alone is found alive") {
  // Raised from some 270,000 km on, high long before 1,000,000 km.
  const Broken b = with_advice(
      R"({"situation": {"risk": ["raised"], "port_check": ["fresh"], "rotor_cooling": ["unknown"],
                        "rotor_bearings": ["steel"], "gear_bearings": ["steel"]},
          "finding": {"port-fluid": ["none"], "port-residue": ["absent"], "port-rust": ["none"],
                      "port-debris": ["not-observed"], "isolation-fault": ["not-observed"],
                      "insulation": ["sound"], "rotation": ["not-observed"],
                      "noise": ["not-observed"], "coolant-loss": ["none"], "shutdown": ["no"],
                      "reduced-power": ["not-observed"], "earlier-coolant": ["not-observed"],
                      "opened-seal-leak": ["not-observed"],
                      "opened-rotor-bearing-corrosion": ["absent"],
                      "opened-rotor-bearing-erosion": ["absent"],
                      "opened-gear-bearing-erosion": ["not-observed"],
                      "opened-insulation-loss": ["not-observed"],
                      "opened-outside-noise": ["absent"]}})");
  INFO(b.words("alive"));
  CHECK(property(b.properties, "alive").outcome == Proof::held);
}

TEST_CASE("advice for situations named inside an alternative is found alive") {
  const Broken b = with_advice(
      R"({"any": [{"situation": {"rotor_cooling": ["bypassed"], "crossover": ["dropped"],
                                 "rotor_magnets": ["no"], "by": ["owner"]}}]})");
  INFO(b.words("alive"));
  CHECK(property(b.properties, "alive").outcome == Proof::held);
}

TEST_CASE("what the search does not find is not called dead") {
  // No state with few findings has it, and nothing says that none can.
  const Broken b({"alive"}, "actions.json", R"("when": {"grade": ["D"]},
     "reason": "Grade D: damage now)",
                 R"("when": {"grade": ["D"], "cause": {"outside-noise": {"at_least": 0.999999}}},
     "reason": "Grade D: damage now)");
  const Property& p = property(b.properties, "alive");
  INFO(told(p));
  CHECK(p.outcome == Proof::not_proven);
  REQUIRE(p.flaws.size() == 1);  // its action, which nothing else advises, is not dead either
  CHECK(says(p.flaws.front().what, "advice advise-stop (actions.json:"));
  CHECK(says(p.flaws.front().what, "never holds in "));
  CHECK(says(p.flaws.front().what, " states tried"));
}

TEST_CASE("what no state can have is called dead") {
  // A port that was looked at tells what was seen; a floor rules out the grade.
  for (const std::string_view when :
       {R"({"situation": {"port_check": ["fresh"]}, "finding": {"port-fluid": ["not-observed"]}})",
        R"({"grade": ["A", "U"], "finding": {"rotation": ["seized"]}})",
        R"({"finding": {"earlier-coolant": ["present"]},
            "situation": {"rotor_cooling": ["wet"], "port_check": ["not-made"]}})"}) {
    const Broken b = with_advice(when);
    INFO(when << "\n" << b.words("alive"));
    CHECK(property(b.properties, "alive").outcome == Proof::broken);
    CHECK(says(b.words("alive"), "advice advise-more (actions.json:"));
    CHECK_FALSE(says(b.words("alive"), "states tried"));
  }
}

TEST_CASE("an owner told to measure is caught") {
  const Broken b({"owner"}, "actions.json", R"("plain": "It must be known how weak)",
                 R"("plain": "Measure how weak)");
  const Flaw& flaw = b.flaw("owner");
  const Report r = assessed(b.k, flaw.record, Audience::owner);
  CHECK(std::ranges::any_of(r.actions,
                            [](const Action& a) { return says(a.because, "Measure how weak"); }));
  CHECK(findings_in(r) == 1);
  CHECK(says(b.words("owner"), "advise-insulation-now (actions.json:"));
}

TEST_CASE("an action for trained people in an owner's hands is caught", "[long]") {
  const Knowledge k = loaded(test::edited(
      edited_rules("actions.json", R"("owner_text": "Have the gearbox input bearings replaced.")",
                   R"("owner_text": "Replace the gearbox input bearings.")"),
      "cautions.json",
      R"("owner_never": ["capacitor", "capacitors", "discharge", "short circuit"],)", ""));
  const Property p = property(prove(k, {.only = {"owner"}}), "owner");
  CHECK(p.outcome == Proof::broken);
  CHECK(says(told(p), "renew-gear-bearings (actions.json:"));
  CHECK(says(told(p), "tells an owner to do what high-voltage reserves"));
  CHECK(says(told(p), "stored-energy (cautions.json:"));
}

TEST_CASE("words reserved for trained people are found as words, in sentences that tell") {
  const ReservedWords never(std::vector<std::string>{"measure", "open the", "multimeter"});
  CHECK(never.in("Please measure it.") == "measure");
  CHECK(never.in("It is warm. Open the lid.") == "open the");
  CHECK(never.in("Open it, then the lid.").empty());
  CHECK(never.in("A countermeasure was measured.").empty());
  CHECK(never.in("Do not open the lid.").empty());
  CHECK(never.in("Ask a workshop to measure it.").empty());
  CHECK(never.in("Ask a workshop. Then measure it.") == "measure");
}

TEST_CASE("a report that depends on the order of the rules is caught") {
  const Space space(shipped(), shipped_model());
  const std::vector<proof::Specimen> some = proof::specimens(space, 0, in_turn);
  REQUIRE(!some.empty());
  CHECK(proof::order_is_nothing(space, some, proof::plain_report, in_turn).offences.empty());
  const auto first_floor = [](const Knowledge& k, const Model&, const History&) {
    return k.floors.front().id;
  };
  const auto found = proof::order_is_nothing(space, some, first_floor, in_turn);
  REQUIRE(found.offences.size() == 1);
  CHECK(found.offences.front().what == "the report changes when the rules are read in reverse");
}

// -------------------------------------------------------- records of cases

TEST_CASE("a case becomes the record that gives it back") {
  const Space space(shipped(), shipped_model());
  std::size_t tried = 0;
  const auto check = [&](const Draft& d) {
    REQUIRE(Space::possible(d));
    const Case c = space.realize(d);
    const auto lines = record_of(shipped(), c);
    REQUIRE(lines);
    const auto history = proof::read_history(shipped(), *lines);
    REQUIRE(history);
    const Case back = present(*history, history->records.size(), shipped(), 0).facts;
    INFO(*lines);
    CHECK(back.level == c.level);
    CHECK(back.situation == c.situation);
    CHECK(back.seal_km == c.seal_km);
    CHECK(back.seal_years == c.seal_years);
    CHECK(back.earlier == c.earlier);
    CHECK((back.course == nullptr) == (c.course == nullptr));
    CHECK(shipped_model().graded_risk(back, shipped_model().prior(back)) ==
          shipped_model().graded_risk(c, shipped_model().prior(c)));
    ++tried;
  };
  // Every level of every finding, each as it can be observed.
  for (const FindingSpec& f : findings()) {
    for (std::size_t l = 0; l < f.levels.size(); ++l) {
      if (f.never_absent && l == 0) {
        continue;
      }
      Draft d;
      d.km = 90000;
      for (const FindingSpec& other : findings()) {
        if ((proof::needed_by(f) >> idx(other.id) & 1U) != 0) {
          d.set(other.id, 1);
        }
      }
      d.set(f.id, static_cast<int>(l));
      if (f.at_port || f.id == Finding::earlier_coolant) {
        d.set(Finding::port_fluid, std::max(0, d.at(Finding::port_fluid)));
        for (std::size_t look = 1; look < space.looks.size(); ++look) {
          d.look = space.looks[look];
          check(d);
        }
      } else {
        check(d);
      }
    }
  }
  // Every configuration, and coolant where none should be.
  for (const proof::AsBuilt& unit : space.configurations.described()) {
    Draft d;
    d.unit = unit;
    check(d);
    d.set(Finding::port_fluid, 2);
    d.set(Finding::port_fluid_kind, 3);
    d.look = space.looks[1];
    check(d);
  }
  CHECK(tried == 170);
}

TEST_CASE("a case that no record can give has none") {
  Case c = empty_case();
  c.seal_km = 90000;
  c.seal_years = 90000 / shipped().settings.km_per_year;
  REQUIRE(record_of(shipped(), c));
  Case no_leader = c;
  no_leader.set(Finding::noise_load, 1);
  CHECK_FALSE(record_of(shipped(), no_leader));  // a noise described is a noise
  Case dry_unseen = c;
  dry_unseen.set(Finding::port_fluid, 0);
  CHECK_FALSE(record_of(shipped(), dry_unseen));
  Case never_before = c;
  never_before.set(Finding::earlier_coolant, 0);
  CHECK_FALSE(record_of(shipped(), never_before));
}

// ------------------------------------------------------------- histories

class Histories {
 public:
  // Up to three looks some way apart at findings on damaging causes alone, and today's.
  Case unit() {
    auto course = std::make_shared<Course>();
    Clock clock;
    const std::size_t looks = below(4);
    for (std::size_t i = 0; i < looks; ++i) {
      Leg& leg = course->legs.emplace_back();
      leg.from = clock;
      clock = further(clock);
      leg.to = clock;
      leg.seen = some();
      leg.look = i;
    }
    course->end = clock;
    const Clock now = further(clock);
    Case c = empty_case();
    c.set(Situation::rotor_cooling, Cooling::wet);
    c.seal_km = now.seal_km;
    c.seal_years = now.seal_years;
    c.level = some();
    c.course = std::move(course);
    return c;
  }
  std::size_t below(std::size_t n) { return static_cast<std::size_t>(engine_() % n); }
  Finding pure() { return kPure.at(below(kPure.size())); }

  static constexpr std::array kPure = {Finding::port_fluid,
                                       Finding::port_residue,
                                       Finding::port_rust,
                                       Finding::port_debris,
                                       Finding::isolation_fault,
                                       Finding::insulation,
                                       Finding::rotation,
                                       Finding::coolant_loss,
                                       Finding::shutdown,
                                       Finding::reduced_power,
                                       Finding::opened_seal_leak,
                                       Finding::opened_rotor_bearing_corrosion,
                                       Finding::opened_insulation_loss};

 private:
  Clock further(const Clock& from) {
    const double km = static_cast<double>(1 + below(60000));
    return from.later(km, km / 20000 + static_cast<double>(below(300)) / 100);
  }
  Levels some() {
    Levels seen = proof::nothing_observed();
    for (const Finding f : kPure) {
      if (below(2) == 0) {
        const std::size_t levels = below(3) == 0 ? spec(f).levels.size() : 1;
        seen[idx(f)] = static_cast<std::int8_t>(below(levels));
      }
    }
    return seen;
  }
  std::mt19937 engine_{20251130};
};

double risk_of(const Case& c) { return shipped_model().graded_risk(c, shipped_model().prior(c)); }

// The same unit, with what one of its looks found changed.
Case changed(const Case& c, std::size_t look, const std::function<void(Levels&)>& change) {
  Case other = c;
  auto course = std::make_shared<Course>(*c.course);
  change(look < course->legs.size() ? course->legs[look].seen : other.level);
  other.course = std::move(course);
  return other;
}

TEST_CASE(
    "a worse finding in any look of a history never lowers the risk, nor a good one raises it") {
  Histories draw;
  std::size_t raised = 0;
  std::size_t left_out = 0;
  for (int i = 0; i < 3000; ++i) {
    const Case c = draw.unit();
    const std::size_t look = draw.below(c.course->legs.size() + 1);
    const Finding f = draw.pure();
    const Levels& seen = look < c.course->legs.size() ? c.course->legs[look].seen : c.level;
    const int level = seen[idx(f)];
    const double risk = risk_of(c);
    if (level >= 0 && level + 1 < static_cast<int>(spec(f).levels.size())) {
      const Case worse = changed(c, look, [&](Levels& l) { ++l[idx(f)]; });
      REQUIRE_FALSE(proof::falls(risk, risk_of(worse)));
      ++raised;
    }
    if (level == 0) {
      const Case open = changed(c, look, [&](Levels& l) { l[idx(f)] = -1; });
      REQUIRE_FALSE(proof::falls(risk, risk_of(open)));
      ++left_out;
    }
  }
  CHECK(raised > 700);
  CHECK(left_out > 700);
}

TEST_CASE("one more look that finds all well never raises the risk") {
  Histories draw;
  std::size_t tried = 0;
  for (int i = 0; i < 1000; ++i) {
    const Case c = draw.unit();
    Case more = c;
    auto course = std::make_shared<Course>(*c.course);
    Leg look;
    look.from = look.to = course->end;
    look.seen = proof::nothing_observed();
    for (const Finding f : Histories::kPure) {
      look.seen[idx(f)] = 0;
    }
    look.look = course->legs.size();
    course->legs.push_back(look);
    more.course = std::move(course);
    REQUIRE(risk_of(more) <= risk_of(c) * (1 + proof::kSlack));
    ++tried;
  }
  CHECK(tried == 1000);
}

}  // namespace
}  // namespace dryshaft
