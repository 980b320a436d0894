// `dryshaft-plan/1`: one object, one line.

#include <utility>

#include "base/index.hpp"
#include "base/json_out.hpp"
#include "dryshaft/plan.hpp"
#include "report/ordered_json.hpp"

namespace dryshaft {
namespace {

using words::number_or_null;
using words::Ordered;
using words::text_or_null;

constexpr int kMoneyDigits = 2;
constexpr int kKmDigits = 1;

Ordered money(double value) { return number_or_null(value, kMoneyDigits); }
Ordered chance(double value) { return number_or_null(value, words::kProbabilityDigits); }

Ordered of_cost(const PlanCost& c) {
  Ordered json;
  json["expected"] = money(c.expected);
  json["low_10"] = money(c.low);
  json["high_90"] = money(c.high);
  json["chance_lost"] = chance(c.chance_lost);
  json["interval_km"] = c.interval_km ? number_or_null(*c.interval_km, kKmDigits) : nullptr;
  json["interval_days"] = c.interval_days ? number_or_null(*c.interval_days, 0) : nullptr;
  json["then_if_clean"] = text_or_null(c.then_if_clean);
  json["variant"] = text_or_null(c.variant);
  json["spending"] = Ordered::object();
  for (std::size_t i = 0; i < kSpendingCount; ++i) {
    json["spending"][std::string(spending_name(i))] = money(c.spending[i]);
  }
  json["first_bill"] = {{"low", money(c.bill_low)}, {"high", money(c.bill_high)}};
  json["at_least"] = money(c.at_least);
  json["on_coarser_grid"] = money(c.coarser);
  return json;
}

Ordered of_option(const PlanOption& o) {
  Ordered json;
  json["id"] = o.id;
  json["title"] = o.title;
  json["allowed"] = o.allowed;
  json["because"] = Ordered::array();
  for (const PlanReason& r : o.barred) {
    json["because"].push_back({{"rule", r.id}, {"text", r.text}});
  }
  json["cost"] = o.cost ? of_cost(*o.cost) : Ordered(nullptr);
  return json;
}

// One that is compared with no other.
Ordered of_beside(PlanOption o) {
  const std::optional<PlanCost> cost = std::exchange(o.cost, std::nullopt);
  Ordered json = of_option(o);
  if (cost) {
    json["cost"] = {
        {"expected", money(cost->expected)},
        {"first_bill", {{"low", money(cost->bill_low)}, {"high", money(cost->bill_high)}}}};
  }
  return json;
}

Ordered of_first(const PlanFirst& first) {
  const Action& a = first.action;
  const bool timed = first.minutes > 0;
  return {{"id", a.id},
          {"text", a.text},
          {"looks", first.looks},
          {"minutes", timed ? Ordered(first.minutes) : Ordered(nullptr)},
          {"cost", timed ? money(first.cost) : Ordered(nullptr)},
          {"within_km", a.within_km ? number_or_null(*a.within_km, kKmDigits) : nullptr},
          {"within_days", a.within_days ? number_or_null(*a.within_days, kKmDigits) : nullptr},
          {"due_km", a.due_km ? number_or_null(*a.due_km, kKmDigits) : nullptr},
          {"due_date", text_or_null(a.due_date)},
          {"overdue", a.overdue}};
}

Ordered of_comparison(const Plan& p) {
  if (p.options.size() < 2 || !p.options[1].cost) {
    return nullptr;
  }
  Ordered json;
  json["best"] = p.options[0].id;
  json["second"] = p.options[1].id;
  json["difference"] = money(p.difference);
  json["judgement"] = money(p.judgement);
  json["close"] = p.close;
  json["sources"] = Ordered::array();
  for (const auto& [spending, amount] : p.sources) {
    json["sources"].push_back({{"spending", spending}, {"difference", money(amount)}});
  }
  json["swings"] = Ordered::array();
  for (const PlanSwing& s : p.swings) {
    json["swings"].push_back({{"id", s.id},
                              {"title", s.title},
                              {"kind", s.is_price ? "price" : "judgement"},
                              {"difference_low", money(s.difference_low)},
                              {"difference_high", money(s.difference_high)}});
  }
  json["thresholds"] = Ordered::array();
  for (const PlanThreshold& t : p.thresholds) {
    const int digits = t.is_price ? kMoneyDigits : words::kProbabilityDigits;
    json["thresholds"].push_back({{"id", t.id},
                                  {"title", t.title},
                                  {"kind", t.is_price ? "price" : "probability"},
                                  {"now", number_or_null(t.now, digits)},
                                  {"second_wins", t.below ? "below" : "above"},
                                  {"at", number_or_null(t.at, digits)},
                                  {"verified", t.verified}});
  }
  return json;
}

}  // namespace

std::string to_json(const Plan& p) {
  const Report& r = p.report;
  Ordered json;
  json["format"] = kPlanFormat;
  json["tool"] = {{"name", kToolName}, {"version", r.tool_version}};
  json["as_of"] = r.as_of;
  json["rules"] = {{"id", r.rules_id}, {"version", r.rules_version}, {"sha256", r.rules_sha256}};
  if (!r.rules_reservations.empty()) {
    json["rules"]["reservations"] = r.rules_reservations;
  }
  if (r.rules_overlay) {
    json["rules"]["overlay"] = {{"sha256", r.rules_overlay->sha256},
                                {"teardowns", r.rules_overlay->teardowns}};
  }
  if (r.onset) {
    json["onset"] = {{"source", r.onset->source},
                     {"sha256", r.onset->sha256},
                     {"units", r.onset->units},
                     {"by", r.onset->by_years ? "years" : "km"}};
  }
  json["family"] = {{"id", r.family}, {"sha256", r.family_sha256}};
  json["record"] = {{"source", r.source}, {"line", r.line}, {"sha256", r.record_sha256}};
  json["records_sha256"] = r.records_sha256;
  json["prices"] = {{"source", p.prices_source}, {"sha256", p.prices_sha256}};
  json["currency"] = p.currency;
  json["unit_id"] = r.unit_id;
  json["date"] = r.date;
  json["grade"] = name(r.grade);
  json["rebuild_outlook"] = r.rebuild_outlook;
  json["horizon"] = {{"km", number_or_null(p.horizon_km, kKmDigits)},
                     {"years", number_or_null(p.horizon_km / p.km_per_year, 2)}};
  json["now"] = {
      {"dry", chance(p.dry)}, {"leaking", chance(p.leaking)}, {"damaged", chance(p.damaged)}};
  json["if_nothing_is_done"] = {{"broken_down", p.stands},
                                {"chance_lost", chance(p.lost_if_nothing)}};
  json["first"] = Ordered::array();
  for (const PlanFirst& first : p.first) {
    json["first"].push_back(of_first(first));
  }
  json["options"] = Ordered::array();
  for (const PlanOption& o : p.options) {
    json["options"].push_back(of_option(o));
  }
  json["beside"] = Ordered::array();
  for (const PlanOption& o : p.beside) {
    json["beside"].push_back(of_beside(o));
  }
  json["best"] = p.options.empty() || !p.options.front().allowed ? Ordered(nullptr)
                                                                 : Ordered(p.options.front().id);
  json["comparison"] = of_comparison(p);
  json["grid"] = {{"step_km", number_or_null(p.step_km, kKmDigits)}, {"beliefs", p.beliefs}};
  json["lives"] = p.lives;
  json["cautions"] = Ordered::array();
  for (const Caution& c : p.cautions) {
    json["cautions"].push_back({{"id", c.id}, {"text", c.text}});
  }
  // All but plain ASCII is escaped, so that a hostile name is harmless on a terminal.
  return json_out::of(json) + "\n";
}

}  // namespace dryshaft
