// Reads work files: times, chances, options and the lines of job sheets.
#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <stdexcept>

#include "base/index.hpp"
#include "base/sentence.hpp"
#include "dryshaft/plan.hpp"
#include "knowledge/condition.hpp"
#include "knowledge/object_view.hpp"
#include "knowledge/owner_words.hpp"
#include "plan/values.hpp"

namespace dryshaft {
namespace {

using located::Node;

constexpr std::array<std::string_view, kTimedWorkCount> kTimedWorks = {
    "bypass",        "rebuild",  "bypass-in-rebuild", "major-parts",
    "gear-bearings", "exchange", "breakdown"};

// As `OptionRole` has them.
constexpr std::array<std::string_view, kOptionRoleCount> kOptionRoles = {
    "look-first", "wait", "bypass", "rebuild", "rebuild-and-bypass", "replace", "gear-bearings"};

// As `JobStage` has them.
constexpr std::array<std::string_view, 8> kStages = {"before", "out",   "open", "parts",
                                                     "close",  "refit", "fill", "record"};
static_assert(kStages.size() == idx(JobStage::record) + 1);

constexpr double kMostTime = 1000;

Words outlook_names() {
  Words words;
  for (unsigned i = 0; i < 4; ++i) {
    words.push_back(name(static_cast<Outlook>(i)));
  }
  return words;
}

class WorkLoader {
 public:
  explicit WorkLoader(const Knowledge& knowledge) : k_(knowledge), never_(knowledge) {}

  Result<WorkRules> load(std::vector<NamedText> files) {
    std::ranges::sort(files, {}, &NamedText::name);
    bool readable = !files.empty();
    for (const NamedText& f : files) {
      const located::Document document(f.text, {.source = f.name}, kDataLimits, out_);
      if (!document.usable()) {
        readable = false;
        continue;
      }
      ObjectView top(document, document.root(), out_);
      if (top.is_object()) {
        file(top);
        top.done();
      }
    }
    if (readable) {
      whole(files.front().name);
    }
    Result<WorkRules> result;
    result.diagnostics = std::move(out_);
    if (!result.has_errors() && readable) {
      result.value = std::move(w_);
    }
    return result;
  }

 private:
  void file(ObjectView& top) {
    top.word("format", {kWorkFormat});
    each(top, "chances", [&](ObjectView& view) { chances(view); });
    each(top, "times", [&](ObjectView& view) { time(view); });
    each(top, "options", [&](ObjectView& view) { option(view); });
    each(top, "jobs", [&](ObjectView& view) { job(view); });
  }

  template <typename Read>
  void each(ObjectView& top, std::string_view key, Read read) {
    if (top.optional(key) == nullptr) {
      return;
    }
    for (ObjectView& view : top.objects(key)) {
      if (view.is_object()) {
        read(view);
        view.done();
      }
    }
  }

  void chances(ObjectView& view) {
    OutlookChances c;
    items_.read(view, c);
    const auto outlook = view.word("outlook", outlook_names());
    c.major_parts = view.number("major_parts", 0, 1);
    c.beyond_repair = view.number("beyond_repair", 0, 1);
    if (outlook) {
      seen_.insert(fmt::format("chances {}", outlook_names()[*outlook]));
      w_.chances.at(*outlook) = std::move(c);
    }
  }

  void time(ObjectView& view) {
    WorkTime t;
    items_.read(view, t);
    const auto work = view.word("work", {kTimedWorks.begin(), kTimedWorks.end()});
    t.hours = view.number("hours", 0, kMostTime);
    t.days = view.number("days", 0, kMostTime);
    if (work) {
      seen_.insert(fmt::format("time {}", kTimedWorks.at(*work)));
      w_.times.at(*work) = std::move(t);
    }
  }

  // A text that tells an owner nothing that is reserved for trained people.
  std::string for_owner(ObjectView& view, std::string_view key) {
    const Node* node = view.required(key);
    if (node == nullptr) {
      return {};
    }
    std::string said = view.text_at(*node);
    if (const std::string_view phrase = never_.in(said); !phrase.empty()) {
      view.complain(*node, "for-trained-people", fmt::format("tells an owner to \"{}\"", phrase),
                    "", "leave it to a workshop, in a sentence that says so");
    }
    return said;
  }

  void option(ObjectView& view) {
    PlanOptionRule o;
    items_.read(view, o);
    if (view.required("role") != nullptr) {
      if (const auto role = roles_.read(view, o)) {
        o.role = static_cast<OptionRole>(*role);
      }
    }
    if (const Node* actions = view.required("actions")) {
      o.actions = view.optional_texts("actions");
      if (o.actions.empty() && actions->kind == located::Kind::array) {
        view.complain(*actions, "missing", "names no action");
      }
    }
    o.title = view.text("title");
    o.owner_title = for_owner(view, "owner_title");
    o.owner_effect = closed(for_owner(view, "owner_effect"));
    o.drives = view.optional_flag("drives");
    o.waits = view.optional_flag("waits");
    o.by_advice = view.optional_flag("by_advice");
    if (o.by_advice) {
      o.otherwise_plain = closed(for_owner(view, "otherwise_plain"));
    }
    if (const Node* where = view.optional("also_where")) {
      o.also_where = read_condition(view, *where);
    }
    o.jobs = view.optional_texts("jobs");
    each(view, "bars", [&](ObjectView& bar_view) {
      PlanBar bar;
      items_.read(bar_view, bar);
      if (const Node* when = bar_view.required("when")) {
        bar.when = read_condition(bar_view, *when);
      }
      bar.plain = closed(for_owner(bar_view, "plain"));
      o.bars.push_back(std::move(bar));
    });
    w_.options.push_back(std::move(o));
  }

  std::vector<JobLine> lines(ObjectView& view, std::string_view key, bool steps = false) {
    std::vector<JobLine> all;
    each(view, key, [&](ObjectView& inside) {
      JobLine line;
      items_.read(inside, line);
      if (steps) {
        line.stage = static_cast<JobStage>(
            inside.word("stage", {kStages.begin(), kStages.end()}).value_or(0));
      }
      if (const Node* text = inside.required("text")) {
        line.text = inside.text_at(*text);
        if (const std::string_view bad = plan::unknown_value(line.text); !bad.empty()) {
          inside.complain(*text, "no-such-name", fmt::format("names the value \"{}\"", bad),
                          joined(plan::line_values()));
        }
      }
      line.part = inside.optional_text("part");
      line.alone = inside.optional_flag("alone");
      if (const Node* when = inside.optional("when")) {
        line.when = read_condition(inside, *when);
      }
      all.push_back(std::move(line));
    });
    return all;
  }

  void job(ObjectView& view) {
    Job j;
    items_.read(view, j);
    j.title = view.text("title");
    if (const Node* work = view.optional("work")) {
      if (view.word_at(*work, {kTimedWorks.begin(), kTimedWorks.end()})) {
        j.work = view.text_at(*work);
      }
    }
    if (const Node* actions = view.required("actions")) {
      j.actions = view.optional_texts("actions");
      for (const std::string& id : j.actions) {
        if (!id.empty() && k_.action(id) == nullptr) {
          view.complain(*actions, "no-such-name", fmt::format("names the action \"{}\"", id),
                        joined(ids_of(k_.actions)), did_you_mean(id, ids_of(k_.actions)));
        }
      }
    }
    if (const Node* cautions = view.optional("cautions")) {
      j.cautions = view.optional_texts("cautions");
      for (const std::string& id : j.cautions) {
        if (!id.empty() &&
            std::ranges::find(k_.cautions, id, &CautionRule::id) == k_.cautions.end()) {
          view.complain(*cautions, "no-such-name", fmt::format("names the caution \"{}\"", id),
                        joined(ids_of(k_.cautions)), did_you_mean(id, ids_of(k_.cautions)));
        }
      }
    }
    j.opens = view.optional_flag("opens");
    each(view, "does", [&](ObjectView& did) {
      Work work;
      const auto word_of = [&](std::string_view key, Field field) {
        return did.word(key, ids_of(spec(field).choices));
      };
      if (const auto word = word_of("did", Field::work_did)) {
        work.did = static_cast<Did>(*word);
      }
      if (did.optional("material") != nullptr) {
        if (const auto word = word_of("material", Field::work_material)) {
          work.material = static_cast<Bearings>(*word);
        }
      }
      j.does.push_back(work);
    });
    if (const Node* looks = view.optional("looks")) {
      const Words words = names_of(findings());
      for (const std::string& word : view.optional_texts("looks")) {
        if (const auto finding = finding_named(word)) {
          j.looks.push_back(*finding);
        } else {
          view.complain(*looks, "no-such-name", fmt::format("names the finding \"{}\"", word),
                        joined(words), did_you_mean(word, words));
        }
      }
    }
    returns(view, j);
    j.scope = lines(view, "scope");
    j.warnings = lines(view, "warnings");
    j.parts = lines(view, "parts");
    j.steps = lines(view, "steps", true);
    j.renew = lines(view, "renew");
    j.inspect = lines(view, "inspect");
    j.checks = lines(view, "checks");
    w_.jobs.push_back(std::move(j));
  }

  // What is done and looked at is what closes its actions; else they would stay open for ever.
  void returns(ObjectView& view, const Job& job) {
    for (const std::string& id : job.actions) {
      const ActionRule* action = k_.action(id);
      if (action == nullptr) {
        continue;
      }
      const auto does = [&](Did did) {
        return std::ranges::find(job.does, did, &Work::did) != job.does.end();
      };
      const auto& [work, look] = action->closed_by;
      const bool closed =
          std::ranges::any_of(work,
                              [&](const auto& all) { return std::ranges::all_of(all, does); }) ||
          std::ranges::any_of(
              look, [&](Finding f) { return std::ranges::find(job.looks, f) != job.looks.end(); });
      if (!closed) {
        view.complain(view.node(), "never-closed",
                      fmt::format("does nothing that closes its action \"{}\"", id), "",
                      "see \"closed_by\" of that action: put its work into \"does\", or its "
                      "findings into \"looks\"");
      }
    }
  }

  void missing(const std::string& source, std::string message) {
    Diagnostic d;
    d.code = "missing";
    d.source = source;
    d.message = std::move(message);
    out_.push_back(std::move(d));
  }

  // What must be there, and what refers to something else.
  void whole(const std::string& source) {
    for (const std::string_view o : outlook_names()) {
      if (!seen_.contains(fmt::format("chances {}", o))) {
        missing(source, fmt::format("there are no chances for the outlook \"{}\"", o));
      }
    }
    for (const std::string_view t : kTimedWorks) {
      if (!seen_.contains(fmt::format("time {}", t))) {
        missing(source, fmt::format("there is no time for \"{}\"", t));
      }
    }
    for (std::string& role : roles_.missing()) {
      missing(source, std::move(role));
    }
    const auto refers = [&](const Item& item, std::string_view what, std::string_view id,
                            const Words& known) {
      if (std::ranges::find(known, id) == known.end()) {
        out_.push_back(no_such_name(item, what, id, known));
      }
    };
    for (const PlanOptionRule& o : w_.options) {
      for (const std::string& id : o.jobs) {
        refers(o, "job", id, ids_of(w_.jobs));
      }
      for (const std::string& id : o.actions) {
        refers(o, "action", id, ids_of(k_.actions));
      }
    }
  }

  const Knowledge& k_;
  ReservedWords never_;
  WorkRules w_;
  std::vector<Diagnostic> out_;
  ItemReader items_;
  RoleReader roles_{"option", {kOptionRoles.begin(), kOptionRoles.end()}};
  std::set<std::string, std::less<>> seen_;
};

}  // namespace

std::string_view name(TimedWork work) { return kTimedWorks[idx(work)]; }

const PlanOptionRule* WorkRules::option(std::string_view wanted) const {
  const auto found = std::ranges::find(options, wanted, &PlanOptionRule::id);
  return found == options.end() ? nullptr : &*found;
}
const PlanOptionRule& WorkRules::option(OptionRole wanted) const {
  const auto found = std::ranges::find(options, wanted, &PlanOptionRule::role);
  if (found == options.end()) {
    throw std::logic_error("no option has a role: the loader does not allow that");
  }
  return *found;
}
const Job* WorkRules::job(std::string_view wanted) const {
  const auto found = std::ranges::find(jobs, wanted, &Job::id);
  return found == jobs.end() ? nullptr : &*found;
}

Result<WorkRules> load_work(std::vector<NamedText> files, const Knowledge& knowledge) {
  return WorkLoader(knowledge).load(std::move(files));
}

}  // namespace dryshaft
