// `dryshaft-comparison/1`: one object, one line; and a table.
#include "base/json_out.hpp"
#include "dryshaft/compare.hpp"
#include "report/csv_row.hpp"
#include "report/ordered_json.hpp"

namespace dryshaft {
namespace {

using words::Ordered;
using words::text_or_null;

Ordered of_km(const std::optional<double>& km) {
  return km ? words::number_or_null(*km, 0) : Ordered(nullptr);
}

Ordered of_side(const SideBasis& s) {
  return {{"name", text_or_null(s.name)},
          {"units", s.units},
          {"as_of", {{"first", text_or_null(s.first_day)}, {"last", text_or_null(s.last_day)}}},
          {"rules", text_or_null(s.rules)},
          {"rules_sha256", text_or_null(s.rules_sha256)},
          {"overlay_sha256", text_or_null(s.overlay_sha256)},
          {"onset_sha256", text_or_null(s.onset_sha256)}};
}

Ordered of_action(const std::optional<Action>& a) {
  if (!a) {
    return nullptr;
  }
  return {{"id", a->id},
          {"urgency", name(a->urgency)},
          {"within_km", of_km(a->within_km)},
          {"within_days", of_km(a->within_days)}};
}

Ordered of_due(const std::optional<Due>& d) {
  if (!d) {
    return nullptr;
  }
  return {{"due_date", text_or_null(d->due_date)},
          {"due_km", of_km(d->due_km)},
          {"overdue", d->overdue}};
}

Ordered of_rule(const RuleChange& r) {
  return {{"kind", r.kind}, {"id", r.id}, {"change", r.change}};
}

Ordered of_unit(const UnitChange& u, const Changes& changes) {
  Ordered json;
  json["unit_id"] = u.unit_id;
  json["grade"] = {{"before", name(u.grade_before)}, {"after", name(u.grade_after)}};
  json["worse"] = u.worse();
  json["risk"] = {{"before", u.risk_before}, {"after", u.risk_after}};
  json["first_action"] = {{"moved", u.action_moved},
                          {"before", of_action(u.action_before)},
                          {"after", of_action(u.action_after)}};
  json["due"] = Ordered::array();
  for (const DueChange& d : u.dates) {
    json["due"].push_back(
        {{"action", d.action}, {"before", of_due(d.before)}, {"after", of_due(d.after)}});
  }
  json["said"] = Ordered::array();
  for (const SaidOnce& s : u.said) {
    json["said"].push_back({{"change", s.after ? "came" : "went"},
                            {"rule", text_or_null(s.rule)},
                            {"because", s.text}});
  }
  json["basis"] = u.basis;
  json["rules"] = Ordered::array();
  for (const RuleEffect& e : u.rules) {
    Ordered rule = of_rule(changes.rules[e.rule]);
    rule["grade"] = e.grade ? Ordered(name(*e.grade)) : Ordered(nullptr);
    rule["first_action"] = e.action;
    rule["due"] = e.dates;
    json["rules"].push_back(std::move(rule));
  }
  json["together"] = u.together;
  return json;
}

Ordered of_lone(const std::vector<LoneUnit>& units) {
  Ordered json = Ordered::array();
  for (const LoneUnit& u : units) {
    json.push_back({{"unit_id", u.unit_id}, {"grade", name(u.grade)}});
  }
  return json;
}

}  // namespace

std::string changes_to_json(const Changes& changes) {
  Ordered json;
  json["format"] = kComparisonFormat;
  json["tool"] = {{"name", kToolName}, {"version", DRYSHAFT_VERSION}};
  json["before"] = of_side(changes.before);
  json["after"] = of_side(changes.after);
  json["compared"] = changes.compared;
  json["worse"] = changes.worse();
  json["better"] = changes.better();
  for (std::size_t b = 0; b < kGradeCount; ++b) {
    for (std::size_t a = 0; a < kGradeCount; ++a) {
      json["grades"][std::string(name(static_cast<Grade>(b)))]
          [std::string(name(static_cast<Grade>(a)))] = changes.grades[b][a];
    }
  }
  json["units"] = Ordered::array();
  for (const UnitChange& u : changes.units) {
    json["units"].push_back(of_unit(u, changes));
  }
  json["risk_news"] = kRiskNews;
  json["little_moved"] = changes.little_moved;
  json["gone"] = of_lone(changes.gone);
  json["came"] = of_lone(changes.came);
  json["rules"] = Ordered::array();
  for (const RuleChange& r : changes.rules) {
    json["rules"].push_back(of_rule(r));
  }
  return json_out::of(json) + "\n";
}

std::string changes_to_csv(const Changes& changes) {
  csv::Row row;
  for (const std::string_view column :
       {"unit_id", "change", "grade_before", "grade_after", "risk_before", "risk_after",
        "first_action_before", "first_action_after", "urgency_before", "urgency_after", "due_moved",
        "rules", "basis"}) {
    row.text(column);
  }
  std::string out = row.end();
  const auto id = [](const std::optional<Action>& a) { return a ? std::string_view(a->id) : ""; };
  const auto urgency = [](const std::optional<Action>& a) { return a ? name(a->urgency) : ""; };
  for (const UnitChange& u : changes.units) {
    std::vector<std::string_view> due;
    for (const DueChange& d : u.dates) {
      due.emplace_back(d.action);
    }
    std::vector<std::string_view> rules;
    for (const RuleEffect& e : u.rules) {
      rules.emplace_back(changes.rules[e.rule].id);
    }
    csv::Row r;
    out += r.text(u.unit_id)
               .text(u.worse() > 0     ? "worse"
                     : u.worse() < 0   ? "better"
                     : u.grade_moved() ? "as-grave"
                                       : "same-grade")
               .text(name(u.grade_before))
               .text(name(u.grade_after))
               .number(u.risk_before, words::kProbabilityDigits)
               .number(u.risk_after, words::kProbabilityDigits)
               .text(id(u.action_before))
               .text(id(u.action_after))
               .text(urgency(u.action_before))
               .text(urgency(u.action_after))
               .text(fmt::format("{}", fmt::join(due, " ")))
               .text(fmt::format("{}", fmt::join(rules, " ")))
               .text(fmt::format("{}", fmt::join(u.basis, " ")))
               .end();
  }
  const auto add_lone = [&](const std::vector<LoneUnit>& units, bool came) {
    for (const LoneUnit& u : units) {
      csv::Row r;
      r.text(u.unit_id).text(came ? "new" : "gone");
      r.text(came ? "" : name(u.grade)).text(came ? name(u.grade) : "");
      for (int blank = 0; blank < 9; ++blank) {
        r.text("");
      }
      out += r.end();
    }
  };
  add_lone(changes.came, true);
  add_lone(changes.gone, false);
  return out;
}

}  // namespace dryshaft
