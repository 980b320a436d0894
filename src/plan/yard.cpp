// Which cores to open first, under a limit of hours or money.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/index.hpp"
#include "base/json_out.hpp"
#include "decide/wording.hpp"
#include "dryshaft/plan.hpp"
#include "plan/knapsack.hpp"
#include "plan/outcomes.hpp"
#include "plan/pages.hpp"
#include "plan/unit.hpp"
#include "report/csv_row.hpp"
#include "report/document.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

using document::Document;
using document::Heading;
using document::Paragraph;
using document::Table;

constexpr double kTenths = 10;
// Finer than this the limit is not divided: tenths of an hour up to 200 hours.
constexpr std::size_t kMostUnits = 2000;
constexpr double kLeastGain = 0.5;  // in money; less is not worth a line
constexpr std::size_t kChecksShown = 5;

struct Worth {
  double value = 0;
  double hours = 0;
  double money = 0;
};

class YardMaker {
 public:
  YardMaker(const std::vector<History>& histories, const Grader& grader, const WorkRules& work,
            const PriceBook& prices, const YardOptions& options)
      : k_(grader.knowledge()), model_(grader.model()), prices_(prices) {
    yard_.currency = prices.currency;
    yard_.limit = options;
    for (const History& h : histories) {
      units_.emplace_back(h, grader, work, options.today);
      YardUnit unit;
      unit.report = assess(h, k_, model_, {.today = options.today});
      yard_.units.push_back(std::move(unit));
    }
  }

  Yard yard() {
    for (std::size_t i = 0; i < units_.size(); ++i) {
      const Worth worth = worth_of(i, units_[i].facts(), units_[i].verdict().posterior);
      worth_.push_back(worth);
      YardUnit& unit = yard_.units[i];
      unit.value = worth.value;
      unit.hours = worth.hours;
      unit.money = worth.money;
      unit.damaged = plan::leaking_and_damaged(units_[i].verdict().posterior).second;
    }
    if (yard_.limit.hours || yard_.limit.money) {
      select();
    } else {
      for (YardUnit& unit : yard_.units) {
        unit.chosen = unit.value > 0;
      }
    }
    for (const YardUnit& unit : yard_.units) {
      if (unit.chosen) {
        yard_.value += unit.value;
        yard_.hours += unit.hours;
        yard_.money += unit.money;
      }
    }
    std::ranges::stable_sort(yard_.units, [](const YardUnit& a, const YardUnit& b) {
      if (a.chosen != b.chosen) {
        return a.chosen;
      }
      return a.value > b.value || (a.value == b.value && a.report.unit_id < b.report.unit_id);
    });
    return std::move(yard_);
  }

 private:
  [[nodiscard]] double price(PriceKind kind) const { return prices_.at(kind).mean(); }

  // Opened, rebuilt and sold, against sold as a core, which pays for an undamaged one.
  // One that is beyond repair takes the opening and brings nothing.
  [[nodiscard]] Worth worth_of(std::size_t i, const Facts& facts,
                               const Posterior& posterior) const {
    const plan::Unit& unit = units_[i];
    const OutlookChances& chances = unit.outlook(facts);
    const double damaged = plan::leaking_and_damaged(posterior).second;
    const double lost = damaged * chances.beyond_repair;
    const double major = (damaged - lost) * chances.major_parts;
    Worth w;
    w.hours = unit.hours(TimedWork::rebuild) + major * unit.hours(TimedWork::major_parts);
    w.money = (1 - lost) * (price(PriceKind::rebuild) + price(PriceKind::gear_bearings)) +
              major * price(PriceKind::major_parts);
    w.value = (1 - lost) * price(PriceKind::rebuilt_unit) - w.money -
              w.hours * price(PriceKind::hour) - (1 - damaged) * price(PriceKind::core);
    return w;
  }

  [[nodiscard]] std::size_t weight_of(const Worth& w) const {
    constexpr double kRounding = 1e-9;
    const double of = yard_.limit.hours ? w.hours : w.money;
    return static_cast<std::size_t>(std::ceil(of * per_unit_ - kRounding));
  }

  void select() {
    const double limit = yard_.limit.hours ? *yard_.limit.hours : *yard_.limit.money;
    per_unit_ = yard_.limit.hours ? kTenths : 1;
    if (limit * per_unit_ > static_cast<double>(kMostUnits)) {
      per_unit_ = static_cast<double>(kMostUnits) / limit;
    }
    std::vector<plan::Parcel> parcels;
    parcels.reserve(worth_.size());
    for (const Worth& w : worth_) {
      parcels.push_back({w.value, weight_of(w)});
    }
    const plan::Knapsack sack(std::move(parcels),
                              static_cast<std::size_t>(std::floor(limit * per_unit_ + 1e-9)));
    const std::vector<bool> taken = sack.taken();
    for (std::size_t i = 0; i < units_.size(); ++i) {
      yard_.units[i].chosen = taken[i];
      checks(i, sack);
    }
  }

  // What each check of a unit could add to the selection.
  void checks(std::size_t i, const plan::Knapsack& sack) {
    const double rest = sack.without(i, sack.limit());
    for (const ActionRule& action : k_.actions) {
      if (action.reveals.empty() || !holds(action.check_when, units_[i].facts())) {
        continue;
      }
      Case c = units_[i].as_case();
      const bool again = c.at(Situation::port_check) != idx(PortCheck::fresh);
      std::vector<Finding> open;
      for (const Finding f : action.reveals) {
        // A look at the port that has grown old is made anew.
        if (c.at(f) < 0 || (again && spec(f).at_port && c.at(f) == 0)) {
          open.push_back(f);
          c.set(f, -1);
        }
      }
      if (open.empty()) {
        continue;
      }
      if (std::ranges::find(open, Finding::port_fluid) != open.end()) {
        c.set(Situation::port_check, PortCheck::fresh);
      }
      const Prior& prior = units_[i].prior();
      double all = 0;
      double with = 0;
      plan::each_outcome(open, c, [&](const Case& seen) {
        const Posterior posterior = model_.infer(seen, prior);
        all += posterior.evidence;
        if (posterior.evidence <= 0) {
          return;
        }
        const Facts facts = facts_of(seen, judge(k_, model_, seen, posterior));
        const Worth w = worth_of(i, facts, posterior);
        const std::size_t heavy = weight_of(w);
        const double taken =
            heavy <= sack.limit() ? w.value + sack.without(i, sack.limit() - heavy) : 0;
        with += posterior.evidence * std::max(rest, taken);
      });
      with = all > 0 ? with / all : 0;
      YardUnit& unit = yard_.units[i];
      if (const double gain = with - sack.best(); gain > unit.check_gain) {
        unit.check_gain = gain;
        unit.check = action.id;
      }
    }
  }

  const Knowledge& k_;
  const Model& model_;
  const PriceBook& prices_;
  std::vector<plan::Unit> units_;
  std::vector<Worth> worth_;
  double per_unit_ = 1;
  Yard yard_;
};

// The unit whose check would add most, and so on.
std::vector<const YardUnit*> worth_checking(const Yard& yard) {
  std::vector<const YardUnit*> list;
  for (const YardUnit& u : yard.units) {
    if (u.check_gain >= kLeastGain) {
      list.push_back(&u);
    }
  }
  std::ranges::stable_sort(
      list, [](const YardUnit* a, const YardUnit* b) { return a->check_gain > b->check_gain; });
  return list;
}

Document describe_yard(const Yard& yard) {
  Document d;
  const std::string limit =
      yard.limit.hours
          ? fmt::format("{:g} hours", *yard.limit.hours)
          : (yard.limit.money
                 ? fmt::format("{} {}", words::grouped(*yard.limit.money), yard.currency)
                 : std::string("no limit"));
  d.emplace_back(document::Title{"Which cores to open", fmt::format("Limit: {}.", limit)});
  if (!yard.units.empty()) {
    document::add_reservations(d, yard.units.front().report);
  }
  const auto chosen =
      static_cast<std::size_t>(std::ranges::count(yard.units, true, &YardUnit::chosen));
  d.emplace_back(Paragraph{fmt::format(
      "{} of {}, worth {} {} in {:.0f} hours and {} {} of parts. A value is what opening, "
      "rebuilding and selling is expected to bring over selling the core as it is.",
      words::count(chosen, "unit", "units"), yard.units.size(),
      plan::amount(yard.value, plan::kWorkshopDigits), yard.currency, yard.hours,
      plan::amount(yard.money, plan::kWorkshopDigits), yard.currency)});
  d.emplace_back(Heading{"Cores"});
  Table table;
  table.columns = {{"open", Table::Fit::whole, false, false, 0},
                   {"gr", Table::Fit::whole, false, true, 0},
                   {"value", Table::Fit::whole, true, false, 0},
                   {"hours", Table::Fit::whole, true, false, 0},
                   {"parts", Table::Fit::whole, true, false, 0},
                   {"hurt", Table::Fit::whole, true, false, 0},
                   {"outlook", Table::Fit::whole, false, false, 0},
                   {"unit", Table::Fit::cut, false, false, 10, true}};
  for (const YardUnit& u : yard.units) {
    table.rows.push_back(
        {u.chosen ? "yes" : "no", std::string(name(u.report.grade)),
         plan::amount(u.value, plan::kWorkshopDigits), fmt::format("{:.1f}", u.hours),
         plan::amount(u.money, plan::kWorkshopDigits), words::short_percent(u.damaged),
         u.report.rebuild_outlook, u.report.unit_id});
  }
  d.emplace_back(std::move(table));
  d.emplace_back(Heading{"What single check would change most"});
  const std::vector<const YardUnit*> list = worth_checking(yard);
  if (list.empty()) {
    d.emplace_back(Paragraph{"No check of one unit changes the selection enough to pay."});
  }
  for (std::size_t i = 0; i < std::min(kChecksShown, list.size()); ++i) {
    d.emplace_back(document::Item{
        i + 1,
        fmt::format("{} of {}: adds {} {} to the selection on average, before its own cost",
                    list[i]->check, list[i]->report.unit_id,
                    plan::amount(list[i]->check_gain, plan::kWorkshopDigits), yard.currency),
        {}});
  }
  if (yard.rejected_records > 0 || !yard.rejected.empty()) {
    d.emplace_back(
        Heading{yard.rejected_records == 0
                    ? "Complaints about the input"
                    : fmt::format("Refused: {}", words::count(yard.rejected_records, "record",
                                                              "records", yard.rejected_at_least))});
    for (const Diagnostic& r : yard.rejected) {
      d.emplace_back(document::Verbatim{to_text(r)});
    }
  }
  return d;
}

}  // namespace

Yard make_yard(const std::vector<History>& histories, const Grader& grader, const WorkRules& work,
               const PriceBook& prices, const YardOptions& options) {
  return YardMaker(histories, grader, work, prices, options).yard();
}

std::string to_json(const Yard& yard) {
  using Ordered = nlohmann::ordered_json;
  const auto money = [](double value) { return words::rounded(value, 2); };
  Ordered json;
  json["format"] = kYardFormat;
  json["tool"] = {{"name", kToolName}, {"version", DRYSHAFT_VERSION}};
  if (!yard.units.empty() && !yard.units.front().report.rules_reservations.empty()) {
    json["rules"] = {{"reservations", yard.units.front().report.rules_reservations}};
  }
  json["currency"] = yard.currency;
  json["limit"] = {{"hours", yard.limit.hours ? Ordered(*yard.limit.hours) : Ordered(nullptr)},
                   {"money", yard.limit.money ? Ordered(*yard.limit.money) : Ordered(nullptr)}};
  json["chosen"] = {
      {"value", money(yard.value)}, {"hours", money(yard.hours)}, {"money", money(yard.money)}};
  json["units"] = Ordered::array();
  for (const YardUnit& u : yard.units) {
    json["units"].push_back({{"unit_id", u.report.unit_id},
                             {"source", u.report.source},
                             {"line", u.report.line},
                             {"grade", name(u.report.grade)},
                             {"rebuild_outlook", u.report.rebuild_outlook},
                             {"chosen", u.chosen},
                             {"value", money(u.value)},
                             {"hours", money(u.hours)},
                             {"money", money(u.money)},
                             {"damaged", words::rounded(u.damaged, words::kProbabilityDigits)},
                             {"best_check", u.check.empty() ? Ordered(nullptr) : Ordered(u.check)},
                             {"check_gain", money(u.check_gain)}});
  }
  json["rejected_records"] = yard.rejected_records;
  json["rejected"] = Ordered::array();
  for (const Diagnostic& d : yard.rejected) {
    json["rejected"].push_back(to_text(d));
  }
  return json_out::of(json) + "\n";
}

std::string to_csv(const Yard& yard) {
  std::string out;
  csv::Row head;
  for (const std::string_view column :
       {"unit_id", "grade", "rebuild_outlook", "chosen", "value", "hours", "money", "damaged",
        "best_check", "check_gain", "source", "line"}) {
    head.text(column);
  }
  out += head.end();
  for (const YardUnit& u : yard.units) {
    csv::Row row;
    row.text(u.report.unit_id)
        .text(name(u.report.grade))
        .text(u.report.rebuild_outlook)
        .text(u.chosen ? "yes" : "no")
        .number(u.value, 2)
        .number(u.hours, 2)
        .number(u.money, 2)
        .number(u.damaged, words::kProbabilityDigits)
        .text(u.check)
        .number(u.check_gain, 2)
        .text(u.report.source)
        .number(u.report.line, 0);
    out += row.end();
  }
  return out;
}

std::string yard_to_text(const Yard& yard, const TextStyle& style) {
  return document::in_text(describe_yard(yard), style);
}
std::string yard_to_markdown(const Yard& yard, Units /*units*/) {
  return document::in_markdown(describe_yard(yard));
}
std::string yard_to_html(const Yard& yard, Units /*units*/) {
  return plan::page("Which cores to open", {{"", describe_yard(yard)}});
}

}  // namespace dryshaft
