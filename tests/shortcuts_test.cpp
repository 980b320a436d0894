// What is worked out the short way agrees with the long way: conditions looked up together, risks
// without the rest of a posterior, only those pairs that can move a grade, states added up.
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <map>
#include <memory>
#include <random>
#include <set>

#include "base/index.hpp"
#include "decide/grading.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using test::complaints;
using test::edited_rules;
using test::shipped;
using test::shipped_families;
using test::shipped_model;

// The shipped rules with a floor that asks for everything a condition can ask for.
const Knowledge& asking() {
  static const Knowledge knowledge = [] {
    Result<Knowledge> loaded = load_knowledge(
        edited_rules("floors.json", R"("when": {"finding": {"rotation": ["seized"]}})",
                     R"("when": {"cause": {"seal-leak": {"at_least": 0.05}},
                         "situation": {"risk": ["raised", "high"]},
                         "any": [{"finding": {"noise": ["present"]}},
                                 {"cause": {"rotor-bearing-erosion": {"below": 0.2}}}],
                         "none": [{"finding": {"rotation": ["seized"]}}]})"),
        shipped_families());
    if (!loaded.value) {
      throw std::runtime_error(complaints(loaded.diagnostics));
    }
    return std::move(*loaded.value);
  }();
  return knowledge;
}

class Draw {
 public:
  std::size_t below(std::size_t n) { return static_cast<std::size_t>(engine_() % n); }
  double share() { return static_cast<double>(engine_()) / 4294967296.0; }

  Case unit(std::size_t one_in = 3) {
    Case c = empty_case();
    for (const FindingSpec& f : findings()) {
      if (below(one_in) == 0 && exists(f.id, c.level)) {
        // Harmless more often than not, so that all grades come up.
        const std::size_t levels = below(3) == 0 ? f.levels.size() : 1;
        c.set(f.id, static_cast<int>(below(levels)));
      }
    }
    for (const SituationSpec& s : situations()) {
      if (s.id != Situation::risk) {
        c.set(s.id, below(s.values.size()));
      }
    }
    c.seal_km = 300000 * share();
    c.seal_years = 15 * share();
    if (below(3) == 0) {
      look_before(c);
    }
    return c;
  }

  // Half way, at a few findings; what it saw at the port is what is on record of that.
  void look_before(Case& c) {
    auto course = std::make_shared<Course>();
    Leg& leg = course->legs.emplace_back();
    leg.from.cooling = leg.to.cooling = static_cast<Cooling>(c.at(Situation::rotor_cooling));
    leg.to = leg.from.later(c.seal_km / 2, c.seal_years / 2);
    leg.look = 0;
    leg.seen.fill(-1);
    for (const FindingSpec& f : findings()) {
      if (f.at_port) {
        leg.seen[idx(f.id)] = c.level[idx(f.id)];
        c.earlier |= c.at(f.id) >= 0 ? 1U << idx(f.id) : 0U;
      } else if (!f.detail_of && below(3) == 0) {
        leg.seen[idx(f.id)] = static_cast<std::int8_t>(below(f.levels.size()));
      }
    }
    course->end = leg.to;
    c.course = std::move(course);
  }

  Facts facts() {
    const Case c = unit(2);
    Facts f{.level = c.level,
            .situation = c.situation,
            .probability = {},
            .grade = static_cast<Grade>(below(kGradeCount))};
    f.situation[idx(Situation::risk)] = static_cast<std::uint8_t>(below(kRiskBandCount));
    for (double& p : f.probability) {
      p = share();
    }
    return f;
  }

 private:
  std::mt19937 engine_{20240611};
};

std::vector<Condition> all_conditions(const Knowledge& k) {
  std::vector<Condition> all = {k.settings.ungraded, k.settings.sound, Condition()};
  const auto add = [&](const auto& items, auto when) {
    for (const auto& item : items) {
      all.push_back(item.*when);
    }
  };
  add(k.floors, &Floor::when);
  add(k.cautions, &CautionRule::when);
  add(k.advice, &Advice::when);
  add(k.outlooks, &OutlookRule::when);
  add(k.actions, &ActionRule::check_when);
  return all;
}

// As many sets as it takes.
std::vector<std::vector<Condition>> in_sets(const std::vector<Condition>& conditions) {
  std::vector<std::vector<Condition>> sets(1);
  std::size_t rows = 0;
  for (const Condition& c : conditions) {
    rows += ConditionSet::rows(c);
    if (rows > ConditionSet::kMostRows) {
      sets.emplace_back();
      rows = ConditionSet::rows(c);
    }
    sets.back().push_back(c);
  }
  return sets;
}

TEST_CASE("conditions looked up together hold where each holds alone") {
  Draw draw;
  std::size_t held = 0;
  for (const auto& set : in_sets(all_conditions(asking()))) {
    const ConditionSet together(set);
    for (int i = 0; i < 4000; ++i) {
      const Facts facts = draw.facts();
      const ConditionSet::Bits bits = together.holding(facts);
      for (std::size_t row = 0; row < set.size(); ++row) {
        const bool alone = holds(set[row], facts);
        held += alone ? 1 : 0;
        REQUIRE(((bits.at(row / 64) >> (row % 64) & 1U) != 0) == alone);
      }
    }
  }
  CHECK(held > 10000);
}

TEST_CASE("a set of conditions reaches past the first word") {
  // Every row of a full set, each telling one level of one finding from the others.
  std::vector<Condition> many;
  for (std::size_t row = 0; row < ConditionSet::kMostRows; ++row) {
    Condition c;
    c.findings.push_back(
        {static_cast<Finding>(row % kFindingCount), static_cast<std::uint8_t>(1U << (row % 3))});
    many.push_back(c);
  }
  const ConditionSet together(many);
  Draw draw;
  for (int i = 0; i < 200; ++i) {
    const Facts facts = draw.facts();
    const ConditionSet::Bits bits = together.holding(facts);
    for (std::size_t row = 0; row < many.size(); ++row) {
      REQUIRE(((bits.at(row / 64) >> (row % 64) & 1U) != 0) == holds(many[row], facts));
    }
  }
  many.emplace_back();
  CHECK_THROWS_AS(ConditionSet(many), std::length_error);
  many.pop_back();
  many.back().none.emplace_back();
  CHECK(ConditionSet::rows(many.back()) == 2);
  CHECK_THROWS_AS(ConditionSet(many), std::length_error);
}

TEST_CASE("with as many floors as there may be, a grade is open or sound as before") {
  Knowledge k = shipped();
  Floor never = k.floors[0];
  never.when.none.emplace_back();
  k.floors.resize(kMaxFloors, never);
  const Model model(k);
  Draw draw;
  for (int i = 0; i < 500; ++i) {
    const Case c = draw.unit();
    const Verdict v = judge(k, model, c);
    const Verdict before = judge(shipped(), shipped_model(), c);
    REQUIRE(v.grade == before.grade);
    REQUIRE(v.floors == before.floors);
    REQUIRE(v.incomplete == before.incomplete);
  }
}

TEST_CASE("one floor more than there may be is refused, by whatever it is given to") {
  Knowledge k = shipped();
  k.floors.resize(kMaxFloors + 1, k.floors[0]);
  const auto wanted = Catch::Matchers::Message("65 floors, where a grade has bits for 64");
  CHECK_THROWS_MATCHES(Model(k), std::length_error, wanted);
  CHECK_THROWS_MATCHES(GradeConditions(k), std::length_error, wanted);
}

TEST_CASE("too many conditions are refused where they stand") {
  // A condition of the shipped rules, n times over.
  const auto refused = [&](std::string_view file, const std::string& condition, int n) {
    std::string many = R"("when": {"any": [)";
    for (int i = 0; i < n; ++i) {
      many += (i == 0 ? "" : ",") + condition;
    }
    return complaints(load_knowledge(edited_rules(file, "\"when\": " + condition, many + "]}"),
                                     shipped_families())
                          .diagnostics);
  };
  const std::string floor = R"({"finding": {"rotation": ["seized"]}})";
  std::size_t others = 0;
  for (const Floor& f : shipped().floors) {
    others += ConditionSet::rows(f.when);
  }
  const int room = static_cast<int>(kMaxFloorRows - others);
  CHECK(refused("floors.json", floor, room).empty());
  CHECK(refused("floors.json", floor, room + 1) ==
        "floors.json:1:1: error[too-many]: has 193 conditions\n"
        "  {\n"
        "  ^\n"
        "  allowed: at most 192, counting those inside others\n");
  const std::string open = R"({"situation": {"port_check": ["stale", "not-made"]}})";
  CHECK(refused("grades.json", open, 31).empty());
  CHECK(refused("grades.json", open, 32) ==
        "grades.json:60:15: error[too-many]: /ungraded has 33 conditions\n"
        "  \"ungraded\": {\"id\": \"verdict-ungraded\",\n"
        "              ^\n"
        "  allowed: at most 32, counting those inside others\n");
}

TEST_CASE("what a condition does not ask for makes no difference to it") {
  Draw draw;
  for (const Condition& c : all_conditions(asking())) {
    const std::uint64_t asked = asks(c);
    for (int i = 0; i < 300; ++i) {
      Facts facts = draw.facts();
      const bool before = holds(c, facts);
      const Facts other = draw.facts();
      for (const FindingSpec& f : findings()) {
        if ((asked & AskBits::bit(f.id)) == 0) {
          facts.level[idx(f.id)] = other.level[idx(f.id)];
        }
      }
      for (const SituationSpec& s : situations()) {
        if ((asked & AskBits::bit(s.id)) == 0) {
          facts.situation[idx(s.id)] = other.situation[idx(s.id)];
        }
      }
      facts.probability = (asked & AskBits::kCauses) == 0 ? other.probability : facts.probability;
      facts.grade = (asked & AskBits::kGrade) == 0 ? other.grade : facts.grade;
      REQUIRE(holds(c, facts) == before);
    }
  }
  CHECK((asks(asking().floors[2].when) & AskBits::kCauses) != 0);
  CHECK((asks(asking().floors[2].when) & AskBits::bit(Situation::risk)) != 0);
}

TEST_CASE("risks alone are those of the whole posterior, and so is the grade") {
  Draw draw;
  std::set<Grade> grades;
  for (const Knowledge* k : {&shipped(), &asking()}) {
    const Model model(*k);
    CHECK(model.grading().ask_causes() == (k == &asking()));
    CHECK(model.grading().ask_risk() == (k == &asking()));
    for (int i = 0; i < 5000; ++i) {
      const Case c = draw.unit();
      const Posterior p = model.infer(c);
      const Prior prior = model.prior(c);
      const Risks risks = model.risks(c, prior);
      REQUIRE(model.graded_risk(c, prior) == p.graded_risk);
      REQUIRE(risks.graded_risk == p.graded_risk);
      REQUIRE(risks.risk == Approx(p.risk).epsilon(1e-14));
      const Verdict v = judge(*k, model, c);
      grades.insert(v.grade);
      REQUIRE(grade_of(*k, model, c, prior) == v.grade);
      REQUIRE(grade_of(*k, model.grading(), c, p.graded_risk, p.cause) == v.grade);
      for (std::size_t f = 0; f < k->floors.size(); ++f) {
        REQUIRE(((v.floors >> f & 1U) != 0) == holds(k->floors[f].when, facts_of(c, [&] {
                                                       Verdict open = v;
                                                       open.grade = Grade::A;
                                                       return open;
                                                     }())));
      }
    }
  }
  CHECK(grades.size() == kGradeCount);
}

TEST_CASE(
    "values that bear on nothing seen move nothing: the range of risk is that of all of them") {
  Draw draw;
  const Knowledge& k = shipped();
  const Model& model = shipped_model();
  const Judgements judged = judged_values(k);
  const auto logit = [](double p) { return std::log(p) - std::log1p(-p); };
  for (int i = 0; i < 60; ++i) {
    Case c = draw.unit();
    const Prior prior = model.prior(c);
    const Verdict v = judge(k, model, c, prior);
    const HowSure sure = how_sure(k, model, judged, c, prior, v, nullptr);
    CHECK(sure.values == judged.values.size());
    double up = 0;
    double down = 0;
    const double from = logit(judged.coarse.model.infer(c).risk);
    const auto moved = [&](const Moved& m) { return logit(m.model.infer(c).risk) - from; };
    for (const JudgedValue& j : judged.values) {
      const double one = moved(j.up);
      const double other = j.down ? moved(*j.down) : -one;
      up += std::pow(std::max({one, other, 0.0}), 2);
      down += std::pow(std::min({one, other, 0.0}), 2);
    }
    const double risk = logit(v.posterior.risk);
    // Steps are coarse, and moves between nodes those of straight lines.
    REQUIRE(logit(sure.risk_low) == Approx(risk - 1.6449 * std::sqrt(down)).margin(0.03));
    REQUIRE(logit(sure.risk_high) == Approx(risk + 1.6449 * std::sqrt(up)).margin(0.03));
  }
}

TEST_CASE("details go with what they describe, whatever is on record") {
  Draw draw;
  for (int i = 0; i < 20000; ++i) {
    Levels level{};
    for (const FindingSpec& f : findings()) {
      level[idx(f.id)] = static_cast<std::int8_t>(static_cast<int>(draw.below(3)) - 1);
    }
    Levels expected = level;
    for (const FindingSpec& f : findings()) {
      if (!exists(f.id, expected)) {
        expected[idx(f.id)] = -1;
      }
    }
    drop_what_does_not_exist(level);
    REQUIRE(level == expected);
  }
}

// ------------------------------------------------------- would change

struct Change {
  std::vector<std::pair<std::string_view, std::string_view>> findings;
  Grade grade = Grade::U;
  bool operator==(const Change&) const = default;
};

void apply(Case& c, Finding finding, int level) {
  c.set(finding, level);
  drop_what_does_not_exist(c.level);
  if (finding == Finding::port_fluid) {
    c.set(Situation::port_check, PortCheck::fresh);
  }
}

// Every pair of moves that leads up, tried one after the other.
std::vector<Change> pairs_up(const Knowledge& k, const Model& model, const Case& c, Grade grade) {
  struct Move {
    Finding finding;
    int level;
    int steps;
  };
  const bool open = c.at(Situation::port_check) != idx(PortCheck::fresh);
  std::vector<Move> moves;
  for (const FindingSpec& f : findings()) {
    for (int l = 0; !f.from_history && exists(f.id, c.level) && l < int(f.levels.size()); ++l) {
      if (l != c.at(f.id) && !(open && l == 0 && f.id == Finding::port_fluid)) {
        moves.push_back({f.id, l, std::abs(l - std::max(0, c.at(f.id)))});
      }
    }
  }
  std::ranges::stable_sort(moves, {}, &Move::steps);
  const auto word = [](const Move& m) {
    return std::pair(spec(m.finding).name, spec(m.finding).levels[std::size_t(m.level)].id);
  };
  std::map<int, std::vector<Change>> by_steps;
  for (std::size_t i = 0; i < moves.size(); ++i) {
    for (std::size_t j = i + 1; j < moves.size(); ++j) {
      Case changed = c;
      apply(changed, moves[i].finding, moves[i].level);
      if (moves[i].finding == moves[j].finding || !exists(moves[j].finding, changed.level)) {
        continue;
      }
      apply(changed, moves[j].finding, moves[j].level);
      const Grade now = judge(k, model, changed).grade;
      const bool up = grade == Grade::U ? now < Grade::C : severity(now) < severity(grade);
      if (exists(moves[i].finding, changed.level) && now != grade && up) {
        by_steps[moves[i].steps + moves[j].steps].push_back(
            {{word(moves[i]), word(moves[j])}, now});
      }
    }
  }
  std::vector<Change> found;
  for (const auto& [steps, changes] : by_steps) {
    found.insert(found.end(), changes.begin(), changes.end());
  }
  found.resize(std::min<std::size_t>(found.size(), 6));
  return found;
}

TEST_CASE("no pair that would better a grade is missed") {
  Draw draw;
  std::map<Grade, int> with_pairs;
  for (const Knowledge* k : {&shipped(), &asking()}) {
    const Model model(*k);
    for (int i = 0; i < 250; ++i) {
      const Case c = draw.unit(4);
      const Verdict v = judge(*k, model, c);
      std::vector<Change> found;
      bool single_up = v.grade == Grade::A;
      for (const WouldChange& w : would_change(*k, model, c, model.prior(c), v)) {
        const bool up =
            v.grade == Grade::U ? w.grade < Grade::C : severity(w.grade) < severity(v.grade);
        // A whole look at the port, dry, counts as one thing.
        const bool whole_look = c.at(Situation::port_check) != idx(PortCheck::fresh) &&
                                w.findings.front() == std::pair<std::string_view, std::string_view>{
                                                          "port-fluid", "none"};
        const bool pair = w.findings.size() == 2 && !whole_look;
        single_up = single_up || (up && !pair);
        if (up && pair) {
          found.push_back({w.findings, w.grade});
        }
      }
      if (single_up) {
        continue;
      }
      REQUIRE(found == pairs_up(*k, model, c, v.grade));
      with_pairs[v.grade] += found.empty() ? 0 : 1;
    }
  }
  CHECK(with_pairs[Grade::B] > 0);
  CHECK(with_pairs[Grade::C] > 0);
  CHECK(with_pairs[Grade::D] > 0);
}

// -------------------------------------------------------- next checks

TEST_CASE("a check can lead to the grades that its outcomes give") {
  Draw draw;
  std::size_t seen = 0;
  for (const Knowledge* k : {&shipped(), &asking()}) {
    const Model model(*k);
    for (int i = 0; i < 60; ++i) {
      Case c = draw.unit(5);
      c.set(Situation::port_check, PortCheck::fresh);
      const Verdict v = judge(*k, model, c);
      for (const NextCheck& check :
           next_checks(*k, model, c, model.prior(c), v, Audience::technician)) {
        std::vector<Case> outcomes = {c};
        for (const Finding f : k->action(check.id)->reveals) {
          std::vector<Case> grown;
          for (const Case& o : outcomes) {
            const bool told = o.at(f) < 0 && exists(f, o.level);
            for (std::size_t l = 0; l < (told ? spec(f).levels.size() : 1); ++l) {
              grown.push_back(o);
              if (told) {
                grown.back().set(f, static_cast<int>(l));
              }
            }
          }
          outcomes = std::move(grown);
        }
        std::set<Grade> grades;
        for (const Case& o : outcomes) {
          grades.insert(judge(*k, model, o).grade);
        }
        REQUIRE(check.grades_possible == std::vector<Grade>(grades.begin(), grades.end()));
        ++seen;
      }
    }
  }
  CHECK(seen > 200);
}

// --------------------------------------------------------------- numbers

TEST_CASE("numbers in JSON are the shortest that give them back") {
  Report report = test::report_on(test::record_text(R"("odometer_km":90000)"));
  const auto after = [&](std::string_view key) {
    const std::string text = to_json(report);
    const std::size_t at = text.find(key) + key.size();
    return text.substr(at, text.find(',', at) - at);
  };
  const auto shown = [&](double km) {
    report.odometer_km = km;
    return after(R"("odometer_km":)");
  };
  CHECK(shown(0) == "0");
  CHECK(shown(-0.2) == "0");
  CHECK(shown(7) == "7");
  CHECK(shown(123456) == "123456");
  CHECK(shown(-42) == "-42");
  CHECK(shown(99999999999) == "99999999999");
  CHECK(shown(1e11) == "100000000000");
  CHECK(shown(1e15) == "1000000000000000");
  CHECK(shown(1e20) == "1e+20");
  CHECK(shown(1e300) == "1e+300");
  CHECK(shown(std::numeric_limits<double>::infinity()) == "null");
  const auto risk = [&](double p) {
    report.risk = p;
    return after(R"("risk":)");
  };
  for (int n = 0; n <= 10000; ++n) {
    const std::string text = risk(n / 10000.0);
    REQUIRE(std::stod(text) == n / 10000.0);
    REQUIRE(text.size() <= 6);
    REQUIRE((text.find('.') == std::string::npos || text.back() != '0'));
  }
  CHECK(risk(0.00004) == "0");
  CHECK(risk(0.00006) == "0.0001");
  CHECK(risk(-0.0501) == "-0.0501");
  CHECK(risk(12345.678949) == "12345.6789");
}

TEST_CASE("what misleads is escaped in JSON, above U+FFFF as a pair") {
  Report report = test::report_on(test::record_text(R"("odometer_km":90000)"));
  report.note =
      "a\xE2\x80\xAE"
      "b\xF3\xA0\x81\x81"
      "c\xF0\x9F\x9A\x97"
      "d\x1B";
  CHECK(test::has(to_json(report), R"("note":"a\u202eb\udb40\udc41c)"
                                   "\xF0\x9F\x9A\x97"
                                   R"(d\u001b")"));
}

}  // namespace
}  // namespace dryshaft
