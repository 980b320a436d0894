// Reads rule and family files into `Knowledge`. Every item is checked on its
// own while it is read, references between items at the end.
#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <map>
#include <set>
#include <span>
#include <utility>

#include "base/located_json.hpp"
#include "base/sentence.hpp"
#include "base/sha256.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/machine.hpp"
#include "knowledge/condition.hpp"
#include "knowledge/condition_set.hpp"
#include "knowledge/object_view.hpp"
#include "knowledge/safety.hpp"

#ifndef DRYSHAFT_VERSION
#error "the build passes DRYSHAFT_VERSION"
#endif

namespace dryshaft {
namespace {

using located::Kind;
using located::Node;

constexpr std::string_view kOverMember = "over";

std::string_view base_name(std::string_view path) {
  return path.substr(path.find_last_of('/') + 1);
}

// A family file without the members that grade nothing.
std::string what_grades(const located::Document& document) {
  std::string kept;
  const std::string_view text = document.text();
  std::size_t from = 0;
  const Node* before = nullptr;  // the last member that stays
  for (const Node* n = document.first(document.root()); n != nullptr; n = document.next(*n)) {
    if (n->key != kGuideMember && n->key != kServiceMember) {
      before = n;
      continue;
    }
    const Node* after = document.next(*n);
    const std::size_t begin =
        std::max<std::size_t>(from, before != nullptr ? before->end : n->key_begin);
    kept += text.substr(from, begin - from);
    from = before == nullptr && after != nullptr ? after->key_begin : n->end;
  }
  return kept.append(text.substr(from));
}

struct SettingSpec {
  std::string_view id;
  double Settings::*value;
  double least;
  double most;
};
constexpr double kHuge = 1e9;
constexpr SettingSpec kSettings[] = {
    {"risk-raised", &Settings::risk_raised, 0.001, 0.999},
    {"risk-high", &Settings::risk_high, 0.001, 0.999},
    {"port-stale-km", &Settings::port_stale_km, 1, kHuge},
    {"port-stale-days", &Settings::port_stale_days, 1, kHuge},
    {"km-per-year", &Settings::km_per_year, 1, kHuge},
    {"rest-km-per-day", &Settings::rest_km_per_day, 0, 1000},
    {"base-km", &Settings::base_km, 1, kHuge},
    {"erosion-shape", &Settings::erosion_shape, 0.1, 20},
    {"outside-noise-km", &Settings::outside_km, 1, kHuge},
    {"broken-unsaid", &Settings::broken_unsaid, kLeastProbability, 0.999},
    {"coolant-loss-some", &Settings::loss_some, 0, kHuge},
    {"coolant-loss-marked", &Settings::loss_marked, 0, kHuge},
    // No lower than what is published: floors rest on them, and rules may only be stricter.
    {"insulation-low", &Settings::ohm_per_volt_low, 500, kHuge},
    {"insulation-least", &Settings::ohm_per_volt_least, 100, kHuge},
    {"insulation-ieee43", &Settings::ieee43_mohm, 5, kHuge},
    {"assumed-voltage", &Settings::assumed_voltage, 1, kHuge},
    {"assumed-winding-temperature", &Settings::assumed_winding_c, -60, 250},
    {"recheck-least-km", &Settings::recheck_least_km, 1, kHuge},
    {"recheck-least-days", &Settings::recheck_least_days, 1, kHuge},
    {"comeback-km", &Settings::comeback_km, 0, kHuge},
    {"comeback-days", &Settings::comeback_days, 0, kHuge},
    {"damage-target", &Settings::damage_target, 0.0001, 0.999},
    {"memory-band", &Settings::memory_band, 1, 100},
};

class Loader {
 public:
  Result<Knowledge> load(std::vector<NamedText> rules, std::vector<NamedText> families);

 private:
  // Parses the files, each a layer over the one before, and hands the topmost object to `read`;
  // false if one is no object.
  template <typename Read>
  bool with_files(std::span<const NamedText> layers, Read read);

  void item(ObjectView& view, Item& item);
  Condition required_condition(ObjectView& view, std::string_view key);
  template <typename E, typename Table>
  std::optional<E> named(ObjectView& view, std::string_view key, const Table& table);

  void rules(ObjectView& top);
  void over(ObjectView& top);
  void causes(ObjectView& top);
  void life(ObjectView& top);
  void harms(ObjectView& top);
  void links(ObjectView& top);
  void floors(ObjectView& top);
  void actions(ObjectView& top);
  ActionRule::Closing closing(ObjectView& view);
  void cautions(ObjectView& top);
  void grades(ObjectView& top);
  void family(ObjectView& top, std::string sha256);
  Machine machine(ObjectView& parent, const Node& node);
  Service service(ObjectView& parent, const Node& node, const std::optional<Machine>& machine);
  std::vector<Bearing> bearings(ObjectView& view, std::string_view key);
  void wear(ObjectView& view, CauseRule& rule);
  void base(ObjectView& view, CauseRule& rule);
  std::optional<int> month(ObjectView& view, std::string_view key);
  void references();
  void check_origin(const std::set<std::string>& hashes, bool layered);
  void hold_safety();
  void unsafe(Diagnostic at, std::string_view what);
  void hold_floors(std::vector<Floor> floors);
  void hold_ungraded(const Settings& shipped);

  Knowledge k_;
  std::vector<Diagnostic> out_;
  ItemReader items_;
  Diagnostic at_id_;  // place of the rules' id
  Diagnostic at_floors_;
  Diagnostic at_ungraded_;
  bool shipped_ = false;
};

template <typename Read>
bool Loader::with_files(std::span<const NamedText> layers, Read read) {
  std::deque<located::Document> documents;
  std::deque<ObjectView> tops;
  bool readable = true;
  for (const NamedText& file : layers) {
    const located::Document& document =
        documents.emplace_back(file.text, located::Origin{.source = file.name}, kDataLimits, out_);
    readable = readable && document.usable();
    if (!document.usable()) {
      continue;
    }
    ObjectView& top = tops.emplace_back(document, document.root(), out_);
    readable = readable && top.is_object();
    if (tops.size() > 1) {
      top.lay_over(tops[tops.size() - 2]);
    }
  }
  if (!readable) {
    return false;
  }
  read(tops.back());
  for (ObjectView& top : tops) {
    top.done();
  }
  return true;
}

void Loader::item(ObjectView& view, Item& item) { items_.read(view, item); }

Condition Loader::required_condition(ObjectView& view, std::string_view key) {
  const Node* node = view.required(key);
  return node == nullptr ? Condition{} : read_condition(view, *node);
}

template <typename E, typename Table>
std::optional<E> Loader::named(ObjectView& view, std::string_view key, const Table& table) {
  const auto word = view.word(key, names_of(table));
  return word ? std::optional<E>(static_cast<E>(*word)) : std::nullopt;
}

// ------------------------------------------------------------------ files

void Loader::rules(ObjectView& top) {
  k_.id = top.name("id");
  if (const Node* id = top.optional("id")) {
    at_id_ = top.document().at(*id, "", "");
  }
  k_.version = top.name("version");
  over(top);
  std::set<std::string_view> seen;
  for (ObjectView& view : top.objects("settings")) {
    Setting about;
    item(view, about);
    const auto* row = std::ranges::find(kSettings, about.id, &SettingSpec::id);
    if (row == std::end(kSettings)) {
      Words known;
      for (const SettingSpec& s : kSettings) {
        known.push_back(s.id);
      }
      if (const Node* id = view.optional("id"); id != nullptr && !about.id.empty()) {
        view.word_at(*id, known);
      }
      view.optional("value");
    } else {
      k_.settings.*row->value = view.number("value", row->least, row->most);
      about.value = row->value;
      seen.insert(row->id);
    }
    about.unit = view.optional_text("unit");
    view.done();
    if (about.value != nullptr) {
      k_.setting_items.push_back(std::move(about));
    }
  }
  for (const SettingSpec& s : kSettings) {
    if (!seen.contains(s.id)) {
      top.complain(top.node(), "missing", fmt::format("has no setting \"{}\"", s.id));
    }
  }
  if (k_.settings.risk_high <= k_.settings.risk_raised && seen.contains("risk-high")) {
    top.complain(top.node(), "out-of-range", "has \"risk-high\" not above \"risk-raised\"");
  }
}

// What every layer says of itself, and what it lies over.
void Loader::over(ObjectView& top) {
  top.word("format", {kRulesFormat});
  const std::string wanted = top.optional_name(kOverMember);
  if (ObjectView* below = top.below()) {
    const std::string id = below->name("id");
    const std::string version = below->name("version");
    if (wanted != id) {
      const Node* node = top.optional(kOverMember);
      top.complain(node == nullptr ? top.node() : *node, "other-rules",
                   wanted.empty() ? fmt::format("has no \"{}\", and lies over rules", kOverMember)
                                  : fmt::format("is \"{}\"", wanted),
                   id, "rules of a shop's own lie over the shipped ones alone");
    }
    k_.version += fmt::format(" over {} {}", id, version);
    over(*below);
  } else if (!wanted.empty()) {
    top.complain(*top.optional(kOverMember), "other-rules",
                 fmt::format("is \"{}\", and these rules are not at hand", wanted));
  }
}

void Loader::wear(ObjectView& view, CauseRule& rule) {
  const Node* node = view.optional("wear");
  if (node == nullptr) {
    return;
  }
  ObjectView inside(view.document(), *node, out_);
  Wear w;
  w.shape = inside.number("shape", 0.1, 20);
  w.scale_km = inside.number("scale_km", 1, kHuge);
  w.scale_years = inside.number("scale_years", 0.1, 1000);
  w.unknown_km = inside.number("unknown_km", 0, kHuge);
  if (const Node* cooling = inside.required("rotor_cooling")) {
    w.cooling = words_mask(inside, *cooling, ids_of(spec(Situation::rotor_cooling).values));
  }
  inside.done();
  rule.wear = w;
}

// `base` is a probability, or {"by": SITUATION, VALUE: probability, ...}.
void Loader::base(ObjectView& view, CauseRule& rule) {
  const Node* node = view.required("base");
  if (node == nullptr) {
    return;
  }
  if (node->kind != Kind::object) {
    rule.base.fill(view.probability_at(*node));
    return;
  }
  ObjectView inside(view.document(), *node, out_);
  if (const auto by = named<Situation>(inside, "by", situations())) {
    rule.by = by;
    const std::span<const Choice> values = spec(*by).values;
    for (std::size_t i = 0; i < values.size(); ++i) {
      if (const Node* value = inside.required(values[i].id)) {
        rule.base.at(i) = inside.probability_at(*value);
      }
    }
  }
  inside.done();
}

// The process has a wear-out of the seal and bearings of two materials, and nothing else of both.
void only_where_it_counts(ObjectView& view, Cause cause, const CauseRule& rule) {
  if (rule.wear && cause != Cause::seal_leak) {
    view.complain(*view.optional("wear"), "no-wear", "is of a cause that does not wear out",
                  fmt::format("{} alone", name(Cause::seal_leak)));
  }
  if (!rule.by) {
    return;
  }
  const std::optional<Situation> bearings =
      cause == Cause::rotor_bearing_erosion  ? std::optional(Situation::rotor_bearings)
      : cause == Cause::gear_bearing_erosion ? std::optional(Situation::gear_bearings)
                                             : std::nullopt;
  if (rule.by != bearings) {
    view.complain(
        *view.optional("base"), "not-by-this", fmt::format("goes by {}", spec(*rule.by).name),
        bearings ? fmt::format("a probability, or one for each of {}", spec(*bearings).name)
                 : "a probability");
  }
}

void Loader::causes(ObjectView& top) {
  std::array<bool, kCauseCount> seen{};
  for (ObjectView& view : top.objects("causes")) {
    CauseRule rule;
    item(view, rule);
    rule.title = view.text("title");
    rule.plain = view.text("plain");
    if (const auto damaging = view.word("damaging", {"no", "slowly", "yes"})) {
      rule.damaging = static_cast<CauseRule::Damaging>(*damaging);
    }
    base(view, rule);
    wear(view, rule);
    const std::optional<Cause> cause = named<Cause>(view, "id", dryshaft::causes());
    if (cause) {
      only_where_it_counts(view, *cause, rule);
    }
    view.done();
    if (cause) {
      rule.cause = *cause;
      seen.at(static_cast<std::size_t>(*cause)) = true;
      k_.causes.at(static_cast<std::size_t>(*cause)) = std::move(rule);
    }
  }
  for (const CauseSpec& c : dryshaft::causes()) {
    if (!seen.at(static_cast<std::size_t>(c.id))) {
      top.complain(top.node(), "missing", fmt::format("has no cause \"{}\"", c.name));
    }
  }
}

Words harm_names() {
  Words words;
  for (const Cause c : kHarms) {
    words.push_back(name(c));
  }
  return words;
}

// How causes come and go between looks.
void Loader::life(ObjectView& top) {
  std::size_t count = 0;
  for (ObjectView& view : top.objects("stages")) {
    StageRule stage;
    item(view, stage);
    if (const Node* reaches = view.required("reaches")) {
      stage.reaches = view.probability_at(*reaches);
    }
    if (count + 1 < kSealStages) {
      stage.lasts_km = view.number("lasts_km", 1, kHuge);
    }
    view.done();
    if (count > 0 && count < kSealStages && stage.reaches < k_.stages.at(count - 1).reaches) {
      view.complain(*view.optional("reaches"), "out-of-range",
                    "is below that of the stage before: a leak that goes on shows no less");
    }
    if (count < kSealStages) {
      k_.stages.at(count) = std::move(stage);
    }
    ++count;
  }
  if (count != kSealStages) {
    top.complain(top.node(), "out-of-range", fmt::format("has {} stages", count),
                 fmt::format("{}", kSealStages));
  }
  harms(top);
  for (ObjectView& view : top.objects("broken")) {
    BrokenRule broken;
    item(view, broken);
    const auto finding = named<Finding>(view, "finding", dryshaft::findings());
    const auto harm = view.word("cause", harm_names());
    if (finding && harm) {
      broken.finding = *finding;
      broken.cause = kHarms.at(*harm);
      broken.shows = levels_of(view, "shows", *finding);
      k_.broken.push_back(std::move(broken));
    } else {
      view.optional("shows");
    }
    view.done();
  }
}

void Loader::harms(ObjectView& top) {
  std::array<bool, kHarms.size()> seen{};
  for (ObjectView& view : top.objects("harms")) {
    HarmRule harm;
    item(view, harm);
    const auto cause = view.word("cause", harm_names());
    harm.breakdown_km = view.number("breakdown_km", 1, kHuge);
    std::size_t count = 0;
    const Node* after = view.required("after_km");
    for (const Node* n = after != nullptr && after->kind == Kind::array
                             ? view.document().first(*after)
                             : nullptr;
         n != nullptr; n = view.document().next(*n)) {
      const double km = view.number_at(*n, 1, kHuge);
      if (count > 0 && count < kSealStages && km > harm.after_km.at(count - 1)) {
        view.complain(
            *n, "out-of-range",
            "is above that of the stage before: a leak that goes on does its damage no slower");
      }
      if (count < kSealStages) {
        harm.after_km.at(count) = km;
      }
      ++count;
    }
    if (after != nullptr && count != kSealStages) {
      view.complain(*after, "wrong-type", fmt::format("names {} distances", count),
                    fmt::format("an array of {}, one a stage", kSealStages));
    }
    view.done();
    if (!cause) {
      continue;
    }
    if (seen.at(*cause)) {
      view.complain(view.node(), "repeated", "is a second harm of the same cause");
    }
    harm.cause = kHarms.at(*cause);
    seen.at(*cause) = true;
    k_.harms.at(*cause) = std::move(harm);
  }
  for (std::size_t h = 0; h < kHarms.size(); ++h) {
    if (!seen.at(h)) {
      top.complain(top.node(), "missing", fmt::format("has no harm \"{}\"", name(kHarms.at(h))));
    }
  }
}

void Loader::links(ObjectView& top) {
  std::set<Finding> with_background;
  for (ObjectView& view : top.objects("backgrounds")) {
    Background b;
    item(view, b);
    if (const auto finding = named<Finding>(view, "finding", dryshaft::findings())) {
      b.finding = *finding;
      b.anyway = levels_of(view, "anyway", *finding);
      if (!with_background.insert(*finding).second) {
        view.complain(view.node(), "repeated", "is a second background of the same finding");
      }
      k_.backgrounds.push_back(std::move(b));
    }
    view.done();
  }
  std::set<std::pair<Finding, Cause>> linked;
  for (ObjectView& view : top.objects("links")) {
    Link link;
    item(view, link);
    const auto finding = named<Finding>(view, "finding", dryshaft::findings());
    const auto cause = named<Cause>(view, "cause", dryshaft::causes());
    if (finding && cause) {
      link.finding = *finding;
      link.cause = *cause;
      link.shows = levels_of(view, "shows", *finding);
      link.until_disproved = view.optional_flag("until_disproved");
      if (!linked.emplace(*finding, *cause).second) {
        view.complain(view.node(), "repeated", "is a second link between the same two");
      }
      if (!with_background.contains(*finding)) {
        view.complain(view.node(), "missing",
                      fmt::format("has no background for \"{}\"", name(*finding)), "",
                      "say in backgrounds how often the finding shows with no cause");
      }
      k_.links.push_back(std::move(link));
    } else {
      view.optional("shows");
      view.optional("until_disproved");
    }
    view.done();
  }
}

void few_enough(ObjectView& view, const Node& node, std::size_t rows, std::size_t most) {
  if (rows > most) {
    view.complain(node, "too-many", fmt::format("has {} conditions", rows),
                  fmt::format("at most {}, counting those inside others", most));
  }
}

void Loader::floors(ObjectView& top) {
  for (ObjectView& view : top.objects("floors")) {
    Floor floor;
    item(view, floor);
    if (const auto grade = view.word("grade", {"B", "C", "D"})) {
      floor.grade = static_cast<Grade>(*grade + 1);
    }
    floor.safety = view.optional_flag("safety");
    floor.when = required_condition(view, "when");
    floor.plain = view.sentence("plain");
    view.done();
    k_.floors.push_back(std::move(floor));
  }
  if (k_.floors.size() > kMaxFloors) {
    top.complain(top.node(), "too-many", fmt::format("has {} floors", k_.floors.size()),
                 fmt::format("at most {}", kMaxFloors));
  }
  std::size_t rows = 0;
  for (const Floor& floor : k_.floors) {
    rows += ConditionSet::rows(floor.when);
  }
  few_enough(top, top.node(), rows, kMaxFloorRows);
  at_floors_ = top.document().at(top.node(), "", "");
}

Words urgency_words() {
  Words words;
  for (std::size_t i = 0; i < kUrgencyCount; ++i) {
    words.push_back(name(static_cast<Urgency>(i)));
  }
  return words;
}

// The action that advice asks for, and its limits.
void what_and_when(ObjectView& view, Advice& a) {
  a.action = view.text("action");
  if (const auto urgency = view.word("urgency", urgency_words())) {
    a.urgency = static_cast<Urgency>(*urgency);
  }
  a.within_km = view.optional_number("within_km", 0, kHuge);
  a.within_days = view.optional_number("within_days", 0, kHuge);
}

Words action_roles() {
  Words words;
  for (std::size_t i = 0; i < kActionRoleCount; ++i) {
    words.push_back(name(static_cast<ActionRole>(i)));
  }
  return words;
}

void Loader::actions(ObjectView& top) {
  RoleReader roles("action", action_roles());
  for (ObjectView& view : top.objects("actions")) {
    ActionRule a;
    item(view, a);
    if (const auto role = roles.read(view, a)) {
      a.role = static_cast<ActionRole>(*role);
    }
    a.title = view.text("title");
    a.text = view.sentence("text");
    for (const auto& [member, wording] : {std::pair("core", &a.core), {"opened", &a.opened}}) {
      if (const Node* node = view.optional(member)) {
        ObjectView inside(view.document(), *node, out_);
        wording->title = inside.text("title");
        wording->text = inside.sentence("text");
        inside.done();
      }
    }
    a.owner_text = view.sentence("owner_text");
    a.cautions = view.optional_texts("cautions");
    a.owner_cautions = view.optional_texts("owner_cautions");
    a.importance = static_cast<int>(view.number("importance", 1, 9));
    a.owner_can = view.optional_flag("owner_can");
    a.closed_by = closing(view);
    if (const Node* check = view.optional("check")) {
      ObjectView inside(view.document(), *check, out_);
      a.minutes = inside.number("minutes", 0.1, 10000);
      if (const Node* when = inside.optional("when")) {
        a.check_when = read_condition(inside, *when);
      }
      if (const Node* reveals = inside.required("reveals")) {
        const Words words = names_of(dryshaft::findings());
        for (const Node* n = reveals->kind == Kind::array ? view.document().first(*reveals)
                                                          : nullptr;
             n != nullptr; n = view.document().next(*n)) {
          if (const auto word = inside.word_at(*n, words)) {
            a.reveals.push_back(static_cast<Finding>(*word));
          }
        }
        if (a.reveals.empty()) {
          inside.complain(*reveals, "wrong-type", "names no finding", "an array of findings");
        }
        // A finding stands before those that describe it, in whatever order they are named.
        std::ranges::sort(a.reveals);
      }
      inside.done();
    }
    view.done();
    k_.actions.push_back(std::move(a));
  }
  for (std::string& missing : roles.missing()) {
    top.complain(top.node(), "missing", std::move(missing));
  }
  for (ObjectView& view : top.objects("advice")) {
    Advice a;
    item(view, a);
    what_and_when(view, a);
    a.when = required_condition(view, "when");
    a.at_recheck = view.optional_flag("at_recheck");
    a.with = view.optional_texts("with");
    a.instead_of = view.optional_texts("instead_of");
    a.plain = view.sentence("plain");
    view.done();
    k_.advice.push_back(std::move(a));
  }
  for (ObjectView& view : top.objects("comebacks")) {
    ComebackRule c;
    item(view, c);
    if (const auto did = view.word("did", ids_of(spec(Field::work_did).choices))) {
      c.did = static_cast<Did>(*did);
    }
    c.when = required_condition(view, "when");
    c.text = view.sentence("text");
    c.plain = view.sentence("plain");
    view.done();
    k_.comebacks.push_back(std::move(c));
  }
}

// What closes an action; that nothing would is an error.
ActionRule::Closing Loader::closing(ObjectView& view) {
  ActionRule::Closing out;
  const Node* node = view.required("closed_by");
  if (node == nullptr) {
    return out;
  }
  ObjectView inside(view.document(), *node, out_);
  const auto each = [&](const Node* list, const auto& take) {
    if (list != nullptr && list->kind != Kind::array) {
      inside.complain(*list, "wrong-type",
                      fmt::format("is {}", located::shown(view.document(), *list)), "an array");
    } else if (list != nullptr) {
      for (const Node* n = view.document().first(*list); n != nullptr;
           n = view.document().next(*n)) {
        take(*n);
      }
    }
  };
  const std::size_t complaints = out_.size();
  const Words works = ids_of(spec(Field::work_did).choices);
  each(inside.optional("work"), [&](const Node& all) {
    std::vector<Did>& list = out.work.emplace_back();
    each(&all, [&](const Node& n) {
      if (const auto word = inside.word_at(n, works)) {
        list.push_back(static_cast<Did>(*word));
      }
    });
    if (list.empty()) {
      out.work.pop_back();  // all of nothing is done already
    }
  });
  const Words looks = names_of(dryshaft::findings());
  each(inside.optional("look"), [&](const Node& n) {
    if (const auto word = inside.word_at(n, looks)) {
      out.look.push_back(static_cast<Finding>(*word));
    }
  });
  if (inside.is_object() && out.work.empty() && out.look.empty() && out_.size() == complaints) {
    inside.complain(*node, "missing", "names neither work nor a check that closes the action", "",
                    "\"work\": lists of what has to be done, \"look\": findings");
  }
  inside.done();
  return out;
}

void Loader::cautions(ObjectView& top) {
  for (ObjectView& view : top.objects("cautions")) {
    CautionRule c;
    item(view, c);
    c.brief = view.sentence("brief");
    c.text = view.sentence("text");
    c.owner_text = view.sentence("owner_text");
    c.charging = closed(view.optional_text("charging"));
    c.always = view.optional_flag("always");
    c.on_form = view.optional_flag("on_form");
    c.trained_only = view.optional_flag("trained_only");
    c.owner_never = view.optional_texts("owner_never");
    if (!c.owner_never.empty() && !c.trained_only) {
      view.complain(*view.optional("owner_never"), "not-reserved",
                    "stands where nothing is for trained people only", "",
                    "add \"trained_only\": true, or leave it out");
    }
    if (const Node* when = view.optional("when")) {
      c.when = read_condition(view, *when);
    }
    view.done();
    k_.cautions.push_back(std::move(c));
  }
  // A form without a word of warning would look like one that needs none.
  if (std::ranges::none_of(k_.cautions, &CautionRule::on_form)) {
    top.complain(top.node(), "missing", "has no caution with \"on_form\": true");
  }
}

void Loader::grades(ObjectView& top) {
  std::array<bool, kGradeCount> seen{};
  for (ObjectView& view : top.objects("grades")) {
    GradeRule g;
    const auto grade = view.word("id", grade_names());
    item(view, g);
    g.meaning = view.text("meaning");
    g.owner_meaning = view.text("owner_meaning");
    for (const std::string& said : view.optional_texts("owner_summary")) {
      g.owner_summary.push_back(closed(said));
    }
    g.buyer_text = closed(view.optional_text("buyer_text"));
    g.core_meaning = view.text("core_meaning");
    g.drive = view.sentence("drive");
    g.drive_quiet = closed(view.optional_text("drive_quiet"));
    g.trial = view.sentence("trial");
    g.charge = view.sentence("charge");
    g.recheck_km = view.optional_number("recheck_km", 0, kHuge);
    g.recheck_days = view.optional_number("recheck_days", 0, kHuge);
    view.done();
    if (grade) {
      g.grade = static_cast<Grade>(*grade);
      seen.at(*grade) = true;
      k_.grades.at(*grade) = std::move(g);
    }
  }
  for (std::size_t i = 0; i < kGradeCount; ++i) {
    if (!seen.at(i)) {
      top.complain(top.node(), "missing",
                   fmt::format("has no grade \"{}\"", name(static_cast<Grade>(i))));
    }
  }
  const auto verdict = [&](std::string_view key, std::string& reason, std::string& plain,
                           Condition* when) {
    std::string id;
    ObjectView& layer = top.layer_with(key);
    if (const Node* node = layer.required(key)) {
      ObjectView view(layer.document(), *node, out_);
      Item about;
      item(view, about);
      id = about.id;
      reason = about.reason;
      plain = view.sentence("plain");
      if (when != nullptr) {
        *when = required_condition(view, "when");
        few_enough(view, *node, ConditionSet::rows(*when), kMaxVerdictRows);
      }
      view.done();
    }
    return id;
  };
  ObjectView& layer = top.layer_with("ungraded");
  if (const Node* ungraded = layer.optional("ungraded")) {
    at_ungraded_ = layer.document().at(*ungraded, "", "");
  }
  Settings& s = k_.settings;
  s.stop = top.layer_with("stop").sentence("stop");
  s.carried = top.layer_with("carried").sentence("carried");
  s.ungraded_id = verdict("ungraded", s.ungraded_reason, s.ungraded_plain, &s.ungraded);
  verdict("sound", s.unsound_reason, s.unsound_plain, &s.sound);
  verdict("raised", s.raised_reason, s.raised_plain, nullptr);
  verdict("high", s.high_reason, s.high_plain, nullptr);
  for (ObjectView& view : top.objects("outlooks")) {
    OutlookRule o;
    item(view, o);
    Words words;
    for (unsigned i = 0; i < 4; ++i) {
      words.push_back(name(static_cast<Outlook>(i)));
    }
    if (const auto outlook = view.word("outlook", words)) {
      o.outlook = static_cast<Outlook>(*outlook);
    }
    o.when = required_condition(view, "when");
    view.done();
    k_.outlooks.push_back(std::move(o));
  }
  const Words known(contradiction_ids().begin(), contradiction_ids().end());
  for (ObjectView& view : top.objects("contradictions")) {
    ContradictionRule c;
    view.word("id", known);
    item(view, c);
    c.text = view.sentence("text");
    c.plain = view.sentence("plain");
    if (const Node* node = view.optional("ask")) {
      ObjectView inside(view.document(), *node, out_);
      Advice& a = c.ask.emplace();
      a.id = c.id;
      a.source = c.source;
      a.file = c.file;
      a.line = c.line;
      what_and_when(inside, a);
      a.reason = inside.sentence("reason");
      a.plain = inside.sentence("plain");
      if (const Node* when = inside.optional("when")) {
        a.when = read_condition(inside, *when);
      }
      inside.done();
    }
    view.done();
    k_.contradictions.push_back(std::move(c));
  }
  for (const std::string_view id : known) {
    if (k_.contradiction(id) == nullptr) {
      top.complain(top.node(), "missing", fmt::format("has no contradiction \"{}\"", id));
    }
  }
}

std::optional<int> Loader::month(ObjectView& view, std::string_view key) {
  const Node* node = view.optional(key);
  if (node == nullptr) {
    return std::nullopt;
  }
  const std::string text = node->kind == Kind::text ? std::string(node->text) : std::string();
  const auto digit = [](char c) { return c >= '0' && c <= '9'; };
  const bool shaped = text.size() == 7 && text[4] == '-' &&
                      std::all_of(text.begin(), text.begin() + 4, digit) && digit(text[5]) &&
                      digit(text[6]);
  const int m = shaped ? (text[5] - '0') * 10 + (text[6] - '0') : 0;
  if (m < 1 || m > 12) {
    view.complain(*node, "bad-date", fmt::format("is {}", located::shown(view.document(), *node)),
                  "YYYY-MM");
    return std::nullopt;
  }
  return std::stoi(text.substr(0, 4)) * 12 + m - 1;
}

void Loader::family(ObjectView& top, std::string sha256) {
  top.word("format", {kFamilyFormat});
  Family f;
  f.sha256 = std::move(sha256);
  item(top, f);
  f.title = top.name("title");
  f.system_voltage = top.optional_number("system_voltage_v", 1, 10000);
  if (const auto magnets =
          top.word("rotor_magnets", ids_of(spec(Situation::rotor_magnets).values))) {
    f.magnets = static_cast<Magnets>(*magnets);
  }
  for (ObjectView& view : top.objects("periods")) {
    FamilyPeriod p;
    p.from = month(view, "from");
    p.before = month(view, "before");
    const auto value = [&](Situation situation) {
      return view.word(spec(situation).name, ids_of(spec(situation).values));
    };
    if (const auto cooling = value(Situation::rotor_cooling)) {
      p.cooling = static_cast<Cooling>(*cooling);
    }
    if (const auto rotor = value(Situation::rotor_bearings)) {
      p.rotor = static_cast<Bearings>(*rotor);
    }
    if (const auto gear = value(Situation::gear_bearings)) {
      p.gear = static_cast<Bearings>(*gear);
    }
    if (p.from && p.before && *p.from >= *p.before) {
      view.complain(view.node(), "out-of-range", "has \"from\" not earlier than \"before\"");
    }
    view.done();
    f.periods.push_back(p);
  }
  for (ObjectView& view : top.objects("vehicles")) {
    VehicleProfile v;
    v.id = view.name("id");
    v.port_access = view.text("port_access");
    if (const Node* tyre = view.optional("tyre")) {
      v.tyre_size = view.text_at(*tyre);
      v.tyre = parse_tyre(v.tyre_size);
      if (!v.tyre && !v.tyre_size.empty()) {
        view.complain(*tyre, "bad-value", fmt::format("is \"{}\"", v.tyre_size),
                      "a metric size such as 225/50R16");
      }
    }
    view.done();
    f.vehicles.push_back(std::move(v));
  }
  if (const Node* node = top.optional("machine")) {
    f.machine = machine(top, *node);
  }
  if (const Node* node = top.optional(kServiceMember)) {
    f.service = service(top, *node, f.machine);
  }
  top.optional(kGuideMember);  // read by load_guides
  k_.families.push_back(std::move(f));
}

std::vector<Bearing> Loader::bearings(ObjectView& view, std::string_view key) {
  std::vector<Bearing> list;
  for (ObjectView& each : view.objects(key)) {
    Bearing b;
    b.name = each.name("name");
    b.elements = each.whole("elements", kHuge);
    b.element_diameter = each.number("element_diameter_mm", 0, kHuge);
    b.pitch_diameter = each.number("pitch_diameter_mm", 0, kHuge);
    b.contact_deg = each.optional_number("contact_deg", 0, kHuge).value_or(0);
    each.done();
    if (const std::string what = complaint_about(b); !what.empty()) {
      each.complain(each.node(), "bad-value", "is no bearing: " + what);
    }
    list.push_back(std::move(b));
  }
  return list;
}

Machine Loader::machine(ObjectView& parent, const Node& node) {
  ObjectView view(parent.document(), node, out_);
  Machine m;
  if (!view.is_object()) {
    return m;
  }
  if (const Node* motor_node = view.required("motor")) {
    ObjectView motor(parent.document(), *motor_node, out_);
    m.pole_pairs = motor.whole("pole_pairs", geometry::kMostTeeth);
    m.stator_slots = motor.whole("stator_slots", geometry::kMostTeeth);
    if (motor.optional("rotor_bars") != nullptr) {
      m.rotor_bars = motor.whole("rotor_bars", geometry::kMostTeeth);
    }
    motor.done();
  }
  for (ObjectView& gears : view.objects("gears")) {
    m.stages.push_back({gears.whole("driving", geometry::kMostTeeth),
                        gears.whole("driven", geometry::kMostTeeth)});
    gears.done();
  }
  if (const std::string what = complaint_about(m.stages); !what.empty()) {
    view.complain(*view.optional("gears"), "bad-value", "is no gearing: " + what);
  }
  m.rotor_bearings = bearings(view, "rotor_bearings");
  m.gear_bearings = bearings(view, "gear_bearings");
  if (const std::string what =
          complaint_about_count(m.rotor_bearings.size() + m.gear_bearings.size());
      !what.empty()) {
    view.complain(view.node(), "bad-value", what);
    return m;
  }
  std::vector<std::string_view> names;
  for (const auto* list : {&m.rotor_bearings, &m.gear_bearings}) {
    for (const Bearing& b : *list) {
      if (std::ranges::find(names, b.name) != names.end()) {
        view.complain(view.node(), "duplicate", fmt::format("names \"{}\" twice", b.name));
      }
      names.emplace_back(b.name);
    }
  }
  view.done();
  return m;
}

Service Loader::service(ObjectView& parent, const Node& node,
                        const std::optional<Machine>& machine) {
  ObjectView view(parent.document(), node, out_);
  Service s;
  if (!view.is_object()) {
    return s;
  }
  Words bearings;
  if (machine) {
    for (const auto* list : {&machine->rotor_bearings, &machine->gear_bearings}) {
      for (const Bearing& b : *list) {
        bearings.emplace_back(b.name);
      }
    }
  }
  for (ObjectView& each : view.objects("parts")) {
    ServicePart p;
    p.id = each.name("id");
    p.name = each.name("name");
    p.quantity = each.number("quantity", 0, kHuge);
    p.unit = each.optional_text("unit");
    p.size = each.optional_text("size");
    p.material = each.optional_text("material");
    if (const Node* bearing = each.optional("bearing")) {
      p.bearing = each.text_at(*bearing);
      if (!p.bearing.empty()) {
        each.word_at(*bearing, bearings);
      }
    }
    if (!p.id.empty() && s.part(p.id) != nullptr && p.bearing.empty()) {
      each.complain(*each.optional("id"), "repeated-id", fmt::format("is \"{}\"", p.id),
                    "an id that no other part has, save bearings of one place");
    }
    each.done();
    s.parts.push_back(std::move(p));
  }
  if (const Node* hours_node = view.optional("hours")) {
    ObjectView hours(parent.document(), *hours_node, out_);
    for (const Node* n = hours.is_object() ? parent.document().first(*hours_node) : nullptr;
         n != nullptr; n = parent.document().next(*n)) {
      constexpr double kMostHours = 1000;
      s.hours.emplace_back(n->key, hours.number_at(*n, 0, kMostHours));
    }
  }
  Item about;
  items_.read_grounds(view, about);
  s.reason = about.reason;
  s.source = about.source;
  view.done();
  return s;
}

// ------------------------------------------------- what items say of others

void Loader::references() {
  const auto check = [&](const Item& item, std::string_view wanted, std::string_view what,
                         const auto& items) {
    const Words known = ids_of(items);
    if (std::ranges::find(known, wanted) == known.end()) {
      out_.push_back(no_such_name(item, what, wanted, known));
    }
  };
  for (const ActionRule& a : k_.actions) {
    for (const std::string& caution : a.cautions) {
      check(a, caution, "caution", k_.cautions);
    }
    for (const std::string& caution : a.owner_cautions) {
      check(a, caution, "caution", k_.cautions);
    }
    if (a.owner_can) {
      for (const std::string& caution : a.cautions) {
        const CautionRule* rule = k_.caution(caution);
        if (rule != nullptr && rule->trained_only) {
          out_.push_back(about_item(
              a, fmt::format("lets an owner do what \"{}\" reserves for trained people", caution)));
        }
      }
    }
  }
  for (const Advice& a : k_.advice) {
    check(a, a.action, "action", k_.actions);
    for (const std::string& companion : a.with) {
      check(a, companion, "action", k_.actions);
    }
    for (const std::string& other : a.instead_of) {
      check(a, other, "action", k_.actions);
    }
  }
  for (const ContradictionRule& c : k_.contradictions) {
    if (c.ask) {
      check(c, c.ask->action, "action", k_.actions);
    }
  }
  if (std::ranges::none_of(k_.families, [](const Family& f) { return f.id == kGenericFamily; })) {
    Diagnostic d;
    d.code = "missing";
    d.source = k_.families.empty() ? "families" : k_.families.front().file;
    d.message = fmt::format("there is no family \"{}\"", kGenericFamily);
    out_.push_back(std::move(d));
  }
}

// --------------------------------------------- what holds in whatever rules

// The id of the shipped rules in a report says that it was made with them. `hashes`: of each file,
// behind its name.
void Loader::check_origin(const std::set<std::string>& hashes, bool layered) {
  std::vector<std::string_view> other;
  for (const safety::ShippedFile& f : safety::shipped_files()) {
    if (!hashes.contains(fmt::format("{} {}", f.name, f.sha256))) {
      other.push_back(f.name);
    }
  }
  shipped_ = other.empty() && !layered;
  if (shipped_ || k_.id != safety::shipped_id()) {
    return;
  }
  Diagnostic d = at_id_;
  d.code = "not-the-shipped-rules";
  d.message = other.empty() ? fmt::format("is \"{}\", as that of the rules below", k_.id)
                            : fmt::format("is \"{}\", and {} {} not what came with dryshaft {}",
                                          k_.id, fmt::join(other, ", "),
                                          other.size() == 1 ? "is" : "are", DRYSHAFT_VERSION);
  d.hint = "give rules of your own an id and a version of their own: reports name them";
  out_.push_back(std::move(d));
}

void Loader::unsafe(Diagnostic at, std::string_view what) {
  at.severity = Severity::warning;
  at.code = "unsafe-rules";
  at.message = fmt::format("leaves out or weakens {} of the shipped rules", what);
  at.hint = "it holds all the same: rules of your own may be stricter";
  out_.push_back(std::move(at));
}

void Loader::hold_floors(std::vector<Floor> floors) {
  std::vector<Floor> missing;
  for (Floor& floor : floors) {
    std::vector<const Condition*> as_bad;
    for (const Floor& own : k_.floors) {
      if (own.grade >= floor.grade) {
        as_bad.push_back(&own.when);
      }
    }
    if (floor.safety && !safety::is_covered(floor.when, as_bad)) {
      missing.push_back(std::move(floor));
    }
  }
  std::size_t rows = 0;
  for (const auto* list : {&k_.floors, &missing}) {
    for (const Floor& floor : *list) {
      rows += ConditionSet::rows(floor.when);
    }
  }
  if (k_.floors.size() + missing.size() > kMaxFloors || rows > kMaxFloorRows) {
    Diagnostic d = at_floors_;
    d.code = "too-many";
    d.message = fmt::format(
        "leaves no room for {} safety floors of the shipped rules, which it "
        "leaves out or weakens",
        missing.size());
    out_.push_back(std::move(d));
    return;
  }
  for (Floor& floor : missing) {
    unsafe(at_floors_, fmt::format("the safety floor \"{}\" ({})", floor.id, name(floor.grade)));
    k_.unsafe.push_back(floor.id);
    while (items_.has(floor.id)) {
      floor.id.insert(0, "shipped-");
    }
    k_.floors.push_back(std::move(floor));
  }
}

// What has not been looked at is not taken for sound.
void Loader::hold_ungraded(const Settings& shipped) {
  Condition& own = k_.settings.ungraded;
  if (safety::is_covered(shipped.ungraded, {&own})) {
    return;
  }
  unsafe(at_ungraded_, fmt::format("the condition for grade {}", name(Grade::U)));
  k_.unsafe.push_back(shipped.ungraded_id);
  Condition either;
  either.any = {{own, shipped.ungraded}};
  own = ConditionSet::rows(either) <= kMaxVerdictRows ? either : shipped.ungraded;
}

void Loader::hold_safety() {
  Loader shipped;
  const NamedText floors = {"shipped floors.json", std::string(safety::shipped_floors())};
  const NamedText grades = {"shipped grades.json", std::string(safety::shipped_grades())};
  shipped.with_files({&floors, 1}, [&](ObjectView& top) { shipped.floors(top); });
  shipped.with_files({&grades, 1}, [&](ObjectView& top) { shipped.grades(top); });
  hold_floors(std::move(shipped.k_.floors));
  hold_ungraded(shipped.k_.settings);
  k_.reservations.push_back(
      fmt::format("Rules {} {} are not those that came with dryshaft {}. Nothing proves them here: "
                  "run rules verify on them.",
                  k_.id, k_.version, DRYSHAFT_VERSION));
  if (!k_.unsafe.empty()) {
    k_.reservations.push_back(fmt::format(
        "They leave out or weaken what the shipped rules hold for safety, which holds all the "
        "same: {}.",
        fmt::join(k_.unsafe, ", ")));
  }
}

Result<Knowledge> Loader::load(std::vector<NamedText> rules_files,
                               std::vector<NamedText> family_files) {
  const auto by_name = [&](const NamedText& f) { return std::string(base_name(f.name)); };
  std::ranges::stable_sort(rules_files, {}, by_name);  // layers of one name as they came
  std::ranges::sort(family_files, {}, by_name);

  using Read = void (Loader::*)(ObjectView&);
  const std::map<std::string_view, Read> readers = {
      {"rules.json", &Loader::rules},       {"causes.json", &Loader::causes},
      {"life.json", &Loader::life},         {"links.json", &Loader::links},
      {"floors.json", &Loader::floors},     {"actions.json", &Loader::actions},
      {"cautions.json", &Loader::cautions}, {"grades.json", &Loader::grades}};
  std::string hashed;
  std::set<std::string> hashes;
  bool readable = true;
  std::set<std::string_view> given;
  bool layered = false;
  for (std::size_t i = 0, next = 0; i < rules_files.size(); i = next) {
    const NamedText& f = rules_files[i];
    for (next = i + 1;
         next < rules_files.size() && base_name(rules_files[next].name) == base_name(f.name);) {
      ++next;
    }
    const std::span<const NamedText> layers = std::span(rules_files).subspan(i, next - i);
    layered = layered || layers.size() > 1;
    const auto reader = readers.find(base_name(f.name));
    if (reader == readers.end()) {
      const std::span<const std::string_view> known = rule_file_names();
      Diagnostic d;
      d.code = "unknown-file";
      d.source = f.name;
      d.message = "is no rule file";
      d.allowed = fmt::format("{}", fmt::join(known, ", "));
      d.hint = did_you_mean(base_name(f.name), {known.begin(), known.end()});
      out_.push_back(std::move(d));
      continue;
    }
    given.insert(reader->first);
    for (const NamedText& layer : layers) {
      std::string line = fmt::format("{} {}", base_name(layer.name), sha256_hex(layer.text));
      hashed += line + "\n";
      hashes.insert(std::move(line));
    }
    readable =
        with_files(layers, [&](ObjectView& top) { (this->*reader->second)(top); }) && readable;
  }
  for (const auto& [file, reader] : readers) {
    if (!given.contains(file)) {
      Diagnostic d;
      d.code = "missing";
      d.source = std::string(file);
      d.message = "this rule file is missing";
      out_.push_back(std::move(d));
      readable = false;
    }
  }
  k_.rules_sha256 = sha256_hex(hashed);
  if (readable) {
    check_origin(hashes, layered);
  }
  hashed.clear();
  for (const NamedText& f : family_files) {
    const auto read = [&](ObjectView& top) {
      std::string sha256 = sha256_hex(what_grades(top.document()));
      hashed += fmt::format("{} {}\n", base_name(f.name), sha256);
      family(top, std::move(sha256));
    };
    readable = with_files({&f, 1}, read) && readable;
  }
  if (readable) {
    references();
  }
  k_.families_sha256 = sha256_hex(hashed);
  const auto is_error = [](const Diagnostic& d) { return d.severity == Severity::error; };
  if (!shipped_ && std::ranges::none_of(out_, is_error)) {
    hold_safety();
  }
  Result<Knowledge> result;
  result.diagnostics = std::move(out_);
  if (!result.has_errors()) {
    result.value = std::move(k_);
  }
  return result;
}

}  // namespace

std::string rules_below(std::span<const NamedText> rules) {
  const auto file = std::ranges::find_if(
      rules, [](const NamedText& f) { return base_name(f.name) == rule_file_names().front(); });
  if (file == rules.end()) {
    return {};
  }
  std::vector<Diagnostic> complaints;
  const located::Document document(file->text, {.source = file->name}, kDataLimits, complaints);
  ObjectView top(document, document.root(), complaints);
  return document.usable() && top.is_object() ? top.optional_name(kOverMember) : std::string();
}

Result<Knowledge> load_knowledge(std::vector<NamedText> rules, std::vector<NamedText> families) {
  return Loader().load(std::move(rules), std::move(families));
}

}  // namespace dryshaft
