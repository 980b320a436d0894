// Reads files of cases, grades their records, and compares the reports with
// what the cases expect.
#include "dryshaft/cases.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <nlohmann/json.hpp>
#include <utility>

#include "base/complaints.hpp"
#include "base/index.hpp"
#include "base/json_out.hpp"
#include "base/located_json.hpp"
#include "decide/assess.hpp"
#include "knowledge/condition.hpp"
#include "knowledge/object_view.hpp"

namespace dryshaft {
namespace {

using located::Document;
using located::Kind;
using located::Node;

// Deep enough for the deepest record inside an array of cases.
constexpr located::Limits kLimits{.depth = kMaxDepth + 4, .bytes = std::size_t{16} << 20U};
constexpr std::string_view kAudiences[] = {"technician", "owner"};  // in the order of `Audience`

template <typename Enum>
Words names_up_to(std::size_t count) {
  Words words;
  for (std::size_t i = 0; i < count; ++i) {
    words.push_back(name(static_cast<Enum>(i)));
  }
  return words;
}

std::string listed(const Words& words) { return words.empty() ? "none" : joined(words); }

std::string single_spaced(std::string_view text) {
  std::string out;
  for (const char c : text) {
    const bool blank = c == ' ' || c == '\n' || c == '\t' || c == '\r';
    if (!blank) {
      out += c;
    } else if (!out.empty() && out.back() != ' ') {
      out += ' ';
    }
  }
  return out;
}

// ----------------------------------------------------------- expectations

// What a case came to, as expectations see it.
struct Outcome {
  const Report& report;
  const CaseOptions& options;
};

// One expectation: says what came instead, or nothing where it is met.
struct Check {
  const Node* at;
  std::function<std::string(const Outcome&)> unmet;
};

class ExpectReader {
 public:
  ExpectReader(const Document& document, const Knowledge& k, std::vector<Diagnostic>& out)
      : d_(document), k_(k), out_(out) {}

  std::vector<Check> read(const Node& node) {
    const std::size_t before = number_of(out_);
    ObjectView view(d_, node, out_);
    verdict(view);
    probabilities(view);
    listing(view, "floors", "no_floors", ids_of(k_.floors), [](const Report& r) {
      Words came;
      for (const FloorHeld& f : r.floors) {
        came.push_back(f.rule);
      }
      return came;
    });
    listing(view, "actions", "no_actions", ids_of(k_.actions),
            [](const Report& r) { return ids_of(r.actions); });
    listing(view, "cautions", "no_cautions", ids_of(k_.cautions),
            [](const Report& r) { return ids_of(r.cautions); });
    exactly(view, "contradictions", Words(contradiction_ids().begin(), contradiction_ids().end()),
            false, [](const Report& r) { return ids_of(r.contradictions); });
    exactly(view, "earlier_grades", names_up_to<Grade>(kGradeCount), true, [](const Report& r) {
      Words came;
      for (const HistoryEntry& h : r.history.earlier) {
        came.push_back(name(h.grade));
      }
      return came;
    });
    firsts(view);
    urgencies(view);
    texts(view);
    view.done();
    if (view.is_object() && checks_.empty() && number_of(out_) == before) {
      view.complain(node, "empty", "expects nothing", {},
                    "a case that expects nothing can never fail");
    }
    return std::move(checks_);
  }

 private:
  void add(const Node& at, std::function<std::string(const Outcome&)> unmet) {
    checks_.push_back({&at, std::move(unmet)});
  }

  // A word of the report that must be this one.
  template <typename Came>
  void one_of(ObjectView& view, const Node* node, const Words& words, Came came) {
    if (node == nullptr) {
      return;
    }
    if (const auto word = view.word_at(*node, words)) {
      add(*node, [wanted = words[*word], came](const Outcome& o) {
        const std::string_view is = came(o.report);
        return is == wanted ? std::string() : fmt::format("expected {}, came {}", wanted, is);
      });
    }
  }

  void verdict(ObjectView& view) {
    one_of(view, view.optional("grade"), names_up_to<Grade>(kGradeCount),
           [](const Report& r) { return name(r.grade); });
    const auto at_least = [](const Report& r) {
      return r.at_least ? name(*r.at_least) : std::string_view("none");
    };
    const Node* node = view.optional("at_least");
    if (node != nullptr && node->kind == Kind::null) {
      add(*node, [at_least](const Outcome& o) {
        return o.report.at_least ? fmt::format("expected none, came {}", at_least(o.report))
                                 : std::string();
      });
    } else {
      one_of(view, node, {name(Grade::B), name(Grade::C), name(Grade::D)}, at_least);
    }
    one_of(view, view.optional("rebuild_outlook"), names_up_to<Outlook>(4),
           [](const Report& r) -> std::string_view { return r.rebuild_outlook; });
  }

  // {"at_least": 0.5, "below": 0.9}
  template <typename Came>
  void range(const Node& node, Came came) {
    ObjectView view(d_, node, out_);
    if (const Node* least = view.optional("at_least")) {
      add(*least, [limit = view.number_at(*least, 0, 1), came](const Outcome& o) {
        const double is = came(o.report);
        return is >= limit ? std::string()
                           : fmt::format("expected at least {}, came {:.6g}", limit, is);
      });
    }
    if (const Node* below = view.optional("below")) {
      add(*below, [limit = view.number_at(*below, 0, 1), came](const Outcome& o) {
        const double is = came(o.report);
        return is < limit ? std::string()
                          : fmt::format("expected below {}, came {:.6g}", limit, is);
      });
    }
    not_empty(view, node);
    view.done();
  }

  void not_empty(ObjectView& view, const Node& node) {
    if ((node.kind == Kind::object || node.kind == Kind::array) && node.children == 0) {
      view.complain(node, "empty", "expects nothing");
    }
  }

  void probabilities(ObjectView& view) {
    if (const Node* risk = view.optional("risk")) {
      range(*risk, [](const Report& r) { return r.risk; });
    }
    Words words;
    for (const CauseSpec& c : causes()) {
      words.push_back(c.name);
    }
    one_of(view, view.optional("top_cause"), words,
           [](const Report& r) -> std::string_view { return r.causes.front().id; });
    if (const Node* node = view.optional("causes")) {
      ObjectView inside(d_, *node, out_);
      for (const std::string_view cause : words) {
        if (const Node* bounds = inside.optional(cause)) {
          range(*bounds, [cause](const Report& r) {
            return std::ranges::find(r.causes, cause, &CauseReport::id)->probability;
          });
        }
      }
      not_empty(inside, *node);
      inside.done();
    }
  }

  // The first element of an array.
  const Node* array(ObjectView& view, const Node& node, std::string_view of_what) {
    if (node.kind != Kind::array) {
      view.complain(node, "wrong-type", fmt::format("is {}", located::shown(d_, node)),
                    fmt::format("an array of {}", of_what));
      return nullptr;
    }
    return d_.first(node);
  }

  // Each element of an array of words, with the word.
  template <typename Each>
  void elements(ObjectView& view, const Node& node, const Words& words, Each each) {
    for (const Node* n = array(view, node, joined(words)); n != nullptr; n = d_.next(*n)) {
      if (const auto word = view.word_at(*n, words)) {
        each(*n, words[*word]);
      }
    }
  }

  // What must be among the report's, and what must not.
  template <typename Came>
  void listing(ObjectView& view, std::string_view with, std::string_view without,
               const Words& words, Came came) {
    if (const Node* node = view.optional(with)) {
      not_empty(view, *node);
      elements(view, *node, words, [&](const Node& at, std::string_view id) {
        add(at, [id, came](const Outcome& o) {
          const Words all = came(o.report);
          return std::ranges::find(all, id) != all.end()
                     ? std::string()
                     : fmt::format("expected {}, came {}", id, listed(all));
        });
      });
    }
    if (const Node* node = view.optional(without)) {
      not_empty(view, *node);
      elements(view, *node, words, [&](const Node& at, std::string_view id) {
        add(at, [id, came](const Outcome& o) {
          const Words all = came(o.report);
          return std::ranges::find(all, id) == all.end()
                     ? std::string()
                     : fmt::format("expected no {}, came {}", id, listed(all));
        });
      });
    }
  }

  // The report's must be these and no others.
  template <typename Came>
  void exactly(ObjectView& view, std::string_view key, const Words& words, bool in_order,
               Came came) {
    const Node* node = view.optional(key);
    if (node == nullptr) {
      return;
    }
    Words wanted;
    elements(view, *node, words,
             [&](const Node&, std::string_view word) { wanted.push_back(word); });
    add(*node, [wanted, in_order, came](const Outcome& o) {
      Words all = came(o.report);
      const bool same =
          in_order ? all == wanted
                   : all.size() == wanted.size() && std::ranges::is_permutation(all, wanted);
      return same ? std::string()
                  : fmt::format("expected {}, came {}", listed(wanted), listed(all));
    });
  }

  void firsts(ObjectView& view) {
    one_of(view, view.optional("first_action"), ids_of(k_.actions), [](const Report& r) {
      return r.actions.empty() ? std::string_view("none") : std::string_view(r.actions.front().id);
    });
    Words checks;
    for (const ActionRule& a : k_.actions) {
      if (!a.reveals.empty()) {
        checks.push_back(a.id);
      }
    }
    one_of(view, view.optional("next_check"), checks, [](const Report& r) {
      return r.next_checks.empty() ? std::string_view("none")
                                   : std::string_view(r.next_checks.front().id);
    });
  }

  void urgencies(ObjectView& view) {
    const Node* node = view.optional("urgency");
    if (node == nullptr) {
      return;
    }
    ObjectView inside(d_, *node, out_);
    for (const ActionRule& action : k_.actions) {
      one_of(inside, inside.optional(action.id), names_up_to<Urgency>(kUrgencyCount),
             [id = std::string_view(action.id)](const Report& r) -> std::string_view {
               const auto found = std::ranges::find(r.actions, id, &Action::id);
               return found == r.actions.end() ? "no such action" : name(found->urgency);
             });
    }
    not_empty(inside, *node);
    inside.done();
  }

  void texts(ObjectView& view) {
    const auto each = [&](std::string_view key, bool wanted) {
      const Node* node = view.optional(key);
      if (node == nullptr) {
        return;
      }
      not_empty(view, *node);
      for (const Node* n = array(view, *node, "texts"); n != nullptr; n = d_.next(*n)) {
        add(*n, [text = single_spaced(view.text_at(*n)), wanted](const Outcome& o) {
          const std::string all = single_spaced(o.options.text(o.report));
          return (all.find(text) != std::string::npos) == wanted
                     ? std::string()
                     : fmt::format("expected a report that {} \"{}\", came one that {}",
                                   wanted ? "says" : "does not say", text,
                                   wanted ? "does not" : "does");
        });
      }
    };
    each("text_has", true);
    each("text_lacks", false);
  }

  const Document& d_;
  const Knowledge& k_;
  std::vector<Diagnostic>& out_;
  std::vector<Check> checks_;
};

// ---------------------------------------------------------------- coverage

bool has_harmless_level(Finding f) { return !spec(f).never_absent; }

// A finding that a condition mentions, and whether the condition asks for it not to be observed.
struct Mention {
  Finding finding;
  bool asks_for_missing;
};

void mentions(const Condition& c, std::vector<Mention>& out) {
  for (const Condition::FindingIs& f : c.findings) {
    out.push_back({f.finding, (f.levels & 1U) != 0});
  }
  for (const std::vector<Condition>& any : c.any) {
    for (const Condition& part : any) {
      mentions(part, out);
    }
  }
  std::vector<Mention> excluded;
  for (const Condition& part : c.none) {
    mentions(part, excluded);
  }
  for (const Mention& m : excluded) {
    out.push_back({m.finding, false});
  }
}

bool is_observed(const Facts& facts, Finding f) { return facts.level[idx(f)] >= 0; }

// Not observed, though it could have been: what a finding would describe is
// not known to be harmless.
bool is_missing(const Facts& facts, Finding f) {
  const FindingSpec& s = spec(f);
  const auto harmless = [&](Finding other) { return facts.level[idx(other)] == 0; };
  return !is_observed(facts, f) && !(s.detail_of && harmless(*s.detail_of)) &&
         (s.needs_one_of.empty() || !std::ranges::all_of(s.needs_one_of, harmless));
}

class Coverage {
 public:
  explicit Coverage(const Knowledge& k) {
    conditions("floor", k.floors);
    conditions("advice", k.advice);
    conditions("outlook", k.outlooks);
    for (const Link& link : k.links) {
      add("link", link.id, has_harmless_level(link.finding), true,
          [f = link.finding](const Facts& facts, const Report&) {
            const std::int8_t level = facts.level[idx(f)];
            return Ways{level > 0, level == 0, is_missing(facts, f)};
          });
    }
    for (const ActionRule& a : k.actions) {
      shown("action", a.id, &Report::actions);
    }
    for (const ComebackRule& c : k.comebacks) {
      shown("comeback", c.id, &Report::comebacks);
    }
    for (const CautionRule& c : k.cautions) {
      if (!c.always || !always_holds(c.when)) {
        shown("caution", c.id, &Report::cautions);
      }
    }
    for (const ContradictionRule& c : k.contradictions) {
      shown("contradiction", c.id, &Report::contradictions);
    }
  }

  void count(const Facts& facts, const Report& report) {
    for (Rule& rule : rules_) {
      const Ways ways = rule.met(facts, report);
      for (std::size_t m = 0; m < kMetCount; ++m) {
        if (ways[m] && rule.coverage.cases[m]) {
          ++*rule.coverage.cases[m];
        }
      }
    }
  }

  std::vector<RuleCoverage> result() {
    std::vector<RuleCoverage> all;
    for (Rule& rule : rules_) {
      all.push_back(std::move(rule.coverage));
    }
    return all;
  }

 private:
  using Ways = std::array<bool, kMetCount>;  // by `Met`
  struct Rule {
    RuleCoverage coverage;
    std::function<Ways(const Facts&, const Report&)> met;
  };

  void add(std::string_view kind, const std::string& id, bool can_not_fire, bool can_be_missing,
           std::function<Ways(const Facts&, const Report&)> met) {
    RuleCoverage c{.kind = kind, .id = id};
    c.cases[idx(Met::fires)] = 0;
    if (can_not_fire) {
      c.cases[idx(Met::does_not)] = 0;
    }
    if (can_be_missing) {
      c.cases[idx(Met::not_observed)] = 0;
    }
    rules_.push_back({std::move(c), std::move(met)});
  }

  template <typename Rules>
  void conditions(std::string_view kind, const Rules& rules) {
    for (const auto& rule : rules) {
      std::vector<Mention> mentioned;
      mentions(rule.when, mentioned);
      const bool can_not_fire = mentioned.empty()
                                    ? !always_holds(rule.when)
                                    : std::ranges::any_of(mentioned, [](const Mention& m) {
                                        return has_harmless_level(m.finding);
                                      });
      const bool can_be_missing = !mentioned.empty();
      add(kind, rule.id, can_not_fire, can_be_missing,
          [&when = rule.when, mentioned = std::move(mentioned)](const Facts& facts, const Report&) {
            const bool fires = holds(when, facts);
            const bool seen =
                mentioned.empty() || std::ranges::any_of(mentioned, [&](const Mention& m) {
                  return is_observed(facts, m.finding);
                });
            const bool missing = std::ranges::any_of(mentioned, [&](const Mention& m) {
              return is_missing(facts, m.finding) && (!fires || m.asks_for_missing);
            });
            return Ways{fires, !fires && seen, missing};
          });
    }
  }

  template <typename Items>
  void shown(std::string_view kind, const std::string& id, Items Report::*items) {
    add(kind, id, true, false, [id = std::string_view(id), items](const Facts&, const Report& r) {
      const bool is = std::ranges::any_of(r.*items, [id](const auto& i) { return i.id == id; });
      return Ways{is, !is, false};
    });
  }

  std::vector<Rule> rules_;
};

// ----------------------------------------------------------------- running

// `over` laid over `base`, as JSON text.
std::string merged(const Document& d, const Node& base, const Node& over) {
  if (base.kind != Kind::object || over.kind != Kind::object) {
    return std::string(d.raw(over));
  }
  std::string out;
  const auto member = [&](const Node& n, std::string_view value) {
    using nlohmann::json;
    out += fmt::format("{}{}:{}", out.empty() ? "" : ",", json_out::of(json(n.key)), value);
  };
  for (const Node* n = d.first(base); n != nullptr; n = d.next(*n)) {
    const Node* own = d.find(over, n->key);
    member(*n, own == nullptr ? std::string(d.raw(*n)) : merged(d, *n, *own));
  }
  for (const Node* n = d.first(over); n != nullptr; n = d.next(*n)) {
    if (d.find(base, n->key) == nullptr) {
      member(*n, d.raw(*n));
    }
  }
  return "{" + out + "}";
}

class Runner {
 public:
  Runner(const Grader& grader, const CaseOptions& options)
      : k_(grader.knowledge()),
        model_(grader.model()),
        options_(options),
        read_(grader.read_options()),
        coverage_(k_) {}

  void file(const NamedText& file) {
    const std::size_t before = number_of(out());
    const Document document(file.text, {.source = file.name}, kLimits, out());
    if (!document.usable() || number_of(out()) != before) {
      ++run_.failed;
      return;
    }
    ObjectView top(document, document.root(), out());
    top.word("format", {kCasesFormat});
    top.optional_text("note");
    base_ = top.optional("base");
    if (base_ != nullptr && base_->kind != Kind::object) {
      top.complain(*base_, "wrong-type", fmt::format("is {}", located::shown(document, *base_)),
                   "an object");
      base_ = nullptr;
    }
    std::vector<ObjectView> cases = top.objects("cases");
    top.done();
    if (number_of(out()) != before) {  // a case would be judged by what may not be meant
      ++run_.failed;
      return;
    }
    for (ObjectView& one : cases) {
      const std::size_t so_far = number_of(out());
      try_case(document, one);
      ++(number_of(out()) == so_far ? run_.passed : run_.failed);
    }
    if (cases.empty()) {
      top.complain(document.root(), "empty", "holds no case");
    }
  }

  CaseRun result() {
    run_.coverage = coverage_.result();
    return std::move(run_);
  }

 private:
  std::vector<Diagnostic>& out() { return run_.diagnostics; }

  void try_case(const Document& document, ObjectView& view) {
    if (!view.is_object()) {
      return;
    }
    const std::size_t before = number_of(out());
    const std::string note = view.text("note");
    std::vector<Record> records = read(document, view);
    AssessOptions how;
    if (const Node* node = view.optional("today")) {
      how.today = node->kind == Kind::text ? parse_date(node->text) : std::nullopt;
      if (!how.today) {
        view.complain(*node, "bad-date", fmt::format("is {}", located::shown(document, *node)),
                      "YYYY-MM-DD");
      }
    }
    if (const Node* node = view.optional("for")) {
      const auto word = view.word_at(*node, {std::begin(kAudiences), std::end(kAudiences)});
      how.audience = static_cast<Audience>(word.value_or(0));
    }
    std::vector<Check> checks;
    if (const Node* expect = view.required("expect")) {
      checks = ExpectReader(document, k_, out()).read(*expect);
    }
    view.done();
    if (number_of(out()) != before || records.empty()) {
      return;
    }
    // What grouping complains of, the report shows as a contradiction.
    const Result<std::vector<History>> units = group_by_unit(std::move(records), how.today);
    if (units.value->size() != 1) {
      view.complain(view.node(), "several-units",
                    fmt::format("holds records of {} units", units.value->size()),
                    "the records of one unit");
      return;
    }
    compare(document, units.value->front(), how, checks, note);
  }

  std::vector<Record> read(const Document& document, ObjectView& view) {
    std::vector<Record> records;
    const Node* one = view.optional("record");
    const Node* several = view.optional("records");
    if ((one == nullptr) == (several == nullptr)) {
      view.complain(view.node(), one == nullptr ? "missing" : "repeated",
                    one == nullptr ? "has no \"record\"" : "has both \"record\" and \"records\"",
                    {}, "give a record, or a unit's records from the oldest to the newest");
      return records;
    }
    if (one != nullptr) {
      read_one(document, *one, records);
      return records;
    }
    if (several->kind != Kind::array || several->children == 0) {
      view.complain(
          *several, "wrong-type",
          fmt::format("is {}", several->kind == Kind::array ? "an empty array"
                                                            : located::shown(document, *several)),
          "an array of records");
      return records;
    }
    for (const Node* n = document.first(*several); n != nullptr; n = document.next(*n)) {
      read_one(document, *n, records);
    }
    return records;
  }

  void read_one(const Document& document, const Node& node, std::vector<Record>& records) {
    const located::Node* base = node.kind == Kind::object ? base_ : nullptr;
    const std::string text =
        base == nullptr ? std::string(document.raw(node)) : merged(document, *base, node);
    const auto [line, column] = document.place(node);
    Result<Record> record = read_record(text, document.origin().source, line, column, read_);
    if (record.value) {
      records.push_back(*std::move(record.value));
      return;
    }
    for (Diagnostic& d : record.diagnostics) {
      if (base != nullptr) {  // the merged text stands nowhere: its record does
        d.line = line;
        d.column = column;
      }
      d.pointer = document.pointer(node) + d.pointer;
      out().push_back(std::move(d));
    }
  }

  void compare(const Document& document, const History& history, const AssessOptions& how,
               const std::vector<Check>& checks, const std::string& note) {
    const Report report = assess(history, k_, model_, how);
    const int date = static_cast<int>(history.records.back().at(Field::date).number);
    const Presentation seen =
        present(history, history.records.size(), k_, how.today.value_or(date));
    coverage_.count(facts_of(seen.facts, judge(k_, model_, seen.facts)), report);
    const Outcome outcome{report, options_};
    for (const Check& check : checks) {
      std::string unmet = check.unmet(outcome);
      if (!unmet.empty()) {
        Diagnostic d = document.at(*check.at, "expectation",
                                   fmt::format("{}; case: {}", std::move(unmet), note));
        d.excerpt.clear();  // the line says it all
        out().push_back(std::move(d));
      }
    }
  }

  const Knowledge& k_;
  const Model& model_;
  const CaseOptions& options_;
  const ReadOptions& read_;
  Coverage coverage_;
  const Node* base_ = nullptr;
  CaseRun run_;
};

}  // namespace

std::size_t CaseRun::parts() const {
  std::size_t n = 0;
  for (const RuleCoverage& c : coverage) {
    n += static_cast<std::size_t>(
        std::ranges::count_if(c.cases, [](const auto& cases) { return cases.has_value(); }));
  }
  return n;
}

std::size_t CaseRun::covered() const {
  std::size_t n = 0;
  for (const RuleCoverage& c : coverage) {
    n += static_cast<std::size_t>(
        std::ranges::count_if(c.cases, [](const auto& cases) { return cases.value_or(0) > 0; }));
  }
  return n;
}

double CaseRun::percent() const {
  const std::size_t all = parts();
  return all == 0 ? 0 : 100 * static_cast<double>(covered()) / static_cast<double>(all);
}

CaseRun run_cases(std::span<const NamedText> files, const Grader& grader,
                  const CaseOptions& options) {
  Runner runner(grader, options);
  for (const NamedText& file : files) {
    runner.file(file);
  }
  return runner.result();
}

}  // namespace dryshaft
