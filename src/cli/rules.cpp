#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>

#include "cli/cli.hpp"
#include "diagnose/model.hpp"

namespace dryshaft::cli {
namespace {

struct RulesOptions {
  std::string id;
  bool why = false;
  DataOptions data;
};

std::string wrapped(std::string_view label, std::string_view text) {
  constexpr std::size_t kLabelled = 13;
  return folded(fmt::format("  {}", label), kLabelled, text);
}

// An item and what makes it more than an item, as labelled lines.
struct Shown {
  std::string kind;
  const Item* item = nullptr;
  std::vector<std::pair<std::string, std::string>> more;
};

std::string levels(Finding finding, const std::array<double, kMaxLevels>& values) {
  std::vector<std::string> parts;
  const std::span<const Choice> words = spec(finding).levels;
  for (std::size_t l = 1; l < words.size(); ++l) {
    parts.push_back(fmt::format("{}{} {:g}", words[l].id, l + 1 < words.size() ? " or worse" : "",
                                values.at(l)));
  }
  return fmt::format("{}", fmt::join(parts, ", "));
}

std::string limits(const Advice& a) {
  std::string text(name(a.urgency));
  if (a.at_recheck) {
    return text + ", at the computed recheck";
  }
  if (a.within_km) {
    text += fmt::format(", within {:g} km", *a.within_km);
  }
  if (a.within_days) {
    text += fmt::format(", within {:g} days", *a.within_days);
  }
  return text;
}

std::string prior(const CauseRule& c) {
  std::string text;
  if (c.by) {
    std::vector<std::string> parts;
    for (std::size_t i = 0; i < spec(*c.by).values.size(); ++i) {
      parts.push_back(fmt::format("{} {:g}", spec(*c.by).values[i].id, c.base.at(i)));
    }
    text = fmt::format("by {}: {}", spec(*c.by).name, fmt::join(parts, ", "));
  } else {
    text = fmt::format("{:g}", c.base[0]);
  }
  if (c.wear) {
    text += fmt::format(
        "; wear-out (Weibull): shape {:g}, scale {:g} km and {:g} years, {:g} km assumed where "
        "unknown",
        c.wear->shape, c.wear->scale_km, c.wear->scale_years, c.wear->unknown_km);
  }
  return text;
}

// "seal-renewed and rotor-bearings-renewed, or unit-replaced; or a check of insulation"
std::string closing(const ActionRule::Closing& closed_by) {
  std::vector<std::string> work;
  for (const std::vector<Did>& all : closed_by.work) {
    std::vector<std::string_view> names(all.size());
    std::ranges::transform(all, names.begin(), [](Did did) { return spec(did).id; });
    work.push_back(fmt::format("{}", fmt::join(names, " and ")));
  }
  std::vector<std::string_view> looks(closed_by.look.size());
  std::ranges::transform(closed_by.look, looks.begin(), [](Finding f) { return name(f); });
  return fmt::format("{}{}{}{}", fmt::join(work, ", or "),
                     work.empty() || looks.empty() ? "" : "; or ",
                     looks.empty() ? "" : "a check of ", fmt::join(looks, " or "));
}

std::vector<Shown> all_items(const Knowledge& k) {
  std::vector<Shown> items;
  for (const Setting& s : k.setting_items) {
    std::string value = fmt::format("{:g}", k.settings.*s.value);
    if (!s.unit.empty()) {
      value += " " + s.unit;
    }
    items.push_back({"setting", &s, {{"value", std::move(value)}}});
  }
  for (const CauseRule& c : k.causes) {
    items.push_back({"cause", &c, {{"title", c.title}, {"plain", c.plain}, {"prior", prior(c)}}});
  }
  for (const StageRule& stage : k.stages) {
    Shown s{"stage",
            &stage,
            {{"reaches", fmt::format("the tip in {:g} of port checks", stage.reaches)}}};
    if (stage.lasts_km > 0) {
      s.more.emplace_back("lasts", fmt::format("{:g} working km", stage.lasts_km));
    }
    items.push_back(std::move(s));
  }
  for (const HarmRule& h : k.harms) {
    items.push_back(
        {"harm",
         &h,
         {{"cause", std::string(name(h.cause))},
          {"after", fmt::format("{:g} working km, stage by stage", fmt::join(h.after_km, ", "))},
          {"breakdown", fmt::format("{:g} working km later", h.breakdown_km)}}});
  }
  for (const BrokenRule& b : k.broken) {
    items.push_back({"broken",
                     &b,
                     {{"finding", std::string(name(b.finding))},
                      {"cause", std::string(name(b.cause))},
                      {"shows", levels(b.finding, b.shows)}}});
  }
  for (const Background& b : k.backgrounds) {
    items.push_back(
        {"background",
         &b,
         {{"finding", std::string(name(b.finding))}, {"anyway", levels(b.finding, b.anyway)}}});
  }
  for (const Link& l : k.links) {
    items.push_back(
        {"link",
         &l,
         {{"finding", std::string(name(l.finding))},
          {"cause", std::string(name(l.cause))},
          {"shows", fmt::format("{}{}", levels(l.finding, l.shows),
                                l.until_disproved ? "; named first until disproved" : "")}}});
  }
  for (const Floor& f : k.floors) {
    items.push_back(
        {"floor",
         &f,
         {{"grade", fmt::format("no better than {}{}", name(f.grade),
                                f.safety ? ", for safety: whatever rules are used" : "")},
          {"when", describe(f.when)},
          {"plain", f.plain}}});
  }
  for (const ActionRule& a : k.actions) {
    Shown s{"action", &a, {{"text", a.text}, {"plain", a.owner_text}}};
    if (a.role) {
      s.more.emplace_back("role", name(*a.role));
    }
    s.more.emplace_back("closed by", closing(a.closed_by));
    if (!a.cautions.empty()) {
      s.more.emplace_back("cautions", fmt::format("{}", fmt::join(a.cautions, ", ")));
    }
    if (!a.reveals.empty()) {
      std::vector<std::string_view> names;
      for (const Finding f : a.reveals) {
        names.push_back(name(f));
      }
      s.more.emplace_back(
          "check", fmt::format("{:g} minutes, reveals {}", a.minutes, fmt::join(names, ", ")));
    }
    items.push_back(std::move(s));
  }
  for (const Advice& a : k.advice) {
    items.push_back({"advice",
                     &a,
                     {{"action", a.action},
                      {"urgency", limits(a)},
                      {"when", describe(a.when)},
                      {"plain", a.plain}}});
  }
  for (const ComebackRule& c : k.comebacks) {
    items.push_back({"comeback",
                     &c,
                     {{"after", std::string(spec(c.did).plain)},
                      {"when", describe(c.when)},
                      {"text", c.text},
                      {"plain", c.plain}}});
  }
  for (const CautionRule& c : k.cautions) {
    Shown s{"caution", &c, {{"brief", c.brief}, {"text", c.text}, {"plain", c.owner_text}}};
    if (c.on_form) {
      s.more.emplace_back("on form", "shown on the owner's form");
    }
    items.push_back(std::move(s));
  }
  for (const GradeRule& g : k.grades) {
    items.push_back({"grade",
                     &g,
                     {{"meaning", g.meaning},
                      {"core", g.core_meaning},
                      {"plain", g.owner_meaning},
                      {"driving", g.drive},
                      {"charging", g.charge},
                      {"buyer", g.buyer_text},
                      {"trial", g.trial}}});
  }
  for (const OutlookRule& o : k.outlooks) {
    items.push_back(
        {"outlook", &o, {{"outlook", std::string(name(o.outlook))}, {"when", describe(o.when)}}});
  }
  for (const ContradictionRule& c : k.contradictions) {
    Shown s{"contradiction", &c, {{"text", c.text}, {"plain", c.plain}}};
    if (c.ask) {
      s.more.emplace_back("asks for",
                          fmt::format("{}, {}: {}", c.ask->action, limits(*c.ask), c.ask->reason));
    }
    items.push_back(std::move(s));
  }
  for (const Family& f : k.families) {
    Shown s{"family", &f, {{"title", f.title}}};
    if (f.system_voltage) {
      s.more.emplace_back("voltage", fmt::format("{:g} V", *f.system_voltage));
    }
    for (const VehicleProfile& v : f.vehicles) {
      std::string text = fmt::format("{}: sensor port at the {}", v.id, v.port_access);
      if (v.tyre) {
        text += fmt::format(", tyre {} ({:.1f} mm across, unloaded)", v.tyre_size,
                            outer_diameter_mm(*v.tyre));
      }
      s.more.emplace_back("vehicle", std::move(text));
    }
    items.push_back(std::move(s));
  }
  return items;
}

int list(const RulesOptions& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Knowledge& k = *knowledge.value;
  Output output(std::nullopt);
  output.write(rules_heading(k));
  std::string_view kind;
  const std::vector<Shown> items = all_items(k);
  for (const Shown& s : items) {
    if (s.kind != kind) {
      kind = s.kind;
      output.write(fmt::format("\n{}\n", kind));
    }
    // One line each; `rules show` has the rest.
    constexpr std::size_t kRoom = 42;
    const std::string& what = s.kind == "setting" ? s.more.front().second : s.item->reason;
    output.write(fmt::format(
        "  {:<34} {}\n", s.item->id,
        what.size() <= kRoom ? what : what.substr(0, what.rfind(' ', kRoom - 3)) + " ..."));
  }
  output.write("\n`dryshaft rules show ID` shows what one says, why, and where it comes from.\n");
  return output.finish();
}

// ------------------------------------------------------ what an item rests
// on, and what rests on it: from finding to sentence, each step with its place

bool mentions(const Condition& c, Finding finding) {
  const auto in = [&](const Condition& part) { return mentions(part, finding); };
  return std::ranges::any_of(c.findings, [&](const auto& f) { return f.finding == finding; }) ||
         std::ranges::any_of(c.any,
                             [&](const auto& list) { return std::ranges::any_of(list, in); }) ||
         std::ranges::any_of(c.none, in);
}

bool mentions(const Condition& c, Cause cause) {
  const auto in = [&](const Condition& part) { return mentions(part, cause); };
  return std::ranges::any_of(c.causes, [&](const auto& p) { return p.cause == cause; }) ||
         std::ranges::any_of(c.any,
                             [&](const auto& list) { return std::ranges::any_of(list, in); }) ||
         std::ranges::any_of(c.none, in);
}

class Why {
 public:
  explicit Why(const Knowledge& k) : k_(k), model_(k) {}

  std::string of(const Shown& shown) {
    const std::string& id = shown.item->id;
    for (const Link& l : k_.links) {
      if (l.id == id) {
        rests_on(l.finding);
        effect(l);
        leads(l.cause);
      }
    }
    for (const Background& b : k_.backgrounds) {
      if (b.id == id) {
        rests_on(b.finding);
      }
    }
    for (const Floor& f : k_.floors) {
      if (f.id == id) {
        rests_on(f.when);
        step("leads to", k_.grades.at(static_cast<std::size_t>(f.grade)),
             fmt::format("grade {} or worse", name(f.grade)));
        sentence(f.reason);
      }
    }
    for (const Advice& a : k_.advice) {
      if (a.id == id) {
        rests_on(a.when);
        leads(*k_.action(a.action));
        sentence(a.reason);
      }
    }
    for (const OutlookRule& o : k_.outlooks) {
      if (o.id == id) {
        rests_on(o.when);
      }
    }
    for (const CauseRule& c : k_.causes) {
      if (c.id == id) {
        for (const Link& l : k_.links) {
          if (l.cause == c.cause) {
            step("shown by", l, levels(l.finding, l.shows));
          }
        }
        leads(c.cause);
      }
    }
    for (const ComebackRule& c : k_.comebacks) {
      if (c.id == id) {
        rests_on(c.when);
        sentence(c.text);
      }
    }
    for (const ContradictionRule& c : k_.contradictions) {
      if (c.id == id && c.ask) {
        leads(*k_.action(c.ask->action));
      }
    }
    if (const ActionRule* action = k_.action(id)) {
      for (const Advice& a : k_.advice) {
        const bool with = std::ranges::find(a.with, id) != a.with.end();
        if (a.action == id || with) {
          step(with ? "comes with" : "chosen by", a, describe(a.when));
        }
      }
      leads(*action);
    }
    for (const ActionRule& a : k_.actions) {
      if (std::ranges::find(a.cautions, id) != a.cautions.end()) {
        step("needed by", a, a.text);
      }
    }
    return std::move(text_);
  }

 private:
  void line(std::string_view label, const std::string& text) { text_ += wrapped(label, text); }
  void sentence(const std::string& text) { line("says", text); }
  void step(std::string_view label, const Item& item, const std::string& text) {
    line(label, fmt::format("{} ({}:{}): {}", item.id, item.file, item.line, text));
  }

  void rests_on(Finding finding) {
    const FindingSpec& f = spec(finding);
    std::vector<std::string_view> from;
    for (const Field field : f.from) {
      from.push_back(spec(field).pointer);
    }
    line("rests on", fmt::format("{}, from {}", f.name, fmt::join(from, ", ")));
  }
  void rests_on(const Condition& when) {
    for (const FindingSpec& f : findings()) {
      if (mentions(when, f.id)) {
        rests_on(f.id);
      }
    }
  }

  // What the finding does to the cause on a unit about which nothing else is known.
  void effect(const Link& link) {
    std::vector<std::string> parts;
    Case c = empty_case();
    c.seal_km = 100000;
    c.seal_years = 5;
    for (std::size_t l = 0; l < spec(link.finding).levels.size(); ++l) {
      c.set(link.finding, static_cast<int>(l));
      const Weights weights = model_.weigh(c);
      parts.push_back(fmt::format(
          "{} {:+.1f} dB", spec(link.finding).levels[l].id,
          weights[static_cast<std::size_t>(link.finding)][static_cast<std::size_t>(link.cause)]));
    }
    line("effect", fmt::format("with nothing else known, at 100,000 km and 5 years: {}",
                               fmt::join(parts, ", ")));
  }

  void leads(Cause cause) {
    const CauseRule& rule = k_.causes.at(static_cast<std::size_t>(cause));
    step("points to", rule, rule.title);
    if (rule.damaging == CauseRule::Damaging::yes) {
      line("leads to", "the risk, and through it the grade where no floor is worse");
    }
    for (const Advice& a : k_.advice) {
      if (mentions(a.when, cause)) {
        step("leads to", a, fmt::format("{}, {}", a.action, limits(a)));
      }
    }
  }
  void leads(const ActionRule& action) {
    step("leads to", action, action.text);
    for (const std::string& id : action.cautions) {
      step("needs", *k_.caution(id), k_.caution(id)->text);
    }
  }

  const Knowledge& k_;
  Model model_;
  std::string text_;
};

int show(const RulesOptions& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const std::vector<Shown> items = all_items(*knowledge.value);
  std::vector<std::string_view> ids;
  for (const Shown& s : items) {
    ids.emplace_back(s.item->id);
    if (s.item->id != o.id) {
      continue;
    }
    Output output(std::nullopt);
    std::string text = fmt::format("{} {}\n", s.kind, s.item->id);
    for (const auto& [label, value] : s.more) {
      text += wrapped(label, value);
    }
    text += wrapped("why", s.item->reason);
    text += wrapped("source", shown(s.item->source));
    text += wrapped("file", fmt::format("{}:{}", s.item->file, s.item->line));
    if (o.why) {
      text += Why(*knowledge.value).of(s);
    }
    output.write(text);
    return output.finish();
  }
  throw Stop{kUsage,
             fmt::format("the rules hold no \"{}\"{}", o.id, did_you_mean(o.id, ids, ", "))};
}

}  // namespace

std::vector<std::string> rule_ids(const Knowledge& knowledge) {
  std::vector<std::string> ids;
  for (const Shown& s : all_items(knowledge)) {
    ids.push_back(s.item->id);
  }
  return ids;
}

Run add_rules(CLI::App& parent) {
  auto o = std::make_shared<RulesOptions>();
  CLI::App* app = parent.add_subcommand("rules", "Look at the rules: what they say and why");
  app->require_subcommand(1);
  CLI::App* listing =
      app->add_subcommand("list", "List the ids of all settings and rules, by kind");
  CLI::App* showing =
      app->add_subcommand("show", "Show a setting or a rule: what it says, why, its source");
  showing->add_option("ID", o->id, "Id of a setting or a rule")->required();
  showing->add_flag("--why", o->why, "Trace it from the fields it rests on to what it leads to");
  add_data_options(*listing, o->data);
  add_data_options(*showing, o->data);
  const Run test = add_rules_test(*app);
  const Run verify = add_rules_verify(*app);
  add_examples(*listing, {{"Ids of all settings and rules.", "dryshaft rules list"},
                          {"Those of your own rules.", "dryshaft rules list --rules my-rules"}});
  add_examples(*showing, {{"A floor: what it says, why, and its source.",
                           "dryshaft rules show floor-coolant"},
                          {"The same from the fields it rests on to what it leads to.",
                           "dryshaft rules show floor-coolant --why"}});
  add_examples(*app, {{"Ids of all settings and rules.", "dryshaft rules list"},
                      {"One of them: what it says, why, and its source.",
                       "dryshaft rules show floor-coolant"}});
  return [=] {
    if (app->got_subcommand("verify")) {
      return verify();
    }
    return app->got_subcommand("test") ? test() : listing->parsed() ? list(*o) : show(*o);
  };
}

}  // namespace dryshaft::cli
