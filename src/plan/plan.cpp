// The plan: options compared, what their order depends on, and where it turns.
#include "dryshaft/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <set>
#include <tuple>

#include "base/draw.hpp"
#include "base/index.hpp"
#include "plan/decision.hpp"
#include "plan/unit.hpp"

namespace dryshaft {
namespace {

using plan::Amounts;
using plan::Costs;
using plan::Doubt;
using plan::First;
using plan::Grid;
using plan::kMinutesPerHour;
using plan::Solution;
using plan::Unit;

constexpr plan::Fineness kCoarse{.near = 0.04, .most = 5, .most_renewed = 2, .corners = false};
constexpr plan::Fineness kFine{.near = 0.02, .most = 10, .most_renewed = 4, .corners = true};
constexpr std::size_t kLives = 4000;
constexpr double kTenth = 0.1;
constexpr std::size_t kMostThresholds = 4;

constexpr std::array<std::pair<std::string_view, std::string_view>, kSpendingCount> kSpending = {{
    {"check", "checks"},
    {"bypass", "bypass"},
    {"rebuild", "rebuilds"},
    {"major_parts", "major parts"},
    {"replacement", "replacement unit"},
    {"breakdown", "breakdowns on the road"},
    {"at_end", "repairs due at the end"},
}};
static_assert(kSpendingCount == plan::kSpentCount);

// The option that a first step belongs to.
OptionRole option_of(const First& first) {
  if (first.does == plan::Node::Does::wait) {
    return first.wait == 0 ? OptionRole::look_first : OptionRole::wait;
  }
  switch (first.work) {
    case plan::Work::bypass:
      return OptionRole::bypass;
    case plan::Work::rebuild:
      return OptionRole::rebuild;
    case plan::Work::rebuild_bypass:
      return OptionRole::rebuild_and_bypass;
    case plan::Work::major_parts:
    case plan::Work::new_unit:
      break;
  }
  return OptionRole::replace;
}

// The cheapest first step that is the option, or nothing.
const First* first_of(const Solution& solution, OptionRole option) {
  const First* best = nullptr;
  for (const First& f : solution.first) {
    if (option_of(f) == option && (best == nullptr || f.cost < best->cost)) {
      best = &f;
    }
  }
  return best;
}

Amounts means(const Prices& prices) {
  Amounts amounts{};
  std::ranges::transform(prices, amounts.begin(), &Price::mean);
  return amounts;
}

// A value of the triangle at a share of its area.
double triangular(const Price& p, double share) {
  const double wide = p.high - p.low;
  if (wide <= 0) {
    return p.low;
  }
  const double rising = (p.likely - p.low) / wide;
  return share < rising ? p.low + std::sqrt(share * wide * (p.likely - p.low))
                        : p.high - std::sqrt((1 - share) * wide * (p.high - p.likely));
}

// In plans, not only in a yard.
bool is_spent(std::size_t price) {
  return price != idx(PriceKind::rebuilt_unit) && price != idx(PriceKind::sound_unit);
}

struct DoubtSpec {
  std::string_view id;
  std::string_view title;
  double Doubt::*value;
};
constexpr DoubtSpec kDoubts[] = {
    {"leak-now", "probability that it leaks now", &Doubt::leaking},
    {"damage-now", "probability that it is damaged now", &Doubt::damaged},
    {"onset", "how soon seals begin to leak", &Doubt::onset},
    {"leak-to-damage", "distances from leak to damage", &Doubt::delay},
    {"damage-to-breakdown", "distance from damage to breakdown", &Doubt::running},
    {"missed", "probability that a check misses a leak", &Doubt::missed},
    {"major-parts", "probability that a damaged unit needs major parts", &Doubt::major},
    {"beyond-repair", "probability that a damaged unit is beyond repair", &Doubt::lost},
};

class Planner {
 public:
  Planner(const History& history, const Grader& grader, const WorkRules& work,
          const PriceBook& prices, const PlanOptions& options)
      : k_(grader.knowledge()),
        work_(work),
        prices_(prices),
        o_(options),
        unit_(history, grader, work, options.today) {
    plan_.report =
        assess(history, k_, grader.model(), {.audience = o_.audience, .today = o_.today});
  }

  Plan plan() {
    plan_.currency = prices_.currency;
    plan_.prices_source = prices_.source;
    plan_.prices_sha256 = prices_.sha256;
    plan_.horizon_km = o_.horizon_km;
    plan_.km_per_year = k_.settings.km_per_year;
    const plan::Problem problem = this->problem({});
    plan_.step_km = problem.step_km;
    plan_.dry = problem.start[0];
    plan_.damaged = problem.start[problem.last()];
    plan_.leaking = std::max(0.0, 1 - plan_.dry - plan_.damaged);
    const Amounts amounts = means(prices_.price);
    const Costs costs = unit_.costs(amounts, true);
    first_actions(costs);
    const Grid fine(problem, kFine);
    plan_.stands = unit_.stands();
    plan_.lost_if_nothing = plan_.stands ? 1 : unit_.breaks_down(o_.horizon_km);
    plan_.loss_low = prices_.at(PriceKind::loss).low;
    plan_.loss_high = prices_.at(PriceKind::loss).high;
    plan_.beliefs = fine.points;
    const Solution solution = solve(fine, costs);
    const std::vector<double> bounds = bound_from_below(fine, costs, solution);
    coarse_.emplace(problem, kCoarse);
    const Solution coarse = solve(*coarse_, costs);
    for (const PlanOptionRule& rule : work_.options) {
      if (rule.role == OptionRole::gear_bearings) {
        beside(rule);
      } else {
        option(rule, fine, costs, solution, bounds, coarse);
      }
    }
    std::ranges::stable_sort(plan_.options, [](const PlanOption& a, const PlanOption& b) {
      if (a.allowed != b.allowed) {
        return a.allowed;
      }
      return a.cost && b.cost && a.cost->expected < b.cost->expected;
    });
    cautions();
    if (plan_.options.size() > 1 && plan_.options[1].cost) {
      compare(amounts);
    }
    return std::move(plan_);
  }

 private:
  [[nodiscard]] bool owner() const { return o_.audience == Audience::owner; }
  [[nodiscard]] plan::Problem problem(const Doubt& doubt) const {
    return unit_.problem(o_.horizon_km, doubt, plan_.report.recheck.km);
  }

  // Whether it is work of a way to go, of which one is chosen here.
  [[nodiscard]] bool is_chosen_here(const std::string& action) const {
    return std::ranges::any_of(work_.options, [&](const PlanOptionRule& o) {
      return !o.waits && o.role != OptionRole::look_first &&
             std::ranges::find(o.actions, action) != o.actions.end();
    });
  }

  void first_actions(const Costs& costs) {
    for (const Action& asked : plan_.report.actions) {
      const ActionRule& action = *k_.action(asked.id);
      const bool again = action.role == ActionRole::look_again;
      const bool work = again || is_chosen_here(asked.id);
      if (!plan_.first.empty() && (work || asked.urgency > Urgency::soon)) {
        break;
      }
      PlanFirst& first = plan_.first.emplace_back();
      first.action = asked;
      first.looks = !work && action.role != ActionRole::stop && action.closed_by.work.empty() &&
                    asked.urgency != Urgency::routine;
      const ActionRule& port = k_.action(ActionRole::look_at_port);
      first.minutes = again ? port.minutes : action.minutes;
      first.cost = again || &action == &port
                       ? costs.check
                       : prices_.at(PriceKind::hour).mean() * first.minutes / kMinutesPerHour;
      if (work) {
        break;
      }
    }
  }

  [[nodiscard]] Amounts ends(double Price::*end) const {
    Amounts amounts{};
    std::ranges::transform(prices_.price, amounts.begin(),
                           [end](const Price& p) { return p.*end; });
    return amounts;
  }

  // The first step alone, of a unit that is no worse inside than it looks.
  [[nodiscard]] double bill(const First& first, double Price::*end) const {
    Amounts amounts = ends(end);
    // The other unit's price goes up where a core is worth less.
    const Price& core = prices_.at(PriceKind::core);
    amounts[idx(PriceKind::core)] = end == &Price::low ? core.high : core.low;
    // Nobody pays it for a unit that is more likely damaged than not.
    if (plan_.damaged >= 0.5) {
      amounts[idx(PriceKind::core)] = 0;
    }
    const Costs costs = unit_.costs(amounts, false);
    return first.does == plan::Node::Does::wait
               ? costs.check
               : cost_of_work(coarse_->problem, costs, first.work, coarse_->problem.now, 0);
  }

  // Without what it costs.
  [[nodiscard]] PlanOption option_by(const PlanOptionRule& rule) const {
    PlanOption option;
    option.id = rule.id;
    option.role = rule.role;
    option.title = owner() ? rule.owner_title : rule.title;
    option.effect = owner() ? rule.owner_effect : rule.reason;
    option.barred = unit_.barred(rule, owner());
    // By what is left of the limits, as the report has it.
    for (PlanReason& reason : option.barred) {
      const auto& actions = plan_.report.actions;
      const auto asked = std::ranges::find(actions, reason.id, &Action::rule);
      if (asked != actions.end() && (reason.within_km || reason.within_days)) {
        reason.within_km = asked->within_km;
        reason.within_days = asked->within_days;
        reason.overdue = asked->overdue;
      }
    }
    return option;
  }

  // Compared with nothing: it answers another question than the ways to go.
  void beside(const PlanOptionRule& rule) {
    PlanOption option = option_by(rule);
    option.allowed = option.barred.empty();
    if (option.allowed) {
      option.cost.emplace();
      option.cost->expected = unit_.gear_bearings(means(prices_.price), true);
      option.cost->bill_low = unit_.gear_bearings(ends(&Price::low), false);
      option.cost->bill_high = unit_.gear_bearings(ends(&Price::high), false);
    }
    plan_.beside.push_back(std::move(option));
  }

  void option(const PlanOptionRule& rule, const Grid& grid, const Costs& costs,
              const Solution& solution, const std::vector<double>& bounds, const Solution& coarse) {
    PlanOption option = option_by(rule);
    option.allowed = option.barred.empty();
    if (option.allowed) {
      const First* first = first_of(solution, begins_as(rule.role));
      option.cost = cost_of(*first, grid, costs, solution);
      if (rule.role == OptionRole::wait) {
        option.cost->interval_km = plan_.report.recheck.km;
        option.cost->interval_days = plan_.report.recheck.days;
      }
      option.cost->bill_low = bill(*first, &Price::low);
      option.cost->bill_high = bill(*first, &Price::high);
      option.cost->at_least = bounds[static_cast<std::size_t>(first - solution.first.data())];
      const First* other = first_of(coarse, option_of(*first));
      option.cost->coarser = other != nullptr ? other->cost : first->cost;
    }
    plan_.options.push_back(std::move(option));
  }

  PlanCost cost_of(const First& first, const Grid& grid, const Costs& costs,
                   const Solution& solution) {
    PlanCost cost;
    const plan::Account account = plan::account(grid, costs, solution, first);
    cost.expected = first.cost;
    cost.chance_lost = account.lost;
    cost.spending = account.spent;
    if (first.does == plan::Node::Does::wait && first.wait > 0) {
      const plan::Node& node = solution.nodes[first.node];
      if (node.wait < node.remaining) {
        const plan::Node& then = solution.nodes[node.after.front()];
        if (then.does == plan::Node::Does::work) {
          cost.then_if_clean = work_.option(option_of({.does = then.does, .work = then.work})).id;
        }
      }
    }
    if (option_of(first) == OptionRole::replace) {
      cost.variant = first.work == plan::Work::new_unit ? "whole-unit" : "in-parts";
    }
    // The same seed for each option, so that they meet the same luck.
    constexpr std::uint64_t kSeed = 20260302;
    std::vector<double> lives;
    lives.reserve(kLives);
    for (std::size_t i = 0; i < kLives; ++i) {
      draw::Run draws(kSeed + i * kLives);
      Amounts amounts{};
      for (std::size_t p = 0; p < kPriceCount; ++p) {
        amounts[p] = triangular(prices_.price[p], draws.next());
      }
      lives.push_back(live(grid, unit_.costs(amounts, true), solution, first, draws));
    }
    plan_.lives = kLives;
    const auto at = [&](double share) {
      const auto place = lives.begin() + static_cast<std::ptrdiff_t>(share * (kLives - 1));
      std::nth_element(lives.begin(), place, lives.end());
      return *place;
    };
    cost.low = at(kTenth);
    cost.high = at(1 - kTenth);
    return cost;
  }

  // What each allowed option calls for, before any of it.
  void cautions() {
    std::set<std::string, std::less<>> needed;
    std::vector<const PlanOption*> all;
    for (const auto* list : {&plan_.options, &plan_.beside}) {
      for (const PlanOption& option : *list) {
        all.push_back(&option);
      }
    }
    for (const PlanOption* offered : all) {
      const PlanOption& option = *offered;
      if (!option.allowed) {
        continue;
      }
      for (const std::string& job_id : work_.option(option.id)->jobs) {
        const Job& job = *work_.job(job_id);
        if (!owner()) {
          needed.insert(job.cautions.begin(), job.cautions.end());
        }
        for (const std::string& id : job.actions) {
          const ActionRule& action = *k_.action(id);
          const auto& ids = owner() ? action.owner_cautions : action.cautions;
          needed.insert(ids.begin(), ids.end());
        }
      }
    }
    for (const CautionRule& c : k_.cautions) {
      if ((c.always || needed.contains(c.id)) && holds(c.when, unit_.facts())) {
        plan_.cautions.push_back({c.id, owner() ? c.owner_text : c.text, c.trained_only,
                                  owner() ? c.owner_text : c.brief});
      }
    }
  }

  // ------------------------------------------- the best two, and what decides

  // A recheck that is due now begins as a look at once.
  [[nodiscard]] OptionRole begins_as(OptionRole role) const {
    return role == OptionRole::wait && coarse_->problem.first_steps == 0 ? OptionRole::look_first
                                                                         : role;
  }
  // By how much the second is dearer than the best.
  [[nodiscard]] double difference(const Solution& solution) const {
    return first_of(solution, second_)->cost - first_of(solution, best_)->cost;
  }
  [[nodiscard]] double with_amounts(const Amounts& amounts) const {
    return difference(solve(*coarse_, unit_.costs(amounts, true)));
  }
  [[nodiscard]] double with_doubt(const Doubt& doubt, const Costs& costs) const {
    const Grid grid(problem(doubt), kCoarse);
    return difference(solve(grid, costs));
  }

  void compare(const Amounts& amounts) {
    const PlanCost& best = *plan_.options[0].cost;
    const PlanCost& second = *plan_.options[1].cost;
    best_ = begins_as(plan_.options[0].role);
    second_ = begins_as(plan_.options[1].role);
    plan_.difference = second.expected - best.expected;
    for (std::size_t i = 0; i < kSpendingCount; ++i) {
      plan_.sources.emplace_back(kSpending[i].first, second.spending[i] - best.spending[i]);
    }
    std::ranges::stable_sort(plan_.sources, [](const auto& a, const auto& b) {
      return std::abs(a.second) > std::abs(b.second);
    });
    if (!o_.swings) {
      return;
    }
    const double now = with_amounts(amounts);
    const double band = k_.settings.memory_band;
    const Costs costs = unit_.costs(amounts, true);
    for (const DoubtSpec& d : kDoubts) {
      const auto with = [&](double factor) {
        Doubt doubt;
        doubt.*d.value = factor;
        return with_doubt(doubt, costs);
      };
      plan_.swings.push_back(
          {std::string(d.id), std::string(d.title), false, with(1 / band), with(band)});
    }
    for (std::size_t p = 0; p < kPriceCount; ++p) {
      const Price& price = prices_.price[p];
      if (price.low < price.high && is_spent(p)) {
        const auto with = [&](double value) {
          Amounts changed = amounts;
          changed[p] = value;
          return with_amounts(changed);
        };
        const auto kind = static_cast<PriceKind>(p);
        plan_.swings.push_back({std::string(name(kind)), fmt::format("price: {}", title(kind)),
                                true, with(price.low), with(price.high)});
      }
    }
    const auto reach = [&](const PlanSwing& s) {
      return std::max(std::abs(s.difference_low - now), std::abs(s.difference_high - now));
    };
    double squares = 0;
    for (const PlanSwing& s : plan_.swings) {
      squares += reach(s) * reach(s);
      plan_.close = plan_.close || s.difference_low < 0 || s.difference_high < 0;
    }
    plan_.judgement = std::sqrt(squares);
    plan_.close = plan_.close || plan_.judgement >= plan_.difference;
    std::ranges::stable_sort(
        plan_.swings, [&](const PlanSwing& a, const PlanSwing& b) { return reach(a) > reach(b); });
    thresholds(amounts, costs, now);
  }

  // Where `at(x)`, which is `here` now, reaches 0 on the way from `now` to `limit`.
  template <typename At>
  static std::optional<PlanThreshold> threshold(double now, double here, double limit,
                                                const At& at) {
    const double there = at(limit);
    if (here <= 0 || there >= 0) {
      return std::nullopt;
    }
    PlanThreshold t;
    t.now = now;
    t.below = limit < now;
    constexpr std::uintmax_t kMostSteps = 30;
    constexpr int kBits = 16;  // five digits
    std::uintmax_t steps = kMostSteps;
    const auto [low, high] = boost::math::tools::toms748_solve(
        at, std::min(now, limit), std::max(now, limit), t.below ? there : here,
        t.below ? here : there, boost::math::tools::eps_tolerance<double>(kBits), steps);
    t.at = (low + high) / 2;
    // Solved again a little to each side: the order must differ.
    constexpr double kAside = 0.002;
    const double aside = kAside * std::abs(t.at - now);
    const double toward = t.below ? aside : -aside;
    t.verified = at(t.at + toward) > 0 && at(t.at - toward) < 0;
    return t;
  }

  void thresholds(const Amounts& amounts, const Costs& costs, double now) {
    // The chance that coolant is getting in, damaged or not.
    const plan::Problem& problem = coarse_->problem;
    const double wet = 1 - problem.start[0];
    const auto with_chance = [&](double chance) {
      plan::Problem changed = problem;
      changed.start[0] = 1 - chance;
      for (std::size_t s = 1; s < problem.stages(); ++s) {
        changed.start[s] = problem.start[s] / wet * chance;
      }
      const Grid grid(changed, kCoarse);
      return difference(solve(grid, costs));
    };
    constexpr double kNearlyNone = 0.0005;
    for (const double limit : {kNearlyNone, 1 - kNearlyNone}) {
      if (wet > kNearlyNone && wet < 1 - kNearlyNone) {
        if (auto t = threshold(wet, now, limit, with_chance)) {
          t->id = "leak-now";
          t->title = "probability that coolant gets in now";
          plan_.thresholds.push_back(std::move(*t));
        }
      }
    }
    // The prices, those first whose doubling matters most; up to a fifth and fivefold.
    constexpr double kFar = 5;
    std::vector<std::tuple<double, std::size_t, bool>> order;
    for (std::size_t p = 0; p < kPriceCount; ++p) {
      if (amounts[p] <= 0 || !is_spent(p)) {
        continue;
      }
      Amounts changed = amounts;
      changed[p] *= 2;
      // Nearly linear in each price, so this foretells the way to the turn.
      const double slope = with_amounts(changed) - now;
      if (slope != 0) {
        order.emplace_back(-std::abs(slope), p, slope > 0);
      }
    }
    std::ranges::sort(order);
    for (const auto& [slope, p, rises] : order) {
      if (plan_.thresholds.size() >= kMostThresholds) {
        break;
      }
      const auto with_price = [&, at = p](double value) {
        Amounts changed = amounts;
        changed[at] = value;
        return with_amounts(changed);
      };
      const double limit = rises ? amounts[p] / kFar : amounts[p] * kFar;
      if (auto t = threshold(amounts[p], now, limit, with_price)) {
        t->is_price = true;
        const auto kind = static_cast<PriceKind>(p);
        t->id = name(kind);
        t->title = fmt::format("price: {}", title(kind));
        plan_.thresholds.push_back(std::move(*t));
      }
    }
  }

  const Knowledge& k_;
  const WorkRules& work_;
  const PriceBook& prices_;
  const PlanOptions& o_;
  Unit unit_;
  std::optional<Grid> coarse_;
  OptionRole best_ = OptionRole::look_first;
  OptionRole second_ = OptionRole::look_first;
  Plan plan_;
};

}  // namespace

std::string_view spending_name(std::size_t index) { return kSpending.at(index).first; }
std::string_view spending_title(std::size_t index) { return kSpending.at(index).second; }

const PlanOption* Plan::option(std::string_view wanted) const {
  for (const auto* list : {&options, &beside}) {
    const auto found = std::ranges::find(*list, wanted, &PlanOption::id);
    if (found != list->end()) {
      return &*found;
    }
  }
  return nullptr;
}

Plan make_plan(const History& history, const Grader& grader, const WorkRules& work,
               const PriceBook& prices, const PlanOptions& options) {
  return Planner(history, grader, work, prices, options).plan();
}

}  // namespace dryshaft
