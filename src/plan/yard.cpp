// Which cores to open first, under a limit of hours or money.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numeric>
#include <tuple>

#include "base/draw.hpp"
#include "base/index.hpp"
#include "base/json_out.hpp"
#include "base/odds.hpp"
#include "base/sentence.hpp"
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

constexpr std::size_t kDraws = 200;  // of what checks find

// What a unit is worth depends on, beside the prices.
struct State {
  double damaged = 0;
  double major = 0;  // of damaged ones that can be rebuilt
  double lost = 0;   // of damaged ones
  double again = 0;  // of rebuilt ones, that leak again too soon
  bool sound = false;
};

struct Worth {
  double value = 0;
  double hours = 0;
  double money = 0;
};

// What a check may find, and what the unit is worth then.
struct Found {
  double chance = 0;
  Worth worth;
};

// By how much a value moves.
struct Reach {
  double state = 0;  // squares of what the unit's own judgement moves, summed
  std::array<std::array<double, 2>, kPriceCount> price{};  // by the low end and by the high one

  // What both share moves both.
  [[nodiscard]] static double apart(const Reach& a, const Reach& b) {
    double squares = a.state + b.state;
    for (std::size_t p = 0; p < kPriceCount; ++p) {
      const double most = std::max(std::abs(a.price[p][0] - b.price[p][0]),
                                   std::abs(a.price[p][1] - b.price[p][1]));
      squares += most * most;
    }
    return std::sqrt(squares);
  }
};

class YardMaker {
 public:
  YardMaker(const std::vector<History>& histories, const Grader& grader, const WorkRules& work,
            const PriceBook& prices, const YardOptions& options)
      : k_(grader.knowledge()), model_(grader.model()), prices_(prices) {
    yard_.currency = prices.currency;
    yard_.limit = options;
    std::ranges::transform(prices.price, means_.begin(), &Price::mean);
    for (const History& h : histories) {
      YardUnit unit;
      unit.report = assess(h, k_, model_, {.today = options.today});
      if (unit.report.left) {
        ++yard_.left;
        continue;
      }
      units_.emplace_back(h, grader, work, options.today);
      comes_back_.push_back(units_.back().comes_back());
      yard_.units.push_back(std::move(unit));
    }
  }

  Yard yard() {
    for (std::size_t i = 0; i < units_.size(); ++i) {
      const State state = state_of(i, units_[i].facts(), units_[i].verdict().posterior);
      const Worth worth = worth_of(i, state, means_);
      worth_.push_back(worth);
      YardUnit& unit = yard_.units[i];
      unit.value = worth.value;
      unit.hours = worth.hours;
      unit.money = worth.money;
      unit.per_unit = rate_of(worth);
      unit.spread = Reach::apart(reach(i, state, &Worth::value), {});
      unit.damaged = state.damaged;
      reach_.push_back(reach(i, state, nullptr));
    }
    ranks();
    select();
    for (const YardUnit& unit : yard_.units) {
      if (unit.chosen) {
        yard_.value += unit.value;
        yard_.hours += unit.hours;
        yard_.money += unit.money;
      }
    }
    std::ranges::stable_sort(yard_.units, [](const YardUnit& a, const YardUnit& b) {
      return std::tuple(!a.chosen, -a.per_unit, std::string_view(a.report.unit_id)) <
             std::tuple(!b.chosen, -b.per_unit, std::string_view(b.report.unit_id));
    });
    return std::move(yard_);
  }

 private:
  [[nodiscard]] bool limited() const { return yard_.limit.hours || yard_.limit.money; }
  [[nodiscard]] double size_of(const Worth& w) const {
    return yard_.limit.money ? w.money : w.hours;
  }
  [[nodiscard]] double rate_of(const Worth& w) const {
    return size_of(w) > 0 ? w.value / size_of(w) : 0;
  }

  [[nodiscard]] State state_of(std::size_t i, const Facts& facts,
                               const Posterior& posterior) const {
    const OutlookChances& chances = units_[i].outlook(facts);
    return {.damaged = plan::leaking_and_damaged(posterior).second,
            .major = chances.major_parts,
            .lost = chances.beyond_repair,
            .again = comes_back_[i],
            .sound = facts.grade == Grade::A};
  }

  // Opened, rebuilt and sold, against sold as it is, which pays for an undamaged one. One that is
  // beyond repair takes the opening and brings nothing; one that leaks again too soon is rebuilt
  // once more for nothing.
  [[nodiscard]] Worth worth_of(std::size_t i, const State& s, const plan::Amounts& amounts) const {
    const auto price = [&](PriceKind kind) { return amounts[idx(kind)]; };
    const plan::Unit& unit = units_[i];
    const double rebuild = unit.hours(TimedWork::rebuild);
    const double lost = s.damaged * s.lost;
    const double major = (s.damaged - lost) * s.major;
    Worth w;
    w.hours = rebuild + major * unit.hours(TimedWork::major_parts);
    w.money = (1 - lost) * (price(PriceKind::rebuild) + price(PriceKind::gear_bearings)) +
              major * price(PriceKind::major_parts);
    const double again = s.again * (price(PriceKind::rebuild) + rebuild * price(PriceKind::hour));
    const double as_it_is =
        (1 - s.damaged) * price(s.sound ? PriceKind::sound_unit : PriceKind::core);
    w.value = (1 - lost) * (price(PriceKind::rebuilt_unit) - again) - w.money -
              w.hours * price(PriceKind::hour) - as_it_is;
    return w;
  }

  // Of a member of the worth; null: of the gain by hour or money.
  [[nodiscard]] Reach reach(std::size_t i, const State& state, double Worth::*member) const {
    const auto of = [&](const State& s, const plan::Amounts& amounts) {
      const Worth w = worth_of(i, s, amounts);
      return member != nullptr ? w.*member : rate_of(w);
    };
    const double here = of(state, means_);
    Reach r;
    for (double State::*odds : {&State::damaged, &State::major, &State::lost, &State::again}) {
      double most = 0;
      for (const double factor : {1 / k_.settings.memory_band, k_.settings.memory_band}) {
        State moved = state;
        moved.*odds = with_odds(state.*odds, factor);
        most = std::max(most, std::abs(of(moved, means_) - here));
      }
      r.state += most * most;
    }
    for (std::size_t p = 0; p < kPriceCount; ++p) {
      plan::Amounts moved = means_;
      moved[p] = prices_.price[p].low;
      r.price[p][0] = of(state, moved) - here;
      moved[p] = prices_.price[p].high;
      r.price[p][1] = of(state, moved) - here;
    }
    return r;
  }

  // From the best down: a rank ends where what is left is surely less than its first.
  void ranks() {
    std::vector<std::size_t> order(units_.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::ranges::stable_sort(order,
                             [&](std::size_t a, std::size_t b) { return rate(a) > rate(b); });
    std::size_t rank = 0;
    std::size_t first = 0;
    for (const std::size_t i : order) {
      if (rank == 0 || rate(first) - rate(i) > Reach::apart(reach_[first], reach_[i])) {
        ++rank;
        first = i;
      }
      yard_.units[i].rank = rank;
    }
    left_over(order);
  }
  [[nodiscard]] double rate(std::size_t i) const { return yard_.units[i].per_unit; }

  // What an hour, or money, is worth that is left over: as much as the first core makes of it that
  // no longer fits.
  void left_over(const std::vector<std::size_t>& order) {
    if (!limited()) {
      return;
    }
    double left = limit();
    for (const std::size_t i : order) {
      left -= size_of(worth_[i]);
      if (left < 0) {
        constexpr double kLess = 1e-9;  // so that those that make as much of it are chosen
        rate_left_ = std::max(0.0, rate(i)) * (1 - kLess);
        return;
      }
    }
  }

  [[nodiscard]] double limit() const {
    return yard_.limit.hours ? *yard_.limit.hours : *yard_.limit.money;
  }
  [[nodiscard]] std::size_t weight_of(const Worth& w) const {
    constexpr double kRounding = 1e-9;
    return static_cast<std::size_t>(std::ceil(size_of(w) * per_unit_ - kRounding));
  }
  // Over what the same hours, or money, bring elsewhere.
  [[nodiscard]] double over(const Worth& w) const { return w.value - rate_left_ * size_of(w); }

  [[nodiscard]] plan::Knapsack sack_of(const std::vector<Worth>& all) const {
    std::vector<plan::Parcel> parcels;
    parcels.reserve(all.size());
    for (const Worth& w : all) {
      parcels.push_back({over(w), limited() ? weight_of(w) : 0});
    }
    return {std::move(parcels), most_};
  }

  void select() {
    if (limited()) {
      per_unit_ = yard_.limit.hours ? kTenths : 1;
      if (limit() * per_unit_ > static_cast<double>(kMostUnits)) {
        per_unit_ = static_cast<double>(kMostUnits) / limit();
      }
      most_ = static_cast<std::size_t>(std::floor(limit() * per_unit_ + 1e-9));
    }
    const plan::Knapsack sack = sack_of(worth_);
    const std::vector<bool> taken = sack.taken();
    for (std::size_t i = 0; i < units_.size(); ++i) {
      yard_.units[i].chosen = taken[i];
    }
    for (const ActionRule& action : k_.actions) {
      if (!action.reveals.empty()) {
        check(action, sack);
      }
    }
    std::ranges::stable_sort(yard_.checks, [](const YardCheck& a, const YardCheck& b) {
      return a.gain - a.cost > b.gain - b.cost;
    });
  }

  [[nodiscard]] double cost_of(const ActionRule& action) const {
    return means_[idx(PriceKind::hour)] * action.minutes / plan::kMinutesPerHour +
           (action.role == ActionRole::look_at_port ? means_[idx(PriceKind::check)] : 0);
  }

  // What a check of each unit adds to the selection, and that of all those where it pays.
  void check(const ActionRule& action, const plan::Knapsack& sack) {
    YardCheck all{.action = action.id, .text = in_short(action.text)};
    std::vector<std::pair<std::size_t, std::vector<Found>>> pays;
    for (std::size_t i = 0; i < units_.size(); ++i) {
      std::vector<Found> found = what_shows(i, action);
      if (found.empty()) {
        continue;
      }
      const double rest = sack.without(i, sack.limit());
      double with = 0;
      double alone = -std::max(0.0, over(worth_[i]));
      for (const Found& f : found) {
        const std::size_t heavy = limited() ? weight_of(f.worth) : 0;
        const double taken =
            heavy <= sack.limit() ? over(f.worth) + sack.without(i, sack.limit() - heavy) : 0;
        with += f.chance * std::max(rest, taken);
        alone += f.chance * std::max(0.0, over(f.worth));
      }
      YardUnit& unit = yard_.units[i];
      if (const double gain = with - sack.best(); gain > unit.check_gain) {
        unit.check_gain = gain;
        unit.check = action.id;
      }
      if (alone > cost_of(action)) {
        all.gain += alone;
        pays.emplace_back(i, std::move(found));
      }
    }
    all.units = pays.size();
    all.cost = static_cast<double>(all.units) * cost_of(action);
    if (limited() && !pays.empty()) {
      all.gain = together(pays) - sack.best();
    }
    if (all.gain > all.cost) {
      yard_.checks.push_back(std::move(all));
    }
  }

  // What the selection is worth on average when all of them have been looked at.
  [[nodiscard]] double together(
      const std::vector<std::pair<std::size_t, std::vector<Found>>>& looked) const {
    constexpr std::uint64_t kSeed = 20260302;
    draw::Run draws(kSeed);
    double sum = 0;
    for (std::size_t d = 0; d < kDraws; ++d) {
      std::vector<Worth> all = worth_;
      for (const auto& [i, found] : looked) {
        double draw = draws.next();
        std::size_t at = 0;
        while (at + 1 < found.size() && draw >= found[at].chance) {
          draw -= found[at++].chance;
        }
        all[i] = found[at].worth;
      }
      sum += sack_of(all).best();
    }
    return sum / static_cast<double>(kDraws);
  }

  // Empty: there is nothing to look at.
  [[nodiscard]] std::vector<Found> what_shows(std::size_t i, const ActionRule& action) const {
    std::vector<Found> found;
    if (!holds(action.check_when, units_[i].facts())) {
      return found;
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
      return found;
    }
    if (std::ranges::find(open, Finding::port_fluid) != open.end()) {
      c.set(Situation::port_check, PortCheck::fresh);
    }
    const Prior& prior = units_[i].prior();
    double all = 0;
    plan::each_outcome(open, c, [&](const Case& seen) {
      const Posterior posterior = model_.infer(seen, prior);
      if (posterior.evidence > 0) {
        const Facts facts = facts_of(seen, judge(k_, model_, seen, posterior));
        found.push_back({posterior.evidence, worth_of(i, state_of(i, facts, posterior), means_)});
        all += posterior.evidence;
      }
    });
    for (Found& f : found) {
      f.chance /= all;
    }
    return found;
  }

  // "Check the sensor port: pull ..." is to check the sensor port.
  static std::string in_short(std::string_view text) {
    return std::string(text.substr(0, text.find_first_of(":;,.")));
  }

  const Knowledge& k_;
  const Model& model_;
  const PriceBook& prices_;
  plan::Amounts means_{};
  std::vector<plan::Unit> units_;
  std::vector<double> comes_back_;  // by unit
  std::vector<Worth> worth_;
  std::vector<Reach> reach_;  // of the gain by hour or money
  double rate_left_ = 0;
  double per_unit_ = 1;   // of the knapsack's weights
  std::size_t most_ = 0;  // of those
  Yard yard_;
};

Document describe_yard(const Yard& yard) {
  Document d;
  const std::string limit =
      yard.limit.hours
          ? fmt::format("{:g} hours", *yard.limit.hours)
          : (yard.limit.money ? fmt::format("{} {}", grouped(*yard.limit.money), yard.currency)
                              : std::string("no limit"));
  d.emplace_back(document::Title{"Which cores to open", fmt::format("Limit: {}.", limit)});
  if (!yard.units.empty()) {
    document::add_reservations(d, yard.units.front().report);
  }
  const auto chosen =
      static_cast<std::size_t>(std::ranges::count(yard.units, true, &YardUnit::chosen));
  d.emplace_back(Paragraph{
      fmt::format("{} of {}, with a gain of {} {} for {:.0f} hours and {} {} of parts. The gain is "
                  "what opening, rebuilding and selling is expected to bring over selling the unit "
                  "as it is. A rebuild that leaks again too soon is repeated once, free of charge.",
                  words::count(chosen, "unit", "units"), yard.units.size(),
                  plan::amount(yard.value, plan::kWorkshopDigits), yard.currency, yard.hours,
                  plan::amount(yard.money, plan::kWorkshopDigits), yard.currency)});
  const bool by_money = yard.limit.money.has_value();
  d.emplace_back(Paragraph{fmt::format(
      "The order follows the gain per {}. +/- is the uncertainty of the gain: the root of the sum "
      "of squares of single changes. The odds of damage, of major parts, of a unit beyond repair "
      "and of a new leak are changed by their factor. Prices are changed to their ends. Cores of "
      "one rank cannot be told apart: they differ by less than the uncertainty of their "
      "difference, with the same prices for both. Take whichever of a rank is at hand. What is "
      "left of the limit goes to the next core.",
      by_money ? "unit of money for parts" : "hour at the bench")});
  const auto loses = static_cast<std::size_t>(
      std::ranges::count_if(yard.units, [](const YardUnit& u) { return u.value <= 0; }));
  if (loses > 0) {
    d.emplace_back(Paragraph{fmt::format(
        "Opening {} gains nothing: sell {} as {}.", words::count(loses, "unit", "units"),
        loses == 1 ? "it" : "them", loses == 1 ? "it is" : "they are")});
  }
  if (yard.left > 0) {
    d.emplace_back(Paragraph{fmt::format("{} left the workshop's care and {} not listed.",
                                         words::count(yard.left, "unit", "units"),
                                         yard.left == 1 ? "is" : "are")});
  }
  d.emplace_back(Heading{"Cores"});
  Table table;
  table.columns = {{"open", Table::Fit::whole, false, false, 0},
                   {"rank", Table::Fit::whole, true, false, 0},
                   {"gr", Table::Fit::whole, false, true, 0},
                   {"gain", Table::Fit::whole, true, false, 0},
                   {"+/-", Table::Fit::whole, true, false, 0},
                   {"hours", Table::Fit::whole, true, false, 0},
                   {by_money ? "each" : "/hour", Table::Fit::whole, true, false, 0},
                   {"damaged", Table::Fit::whole, true, false, 0},
                   {"outlook", Table::Fit::whole, false, false, 0},
                   {"unit", Table::Fit::cut, false, false, 10, true}};
  for (const YardUnit& u : yard.units) {
    table.rows.push_back(
        {u.chosen ? "yes" : "no", fmt::format("{}", u.rank), std::string(name(u.report.grade)),
         plan::amount(u.value, plan::kWorkshopDigits), plan::amount(u.spread, plan::kOwnerDigits),
         fmt::format("{:.1f}", u.hours),
         by_money ? fmt::format("{:.2f}", u.per_unit)
                  : plan::amount(u.per_unit, plan::kWorkshopDigits),
         words::short_percent(u.damaged), u.report.rebuild_outlook, u.report.unit_id});
  }
  d.emplace_back(std::move(table));
  // A check that costs more than it gains is none to name.
  if (!yard.checks.empty()) {
    d.emplace_back(Heading{"What a check first gains"});
    for (const YardCheck& c : yard.checks) {
      const auto each = [&](double all) {
        return plan::amount(all / static_cast<double>(c.units), plan::kOwnerDigits);
      };
      d.emplace_back(document::Item{
          0,
          fmt::format("{}, {}: gains about {} {} in all, {} a unit; costs {} a unit.", c.text,
                      words::count(c.units, "unit", "units"),
                      plan::amount(c.gain, plan::kOwnerDigits), yard.currency, each(c.gain),
                      each(c.cost)),
          {}});
    }
  }
  if (yard.rejected_records > 0 || !yard.rejected.empty()) {
    d.emplace_back(
        Heading{yard.rejected_records == 0
                    ? "Problems in the input"
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
  if (yard.left > 0) {
    json["units_left"] = yard.left;
  }
  json["units"] = Ordered::array();
  for (const YardUnit& u : yard.units) {
    json["units"].push_back({{"unit_id", u.report.unit_id},
                             {"source", u.report.source},
                             {"line", u.report.line},
                             {"grade", name(u.report.grade)},
                             {"rebuild_outlook", u.report.rebuild_outlook},
                             {"chosen", u.chosen},
                             {"rank", u.rank},
                             {"value", money(u.value)},
                             {"spread", money(u.spread)},
                             {"per_unit", money(u.per_unit)},
                             {"hours", money(u.hours)},
                             {"money", money(u.money)},
                             {"damaged", words::rounded(u.damaged, words::kProbabilityDigits)},
                             {"best_check", u.check.empty() ? Ordered(nullptr) : Ordered(u.check)},
                             {"check_gain", money(u.check_gain)}});
  }
  json["checks"] = Ordered::array();
  for (const YardCheck& c : yard.checks) {
    json["checks"].push_back(
        {{"id", c.action}, {"units", c.units}, {"gain", money(c.gain)}, {"cost", money(c.cost)}});
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
        "best_check", "check_gain", "source", "line", "rank", "spread", "per_unit"}) {
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
        .number(u.report.line, 0)
        .number(static_cast<double>(u.rank), 0)
        .number(u.spread, 2)
        .number(u.per_unit, 2);
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
  return to_html(plan::page("Which cores to open", {{"", describe_yard(yard)}}));
}

}  // namespace dryshaft
