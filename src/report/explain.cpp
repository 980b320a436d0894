// A verdict traced from field to sentence: every step names its rule and where
// that rule is written.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "dryshaft/knowledge.hpp"
#include "dryshaft/report.hpp"
#include "report/layout.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

class Trace {
 public:
  Trace(const Report& r, const Knowledge& k, std::size_t width) : r_(r), k_(k), width_(width) {}

  std::string text() {
    head("From record to findings");
    for (const Observation& o : r_.observed) {
      const FindingSpec& f = spec(*finding_named(o.finding));
      std::vector<std::string_view> from;
      for (const Field field : f.from) {
        from.push_back(spec(field).pointer);
      }
      step(fmt::format("{} is {}", o.finding, o.value),
           fmt::format("from {}{}", fmt::join(from, ", "),
                       o.since.empty() ? "" : ", carried over from " + o.since));
    }
    head("From findings to causes");
    for (const CauseReport& c : r_.causes) {
      cause(c);
    }
    head("From findings to the grade");
    for (const FloorHeld& held : r_.floors) {
      const Floor* floor = find(k_.floors, held.rule);
      step(fmt::format("{}: at least {}", at(floor), name(held.grade)),
           floor == nullptr ? "" : "because " + describe(floor->when));
    }
    for (const std::string& reason : r_.reasons) {
      step("verdict", reason);
    }
    step(fmt::format("grade {}, {}", name(r_.grade),
                     at(&k_.grades[static_cast<std::size_t>(r_.grade)])),
         fmt::format("risk {}", words::percent(r_.risk)));
    head("From the grade to what to do");
    for (const Action& a : r_.actions) {
      const Advice* advice = find(k_.advice, a.rule);
      if (const ContradictionRule* rule = find(k_.contradictions, a.rule);
          advice == nullptr && rule != nullptr && rule->ask) {
        step(fmt::format("{} by {}", a.id, at(rule)), "because the records contradict each other");
        continue;
      }
      const bool companion = advice != nullptr && advice->action != a.id;
      step(fmt::format("{} by {}", a.id, at(advice)),
           advice == nullptr
               ? ""
               : fmt::format("because {}{}", describe(advice->when),
                             companion ? fmt::format("; it comes with {}", advice->action) : ""));
      if (const ActionRule* action = find(k_.actions, a.id);
          action != nullptr && !action->cautions.empty() && r_.audience == Audience::technician) {
        step(fmt::format("  {}", at(action)),
             fmt::format("needs the cautions {}", fmt::join(action->cautions, ", ")));
      }
    }
    return std::move(out_);
  }

 private:
  template <typename Items>
  static auto find(const Items& items, std::string_view id) -> const typename Items::value_type* {
    const auto found =
        std::ranges::find(items, id, [](const auto& i) -> std::string_view { return i.id; });
    return found == items.end() ? nullptr : &*found;
  }

  static std::string at(const Item* item) {
    return item == nullptr ? std::string("a rule that is gone")
                           : fmt::format("{} ({}:{})", item->id, item->file, item->line);
  }

  [[nodiscard]] const Item* carrier(std::string_view rule) const {
    if (const Link* link = find(k_.links, rule)) {
      return link;
    }
    return find(k_.backgrounds, rule);
  }

  void cause(const CauseReport& c) {
    step(fmt::format("{} {}", c.id, words::percent(c.probability)),
         fmt::format("prior in {}", at(find(k_.causes, c.id))));
    for (const auto* side : {&c.for_it, &c.against_it}) {
      for (const Evidence& e : *side) {
        if (e.finding == kEarlierLook) {
          step(fmt::format("  {:+.1f} dB {}", e.decibans, e.shown), "by the process since then");
        } else {
          step(fmt::format("  {:+.1f} dB {} is {}", e.decibans, e.finding, e.value),
               fmt::format("by {}", at(carrier(e.rule))));
        }
      }
    }
  }

  void head(std::string_view text) { out_ += fmt::format("\n{}\n", text); }

  void step(std::string_view what, std::string_view why) {
    const std::size_t own = what.find_first_not_of(' ') + 2;
    const std::size_t hang = own + 4;
    bool first = true;
    for (const std::string& line :
         layout::wrap(layout::clean(what.substr(own - 2)), width_ - hang)) {
      out_ += std::string(first ? own : hang, ' ') + line + "\n";
      first = false;
    }
    for (const std::string& line : layout::wrap(layout::clean(why), width_ - hang)) {
      out_ += std::string(hang, ' ') + line + "\n";
    }
  }

  const Report& r_;
  const Knowledge& k_;
  std::size_t width_;
  std::string out_;
};

}  // namespace

std::string explain(const Report& report, const Knowledge& knowledge, std::size_t width) {
  return Trace(report, knowledge, width).text();
}

}  // namespace dryshaft
