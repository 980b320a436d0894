// Changes as a document, and as a page.
#include <fmt/format.h>

#include <array>
#include <cmath>
#include <iterator>
#include <utility>

#include "decide/wording.hpp"
#include "dryshaft/compare.hpp"
#include "report/document.hpp"
#include "report/markup.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

using document::Table;

constexpr std::size_t kShaShown = 12;
constexpr std::array kWorstFirst = {Grade::D, Grade::C, Grade::U, Grade::B, Grade::A};

class Describer : private document::Telling {
 public:
  Describer(const Changes& changes, Units units) : c_(changes), units_(units) {}

  document::Document describe() {
    d_.emplace_back(document::Title{answer_of(c_), counts()});
    side("Before", c_.before);
    side("After", c_.after);
    if (c_.compared > 0) {
      grades();
    }
    units();
    lone("New", c_.came);
    lone("Gone", c_.gone);
    rules();
    heading("What counts");
    paragraph(fmt::format(
        "Listed is a unit whose grade, first action or dates moved, or whose risk moved by {} or "
        "more. The risk moved in {} by less, and alone. Grade U weighs as much as C.",
        points(kRiskNews), words::count(c_.little_moved, "unit", "units")));
    paragraph("Screening aid: a technician decides.");
    return take();
  }

  static std::string answer_of(const Changes& c) {
    if (c.units.empty() && c.came.empty() && c.gone.empty()) {
      return "Nothing moved";
    }
    return fmt::format("{}, {}", words::count(c.worse(), "grade worse", "grades worse"),
                       words::count(c.better(), "better", "better"));
  }

 private:
  // "5 percentage points"
  static std::string points(double risk) {
    return fmt::format("{:.0f} percentage points", risk * 100);
  }

  [[nodiscard]] std::string counts() const {
    std::size_t others = 0;
    for (const UnitChange& u : c_.units) {
      others += u.grade_moved() ? 0 : 1;
    }
    return fmt::format("{} compared; {} with another first action, date or risk; {} new, {} gone.",
                       words::count(c_.compared, "unit", "units"), others, c_.came.size(),
                       c_.gone.size());
  }

  void side(std::string_view label, const SideBasis& s) {
    std::vector<std::string> parts;
    if (!s.name.empty()) {
      parts.push_back(s.name);
    }
    if (!s.first_day.empty()) {
      parts.push_back(s.first_day == s.last_day
                          ? fmt::format("as of {}", s.first_day)
                          : fmt::format("as of {} to {}", s.first_day, s.last_day));
    }
    const auto hash = [&](std::string_view what, std::string_view sha256) {
      if (!sha256.empty()) {
        parts.push_back(fmt::format("{} {}", what, sha256.substr(0, kShaShown)));
      }
    };
    hash(s.rules.empty() ? "rules" : "rules " + s.rules + ",", s.rules_sha256);
    hash("overlay", s.overlay_sha256);
    hash("onset", s.onset_sha256);
    lead(label, fmt::format("{}.", fmt::join(parts, ", ")));
  }

  void grades() {
    heading("Grades before and after");
    Table table;
    table.columns.push_back({"before"});
    for (const Grade after : kWorstFirst) {
      table.columns.push_back({std::string(name(after)), Table::Fit::whole, true});
    }
    for (const Grade before : kWorstFirst) {
      std::vector<std::string> row = {std::string(name(before))};
      for (const Grade after : kWorstFirst) {
        const std::size_t n =
            c_.grades[static_cast<std::size_t>(before)][static_cast<std::size_t>(after)];
        row.push_back(n == 0 ? "-" : fmt::format("{}", n));
      }
      table.rows.push_back(std::move(row));
    }
    d_.emplace_back(std::move(table));
  }

  void units() {
    if (c_.units.empty()) {
      return;
    }
    heading("Worst change first");
    for (const UnitChange& u : c_.units) {
      document::Item item;
      item.text = head_of(u);
      if (u.action_moved) {
        item.below.push_back(
            fmt::format("Do first: {}, was {}.", asked(u.action_after), asked(u.action_before)));
      }
      dates(item.below, u);
      rules_of(item.below, u);
      for (const SaidOnce& s : u.said) {
        item.below.push_back(fmt::format("{}{}: {}", s.after ? "Now" : "No longer",
                                         s.rule.empty() ? "" : " " + s.rule, s.text));
      }
      if (!u.basis.empty()) {
        item.below.push_back(fmt::format("Other: {}.", fmt::join(u.basis, ", ")));
      }
      d_.emplace_back(std::move(item));
    }
  }

  static std::string head_of(const UnitChange& u) {
    const std::string risk = fmt::format("risk {}", words::percent(u.risk_after));
    const std::string was = words::percent(u.risk_before);
    const bool moved = was != words::percent(u.risk_after);
    return fmt::format("{}: {}; {}{}.", u.unit_id,
                       u.grade_moved()
                           ? fmt::format("{} to {}, {}", name(u.grade_before), name(u.grade_after),
                                         u.worse() > 0   ? "worse"
                                         : u.worse() < 0 ? "better"
                                                         : "as grave")
                           : fmt::format("grade {} as before", name(u.grade_after)),
                       risk, moved ? fmt::format(", was {}", was) : "");
  }

  [[nodiscard]] static std::string asked(const std::optional<Action>& action) {
    return action ? fmt::format("{} ({})", action->id, name(action->urgency)) : "nothing";
  }

  [[nodiscard]] std::string due(const std::optional<Due>& d) const {
    if (!d) {
      return "not asked for";
    }
    std::vector<std::string> parts;
    if (!d->due_date.empty()) {
      parts.push_back(d->due_date);
    }
    if (d->due_km) {
      parts.push_back(fmt::format("at {}", words::distance(*d->due_km, units_)));
    }
    if (d->overdue) {
      parts.emplace_back("overdue");
    }
    return parts.empty() ? "at once" : fmt::format("{}", fmt::join(parts, ", "));
  }

  void dates(std::vector<std::string>& out, const UnitChange& u) const {
    for (const DueChange& d : u.dates) {
      out.push_back(fmt::format("Due: {}: {}; was {}.", d.action, due(d.after), due(d.before)));
    }
  }

  void rules_of(std::vector<std::string>& out, const UnitChange& u) const {
    for (const RuleEffect& e : u.rules) {
      const RuleChange& r = c_.rules[e.rule];
      std::vector<std::string_view> does;
      if (e.action) {
        does.emplace_back("moves the first action");
      }
      if (e.dates) {
        does.emplace_back("moves dates");
      }
      const std::string grade = e.grade ? fmt::format("gives {}", name(*e.grade)) : "";
      out.push_back(fmt::format("By {} {} ({}) alone: {}{}{}.", r.kind, r.id, r.change, grade,
                                !grade.empty() && !does.empty() ? ", " : "",
                                fmt::join(does, ", ")));
    }
    if (u.together) {
      out.emplace_back("No change alone gives this grade: several do together.");
    }
  }

  void lone(std::string_view title, const std::vector<LoneUnit>& units) {
    if (units.empty()) {
      return;
    }
    heading(fmt::format("{}: {}", title, words::count(units.size(), "unit", "units")));
    for (const LoneUnit& u : units) {
      item(fmt::format("{}, grade {}", u.unit_id, name(u.grade)));
    }
  }

  void rules() {
    if (c_.rules.empty()) {
      return;
    }
    heading("What differs between the two");
    for (std::size_t i = 0; i < c_.rules.size(); ++i) {
      std::size_t moved = 0;
      for (const UnitChange& u : c_.units) {
        for (const RuleEffect& e : u.rules) {
          moved += e.rule == i ? 1 : 0;
        }
      }
      const RuleChange& r = c_.rules[i];
      item(fmt::format("{} {}: {}; alone it moves {}", sentence_case(r.kind), r.id, r.change,
                       words::count(moved, "unit", "units")));
    }
  }

  const Changes& c_;
  Units units_;
};

}  // namespace

std::string changes_to_text(const Changes& changes, const TextStyle& style) {
  return document::in_text(Describer(changes, style.units).describe(), style);
}

std::string changes_to_markdown(const Changes& changes, Units units) {
  return document::in_markdown(Describer(changes, units).describe());
}

std::string changes_to_html(const Changes& changes, Units units) {
  return markup::whole(
      {.title = Describer::answer_of(changes),
       .style = {},
       .body = "<main>\n" + document::in_html(Describer(changes, units).describe()) + "</main>\n",
       .script = {},
       .data = {}});
}

}  // namespace dryshaft
