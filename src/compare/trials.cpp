#include "compare/trials.hpp"

#include <algorithm>
#include <map>
#include <utility>

#include "base/index.hpp"
#include "decide/assess.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft {
namespace {

// How a unit is judged, with one thing changed.
struct Trial {
  Knowledge knowledge;
  AssessOptions options;
};
struct Variant {
  RuleChange what;
  std::function<void(Trial&)> apply;
};

void take_out_place(Item& item) {
  item.file.clear();
  item.line = 0;
}

// A rule is the same wherever it stands.
template <typename Rule>
bool same_rule(Rule a, Rule b) {
  for (Rule* rule : {&a, &b}) {
    take_out_place(*rule);
    if constexpr (requires { rule->ask; }) {
      if (rule->ask) {
        take_out_place(*rule->ask);
      }
    }
  }
  return a == b;
}

class Differences {
 public:
  Differences(const Side& before, const Side& after)
      : a_(before.grader.knowledge()), b_(after.grader.knowledge()) {
    settings();
    list("floor", &Knowledge::floors, kMaxFloors);
    list("link", &Knowledge::links);
    list("background", &Knowledge::backgrounds);
    list("breakdown", &Knowledge::broken);
    causes();
    array("stage", &Knowledge::stages);
    array("harm", &Knowledge::harms);
    array("grade", &Knowledge::grades);
    list("action", &Knowledge::actions);
    list("advice", &Knowledge::advice);
    list("comeback", &Knowledge::comebacks);
    list("outlook", &Knowledge::outlooks);
    list("contradiction", &Knowledge::contradictions);
    list("caution", &Knowledge::cautions);
    families();
    onset();
    if (before.options.today != after.options.today) {
      add("day", date_of(before) + " to " + date_of(after), "changed",
          [day = after.options.today](Trial& t) { t.options.today = day; });
    }
  }

  std::vector<Variant> take() { return std::move(out_); }

 private:
  static std::string date_of(const Side& side) {
    return side.options.today ? date_text(*side.options.today) : "each unit's own";
  }

  void add(std::string_view kind, std::string id, std::string_view change,
           std::function<void(Trial&)> apply) {
    out_.push_back({{std::string(kind), std::move(id), std::string(change)}, std::move(apply)});
  }

  template <typename Rule>
  void list(std::string_view kind, std::vector<Rule> Knowledge::*rules,
            std::size_t most = std::string::npos) {
    const std::vector<Rule>& now = b_.*rules;
    const std::vector<Rule>& then = a_.*rules;
    for (const Rule& rule : now) {
      const auto old = std::ranges::find(then, rule.id, [](const Rule& r) { return r.id; });
      if (old == then.end()) {
        add(kind, rule.id, "new", [rules, rule, most](Trial& t) {
          std::vector<Rule>& into = t.knowledge.*rules;
          // What an advice names was put in beforehand.
          if (into.size() < most &&
              std::ranges::none_of(into, [&](const Rule& r) { return r.id == rule.id; })) {
            into.push_back(rule);
          }
        });
      } else if (!same_rule(*old, rule)) {
        add(kind, rule.id, "changed", [rules, rule](Trial& t) {
          for (Rule& r : t.knowledge.*rules) {
            r = r.id == rule.id ? rule : r;
          }
        });
      }
    }
    for (const Rule& rule : then) {
      if (std::ranges::none_of(now, [&](const Rule& r) { return r.id == rule.id; })) {
        add(kind, rule.id, "gone", [kind, rules, id = rule.id](Trial& t) {
          // Advice that stays may name an action, and an action a caution.
          if (kind != "action" && kind != "caution") {
            std::erase_if(t.knowledge.*rules, [&](const Rule& r) { return r.id == id; });
          }
        });
      }
    }
  }

  template <typename Rules>
  void array(std::string_view kind, Rules Knowledge::*rules) {
    for (std::size_t i = 0; i < (a_.*rules).size(); ++i) {
      if (!same_rule((a_.*rules)[i], (b_.*rules)[i])) {
        add(kind, (b_.*rules)[i].id, "changed",
            [rules, i, rule = (b_.*rules)[i]](Trial& t) { (t.knowledge.*rules)[i] = rule; });
      }
    }
  }

  // Wear-out by a workshop's own records is no rule: `onset` has it.
  void causes() {
    const auto without_table = [](CauseRule rule) {
      if (rule.wear) {
        rule.wear->table.clear();
        rule.wear->table_by_years = false;
      }
      return rule;
    };
    for (std::size_t i = 0; i < a_.causes.size(); ++i) {
      if (!same_rule(without_table(a_.causes[i]), without_table(b_.causes[i]))) {
        add("cause", b_.causes[i].id, "changed", [i, rule = b_.causes[i]](Trial& t) {
          const std::optional<Wear> was = t.knowledge.causes[i].wear;
          t.knowledge.causes[i] = rule;
          if (was && t.knowledge.causes[i].wear) {
            t.knowledge.causes[i].wear->table = was->table;
            t.knowledge.causes[i].wear->table_by_years = was->table_by_years;
          }
        });
      }
    }
  }

  void settings() {
    for (const Setting& s : b_.setting_items) {
      const double now = b_.settings.*s.value;
      if (a_.settings.*s.value != now) {
        add("setting", s.id, "changed",
            [value = s.value, now](Trial& t) { t.knowledge.settings.*value = now; });
      }
    }
    if (a_.settings.ungraded != b_.settings.ungraded) {
      add("condition", b_.settings.ungraded_id, "changed",
          [when = b_.settings.ungraded](Trial& t) { t.knowledge.settings.ungraded = when; });
    }
    if (a_.settings.sound != b_.settings.sound) {
      add("condition", "sound", "changed",
          [when = b_.settings.sound](Trial& t) { t.knowledge.settings.sound = when; });
    }
  }

  void families() {
    for (const Family& family : b_.families) {
      const auto old = std::ranges::find(a_.families, family.id, &Family::id);
      if (old != a_.families.end() && old->sha256 != family.sha256) {
        add("family", family.id, "changed", [family](Trial& t) {
          *std::ranges::find(t.knowledge.families, family.id, &Family::id) = family;
        });
      }
    }
  }

  void onset() {
    const auto hash = [](const Knowledge& k) { return k.onset ? k.onset->sha256 : std::string(); };
    const std::size_t seal = idx(Cause::seal_leak);
    if (hash(a_) != hash(b_) && a_.causes[seal].wear && b_.causes[seal].wear) {
      const std::string_view change = !a_.onset ? "new" : !b_.onset ? "gone" : "changed";
      add("onset", (b_.onset ? b_.onset : a_.onset)->source, change,
          [seal, wear = *b_.causes[seal].wear, basis = b_.onset](Trial& t) {
            t.knowledge.causes[seal].wear->table = wear.table;
            t.knowledge.causes[seal].wear->table_by_years = wear.table_by_years;
            t.knowledge.onset = basis;
          });
    }
  }

  const Knowledge& a_;
  const Knowledge& b_;
  std::vector<Variant> out_;
};

}  // namespace

void try_changes(Changes& changes, const std::vector<History>& units, const Side& before,
                 const Side& after, const std::vector<Report>& reports) {
  const std::vector<Variant> variants = Differences(before, after).take();
  std::map<std::string_view, const Report*> was;
  for (const Report& r : reports) {
    was.emplace(r.unit_id, &r);
  }
  std::map<std::string_view, const History*> histories;
  for (const History& unit : units) {
    histories.emplace(unit.unit_id, &unit);
  }

  Trial base{before.grader.knowledge(), before.options};
  const auto lend = [](auto& into, const auto& from) {
    for (const auto& rule : from) {
      if (std::ranges::none_of(into, [&](const auto& r) { return r.id == rule.id; })) {
        into.push_back(rule);
      }
    }
  };
  lend(base.knowledge.actions, after.grader.knowledge().actions);
  lend(base.knowledge.cautions, after.grader.knowledge().cautions);

  for (const Variant& variant : variants) {
    changes.rules.push_back(variant.what);
    Trial trial = base;
    variant.apply(trial);
    const Model model(trial.knowledge);
    for (UnitChange& unit : changes.units) {
      const Report alone =
          assess(*histories.at(unit.unit_id), trial.knowledge, model, trial.options);
      const UnitChange moved = change_of(*was.at(unit.unit_id), alone);
      if (moved.grade_moved() || moved.action_moved || !moved.dates.empty()) {
        unit.rules.push_back({changes.rules.size() - 1,
                              moved.grade_moved() ? std::optional(alone.grade) : std::nullopt,
                              moved.action_moved, !moved.dates.empty()});
      }
    }
  }
  for (UnitChange& unit : changes.units) {
    unit.together = unit.grade_moved() && !variants.empty() &&
                    std::ranges::none_of(unit.rules, [&](const RuleEffect& e) {
                      return e.grade == unit.grade_after;
                    });
  }
}

}  // namespace dryshaft
