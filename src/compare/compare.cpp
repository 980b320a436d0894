#include "dryshaft/compare.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>
#include <utility>

#include "compare/trials.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

double printed(double risk) { return words::rounded(risk, words::kProbabilityDigits); }

// As printed: a report that was kept has no more digits.
bool same_due(const Due& a, const Due& b) {
  const auto km = [](const Due& d) { return d.due_km ? words::rounded(*d.due_km, 0) : -1; };
  return a.due_date == b.due_date && a.overdue == b.overdue && km(a) == km(b);
}

std::vector<DueChange> dates_moved(const Report& before, const Report& after) {
  std::vector<DueChange> out;
  const auto of = [](const Report& r, std::string_view action) {
    const auto found = std::ranges::find(r.due, action, &Due::action);
    return found == r.due.end() ? std::nullopt : std::optional<Due>(*found);
  };
  for (const Due& now : after.due) {
    std::optional<Due> then = of(before, now.action);
    if (!then || !same_due(*then, now)) {
      out.push_back({now.action, std::move(then), now});
    }
  }
  for (const Due& then : before.due) {
    if (!of(after, then.action)) {
      out.push_back({then.action, then, std::nullopt});
    }
  }
  return out;
}

// What `from` says and `other` does not.
void add_said(std::vector<SaidOnce>& out, const Report& from, const Report& other, bool after) {
  for (const FloorHeld& f : from.floors) {
    if (std::ranges::none_of(other.floors, [&](const FloorHeld& o) {
          return o.rule == f.rule && o.grade == f.grade;
        })) {
      out.push_back({after, f.rule, f.because});
    }
  }
  for (const std::string& reason : from.reasons) {
    if (std::ranges::find(other.reasons, reason) == other.reasons.end()) {
      out.push_back({after, "", reason});
    }
  }
  for (const Action& a : from.actions) {
    if (std::ranges::none_of(other.actions,
                             [&](const Action& o) { return o.id == a.id && o.rule == a.rule; })) {
      out.push_back({after, a.rule, a.because});
    }
  }
}

std::vector<std::string_view> basis_moved(const Report& a, const Report& b) {
  std::vector<std::string_view> out;
  // A report of an older program does not say all of it.
  const auto differ = [&](std::string_view what, std::string_view x, std::string_view y) {
    if (!x.empty() && !y.empty() && x != y) {
      out.push_back(what);
    }
  };
  const auto given = [](const auto& part) {
    return part ? std::string_view(part->sha256) : std::string_view("none");
  };
  differ("records", a.records_sha256, b.records_sha256);
  differ("day", a.as_of, b.as_of);
  differ("rules", a.rules_sha256, b.rules_sha256);
  differ("overlay", given(a.rules_overlay), given(b.rules_overlay));
  differ("family", a.family_sha256, b.family_sha256);
  differ("onset", given(a.onset), given(b.onset));
  return out;
}

std::optional<Action> first_action(const Report& r) {
  return r.actions.empty() ? std::nullopt : std::optional<Action>(r.actions.front());
}

SideBasis basis_of(const std::vector<Report>& reports) {
  SideBasis out;
  out.units = reports.size();
  const auto agree = [&](std::string& into, std::string_view said) {
    if (into.empty()) {
      into = said;
    } else if (into != said) {
      into = "several";
    }
  };
  for (const Report& r : reports) {
    if (!r.as_of.empty()) {
      out.first_day = out.first_day.empty() ? r.as_of : std::min(out.first_day, r.as_of);
      out.last_day = std::max(out.last_day, r.as_of);
    }
    agree(out.rules, r.rules_id.empty() ? std::string() : r.rules_id + " " + r.rules_version);
    agree(out.rules_sha256, r.rules_sha256);
    agree(out.overlay_sha256, r.rules_overlay ? r.rules_overlay->sha256 : std::string());
    agree(out.onset_sha256, r.onset ? r.onset->sha256 : std::string());
  }
  return out;
}

// Urgencies are counted from the most urgent; none is the least.
int urgency_of(const std::optional<Action>& action) {
  return action ? static_cast<int>(action->urgency) : static_cast<int>(kUrgencyCount);
}

auto worst_first(const UnitChange& c) {
  return std::tuple(-c.worse(), c.grade_moved() ? -severity(c.grade_after) : 1,
                    urgency_of(c.action_after) - urgency_of(c.action_before),
                    c.action_moved ? 0 : 1, c.dates.empty() ? 1 : 0, -c.risk_moved(),
                    std::string_view(c.unit_id));
}

}  // namespace

std::size_t Changes::worse() const {
  return static_cast<std::size_t>(
      std::ranges::count_if(units, [](const UnitChange& c) { return c.worse() > 0; }));
}

std::size_t Changes::better() const {
  return static_cast<std::size_t>(
      std::ranges::count_if(units, [](const UnitChange& c) { return c.worse() < 0; }));
}

bool Changes::fails() const {
  return worse() > 0 || std::ranges::any_of(came, [](const LoneUnit& u) {
           return severity(u.grade) >= severity(Grade::C);
         });
}

UnitChange change_of(const Report& before, const Report& after) {
  UnitChange c;
  c.unit_id = after.unit_id;
  c.grade_before = before.grade;
  c.grade_after = after.grade;
  c.risk_before = printed(before.risk);
  c.risk_after = printed(after.risk);
  c.action_before = first_action(before);
  c.action_after = first_action(after);
  c.action_moved = c.action_before.has_value() != c.action_after.has_value() ||
                   (c.action_before && (c.action_before->id != c.action_after->id ||
                                        c.action_before->urgency != c.action_after->urgency));
  c.dates = dates_moved(before, after);
  if (c.grade_moved() || c.action_moved || !c.dates.empty()) {
    add_said(c.said, after, before, true);
    add_said(c.said, before, after, false);
  }
  c.basis = basis_moved(before, after);
  return c;
}

Changes compare(const std::vector<Report>& before, const std::vector<Report>& after) {
  Changes out;
  out.before = basis_of(before);
  out.after = basis_of(after);
  std::map<std::string_view, const Report*> left;
  for (const Report& r : before) {
    left.emplace(r.unit_id, &r);
  }
  for (const Report& r : after) {
    const auto found = left.find(r.unit_id);
    if (found == left.end()) {
      out.came.push_back({r.unit_id, r.grade});
      continue;
    }
    ++out.compared;
    ++out.grades[static_cast<std::size_t>(found->second->grade)][static_cast<std::size_t>(r.grade)];
    UnitChange c = change_of(*found->second, r);
    left.erase(found);
    if (c.grade_moved() || c.action_moved || !c.dates.empty() ||
        std::abs(printed(c.risk_moved())) >= kRiskNews) {
      out.units.push_back(std::move(c));
    } else if (c.risk_moved() != 0) {
      ++out.little_moved;
    }
  }
  for (const auto& [id, r] : left) {
    out.gone.push_back({std::string(id), r->grade});
  }
  std::ranges::sort(out.came, {}, &LoneUnit::unit_id);
  std::ranges::sort(out.units, [](const UnitChange& a, const UnitChange& b) {
    return worst_first(a) < worst_first(b);
  });
  return out;
}

Changes compare(const std::vector<History>& units, const Side& before, const Side& after,
                const std::function<void(std::size_t done, std::size_t of)>& told) {
  const auto knows = [](const Side& side, std::string_view family) {
    const std::vector<Family>& known = side.grader.knowledge().families;
    return family.empty() || std::ranges::find(known, family, &Family::id) != known.end();
  };
  std::vector<Report> was;
  std::vector<Report> is;
  std::size_t done = 0;
  for (const auto& [side, reports] : {std::pair(&before, &was), std::pair(&after, &is)}) {
    for (const History& unit : units) {
      if (std::ranges::all_of(unit.records,
                              [&, on = side](const Record& r) { return knows(*on, r.family); })) {
        reports->push_back(side->grader.report(unit, side->options));
      }
      if (told) {
        told(++done, 2 * units.size());
      }
    }
  }
  Changes out = compare(was, is);
  out.before.name = before.name;
  out.after.name = after.name;
  try_changes(out, units, before, after, was);
  return out;
}

}  // namespace dryshaft
