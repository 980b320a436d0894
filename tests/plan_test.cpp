#include "dryshaft/plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "base/draw.hpp"
#include "dryshaft/guide.hpp"
#include "plan/decision.hpp"
#include "plan/knapsack.hpp"
#include "plan/unit.hpp"
#include "report/words.hpp"
#include "support.hpp"

namespace dryshaft {
namespace {

using plan::Costs;
using plan::Fineness;
using plan::First;
using plan::Grid;
using plan::Node;
using plan::Problem;
using plan::Seen;
using plan::Solution;
using plan::Work;
using test::complaints;
using test::has;
using test::history_of;
using test::shipped;
using test::shipped_grader;
using test::shipped_model;

const WorkRules& shipped_work() {
  static const WorkRules work = [] {
    Result<WorkRules> loaded =
        load_work(test::read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "work"), shipped());
    if (!loaded.value || !loaded.diagnostics.empty()) {
      throw std::runtime_error(complaints(loaded.diagnostics));
    }
    return std::move(*loaded.value);
  }();
  return work;
}

std::string price_text() {
  return test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / "prices.json");
}
PriceBook example_prices() { return *load_prices({"prices.json", price_text()}).value; }

History example(std::string_view name) {
  return history_of(
      test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / std::string(name)));
}

Plan plan_of(const History& history, const PriceBook& prices, bool swings = false) {
  return make_plan(history, shipped_grader(), shipped_work(), prices,
                   {.horizon_km = 60000,
                    .audience = Audience::technician,
                    .today = std::nullopt,
                    .swings = swings});
}

Seen result(std::initializer_list<double> chance, std::size_t most, bool work) {
  Seen s;
  std::copy(chance.begin(), chance.end(), s.chance.begin());
  s.most_steps = most;
  s.allowed[static_cast<std::size_t>(Work::rebuild)] = work;
  return s;
}

// ------------------------------------------------ theory with closed forms

TEST_CASE("the best age at which to renew a unit that wears (age replacement)") {
  // Barlow and Proschan 1965, Mathematical Theory of Reliability (from memory): the best age
  // solves h(T) * int_0^T R - F(T) = c_p / (c_f - c_p), and costs (c_f - c_p) h(T) a unit of time.
  // Weibull, shape 2, scale 1, c_p = 1, c_f = 6: sqrt(pi) T erf(T) + exp(-T^2) = 1.2, computed by
  // hand from the published formula: T = 0.4548, cost 10 T = 4.548.
  constexpr std::size_t kSteps = 400;
  constexpr double kStep = 0.01;
  Problem p;
  p.leak_stages = 0;  // what begins is a breakdown at once
  p.steps = kSteps;
  p.step_km = kStep;
  for (std::size_t i = 0; i < kSteps; ++i) {
    const double from = kStep * static_cast<double>(i);
    p.onset.push_back((from + kStep) * (from + kStep) - from * from);
  }
  p.onset_renewed = p.onset;
  p.start[0] = 1;
  p.seen = {result({1}, 70, true)};
  p.seen_renewed = p.seen;
  p.now = p.seen.front();
  for (std::size_t w = 20; w <= 70; ++w) {
    p.waits.push_back(w);
  }
  const Grid grid(p, {.near = 0.01, .most = 1, .most_renewed = 1, .corners = false});
  Costs c;
  c.rebuild = 1;
  c.breakdown = 6;
  c.check = 1e-4;  // it tells nothing here, so one wait is better than two
  const Solution s = solve(grid, c);
  // Far from the horizon the cost grows evenly: a whole number of best ages apart.
  const double rate = (s.renewed_cost[380] - s.renewed_cost[198]) / (182 * kStep);
  CHECK(rate == Approx(4.548).epsilon(0.01));
  // And the age is the one that the equation gives, as far as the horizon leaves it.
  const Node& first = s.nodes[s.renewed[kSteps]];
  CHECK(first.does == Node::Does::wait);
  CHECK(static_cast<double>(first.wait) * kStep == Approx(0.4548).margin(0.05));
}

// Chance of a breakdown by the end of so many steps, from dry.
double broken_after(const Problem& p, double onset, std::size_t steps) {
  const plan::Motion m = plan::motion(p, onset);
  plan::Row at{};
  at[0] = 1;
  double broken = 0;
  for (std::size_t i = 0; i < steps; ++i) {
    plan::Row next{};
    for (std::size_t from = 0; from < p.stages(); ++from) {
      broken += at[from] * m.breaks[from];
      for (std::size_t s = from; s < p.stages(); ++s) {
        next[s] += at[from] * m.to[from][s];
      }
    }
    at = next;
  }
  return broken;
}

TEST_CASE("the share of defects that break down between checks (delay time)") {
  // Christer and Waller 1984, J. Oper. Res. Soc. 35 (from memory): of the defects that arise
  // evenly in a period T a share b(T) = 1/T int_0^T F(T - u) du breaks down before the check.
  // Exponential delay of mean 1/B: b = 1 - (1 - exp(-BT)) / (BT); BT = 1: exp(-1) = 0.367879;
  // BT = 2: 1 - (1 - exp(-2)) / 2 = 0.567668. Two stages of the same mean together, BT = 1:
  // 2 exp(-2) = 0.270671. Computed by hand from the published formula.
  constexpr double kRare = 1e-8;
  Problem p;
  p.step_km = 1;
  p.leak_stages = 1;
  p.harm[1] = 1.0 / 100;
  CHECK(broken_after(p, kRare, 100) / (kRare * 100) == Approx(0.367879).epsilon(2e-6));
  CHECK(broken_after(p, kRare, 200) / (kRare * 200) == Approx(0.567668).epsilon(2e-6));
  p.leak_stages = 2;
  p.next[1] = 1.0 / 50;
  p.harm = {0, 0, 1.0 / 50};
  CHECK(broken_after(p, kRare, 100) / (kRare * 100) == Approx(0.270671).epsilon(4e-6));
  // Two ways from the first stage, half of them at once: as one stage of mean 50, and from there
  // half of them another: b1 = 1 - (1 - exp(-2)) / 2 of the one, and of both together as above,
  // 2 exp(-2), half of each, by hand.
  p.next[1] = 1.0 / 100;
  p.harm[1] = 1.0 / 100;
  CHECK(broken_after(p, kRare, 100) / (kRare * 100) ==
        Approx((0.567668 + 0.270671) / 2).epsilon(4e-6));
}

TEST_CASE("perfect checks at a fixed distance cost what the delay-time model says") {
  // A period costs check + kT (b loss + (1 - b) repair), b(T) as above with BT = 1.
  constexpr double kRare = 1e-7;
  constexpr std::size_t kPeriod = 10;
  constexpr std::size_t kPeriods = 5;
  Problem p;
  p.leak_stages = 1;
  p.steps = kPeriod * kPeriods;
  p.harm[1] = 1.0 / kPeriod;
  p.onset.assign(p.steps, kRare);
  p.onset_renewed = p.onset;
  p.start[0] = 1;
  p.seen = {result({1, 0}, kPeriod, false), result({0, 1}, 0, true)};
  p.seen_renewed = p.seen;
  p.now = p.seen.front();
  p.waits = {kPeriod};
  const Grid grid(p, {.near = 0.01, .most = 4, .most_renewed = 4, .corners = false});
  Costs c;
  c.rebuild = 2e6;
  c.breakdown = 9e6;
  c.charge_at_end = true;
  const Solution s = solve(grid, c);
  const double b = std::exp(-1.0);
  const double a_period = kRare * kPeriod * (b * c.breakdown + (1 - b) * c.rebuild);
  CHECK(s.renewed_cost[p.steps] == Approx(kPeriods * a_period).epsilon(1e-4));
  c.check = 3;  // none at the end
  CHECK(solve(grid, c).renewed_cost[p.steps] ==
        Approx(kPeriods * a_period + (kPeriods - 1) * c.check).epsilon(1e-4));
}

// ------------------------------------------------------- the decision itself

Problem small_problem() {
  Problem p;
  p.leak_stages = 2;
  p.steps = 20;
  p.step_km = 3000;
  p.next[1] = 1.0 / 12000;
  p.harm = {1e-6, 1.0 / 60000, 1.0 / 10000};
  p.breakdown_km = 8000;
  p.onset.assign(p.steps, 0.01);
  p.onset_renewed.assign(p.steps, 0.004);
  p.start = {0.7, 0.12, 0.1, 0.08};
  Seen clean = result({0.9, 0.15, 0.15, 0.05}, 6, true);
  clean.allowed[static_cast<std::size_t>(Work::bypass)] = true;
  Seen wet = result({0.1, 0.85, 0.85, 0.95}, 1, true);
  wet.major = 0.5;
  wet.lost = 0.1;
  wet.allowed[static_cast<std::size_t>(Work::rebuild_bypass)] = true;
  p.seen = {clean, wet};
  p.seen_renewed = p.seen;
  p.seen_closed = p.seen;
  p.now = clean;
  p.waits = {1, 2, 3, 4, 6};
  return p;
}

Costs small_costs() {
  Costs c;
  c.check = 20;
  c.bypass = 400;
  c.rebuild = 1500;
  c.bypass_in_rebuild = 250;
  c.major_parts = 2000;
  c.beyond_repair = 4000;
  c.new_unit = 4300;
  c.core = 500;
  c.breakdown = 5500;
  c.end_major = 0.5;
  c.end_lost = 0.1;
  return c;
}

constexpr Fineness kRough{.near = 0.04, .most = 5, .most_renewed = 2, .corners = true};

double least(const Solution& s) {
  double best = s.first.front().cost;
  for (const First& f : s.first) {
    best = std::min(best, f.cost);
  }
  return best;
}

TEST_CASE("no policy costs less than the bound, and a finer grid lies between") {
  const Problem p = small_problem();
  const Costs c = small_costs();
  const Grid rough(p, kRough);
  const Grid fine(p, {.near = 0.005, .most = 40, .most_renewed = 8, .corners = true});
  const Solution s = solve(rough, c);
  const Solution t = solve(fine, c);
  const std::vector<double> bounds = bound_from_below(fine, c, t);
  REQUIRE(s.first.size() == t.first.size());
  for (std::size_t i = 0; i < s.first.size(); ++i) {
    CHECK(bounds[i] <= t.first[i].cost * (1 + 1e-9));
    CHECK(t.first[i].cost <= s.first[i].cost * 1.002);
    CHECK(bounds[i] > 0.8 * t.first[i].cost);
  }
}

// The hidden stage in continuous distance, by clocks of its own: not the
// library's chain of steps.
double lived(const Grid& g, const Costs& c, const Solution& s, const First& first,
             draw::Run& draws) {
  const Problem& p = g.problem;
  const auto drawn = [&](const auto& chance, std::size_t n) {
    double draw = draws.next();
    std::size_t i = 0;
    while (i + 1 < n && draw >= chance[i]) {
      draw -= chance[i++];
    }
    return i;
  };
  const auto clock = [&](double rate) {
    return rate > 0 ? -std::log1p(-draws.next()) / rate : std::numeric_limits<double>::infinity();
  };
  std::size_t stage = drawn(p.start, p.stages());
  double cost = 0;
  std::uint32_t id = first.node;
  while (id != plan::kNothing) {
    const Node& n = s.nodes[id];
    const bool closed = n.track == plan::Track::Kind::closed;
    const bool renewed = n.track == plan::Track::Kind::renewed;
    const std::vector<Seen>& seen = renewed ? p.seen_renewed : p.seen;
    if (n.does == Node::Does::work) {
      const Seen& known = n.result == plan::kNow ? p.now : seen[n.result];
      if (n.work == Work::bypass) {
        cost += c.bypass;
        stage = stage == 3 ? 3 : 0;
      } else {
        cost += c.rebuild + (n.work == Work::rebuild_bypass ? c.bypass_in_rebuild : 0);
        if (stage == 3) {
          cost += draws.next() < known.lost ? c.beyond_repair
                                            : (draws.next() < known.major ? c.major_parts : 0);
        }
        stage = 0;
      }
      id = n.next;
      continue;
    }
    const double end = n.wait * p.step_km;
    double at = 0;
    bool broke = false;
    while (!broke) {
      // Hazards are the same in every step here, so one clock does.
      const double onset = closed ? 0 : (renewed ? 0.004 : 0.01) / p.step_km;
      const double on =
          clock(stage == 0 ? onset : (stage == 3 ? 1 / p.breakdown_km : p.next[stage]));
      const double to_damage = clock(stage == 3 ? 0 : p.harm[stage]);
      at += std::min(on, to_damage);
      if (at >= end) {
        break;
      }
      broke = stage == 3;
      stage = to_damage < on ? 3 : stage + 1;
    }
    if (broke) {
      cost += c.breakdown;
      stage = 0;
      id = s.renewed[n.remaining - static_cast<std::uint32_t>(at / p.step_km) - 1];
      continue;
    }
    if (n.wait == n.remaining) {
      const double lost = stage == 3 ? c.end_lost : 0;
      return cost + (stage == 0 ? 0
                                : c.rebuild + lost * c.beyond_repair +
                                      (stage == 3 ? (1 - lost) * c.end_major * c.major_parts : 0));
    }
    cost += c.check;
    std::array<double, 2> chance = {seen[0].chance[stage], seen[1].chance[stage]};
    id = n.after.at(drawn(chance, 2));
  }
  return cost;
}

TEST_CASE("lives drawn stage by stage cost what the solution says") {
  const Problem p = small_problem();
  const Costs c = small_costs();
  const Grid g(p, kRough);
  const Solution s = solve(g, c);
  constexpr int kLives = 20000;
  for (const First& first : s.first) {
    double own = 0;
    double sum = 0;
    double squares = 0;
    draw::Run draws(7);
    draw::Run others(8);
    for (int i = 0; i < kLives; ++i) {
      const double cost = lived(g, c, s, first, draws);
      sum += cost;
      squares += cost * cost;
      own += live(g, c, s, first, others);
    }
    const double mean = sum / kLives;
    const double error = std::sqrt((squares / kLives - mean * mean) / kLives) + 1e-9;
    CHECK(std::abs(mean - first.cost) < 4 * error);
    CHECK(std::abs(own / kLives - first.cost) < 4 * error);
    // And the account adds up to the same.
    CHECK(account(g, c, s, first).total() == Approx(first.cost).epsilon(1e-9));
  }
}

TEST_CASE("dearer prices and likelier leaks never make a unit cheaper to keep") {
  const Problem p = small_problem();
  const Costs base = small_costs();
  const Grid g(p, kRough);
  const double now = least(solve(g, base));
  for (double Costs::*price :
       {&Costs::check, &Costs::bypass, &Costs::rebuild, &Costs::bypass_in_rebuild,
        &Costs::major_parts, &Costs::beyond_repair, &Costs::new_unit, &Costs::breakdown}) {
    for (const double factor : {1.1, 2.0, 10.0}) {
      Costs c = base;
      c.*price *= factor;
      CHECK(least(solve(g, c)) >= now * (1 - 2e-3));
    }
  }
  double before = 0;
  for (const double wet : {0.0, 0.05, 0.2, 0.5, 0.9, 1.0}) {
    Problem changed = p;
    changed.start = {1 - wet, wet * 0.4, wet * 0.3, wet * 0.3};
    const double cost = least(solve(Grid(changed, kRough), base));
    CHECK(cost >= before * (1 - 2e-3));
    before = cost;
  }
}

TEST_CASE("limits: nothing costs, nothing wears, checks are free and see all") {
  Problem p = small_problem();
  Costs c = small_costs();
  Costs none;
  CHECK(least(solve(Grid(p, kRough), none)) == 0);
  // A dry unit that cannot leak costs its checks alone: as few as allowed.
  Problem dry = p;
  dry.start = {1, 0, 0, 0};
  dry.onset.assign(dry.steps, 0);
  dry.harm[0] = 0;
  dry.seen[0].allowed.fill(false);
  dry.now = dry.seen[0];
  dry.seen[0].chance[0] = 1;
  dry.seen[1].chance[0] = 0;
  CHECK(least(solve(Grid(dry, kRough), c)) == Approx(3 * c.check));
  // Free checks that see all: looking at every step never costs more than any other wait.
  for (std::size_t s = 0; s < p.stages(); ++s) {
    p.seen[0].chance[s] = s == 0 ? 1 : 0;
    p.seen[1].chance[s] = s == 0 ? 0 : 1;
  }
  c.check = 0;
  p.waits = {1};
  const double every = least(solve(Grid(p, kRough), c));
  p.waits = {6};
  CHECK(every <= least(solve(Grid(p, kRough), c)) + 1e-9);
}

TEST_CASE("the best selection is the one that trying all of them finds") {
  draw::Run draws(11);
  for (int round = 0; round < 40; ++round) {
    constexpr std::size_t kParcels = 9;
    std::vector<plan::Parcel> parcels;
    for (std::size_t i = 0; i < kParcels; ++i) {
      parcels.push_back(
          {std::floor(draws.next() * 40) - 6, static_cast<std::size_t>(draws.next() * 12)});
    }
    const auto limit = static_cast<std::size_t>(draws.next() * 40);
    const auto by_trying = [&](std::size_t without, std::size_t most) {
      double best = 0;
      for (unsigned set = 0; set < (1U << kParcels); ++set) {
        double value = 0;
        std::size_t weight = 0;
        for (std::size_t i = 0; i < kParcels; ++i) {
          if ((set >> i & 1U) != 0 && i != without) {
            value += parcels[i].value;
            weight += parcels[i].weight;
          }
        }
        best = weight <= most ? std::max(best, value) : best;
      }
      return best;
    };
    const plan::Knapsack sack(parcels, limit);
    CHECK(sack.best() == by_trying(kParcels, limit));
    CHECK(sack.without(3, limit / 2) == by_trying(3, limit / 2));
    double value = 0;
    std::size_t weight = 0;
    const std::vector<bool> taken = sack.taken();
    for (std::size_t i = 0; i < kParcels; ++i) {
      value += taken[i] ? parcels[i].value : 0;
      weight += taken[i] ? parcels[i].weight : 0;
    }
    CHECK(value == sack.best());
    CHECK(weight <= limit);
  }
}

// -------------------------------------------------------------- from records

TEST_CASE("what the grade forbids is not allowed, whatever it costs") {
  const PriceBook prices = example_prices();
  const Plan d = plan_of(example("droplets-rust-tone.json"), prices);
  CHECK(d.report.grade == Grade::D);
  for (const std::string_view id : {"recheck", "bypass-rotor-circuit"}) {
    const PlanOption& o = *d.option(id);
    CHECK(!o.allowed);
    CHECK(!o.cost);
    CHECK(o.barred.front().id == "advise-stop");
  }
  CHECK(d.option("open-and-rebuild")->allowed);
  const Plan film = plan_of(example("film-caught-early.json"), prices);
  CHECK(film.option("bypass-rotor-circuit")->allowed);
  // Of two limits the nearer one is said first.
  CHECK(film.option("recheck")->barred.front().id == "advise-bypass-early");
  const Plan bypassed = plan_of(example("bypassed.json"), prices);
  CHECK(bypassed.option("bypass-rotor-circuit")->barred.front().id == "bar-bypass-done");
  CHECK(bypassed.option("open-and-rebuild+bypass-rotor-circuit")->barred.front().id ==
        "bar-both-done");
  const Plan u = plan_of(example("owner-no-port-check.json"), prices);
  CHECK(u.report.grade == Grade::U);
  REQUIRE(u.first.size() == 1);
  CHECK(u.first[0].action.id == "check-port");
  CHECK(u.first[0].looks);
  CHECK(u.first[0].cost == Approx(5 + 70 * 0.25));
  CHECK(!u.option("recheck")->allowed);
}

plan::Unit unit_of(std::string_view name) {
  return {example(name), shipped_grader(), shipped_work(), std::nullopt};
}

TEST_CASE("a plan's stages are those of the process") {
  const plan::Unit unit = unit_of("film-caught-early.json");
  const Problem p = unit.problem(60000, {}, std::nullopt);
  // Of a year's distance and its days at rest; what harms units that do not leak, by `base-km`.
  const Settings& s = shipped().settings;
  const auto& [damp, wet, last] = shipped().stages;
  const auto& [corrosion, insulation] = shipped().harms;
  const auto share = [](Cause c) {
    return shipped().causes[static_cast<std::size_t>(c)].base.front();
  };
  const double working = 1 + s.rest_km_per_day * 365.25 / s.km_per_year;
  const double base = -(std::log1p(-share(Cause::rotor_bearing_corrosion)) +
                        std::log1p(-share(Cause::insulation_loss))) /
                      s.base_km;
  CHECK(p.leak_stages == 3);
  CHECK(p.harm[0] == Approx(base).epsilon(1e-12));
  CHECK(p.next[1] == Approx(working / damp.lasts_km).epsilon(1e-12));
  CHECK(p.next[2] == Approx(working / wet.lasts_km).epsilon(1e-12));
  CHECK(last.lasts_km == 0);
  CHECK(p.next[3] == 0);
  for (std::size_t stage = 1; stage <= 3; ++stage) {
    CHECK(p.harm[stage] == Approx(base + working * (1 / corrosion.after_km[stage - 1] +
                                                    1 / insulation.after_km[stage - 1]))
                               .epsilon(1e-12));
  }
  // The two kinds of harm as they come of a dripping leak.
  const double both = 1 / corrosion.after_km[2] + 1 / insulation.after_km[2];
  CHECK(1 / p.breakdown_km == Approx(working *
                                     (1 / corrosion.after_km[2] / corrosion.breakdown_km +
                                      1 / insulation.after_km[2] / insulation.breakdown_km) /
                                     both)
                                  .epsilon(1e-3));
  // The belief now, as it stands and doubted.
  const Posterior& posterior = unit.verdict().posterior;
  const auto whole = [&](std::size_t seal) {
    double sum = 0;
    for (const double x : posterior.belief.at[core_of(seal, 0, 0)]) {
      sum += x;
    }
    return sum;
  };
  for (std::size_t seal = 0; seal < kSealStates; ++seal) {
    CHECK(p.start[seal] == Approx(whole(seal)).epsilon(1e-9));
    CHECK(p.start[seal] > 0);
  }
  CHECK(p.start[4] == Approx(1 - whole(0) - whole(1) - whole(2) - whole(3)).epsilon(1e-9));
  const auto [leaking, damaged] = plan::leaking_and_damaged(posterior);
  CHECK(leaking == Approx(whole(1) + whole(2) + whole(3)).epsilon(1e-12));
  CHECK(damaged == Approx(p.start[4]).epsilon(1e-12));
  const Problem doubted = unit.problem(60000, {.leaking = 3, .damaged = 2}, std::nullopt);
  const auto odds = [](double x) { return x / (1 - x); };
  CHECK(odds(doubted.start[4]) == Approx(2 * odds(damaged)).epsilon(1e-9));
  CHECK((1 - doubted.start[4] - doubted.start[0]) / doubted.start[0] ==
        Approx(3 * leaking / whole(0)).epsilon(1e-9));
  CHECK(doubted.start[2] / doubted.start[1] == Approx(whole(2) / whole(1)).epsilon(1e-9));
}

TEST_CASE("if nothing is done as many break down as the report's prognosis says") {
  for (const std::string_view name : {"dry-and-quiet.json", "film-caught-early.json"}) {
    const plan::Unit unit = unit_of(name);
    const Ahead ahead(shipped_model().life(), unit.verdict().posterior.belief,
                      clock_of(unit.as_case()), shipped().settings.km_per_year);
    const Plan p = plan_of(example(name), example_prices());
    CHECK(p.lost_if_nothing == ahead.within(60000).breakdown);
    // Over a distance that the report names, which goes there in several legs.
    const Plan shorter =
        make_plan(example(name), shipped_grader(), shipped_work(), example_prices(),
                  {.horizon_km = 20000,
                   .audience = Audience::technician,
                   .today = std::nullopt,
                   .swings = false});
    const auto& rows = shorter.report.prognosis;
    const auto row = std::ranges::find(rows, 20000.0, &Prognosis::km);
    REQUIRE(row != rows.end());
    CHECK(shorter.lost_if_nothing == Approx(row->breakdown.probability).epsilon(1e-3));
  }
  // The stages of the plan come to a little less: there one harm does not add to another.
  const plan::Unit unit = unit_of("dry-and-quiet.json");
  const Problem p = unit.problem(60000, {}, std::nullopt);
  plan::Row at = p.start;
  double broken = 0;
  for (const double onset : p.onset) {
    const plan::Motion m = plan::motion(p, onset);
    plan::Row next{};
    for (std::size_t from = 0; from < p.stages(); ++from) {
      broken += at[from] * m.breaks[from];
      for (std::size_t s = from; s < p.stages(); ++s) {
        next[s] += at[from] * m.to[from][s];
      }
    }
    at = next;
  }
  CHECK(broken < unit.breaks_down(60000));
  CHECK(broken > 0.88 * unit.breaks_down(60000));
}

TEST_CASE("a unit that does not turn has broken down, and is not watched") {
  const Plan p = plan_of(example("seized.json"), example_prices());
  CHECK(p.stands);
  CHECK(p.lost_if_nothing == 1);
  const auto& barred = p.option("recheck")->barred;
  CHECK(std::ranges::find(barred, "bar-recheck-seized", &PlanReason::id) != barred.end());
  CHECK(has(plan_to_text(p, {.colour = false, .width = 200, .units = Units::km}),
            "This unit has already broken down. If nothing is done, it stays where it is."));
  CHECK(!plan_of(example("film-caught-early.json"), example_prices()).stands);
}

const Guides& shipped_guides() {
  static const Guides guides = [] {
    const std::filesystem::path data(DRYSHAFT_DATA_DIR);
    Result<Guides> loaded = load_guides(test::read_folder(data / "guides"), {},
                                        test::read_folder(data / "families"), shipped());
    if (!loaded.value || !loaded.diagnostics.empty()) {
      throw std::runtime_error(complaints(loaded.diagnostics));
    }
    return std::move(*loaded.value);
  }();
  return guides;
}

// "Within 500 km or 14 days", as every document says it.
std::string when(const Report& report, const Action& action) {
  return action.overdue
             ? "overdue"
             : words::deadline(action.within_km, action.within_days, Units::km, report.whereabouts);
}

// Report and plan of a workshop, letter and quotation of an owner, job sheet and guide have one
// first action, with the same limits, and one first look.
void one_voice(const History& history) {
  INFO(history.unit_id);
  constexpr TextStyle kPlain{.colour = false, .width = 80, .units = Units::km};
  const Report report =
      shipped_grader().report(history, {.audience = Audience::technician, .today = std::nullopt});
  const Action& asked = report.actions.front();
  for (const Audience reader : {Audience::technician, Audience::owner}) {
    const Report own =
        shipped_grader().report(history, {.audience = reader, .today = std::nullopt});
    const Plan p =
        make_plan(history, shipped_grader(), shipped_work(), example_prices(),
                  {.horizon_km = 8000, .audience = reader, .today = std::nullopt, .swings = false});
    REQUIRE(!p.first.empty());
    for (const Action* first : {&own.actions.front(), &p.first.front().action}) {
      CHECK(first->id == asked.id);
      CHECK(first->within_km == asked.within_km);
      CHECK(first->within_days == asked.within_days);
      CHECK(first->due_date == asked.due_date);
      CHECK(first->due_km == asked.due_km);
      CHECK(first->overdue == asked.overdue);
    }
    const auto says = [&](const std::string& text) {
      std::string plain;  // small letters, one space between words
      for (const char c : text) {
        const bool space = c == ' ' || c == '\n';
        if (!space || !plain.ends_with(' ')) {
          plain += space ? ' ' : static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
        }
      }
      INFO(plain);
      CHECK(has(plain, when(own, asked)));
    };
    says(to_text(own, kPlain));
    says(plan_to_text(p, kPlain));
    const PlanOption& wait = *p.option("recheck");
    if (wait.allowed) {
      CHECK(wait.cost->interval_km == report.recheck.km);
      CHECK(wait.cost->interval_days == report.recheck.days);
    }
    // Nothing that decides is left for later than the work it decides.
    for (const PlanFirst& f : p.first) {
      CHECK((f.action.urgency <= Urgency::soon || &f == p.first.data()));
    }
    // No other limit for what the report asks for.
    for (const PlanOption& o : p.options) {
      for (const PlanReason& r : o.barred) {
        const auto of_report = std::ranges::find(report.actions, r.id, &Action::rule);
        if (of_report != report.actions.end() && (r.within_km || r.within_days)) {
          CHECK(r.within_km == of_report->within_km);
          CHECK(r.within_days == of_report->within_days);
        }
      }
    }
  }
  // What is to be done first has a sheet, or is a look of which the guide tells.
  const ActionRule& rule = *shipped().action(asked.id);
  bool is_work = false;
  bool has_sheet = false;
  for (const PlanOptionRule& o : shipped_work().options) {
    if (!o.jobs.empty() && std::ranges::find(o.actions, asked.id) != o.actions.end()) {
      const JobSheetRequest request{.option = o.id};
      is_work = true;
      has_sheet =
          has_sheet ||
          (barred(history, shipped_grader(), shipped_work(), request).empty() &&
           has(job_sheet_to_text(history, shipped_grader(), shipped_work(), request, kPlain),
               report.unit_id));
    }
  }
  CHECK(has_sheet == is_work);
  if (rule.minutes > 0) {
    const std::vector<std::string_view> checks =
        guide_checks(shipped_guides(), shipped(), {.family = report.family});
    CHECK(std::ranges::find(checks, asked.id) != checks.end());
  }
}

TEST_CASE("a unit is told the same wherever one reads") {
  std::size_t seen = 0;
  for (const auto& file : std::filesystem::directory_iterator(DRYSHAFT_EXAMPLES_DIR)) {
    const std::string name = file.path().filename().string();
    if (name.ends_with(".json") && name != "prices.json" && name != "contradictory.json") {
      one_voice(example(name));
      ++seen;
    }
  }
  CHECK(seen >= 17);
  std::string intake =
      test::read_file(std::filesystem::path(DRYSHAFT_EXAMPLES_DIR) / "intake.jsonl");
  for (int unit = 0; unit < 300; ++unit) {
    const std::size_t end = intake.find('\n');
    REQUIRE(end != std::string::npos);
    one_voice(history_of(intake.substr(0, end)));
    intake.erase(0, end + 1);
  }
}

TEST_CASE("after a bypass a look sees what harm shows, not the leak that is gone") {
  const plan::Unit unit = unit_of("film-caught-early.json");
  const Problem p = unit.problem(60000, {}, std::nullopt);
  REQUIRE(!p.seen_closed.empty());
  constexpr auto kRust = std::size_t{1} << static_cast<std::size_t>(Cause::rotor_bearing_corrosion);
  double sound = 1;
  double rusty = 1;
  for (const Finding f : {Finding::port_fluid, Finding::port_residue, Finding::port_rust}) {
    sound *= shipped_model().likelihood(f, 0)[0];
    rusty *= shipped_model().likelihood(f, 0)[kRust];
  }
  const Seen& clean = p.seen_closed.front();
  CHECK(clean.chance[0] == Approx(sound));
  CHECK(clean.chance[4] == Approx(rusty));
  CHECK(clean.chance[4] > 5 * p.seen.front().chance[4]);
  CHECK(clean.most_steps > 0);  // caught early, closed, clean: that may be driven
  for (const std::size_t stage : {0, 4}) {
    double sum = 0;
    for (const Seen& seen : p.seen_closed) {
      sum += seen.chance[stage];
      CHECK(!seen.allowed[static_cast<std::size_t>(Work::bypass)]);
    }
    CHECK(sum == Approx(1));
  }
  // A unit that is bypassed already shows no leak either.
  const Problem done = unit_of("bypassed.json").problem(60000, {}, std::nullopt);
  CHECK(done.seen.front().chance[4] == Approx(rusty));
  CHECK(done.seen_closed.empty());
}

TEST_CASE("gearbox bearings alone stand beside the ways to go") {
  const Plan p = plan_of(example("tone-dry-port-hybrid.json"), example_prices());
  REQUIRE(p.beside.size() == 1);
  const PlanOption& gear = p.beside.front();
  CHECK(gear.id == "renew-gear-bearings");
  CHECK(gear.allowed);
  // Parts, the family's 7 hours, and 3 days out of use.
  CHECK(gear.cost->expected == Approx(560.0 / 3 + 7 * 70 + 3 * 140.0 / 3));
  CHECK(gear.cost->bill_low == Approx(140 + 7 * 70));
  CHECK(gear.cost->bill_high == Approx(240 + 7 * 70));
  CHECK(std::ranges::none_of(
      p.options, [](const PlanOption& o) { return o.role == OptionRole::gear_bearings; }));
  const auto barred = [](std::string_view name) {
    const Plan other = plan_of(example(name), example_prices());
    CHECK(!other.beside.front().allowed);
    return other.beside.front().barred.front().id;
  };
  CHECK(barred("dry-and-quiet.json") == "renew-gear-bearings");
  CHECK(barred("droplets-rust-tone.json") == "advise-stop");
}

TEST_CASE("a plan lets no unit drive longer than the report does") {
  // The same look again leaves as long as the report does.
  const History dry = example("dry-and-quiet.json");
  const Report report =
      shipped_grader().report(dry, {.audience = Audience::technician, .today = std::nullopt});
  const Problem now = unit_of("dry-and-quiet.json").problem(60000, {}, report.recheck.km);
  CHECK(*report.recheck.km < *shipped().grades[0].recheck_km);
  CHECK(now.now.most_steps == static_cast<std::size_t>(*report.recheck.km / now.step_km));
  CHECK(now.seen.front().most_steps == now.now.most_steps);
  // 10,500 km are seven steps, which the list of distances does not hold.
  const Problem p = unit_of("dry-and-quiet.json").problem(60000, {}, 10600);
  CHECK(p.step_km == 1500);
  CHECK(p.now.most_steps == 7);
  CHECK(std::ranges::find(p.waits, 7U) != p.waits.end());
  Costs c;
  c.check = 1;
  const Solution s = solve(Grid(p, {}), c);
  const auto wait = std::ranges::find_if(
      s.first, [](const First& f) { return f.does == Node::Does::wait && f.wait > 0; });
  REQUIRE(wait != s.first.end());
  CHECK(wait->wait == 7);
  CHECK(unit_of("dry-and-quiet.json").problem(60000, {}, std::nullopt).now.most_steps == 0);
}

TEST_CASE("a check in the plan misses a leak as often as the rules say") {
  const plan::Unit unit = unit_of("dry-and-quiet.json");
  const Problem p = unit.problem(60000, {}, 7500);
  // Nothing of liquid, tracks and rust, which are all dry or all reached.
  double dry = 1;
  double reached = 1;
  const auto& [damp, wet, dripping] = shipped().stages;
  for (const Finding f : {Finding::port_fluid, Finding::port_residue, Finding::port_rust}) {
    dry *= shipped_model().likelihood(f, 0)[0];
    reached *= shipped_model().likelihood(f, 0)[1];
  }
  CHECK(p.seen.front().chance[0] == Approx(dry));
  CHECK(p.seen.front().chance[1] == Approx(dry + damp.reaches * (reached - dry)));
  CHECK(p.seen.front().chance[2] == Approx(dry + wet.reaches * (reached - dry)));
  CHECK(p.seen.front().chance[3] == Approx(dry + dripping.reaches * (reached - dry)));
  CHECK(p.seen.front().chance[4] < p.seen.front().chance[3]);
  for (std::size_t s = 0; s < p.stages(); ++s) {
    double sum = 0;
    for (const Seen& seen : p.seen) {
      sum += seen.chance[s];
    }
    CHECK(sum == Approx(1));
  }
  double start = 0;
  for (const double x : p.start) {
    start += x;
  }
  CHECK(start == Approx(1));
}

TEST_CASE("where the second best would win is solved again on both sides") {
  const Plan p = plan_of(example("residue-only.json"), example_prices(), true);
  CHECK(p.options.front().id == "bypass-rotor-circuit");
  REQUIRE(!p.thresholds.empty());
  for (const PlanThreshold& t : p.thresholds) {
    CHECK(t.verified);
  }
  // The turn in the bypass's price: a price book beyond it gives the other order.
  const auto at_bypass = std::ranges::find(p.thresholds, "bypass", &PlanThreshold::id);
  REQUIRE(at_bypass != p.thresholds.end());
  PriceBook dearer = example_prices();
  const double beyond = at_bypass->at * 1.07;
  dearer.price[static_cast<std::size_t>(PriceKind::bypass)] = {beyond, beyond, beyond};
  CHECK(plan_of(example("residue-only.json"), dearer).options.front().id == "recheck");
}

TEST_CASE("the record of a sheet tells of its work once the days are put in") {
  const std::string sheet =
      job_sheet_to_text(example("film-caught-early.json"), shipped_grader(), shipped_work(),
                        {.option = "open-and-rebuild", .today = std::nullopt, .units = Units::km},
                        {.colour = false, .width = 200, .units = Units::km});
  const std::size_t begin = sheet.find("{\n \"format\"");
  REQUIRE(begin != std::string::npos);
  std::string text = sheet.substr(begin, sheet.find("}}\n", begin) + 2 - begin);
  const Result<Record> empty = read_record(text, "sheet", 1, 1, {});
  CHECK(!empty.value);
  CHECK(has(complaints(empty.diagnostics), "/inspection/date is \"YYYY-MM-DD\""));
  for (std::size_t at = 0; (at = text.find("YYYY-MM-DD")) != std::string::npos;) {
    text.replace(at, 10, "2026-05-04");
  }
  const Result<Record> read = read_record(text, "sheet", 1, 1, {});
  CHECK(complaints(read.diagnostics).empty());
  REQUIRE(read.value);
  CHECK(read.value->unit_id == "HL-0102");
  CHECK(!read.value->has(Field::teardown_seal_leak));  // not examined, until somebody does
  CHECK(!read.value->has(Field::port_fluid));
  std::vector<Did> did;
  for (const dryshaft::Work& w : read.value->work) {
    did.push_back(w.did);
  }
  CHECK(did == std::vector{Did::seal_renewed, Did::rotor_bearings_renewed,
                           Did::gear_bearings_renewed, Did::winding_dried, Did::cooling_bled});
  CHECK(read.value->work[1].material == Bearings::hybrid);
  CHECK(has(sheet, "rotor bearing, sensor end: 30 x 62 x 16 mm, 8 balls of 9.525 mm; hybrid"));
  CHECK(has(sheet, "6.5 l  coolant"));
  CHECK(has(sheet, "500 ohm per volt (0.2 megohm here) is the legal minimum"));
}

TEST_CASE("what a family's service holds is checked, and is no part of the rules' hash") {
  const auto families = test::shipped_families();
  const auto loaded = [&](std::string_view from, std::string_view to) {
    return load_knowledge(test::shipped_rules(), test::edited(families, "plover-2.json", from, to));
  };
  const auto dearer = loaded("\"rebuild\": 11,", "\"rebuild\": 12,");
  REQUIRE(dearer.value);
  CHECK(dearer.value->families_sha256 == shipped().families_sha256);
  CHECK(dearer.value->family("plover-2").service->hours[1].second == 12);
  const auto wrong = loaded("\"bearing\": \"rotor bearing, gear end\"",
                            "\"bearing\": \"rotor bearing, gaer end\"");
  CHECK(!wrong.value);
  CHECK(has(complaints(wrong.diagnostics),
            "/service/parts/3/bearing is \"rotor bearing, gaer end\""));
  CHECK(has(complaints(wrong.diagnostics), "hint: did you mean \"rotor bearing, gear end\"?"));
  const auto nameless = load_knowledge(
      test::shipped_rules(),
      test::edited(test::edited(families, "plover-2.json", R"("id": "rotor-seal", )", ""),
                   "plover-2.json", R"("id": "seal-sleeve", )", ""));
  CHECK(!nameless.value);
  CHECK(has(complaints(nameless.diagnostics), "/service/parts/0 has no \"id\"\n"));
  CHECK(has(complaints(nameless.diagnostics), "/service/parts/1 has no \"id\"\n"));
  CHECK(!has(complaints(nameless.diagnostics), "repeated-id"));
}

// ------------------------------------------------------------------ data files

std::string after_edit(std::string_view from, std::string_view to) {
  std::string text = price_text();
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  text.replace(at, from.size(), to);
  const Result<PriceBook> loaded = load_prices({"prices.json", text});
  CHECK(!loaded.value);
  return complaints(loaded.diagnostics);
}

TEST_CASE("prices that cannot be are refused with their place") {
  CHECK(after_edit("\"check\": 5", "\"check\": -5") ==
        "prices.json:6:14: error[out-of-range]: /prices/check is -5\n"
        "  \"check\": -5,\n"
        "           ^\n"
        "  allowed: a number from 0 to 1000000000\n");
  CHECK(after_edit("\"hour\": 70", "\"hour\": 1e30") ==
        "prices.json:16:13: error[out-of-range]: /prices/hour is 1e30\n"
        "  \"hour\": 1e30\n"
        "          ^\n"
        "  allowed: a number from 0 to 1000000000\n");
  CHECK(after_edit("\"hour\": 70", "\"hour\": 1e999") ==
        "prices.json:16:13: error[out-of-range]: /prices/hour is 1e999\n"
        "  \"hour\": 1e999\n"
        "          ^\n"
        "  allowed: a number from 0 to 1000000000\n");
  CHECK(after_edit("\"hour\": 70", "\"hour\": \"NaN\"") ==
        "prices.json:16:13: error[wrong-type]: /prices/hour is \"NaN\"\n"
        "  \"hour\": \"NaN\"\n"
        "          ^\n"
        "  allowed: a number, or {\"low\": ..., \"likely\": ..., \"high\": ...}\n");
  CHECK(has(after_edit("\"currency\": \"", "\"currency\": \"" + std::string(120, 'x')),
            "error[too-long]: /currency is 126 characters long\n"));
  CHECK(has(after_edit("\"note\": \"", "\"note\": \"" + std::string(2000, 'x')),
            "allowed: at most 2000 characters\n"));
  CHECK(has(after_edit("\"hour\": 70", "\"hour\": NaN"), "prices.json:16:13: error["));
  CHECK(has(after_edit("\"hour\": 70", "\"hours\": 70"), "/prices has no \"hour\""));
  CHECK(has(after_edit("\"hour\": 70", "\"hours\": 70"), "hint: did you mean \"hour\"?"));
  CHECK(has(after_edit("\"low\": 180, \"likely\": 220", "\"low\": 280, \"likely\": 220"),
            "prices.json:7:15: error[out-of-order]: /prices/bypass has 280, 220, 300"));
}

TEST_CASE("work data are checked: values, references, words") {
  const auto files = test::read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "work");
  const auto after = [&](std::string_view file, std::string_view from, std::string_view to) {
    const Result<WorkRules> loaded = load_work(test::edited(files, file, from, to), shipped());
    CHECK(!loaded.value);
    return complaints(loaded.diagnostics);
  };
  CHECK(has(after("plan.json", "\"jobs\": [\"job-check\"]", "\"jobs\": [\"job-chek\"]"),
            "names the job \"job-chek\", which does not exist\n  hint: did you mean "
            "\"job-check\"?"));
  CHECK(has(after("jobs.json", "{insulation-low} (", "{insulation-lwo} ("),
            "names the value \"insulation-lwo\""));
  CHECK(has(after("plan.json", "Have the unit opened and rebuilt", "Open up the unit yourself"),
            "tells an owner to \"open up\""));
  CHECK(has(after("plan.json", "\"outlook\": \"doubtful\"", "\"outlook\": \"routine\""),
            "there are no chances for the outlook \"doubtful\""));
  CHECK(has(after("jobs.json", "\"stage\": \"fill\"", "\"stage\": \"fil\""), "fill"));
  CHECK(has(after("jobs.json", "\"connector-clip\", \"moving-parts\"", "\"conector-clip\""),
            "names the caution \"conector-clip\""));
}

TEST_CASE("a job that leaves one of its actions open is refused") {
  const auto files = test::read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "work");
  const auto after = [&](std::string_view from, std::string_view to) {
    const Result<WorkRules> loaded =
        load_work(test::edited(files, "jobs.json", from, to), shipped());
    CHECK(!loaded.value);
    return complaints(loaded.diagnostics);
  };
  const std::string hint =
      "  hint: see \"closed_by\" of that action: put its work into \"does\", or its findings into "
      "\"looks\"\n";
  // One action of two.
  CHECK(after(R"({"did": "rotor-circuit-bypassed"}, {"did": "cooling-bled"})",
              R"({"did": "rotor-circuit-bypassed"})") ==
        "jobs.json:28:5: error[never-closed]: /jobs/1 does nothing that closes its action "
        "\"bleed-cooling\"\n"
        "  {\"id\": \"job-bypass\", \"title\": \"Bypass of the rotor circuit\", \"work\": \"by\n"
        "  ^\n" +
            hint);
  // Half of what closes it: the seal without the bearings.
  CHECK(after(R"("did": "rotor-bearings-renewed", "material": "hybrid")",
              R"("did": "winding-dried")") ==
        "jobs.json:79:5: error[never-closed]: /jobs/2 does nothing that closes its action "
        "\"open-and-rebuild\"\n"
        "  {\"id\": \"job-rebuild\", \"title\": \"Rebuild\", \"work\": \"rebuild\", \"opens\": tr\n"
        "  ^\n" +
            hint);
  // Looks, and not the one that it waits for.
  CHECK(after(R"("looks": ["port-fluid", "port-fluid-kind", "port-residue")",
              R"("looks": ["port-fluid-kind", "port-residue")") ==
        "jobs.json:4:5: error[never-closed]: /jobs/0 does nothing that closes its action "
        "\"check-port\"\n"
        "  {\"id\": \"job-check\", \"title\": \"Port check\", \"actions\": [\"check-port\"],\n"
        "  ^\n" +
            hint);
}

TEST_CASE("the shipped steps of each job stand in the order of their stages") {
  for (const Job& job : shipped_work().jobs) {
    CHECK(std::ranges::is_sorted(job.steps, {}, &JobLine::stage));
  }
}

TEST_CASE("work that the rules want within a limit is not put off because that is cheaper") {
  const PriceBook prices = example_prices();
  const std::string_view port =
      R"("port": {"checked": true, "fluid": "none", "dried_residue": false, "debris": "none", )"
      R"("corrosion": )";
  const auto plan = [&](std::string_view corrosion, std::string_view rest) {
    const std::string text = fmt::format(
        R"({{"format": "dryshaft-record/1", "unit": {{"id": "u", "family": "plover-2", )"
        R"("built": "2017-02"}}, "inspection": {{"date": "2026-03-01", "odometer_km": 60000, )"
        R"({}"{}"}}, {}}}}})",
        port, corrosion, rest);
    return plan_of(history_of(text), prices);
  };
  const Plan low =
      plan("none", R"("noise": {"present": false}, "insulation": {"resistance_mohm": 0.1, )"
                   R"("test_voltage_v": 500, "winding_temp_c": 40})");
  const PlanOption& waits = *low.option("recheck");
  CHECK(!waits.allowed);
  REQUIRE(!waits.barred.empty());
  CHECK(waits.barred.front().id == "advise-rebuild-insulation");
  CHECK(waits.barred.front().within_km == 1500);
  CHECK(low.option("bypass-rotor-circuit")->barred.front().id == "bar-bypass-insulation");
  CHECK(low.options.front().id == "open-and-rebuild");
  REQUIRE(low.first.size() == 1);
  CHECK(low.first[0].action.rule == "advise-insulation-first");
  CHECK(!plan("heavy", R"("noise": {"present": true, "level": "loud"}, "rotation": "stiff")")
             .option("recheck")
             ->allowed);
  CHECK(plan("none", R"("noise": {"present": false})").option("recheck")->allowed);

  // A check that the report asks for before driving comes before every option.
  const Plan stored =
      plan("none", R"("noise": {"present": false}, "faults": {"isolation": "stored"})");
  REQUIRE(stored.first.size() == 1);
  CHECK(stored.first[0].action.id == "measure-insulation");
  CHECK(stored.first[0].action.within_km == 0);
  CHECK(has(plan_to_text(stored, {}), "First     Before any further driving and within 7 days:"));
  CHECK(stored.option("bypass-rotor-circuit")->barred.front().id == "bar-bypass-isolation");
}

TEST_CASE("a core is paid for in a bill only where the unit is more likely sound than not") {
  const PriceBook prices = example_prices();
  const Plan seized = plan_of(example("seized.json"), prices);
  const Plan film = plan_of(example("film-caught-early.json"), prices);
  const auto bill = [](const Plan& p) { return p.option("replace-major-parts")->cost->bill_low; };
  CHECK(seized.damaged > 0.5);
  CHECK(bill(seized) == Approx(bill(film) + prices.at(PriceKind::core).high));
}

}  // namespace
}  // namespace dryshaft
