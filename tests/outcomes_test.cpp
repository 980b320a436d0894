// Verdicts against openings: scores, the fit, overlays, and the report on them.
#include "dryshaft/outcomes.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numeric>
#include <sstream>

#include "base/draw.hpp"
#include "base/index.hpp"
#include "families.hpp"
#include "support.hpp"

namespace dryshaft::test {
namespace {

// Draws that depend on nothing but the name of the dice.
class Dice : public draw::Run {
 public:
  explicit Dice(std::string_view name) : Run(draw::hashed(name)) {}
};

std::vector<History> histories_of(std::string_view json_lines) {
  Records read = read_records(json_lines, "test", test::kFamilies);
  if (read.rejected != 0) {
    throw std::runtime_error(complaints(read.diagnostics));
  }
  Result<std::vector<History>> grouped = group_by_unit(std::move(read.records));
  return std::move(*grouped.value);
}

Openings openings_from(std::string_view json_lines) {
  return openings_of(histories_of(json_lines), shipped());
}

// A record with members of unit, inspection and teardown.
std::string opened_text(std::string_view inspection, std::string_view teardown,
                        std::string_view unit = "", std::string_view date = "2026-03-02") {
  std::string text = record_text(inspection, unit, date);
  text.insert(text.rfind('}'), ",\"teardown\":{" + std::string(teardown) + "}");
  return text;
}

// An opening of a unit about which nothing is known but the levels that are set.
Opening opening(std::string unit, unsigned examined, unsigned found) {
  Opening o;
  o.unit_id = std::move(unit);
  o.date = 20000;
  o.facts = empty_case();
  o.facts.seal_km = 120000;
  o.facts.seal_years = 6;
  o.examined = examined;
  o.found = found;
  return o;
}

constexpr unsigned kAll = (1U << kCauseCount) - 1U;
constexpr unsigned bit(Cause c) { return 1U << idx(c); }

// A draw from weights that need not sum to 1.
template <typename Weights>
std::size_t drawn(Dice& dice, const Weights& weights) {
  double left = dice.next() * std::accumulate(std::begin(weights), std::end(weights), 0.0);
  std::size_t i = 0;
  while (i + 1 < std::size(weights) && left >= weights[i]) {
    left -= weights[i++];
  }
  return i;
}

// Units drawn from rules: a state of the process, whether coolant has reached the tip, then every
// finding of `shown` in it.
std::vector<Opening> simulated(const Knowledge& truth, std::size_t count,
                               std::span<const Finding> shown, unsigned examined,
                               std::string_view seed) {
  const Model model(truth);
  Dice dice(seed);
  std::vector<Opening> all;
  while (all.size() < count) {
    Opening o = opening("U" + std::to_string(all.size()), examined, 0);
    const Belief belief = model.prior(o.facts).belief;
    std::vector<double> all_states;
    for (const auto& row : belief.at) {
      all_states.insert(all_states.end(), row.begin(), row.end());
    }
    const std::size_t place = drawn(dice, all_states);
    const std::size_t core = place / kRests;
    const std::size_t seal = core / core_of(1, 0, 0);
    const std::size_t corrosion = core / core_of(0, 1, 0) % kHarmStates;
    const std::size_t insulation = core % kHarmStates;
    const std::size_t breakdown = (corrosion == 2 ? 1U : 0U) | (insulation == 2 ? 2U : 0U);
    const unsigned there = causes_in(seal, corrosion, insulation, place % kRests);
    const bool reached = dice.next() < model.reaches(seal);
    const std::size_t state =
        (there & ~bit(Cause::seal_leak)) | (reached ? bit(Cause::seal_leak) : 0);
    for (const Finding f : shown) {
      if (!exists(f, o.facts.level)) {
        continue;
      }
      std::vector<double> levels;
      for (int level = 0; level < static_cast<int>(spec(f).levels.size()); ++level) {
        levels.push_back(model.likelihood(f, level)[state] * model.broken(f, level)[breakdown]);
      }
      o.facts.set(f, static_cast<int>(drawn(dice, levels)));
    }
    o.found = there & examined;
    // Of those that have broken down, few are looked at without a word of it.
    if (dice.next() < model.unsaid(o.facts.level)[breakdown]) {
      all.push_back(std::move(o));
    }
  }
  return all;
}

constexpr Finding kUsual[] = {
    Finding::port_fluid,  Finding::port_fluid_kind, Finding::port_residue, Finding::port_rust,
    Finding::port_debris, Finding::isolation_fault, Finding::rotation,     Finding::noise,
    Finding::noise_load,  Finding::noise_pitch,     Finding::coolant_loss};

Knowledge changed(std::string_view link, std::array<double, kMaxLevels> shows) {
  Knowledge k = shipped();
  std::ranges::find(k.links, link, &Item::id)->shows = shows;
  return k;
}
const Link& link_of(const Knowledge& k, std::string_view id) {
  return *std::ranges::find(k.links, id, &Item::id);
}
const Background& background_of(const Knowledge& k, std::string_view id) {
  return *std::ranges::find(k.backgrounds, id, &Item::id);
}
const FittedRule& rule_of(const OutcomeFit& fit, std::string_view id) {
  return *std::ranges::find(fit.rules, id, &FittedRule::id);
}

}  // namespace

// ------------------------------------------------------------------ scores

TEST_CASE("Brier score of the example in scikit-learn's documentation") {
  // y = 0, 1, 1, 0 and p = 0.1, 0.9, 0.8, 0.3: 0.0375 (the docstring of brier_score_loss prints
  // 0.037...). The parts, one bin each, were worked out by hand.
  const Forecast forecasts[] = {{0.1, false}, {0.9, true}, {0.8, true}, {0.3, false}};
  const double edges[] = {0.2, 0.5, 0.85};
  const BrierParts parts = brier_parts(forecasts, edges);
  CHECK(parts.brier == Approx(0.0375).margin(1e-12));
  CHECK(parts.reliability == Approx(0.0375).margin(1e-12));
  CHECK(parts.resolution == Approx(0.25).margin(1e-12));
  CHECK(parts.uncertainty == Approx(0.25).margin(1e-12));
  CHECK(parts.within_variance == Approx(0).margin(1e-12));
  CHECK(parts.within_covariance == Approx(0).margin(1e-12));
}

TEST_CASE("With two forecasts in a bin the terms within bins make the sum right") {
  // By hand: bins {0.1, 0.3} and {0.9, 0.8}, with the outcomes above.
  const Forecast forecasts[] = {{0.1, false}, {0.9, true}, {0.8, true}, {0.3, false}};
  const double edges[] = {0.5};
  const BrierParts parts = brier_parts(forecasts, edges);
  CHECK(parts.reliability == Approx((2 * 0.04 + 2 * 0.0225) / 4).margin(1e-12));
  CHECK(parts.within_variance == Approx((2 * 0.01 + 2 * 0.0025) / 4).margin(1e-12));
  CHECK(parts.within_covariance == Approx(0).margin(1e-12));
  CHECK(parts.reliability - parts.resolution + parts.uncertainty + parts.within_variance ==
        Approx(0.0375).margin(1e-12));
}

TEST_CASE("The five terms add up to the Brier score, whatever the data and the bins") {
  Dice dice("identity");
  for (int round = 0; round < 200; ++round) {
    std::vector<Forecast> forecasts;
    const int n = 1 + static_cast<int>(dice.next() * 60);
    for (int i = 0; i < n; ++i) {
      const double p = dice.next();
      forecasts.push_back({p, dice.next() < p * p});
    }
    std::vector<double> edges;
    for (int i = 0; i < round % 8; ++i) {
      edges.push_back(dice.next());
    }
    std::ranges::sort(edges);
    const BrierParts p = brier_parts(forecasts, edges);
    CHECK(p.reliability - p.resolution + p.uncertainty + p.within_variance - p.within_covariance ==
          Approx(p.brier).margin(1e-12));
    CHECK(p.reliability >= 0);
    CHECK(p.within_variance >= 0);
  }
}

TEST_CASE("To say 0.5 always scores 0.25, and one bit") {
  const Forecast forecasts[] = {{0.5, true}, {0.5, false}, {0.5, false}};
  CHECK(brier_parts(forecasts, {}).brier == Approx(0.25).margin(1e-15));
  for (const Forecast& f : forecasts) {
    CHECK(log_score(f) == Approx(1).margin(1e-15));
  }
  CHECK(log_score({0.25, true}) == Approx(2).margin(1e-15));
  CHECK(log_score({0.75, false}) == Approx(2).margin(1e-15));
  CHECK(log_score({1, true}) == Approx(0).margin(1e-9));
  CHECK(std::isfinite(log_score({0, true})));
  CHECK(std::isfinite(log_score({1, false})));
  CHECK(brier_parts({}, {}).brier == 0);
}

TEST_CASE("Exact intervals of a share, where they have a closed form") {
  // Of none of n: the upper end is 1 - (alpha / 2)^(1 / n), by the definition.
  CHECK(exact_share(0, 10, 0.95).low == 0);
  CHECK(exact_share(0, 10, 0.95).high == Approx(1 - std::pow(0.025, 0.1)).margin(1e-12));
  CHECK(exact_share(10, 10, 0.95).low == Approx(std::pow(0.025, 0.1)).margin(1e-12));
  CHECK(exact_share(10, 10, 0.95).high == 1);
  const Interval one = exact_share(1, 1, 0.95);
  CHECK(one.low == Approx(0.025).margin(1e-12));
  CHECK(one.high == 1);
  // Ends are where the other result has half of alpha: of 3 in 7.
  const Interval mid = exact_share(3, 7, 0.95);
  const auto chance = [](double p, int from, int to) {
    double sum = 0;
    for (int k = from; k <= to; ++k) {
      sum += std::tgamma(8.0) / std::tgamma(k + 1.0) / std::tgamma(8.0 - k) * std::pow(p, k) *
             std::pow(1 - p, 7 - k);
    }
    return sum;
  };
  CHECK(chance(mid.low, 3, 7) == Approx(0.025).margin(1e-9));
  CHECK(chance(mid.high, 0, 3) == Approx(0.025).margin(1e-9));
}

TEST_CASE("A forecast on an edge belongs above it, and empty bins are left out") {
  const Forecast forecasts[] = {{0.1, false}, {0.5, true}, {0.49, false}};
  const double edges[] = {0.25, 0.5, 0.75};
  const auto table = reliability_table(forecasts, edges);
  REQUIRE(table.size() == 3);
  CHECK(table[0].to == 0.25);
  CHECK(table[1].count == 1);
  CHECK(table[1].mean == Approx(0.49));
  CHECK(table[2].from == 0.5);
  CHECK(table[2].happened == 1);
}

TEST_CASE("Bootstrap intervals: the same bytes, wider for few units, none for one") {
  CHECK_FALSE(bootstrap_mean({}, 0.95));
  CHECK_FALSE(bootstrap_mean(std::vector<UnitDifference>{{1, 1}}, 0.95));
  const auto same = bootstrap_mean(std::vector<UnitDifference>(5, {0.25, 1}), 0.95);
  CHECK(same->low == 0.25);
  CHECK(same->high == 0.25);
  Dice dice("bootstrap");
  std::vector<UnitDifference> units;
  for (int i = 0; i < 400; ++i) {
    units.push_back({dice.next(), 1});
  }
  const auto wide = bootstrap_mean(std::span(units).first(8), 0.95);
  const auto narrow = bootstrap_mean(units, 0.95);
  // Uniform: standard error 0.2887 / sqrt(400) = 0.0144, so 0.0566 from end to end at 95 %.
  CHECK(narrow->high - narrow->low == Approx(0.0566).epsilon(0.1));
  CHECK(narrow->low < 0.5);
  CHECK(narrow->high > 0.5);
  CHECK(wide->high - wide->low > 5 * (narrow->high - narrow->low));
  const auto again = bootstrap_mean(units, 0.95);
  CHECK(again->low == narrow->low);
  CHECK(again->high == narrow->high);
}

TEST_CASE("Intervals of small samples hold the truth about as often as they say") {
  Dice dice("coverage");
  int held = 0;
  constexpr int kRounds = 100;
  for (int round = 0; round < kRounds; ++round) {
    std::vector<UnitDifference> units;
    for (int i = 0; i < 10; ++i) {
      units.push_back({dice.next(), 1});
    }
    const auto interval = bootstrap_mean(units, 0.95);
    held += interval->low <= 0.5 && 0.5 <= interval->high ? 1 : 0;
  }
  CHECK(held >= kRounds * 90 / 100);
}

// ---------------------------------------------------------------- openings

TEST_CASE("What an opening showed is no part of the evidence before it") {
  const std::string seen = dry_and(R"("odometer_km":90000,"noise":{"present":true})");
  const auto found = openings_from(
      opened_text(seen, R"("date":"2026-03-09","seal-leak":"present","insulation-loss":"absent")"));
  REQUIRE(found.openings.size() == 1);
  const Opening& o = found.openings.front();
  CHECK(o.examined == (bit(Cause::seal_leak) | bit(Cause::insulation_loss)));
  CHECK(o.found == bit(Cause::seal_leak));
  CHECK(date_text(o.date) == "2026-03-09");
  // As the same record without a teardown, judged on the day of the opening.
  const History plain = history_of(record_text(seen));
  const Case facts = present(plain, 1, shipped(), *parse_date("2026-03-09")).facts;
  CHECK(o.facts.level == facts.level);
  CHECK(o.facts.situation == facts.situation);
  CHECK(o.facts.seal_km == facts.seal_km);
  CHECK(o.facts.seal_years == facts.seal_years);
  CHECK(o.facts.earlier == facts.earlier);
  CHECK(o.facts.at(Finding::opened_seal_leak) == -1);
}

TEST_CASE("A seal renewed at the opening, and the unit as rebuilt, are no evidence either") {
  const std::string wet =
      R"("odometer_km":90000,"port":{"checked":true,"fluid":"film","fluid_kind":"coolant"})";
  const std::string before = record_text(wet, R"("rotor_bearings":"steel")", "2026-01-02");
  const std::string late =
      R"("odometer_km":91000,"port":{"checked":true,"fluid":"droplets","fluid_kind":"coolant"})";
  const auto rebuilt = openings_from(
      before + opened_text(late, R"("seal-leak":"present")",
                           R"("seal_renewed_odometer_km":91000,"rotor_bearings":"hybrid")"));
  const auto plain = openings_from(before + opened_text(late, R"("seal-leak":"present")"));
  REQUIRE(rebuilt.openings.size() == 1);
  CHECK(rebuilt.openings[0].facts.seal_km == 91000);
  CHECK(rebuilt.openings[0].facts.level == plain.openings[0].facts.level);
  CHECK(rebuilt.openings[0].facts.at(Situation::rotor_bearings) == idx(Bearings::steel));
  // A look on the day of the opening, after the work.
  const auto after = openings_from(
      before + opened_text(late, R"("seal-leak":"present")") +
      record_text(dry_and(R"("odometer_km":91001)"), R"("seal_renewed_odometer_km":91001)"));
  REQUIRE(after.openings.size() == 1);
  CHECK(after.openings[0].facts.level == plain.openings[0].facts.level);
  CHECK(after.openings[0].facts.seal_km == 91000);
  // A seal renewed long before stays known.
  const auto older = openings_from(
      opened_text(late, R"("seal-leak":"present")", R"("seal_renewed_odometer_km":60000)"));
  CHECK(older.openings[0].facts.seal_km == 31000);
}

TEST_CASE("Inspections after the opening do not count, and earlier openings do") {
  const std::string dry = dry_and(R"("odometer_km":90000)");
  const std::string later = record_text(
      R"("odometer_km":95000,"port":{"checked":true,"fluid":"pooled","fluid_kind":"coolant"})", "",
      "2026-06-01");
  const auto found = openings_from(opened_text(dry, R"("seal-leak":"absent")") + later);
  REQUIRE(found.openings.size() == 1);
  CHECK(found.openings[0].facts.at(Finding::port_fluid) == 0);

  const auto twice = openings_from(
      opened_text(R"("odometer_km":50000)",
                  R"("seal-leak":"absent","rotor-bearing-erosion":"present")", "", "2024-01-05") +
      opened_text(dry, R"("seal-leak":"absent")"));
  REQUIRE(twice.openings.size() == 2);
  CHECK(twice.openings[0].facts.at(Finding::opened_rotor_bearing_erosion) == -1);
  CHECK(twice.openings[1].facts.at(Finding::opened_rotor_bearing_erosion) == 1);
}

TEST_CASE("Teardowns with nothing to compare are counted") {
  const auto before = openings_from(opened_text("", R"("date":"2026-01-01","seal-leak":"absent")"));
  CHECK(before.openings.empty());
  CHECK(before.not_seen_before == 1);
  const auto silent =
      openings_from(opened_text("", R"("date":"2026-04-01","seal-leak":"not-examined")"));
  CHECK(silent.openings.empty());
  CHECK(silent.nothing_examined == 1);
  CHECK(openings_from(record_text("")).openings.empty());
}

TEST_CASE("Two records that disagree on one opening: that cause counts as not examined") {
  const auto found = openings_from(
      opened_text(R"("odometer_km":90000)",
                  R"("date":"2026-03-09","seal-leak":"present","insulation-loss":"absent")") +
      opened_text(R"("odometer_km":90001)", R"("date":"2026-03-09","seal-leak":"absent")", "",
                  "2026-03-03"));
  REQUIRE(found.openings.size() == 1);
  CHECK(found.openings[0].examined == bit(Cause::insulation_loss));
  CHECK(complaints(found.diagnostics) ==
        "test:2: warning[openings-disagree]: /teardown/seal-leak is not what test:1 says of the "
        "same teardown, and counts as not examined\n");
}

// --------------------------------------------------------------------- fit

TEST_CASE("With no openings, or none with a finding, the fit is the prior") {
  const OutcomeFit none = fit_outcomes({}, shipped(), {});
  CHECK(none.status == ClimbStatus::no_data);
  CHECK(none.rules.empty());
  const std::vector<Opening> blind = {opening("U1", kAll, 0), opening("U2", kAll, kAll)};
  const OutcomeFit fit = fit_outcomes(blind, shipped(), {});
  CHECK(fit.status == ClimbStatus::converged);
  CHECK(fit.rules.empty());
  for (std::size_t i = 0; i < shipped().links.size(); ++i) {
    CHECK(adapted(shipped(), fit).links[i].shows == shipped().links[i].shows);
  }
}

TEST_CASE("Where all is known and one source is left, the fit is the closed form") {
  // No cause is present, so the background alone brings fine debris about: 8 of 20.
  std::vector<Opening> all;
  for (int i = 0; i < 20; ++i) {
    all.push_back(opening("U" + std::to_string(i), kAll, 0));
    all.back().facts.set(Finding::port_debris, i < 8 ? 1 : 0);
    all.back().facts.set(Finding::port_residue, i < 3 ? 1 : 0);
  }
  FitOptions options;
  options.prior_weight = 10;
  const OutcomeFit fit = fit_outcomes(all, shipped(), options);
  CHECK(fit.status == ClimbStatus::converged);
  const FittedRule& residue = rule_of(fit, "residue-anyway");
  CHECK(residue.fitted[1] == Approx((10 * 0.03 + 3) / (10 + 20)).epsilon(1e-6));
  CHECK(residue.teardowns == 20);
  // Chips: none of 20. Fine, given no chips: 8 of 20, and the judgement is (0.15 - 0.003) / 0.997.
  const FittedRule& debris = rule_of(fit, "debris-anyway");
  const double chips = 10 * 0.003 / 30;
  const double fine = (10 * (0.147 / 0.997) + 8) / 30;
  CHECK(debris.fitted[2] == Approx(chips).epsilon(1e-6));
  CHECK(debris.fitted[1] == Approx(chips + fine * (1 - chips)).epsilon(1e-6));
  // No leak was there, so nothing is learnt of what a leak shows.
  CHECK(std::ranges::find(fit.rules, "residue-from-seal-leak", &FittedRule::id) == fit.rules.end());
}

TEST_CASE("The usual weight of the judgement follows from the setting memory-band") {
  std::vector<Opening> all;
  for (int i = 0; i < 20; ++i) {
    all.push_back(opening("U" + std::to_string(i), kAll, 0));
    all.back().facts.set(Finding::port_residue, i < 3 ? 1 : 0);
  }
  const double weight = 3 / (std::log(2.0) * std::log(2.0) * 0.03 * 0.97);
  const OutcomeFit fit = fit_outcomes(all, shipped(), {});
  CHECK(rule_of(fit, "residue-anyway").fitted[1] ==
        Approx((weight * 0.03 + 3) / (weight + 20)).epsilon(1e-6));
}

TEST_CASE("Judgement that teardowns contradict gives way, and other judgement stays") {
  const Knowledge truth = changed("residue-from-seal-leak", {1, 0.90});
  double mean = 0;
  int seen = 0;
  int others = 0;
  constexpr int kShops = 10;
  for (int shop = 0; shop < kShops; ++shop) {
    const auto all = simulated(truth, 400, kUsual, kAll, "shop " + std::to_string(shop));
    const OutcomeFit fit = fit_outcomes(all, shipped(), {});
    CHECK(fit.status == ClimbStatus::converged);
    const FittedRule& residue = rule_of(fit, "residue-from-seal-leak");
    seen += residue.band > 2 ? 1 : 0;
    mean += residue.fitted[1] / kShops;
    for (const FittedRule& r : fit.rules) {
      others += r.id != "residue-from-seal-leak" && r.band > 2 ? 1 : 0;
    }
  }
  CHECK(seen >= 8);  // of 40 to 60 leaks each
  CHECK(mean == Approx(0.90).margin(0.1));
  CHECK(others <= 2);
  // Of units drawn from the rules themselves hardly any rule is doubted.
  int doubted = 0;
  for (int shop = 0; shop < kShops; ++shop) {
    for (const FittedRule& r :
         fit_outcomes(simulated(shipped(), 400, kUsual, kAll, "own " + std::to_string(shop)),
                      shipped(), {})
             .rules) {
      doubted += r.band > 2 ? 1 : 0;
    }
  }
  CHECK(doubted <= 3);  // of some 600 rules
}

TEST_CASE("A refit is called better where the rules are off, and never where they are right",
          "[soak]") {
  const auto better = [](const Knowledge& truth, std::string_view kind) {
    int count = 0;
    for (int shop = 0; shop < 50; ++shop) {
      Openings all;
      all.openings = simulated(truth, 30 + 170 * static_cast<std::size_t>(shop) / 49, kUsual, kAll,
                               std::string(kind) + std::to_string(shop));
      const auto cross = study_outcomes(all, shipped(), {}).cross;
      count += cross && cross->judged == Judged::better ? 1 : 0;
    }
    return count;
  };
  CHECK(better(shipped(), "right") == 0);
  Knowledge off = changed("rust-from-seal-leak", {1, 0.60, 0.15});
  std::ranges::find(off.links, "residue-from-seal-leak", &Item::id)->shows[1] = 0.90;
  std::ranges::find(off.backgrounds, "debris-anyway", &Item::id)->anyway = {1, 0.6, 0.003};
  std::ranges::find(off.backgrounds, "rust-anyway", &Item::id)->anyway = {1, 0.3, 0.01};
  CHECK(better(off, "off") >= 5);  // most of these shops have few leaks
}

TEST_CASE("What an earlier look found stands in the course, and tells nothing of the newest") {
  std::vector<Opening> old;
  for (int i = 0; i < 10; ++i) {
    old.push_back(opening("U" + std::to_string(i), kAll, 0));
    old.back().facts.set(Finding::port_residue, 0);
    old.back().facts.earlier = 1U << idx(Finding::port_residue);
  }
  CHECK(fit_outcomes(old, shipped(), {}).rules.empty());
  Openings all;
  all.openings = old;
  const Outcomes study = study_outcomes(all, shipped(), {});
  CHECK(study.costs.empty());
}

TEST_CASE("A leak that has not reached the tip says nothing of what shows there") {
  // Only the seal leaks, and the tip shows no track. By hand: the leak has reached it with the
  // odds of the stages, times the chance that it leaves no track.
  std::vector<Opening> one = {opening("U1", kAll, bit(Cause::seal_leak))};
  one[0].facts.set(Finding::port_residue, 0);
  const Belief belief = shipped_model().prior(one[0].facts).belief;
  double reached = 0;
  double hidden = 0;
  for (std::size_t seal = 1; seal < kSealStates; ++seal) {
    const double p = belief.at[core_of(seal, 0, 0)][0];
    reached += p * shipped().stages[seal - 1].reaches;
    hidden += p * (1 - shipped().stages[seal - 1].reaches);
  }
  const double shipped_track = link_of(shipped(), "residue-from-seal-leak").shows[1];
  double track = shipped_track;
  constexpr double kWeight = 10;
  for (int i = 0; i < 200; ++i) {
    const double there = reached * (1 - track) / (reached * (1 - track) + hidden);
    track = kWeight * shipped_track / (kWeight + there);
  }
  FitOptions options;
  options.prior_weight = kWeight;
  options.tolerance = 0;
  const OutcomeFit fit = fit_outcomes(one, shipped(), options);
  CHECK(rule_of(fit, "residue-from-seal-leak").fitted[1] == Approx(track).epsilon(1e-6));
  CHECK(track > kWeight * shipped_track / (kWeight + 1) * 1.001);
  // The seal found tight: what the tip shows is the background's.
  one[0].found = 0;
  one[0].facts.set(Finding::port_residue, 1);
  const OutcomeFit tight = fit_outcomes(one, shipped(), options);
  CHECK(rule_of(tight, "residue-anyway").fitted[1] ==
        Approx((kWeight * 0.03 + 1) / (kWeight + 1)).epsilon(1e-6));
}

TEST_CASE("What a unit that has broken down shows tells nothing of harm that has not come so far") {
  std::vector<Opening> one = {opening("U1", kAll, bit(Cause::rotor_bearing_corrosion))};
  one[0].facts.set(Finding::rotation, 2);
  const Belief belief = shipped_model().prior(one[0].facts).belief;
  const double harmed = belief.at[core_of(0, 1, 0)][0];
  const double broken = belief.at[core_of(0, 2, 0)][0];
  const double seized_broken =
      std::ranges::find(shipped().broken, "broken-rotation", &Item::id)->shows[2];
  const double before = link_of(shipped(), "rotation-from-corrosion").shows[2];
  const double anyway = background_of(shipped(), "rotation-anyway").anyway[2];
  constexpr double kWeight = 10;
  double link = before;
  double background = anyway;
  for (int i = 0; i < 200; ++i) {
    const double seized = 1 - (1 - link) * (1 - background);
    const double not_broken = harmed * seized / (harmed * seized + broken * seized_broken);
    link = (kWeight * before + not_broken * link / seized) / (kWeight + not_broken);
    background = (kWeight * anyway + not_broken * background / seized) / (kWeight + not_broken);
  }
  FitOptions options;
  options.prior_weight = kWeight;
  options.tolerance = 0;
  const OutcomeFit fit = fit_outcomes(one, shipped(), options);
  CHECK(rule_of(fit, "rotation-from-corrosion").fitted[2] == Approx(link).epsilon(1e-6));
  CHECK(link < (kWeight * before + 1) / (kWeight + 1) * 0.99);
  // Stiff is not the worst that shows: few look at one that has broken down and say no more.
  one[0].facts.set(Finding::rotation, 1);
  const OutcomeFit stiff = fit_outcomes(one, shipped(), options);
  const auto given_no_worse = [](const std::array<double, kMaxLevels>& shows) {
    return (shows[1] - shows[2]) / (1 - shows[2]);
  };
  const auto& shown = link_of(shipped(), "rotation-from-corrosion").shows;
  const auto& anyhow = background_of(shipped(), "rotation-anyway").anyway;
  const auto& breaks = std::ranges::find(shipped().broken, "broken-rotation", &Item::id)->shows;
  double a = given_no_worse(shown);
  double b = given_no_worse(anyhow);
  double worst_a = shown[2];
  double worst_b = anyhow[2];
  for (int i = 0; i < 200; ++i) {
    const double either = 1 - (1 - a) * (1 - b);
    const double whole = harmed * (1 - worst_a) * (1 - worst_b) * either;
    const double part =
        whole / (whole + broken * (breaks[1] - breaks[2]) * shipped().settings.broken_unsaid);
    a = (kWeight * given_no_worse(shown) + part * a / either) / (kWeight + part);
    b = (kWeight * given_no_worse(anyhow) + part * b / either) / (kWeight + part);
    worst_a = kWeight * shown[2] / (kWeight + part);
    worst_b = kWeight * anyhow[2] / (kWeight + part);
  }
  CHECK(rule_of(stiff, "rotation-from-corrosion").fitted[1] ==
        Approx(worst_a + (1 - worst_a) * a).epsilon(1e-6));
}

TEST_CASE("Each step raises the penalised likelihood, also where causes are hidden") {
  for (const unsigned examined : {kAll, 0U + bit(Cause::seal_leak),
                                  bit(Cause::insulation_loss) + bit(Cause::outside_noise)}) {
    for (const double weight : {0.5, 20.0}) {
      auto all = simulated(changed("fluid-from-seal-leak", {1, 0.3, 0.25, 0.2}), 120, kUsual,
                           examined, "climb");
      FitOptions options;
      options.prior_weight = weight;
      options.most_steps = 60;
      const OutcomeFit fit = fit_outcomes(all, shipped(), options);
      REQUIRE(fit.climb.size() > 2);
      for (std::size_t i = 1; i < fit.climb.size(); ++i) {
        CHECK(fit.climb[i] >= fit.climb[i - 1] - 1e-9);
      }
      CHECK(fit.climb.back() > fit.climb.front());
      CHECK(fit.climb.size() <= 61);
    }
  }
}

TEST_CASE("Strengths that units were drawn from are found again") {
  Knowledge truth = changed("fluid-from-seal-leak", {1, 0.50, 0.35, 0.20});
  std::ranges::find(truth.links, "noise-from-gear-erosion", &Item::id)->shows[1] = 0.90;
  std::ranges::find(truth.links, "rust-from-corrosion", &Item::id)->shows = {1, 0.85, 0.6};
  std::ranges::find(truth.backgrounds, "debris-anyway", &Item::id)->anyway = {1, 0.35, 0.02};
  FitOptions options;
  options.prior_weight = 1;
  // All examined, then without the gearbox: its erosion is told from the noise alone.
  for (const unsigned examined : {kAll, kAll - bit(Cause::gear_bearing_erosion)}) {
    const auto all = simulated(truth, 6000, kUsual, examined, "recovery");
    const OutcomeFit fit = fit_outcomes(all, shipped(), options);
    const Knowledge own = adapted(shipped(), fit);
    const auto near = [](double found, double wanted) {
      CHECK(found == Approx(wanted).margin(0.05));
    };
    for (std::size_t l = 1; l < 4; ++l) {
      near(link_of(own, "fluid-from-seal-leak").shows[l],
           link_of(truth, "fluid-from-seal-leak").shows[l]);
    }
    near(link_of(own, "rust-from-corrosion").shows[1], 0.85);
    near(link_of(own, "rust-from-corrosion").shows[2], 0.6);
    near(background_of(own, "debris-anyway").anyway[1], 0.35);
    near(background_of(own, "debris-anyway").anyway[2], 0.02);
    // What only the noise tells is told less sharply.
    CHECK(link_of(own, "noise-from-gear-erosion").shows[1] ==
          Approx(0.90).margin(examined == kAll ? 0.03 : 0.09));
  }
}

TEST_CASE("Levels stay in the order that the proofs demand, however odd the teardowns") {
  // Pooled liquid on sound units and films on leaking ones: taken at its word, this would make
  // pooled liquid speak less for a leak than a film does.
  std::vector<Opening> odd;
  for (int i = 0; i < 60; ++i) {
    const bool leak = i % 2 == 0;
    odd.push_back(opening("U" + std::to_string(i), kAll, leak ? bit(Cause::seal_leak) : 0));
    odd.back().facts.set(Finding::port_fluid, leak ? 1 : 3);
  }
  FitOptions options;
  options.prior_weight = 0.5;
  const OutcomeFit fit = fit_outcomes(odd, shipped(), options);
  CHECK(std::ranges::find(fit.held_back, "port-fluid") != fit.held_back.end());
  for (std::size_t i = 1; i < fit.climb.size(); ++i) {
    CHECK(fit.climb[i] >= fit.climb[i - 1] - 1e-9);
  }
  const Model model(adapted(shipped(), fit));
  const std::size_t leak = bit(Cause::seal_leak);
  double before = 0;
  for (int l = 0; l < 4; ++l) {
    const States& like = model.likelihood(Finding::port_fluid, l);
    CHECK(like[leak] / like[0] >= before * (1 - 1e-9));
    before = like[leak] / like[0];
  }
  const FittedRule& rule = rule_of(fit, "fluid-from-seal-leak");
  CHECK(rule.fitted[1] > rule.fitted[2]);
  CHECK(rule.fitted[2] > rule.fitted[3]);
  CHECK(rule.fitted[3] > 0);
}

TEST_CASE("What openings show is the yardstick, and is not refitted") {
  std::vector<Opening> all = {opening("U1", kAll, bit(Cause::seal_leak))};
  all[0].facts.set(Finding::opened_seal_leak, 1);
  all[0].facts.set(Finding::port_residue, 1);
  const OutcomeFit fit = fit_outcomes(all, shipped(), {});
  for (const FittedRule& r : fit.rules) {
    CHECK_FALSE(r.id.starts_with("opened-"));
  }
}

// ----------------------------------------------------------------- overlay

namespace {

Openings some_openings() {
  Openings all;
  all.openings = simulated(changed("fluid-from-seal-leak", {1, 0.5, 0.3, 0.2}), 80, kUsual,
                           kAll - bit(Cause::gear_bearing_erosion), "overlay");
  return all;
}

std::string some_overlay() {
  const Openings all = some_openings();
  FitOptions options;
  options.prior_weight = 5;
  return overlay_text(fit_outcomes(all.openings, shipped(), options), all, shipped(), options);
}

std::string overlay_refusal(std::string_view from, std::string_view to) {
  std::string text = some_overlay();
  const std::size_t at = text.find(from);
  if (at == std::string::npos) {
    throw std::runtime_error("not in the overlay: " + std::string(from));
  }
  text.replace(at, from.size(), to);
  const Result<Knowledge> read = with_overlay(shipped(), {"own.json", text});
  CHECK_FALSE(read.value);
  return complaints(read.diagnostics);
}

}  // namespace

TEST_CASE("An overlay reads back to the same numbers") {
  const Openings all = some_openings();
  FitOptions options;
  options.prior_weight = 5;
  const OutcomeFit fit = fit_outcomes(all.openings, shipped(), options);
  for (const double share : {1.0, 0.3}) {
    const OutcomeFit part = share < 1 ? pulled_back(fit, share) : fit;
    const Result<Knowledge> read =
        with_overlay(shipped(), {"own.json", overlay_text(part, all, shipped(), options)});
    INFO(complaints(read.diagnostics));
    REQUIRE(read.value);
    CHECK(read.diagnostics.empty());
    const Knowledge direct = adapted(shipped(), part);
    for (std::size_t i = 0; i < direct.links.size(); ++i) {
      CHECK(read.value->links[i].shows == direct.links[i].shows);
    }
    for (std::size_t i = 0; i < direct.backgrounds.size(); ++i) {
      CHECK(read.value->backgrounds[i].anyway == direct.backgrounds[i].anyway);
    }
    REQUIRE(read.value->overlay);
    CHECK(read.value->overlay->teardowns == 80);
    CHECK(read.value->overlay->rules == part.rules.size());
    CHECK(read.value->rules_sha256 == shipped().rules_sha256);
    const Link& link = link_of(*read.value, "fluid-from-seal-leak");
    CHECK(link.shows != link_of(shipped(), "fluid-from-seal-leak").shows);
    CHECK(shown(link.source) == "own teardowns, with the estimate that they replace as prior");
    CHECK(has(link.reason, "own teardowns; before: film 0.88, droplets 0.55, pooled 0.15. This "));
    CHECK(link.file == "own.json");
  }
}

TEST_CASE("An overlay loads also where all that was seen speaks for one level") {
  // Given no worse, each level is likely: together they come nearer to 1 than any may be.
  Knowledge rules = shipped();
  std::ranges::find(rules.backgrounds, "fluid-anyway", &Item::id)->anyway = {1, 1 - 1e-6, 1 - 1e-3,
                                                                             0.9};
  Openings all;
  for (int i = 0; i < 100; ++i) {
    all.openings.push_back(opening("U" + std::to_string(i), kAll, 0));
    all.openings.back().facts.set(Finding::port_fluid, 3);
  }
  FitOptions options;
  options.prior_weight = 1e-6;
  const OutcomeFit fit = fit_outcomes(all.openings, rules, options);
  const FittedRule& fluid = rule_of(fit, "fluid-anyway");
  INFO(overlay_text(fit, all, rules, options));
  CHECK(fluid.fitted[1] > 0.9999);
  const Result<Knowledge> read =
      with_overlay(rules, {"own.json", overlay_text(fit, all, rules, options)});
  INFO(complaints(read.diagnostics));
  CHECK(read.value);
}

TEST_CASE("An overlay for other rules is refused, and says so") {
  CHECK(overlay_refusal(shipped().rules_sha256, std::string(64, '0')) ==
        "own.json:6:15: error[other-rules]: /rules/sha256 is \"" + std::string(64, '0') +
            "\"\n"
            "  \"sha256\": \"" +
            std::string(61, '0') +
            "\n"
            "            ^\n"
            "  allowed: " +
            shipped().rules_sha256 +
            "\n"
            "  hint: this overlay was made for other rules (dryshaft-shipped version 1): name "
            "those with --rules as well, or make it again with `fit outcomes`\n");
}

TEST_CASE("Errors in an overlay are located") {
  CHECK(has(overlay_refusal("\"fluid-from-seal-leak\"", "\"fluid-from-seal-laek\""),
            "error[bad-value]: /links/0/id is \"fluid-from-seal-laek\""));
  CHECK(has(overlay_refusal("\"fluid-from-seal-leak\"", "\"fluid-from-seal-laek\""),
            "hint: did you mean \"fluid-from-seal-leak\"?"));
  CHECK(has(overlay_refusal("\"residue-from-seal-leak\"", "\"fluid-from-seal-leak\""),
            "error[repeated-id]"));
  CHECK(has(overlay_refusal("\"film\": 0.", "\"film\": 1."), "error[out-of-range]: "));
  CHECK(has(overlay_refusal("\"pooled\": 0.", "\"pooled\": 0.9"), "error[not-falling]"));
  CHECK(has(overlay_refusal("\"source\": \"own teardowns\"", "\"source\": \"from memory\""),
            "is \"from memory\""));
  CHECK(has(overlay_refusal("dryshaft-overlay/1", "dryshaft-rules/1"),
            "allowed: dryshaft-overlay/1"));
  CHECK(has(overlay_refusal("\"links\"", "\"linked\""), "has no \"links\""));
}

TEST_CASE("A report on a unit names the overlay that adapted its rules") {
  const Result<Knowledge> own = with_overlay(shipped(), {"own.json", some_overlay()});
  const Report report =
      assess(history_of(record_text(kDry)), *own.value, Model(*own.value), AssessOptions{});
  REQUIRE(report.rules_overlay);
  const auto json = nlohmann::json::parse(to_json(report));
  CHECK(json["rules"]["overlay"]["sha256"] == own.value->overlay->sha256);
  CHECK(json["rules"]["overlay"]["teardowns"] == 80);
  CHECK(has(to_text(report, {.full = true}), "adapted to 80 own teardowns"));
  CHECK_FALSE(
      nlohmann::json::parse(to_json(report_on(record_text(kDry))))["rules"].contains("overlay"));
}

// ------------------------------------------------------------------- study

TEST_CASE("Cross-validation knows better strengths when there are enough units") {
  Openings all;
  Knowledge truth = changed("fluid-from-seal-leak", {1, 0.08, 0.05, 0.02});
  std::ranges::find(truth.backgrounds, "fluid-anyway", &Item::id)->anyway = {1, 0.4, 0.2, 0.1};
  std::ranges::find(truth.backgrounds, "kind-anyway", &Item::id)->anyway = {1, 0.95, 0.9, 0.85};
  all.openings = simulated(truth, 400, kUsual, kAll, "better");
  StudyOptions options;
  options.fit.prior_weight = 5;
  options.folds = 4;
  const Outcomes better = study_outcomes(all, shipped(), options);
  REQUIRE(better.cross);
  CHECK(better.cross->folds == 4);
  CHECK_FALSE(better.cross->one_by_one);
  CHECK(better.cross->judged == Judged::better);
  CHECK(has(outcomes_to_text(better, {}), "An overlay is worth using"));

  // Drawn from the shipped rules there is nothing to be gained.
  all.openings = simulated(shipped(), 60, kUsual, kAll, "same");
  options.folds.reset();
  const Outcomes same = study_outcomes(all, shipped(), options);
  CHECK(same.cross->folds == 60);
  CHECK(same.cross->one_by_one);
  CHECK(same.cross->judged != Judged::better);
}

TEST_CASE("Few teardowns are told to be few") {
  Openings all;
  all.openings = simulated(shipped(), 4, kUsual, kAll, "few");
  const Outcomes few = study_outcomes(all, shipped(), {});
  REQUIRE_FALSE(few.scores.empty());
  for (const Score& s : few.scores) {
    CHECK(s.judged == Judged::too_few);
  }
  CHECK(few.cross->judged == Judged::too_few);
  CHECK(has(outcomes_to_text(few, {}), "Too few teardowns to show how good the verdicts were."));
  all.openings.resize(1);
  const Outcomes one = study_outcomes(all, shipped(), {});
  CHECK_FALSE(one.cross);
  CHECK(has(outcomes_to_text(one, {}),
            "To try refitted strengths takes teardowns of two units or more"));
  CHECK(nlohmann::json::parse(outcomes_to_json(one))["cross_validation"].is_null());
}

TEST_CASE("Without a teardown the report says what to write down, not a table of zeros") {
  Outcomes none = study_outcomes({}, shipped(), {});
  none.records = 3;
  CHECK(outcomes_to_text(none, {}) ==
        "No record holds a teardown of a unit that had been inspected before.\n"
        "3 records were read.\n"
        "\n"
        "After a teardown, write into a record of the unit what was found, for each cause\n"
        "\"present\", \"absent\" or \"not-examined\":\n"
        "\"teardown\": {\"date\": \"2026-03-09\", \"seal-leak\": \"present\",\n"
        "             \"rotor-bearing-corrosion\": \"absent\",\n"
        "             \"insulation-loss\": \"not-examined\"}\n"
        "\n"
        "From about ten opened units on, this command shows how good the verdicts were.\n"
        "To refit strengths takes many more.\n");
  CHECK(nlohmann::json::parse(outcomes_to_json(none))["scores"].empty());
}

TEST_CASE("The risk is scored only where every damaging cause was examined") {
  Openings all;
  all.openings = {opening("U1", kAll, bit(Cause::seal_leak)),
                  opening("U2", bit(Cause::seal_leak), bit(Cause::seal_leak)),
                  opening("U3", kAll, 0)};
  const Outcomes o = study_outcomes(all, shipped(), {});
  CHECK(o.scores[0].id == "risk");
  CHECK(o.scores[0].count == 2);
  CHECK(o.scores[1].id == "seal-leak");
  CHECK(o.scores[1].count == 3);
  CHECK(o.scores[1].happened == 2);
  // The yardstick for each: of the other two, with half an opening added either side.
  const double said_1 = (1 + 0.5) / 3;
  const double said_3 = (2 + 0.5) / 3;
  CHECK(o.scores[1].constant_brier ==
        Approx((2 * (1 - said_1) * (1 - said_1) + said_3 * said_3) / 3).margin(1e-12));
}

TEST_CASE("What a rule cost is the log score with its finding less that without it") {
  Openings all;
  all.openings = {opening("U1", kAll, bit(Cause::seal_leak)), opening("U2", kAll, 0)};
  for (Opening& o : all.openings) {
    o.facts.set(Finding::port_residue, 1);
  }
  const Outcomes o = study_outcomes(all, shipped(), {});
  const auto cost = std::ranges::find(o.costs, "residue-from-seal-leak", &RuleCost::id);
  REQUIRE(cost != o.costs.end());
  const double with = shipped_model().infer(all.openings[0].facts).cause[0];
  const double without = shipped_model().infer(opening("", 0, 0).facts).cause[0];
  CHECK(cost->count == 2);
  CHECK(cost->misled == 1);
  CHECK(cost->cost_bits == Approx(std::log2((1 - without) / (1 - with))).epsilon(1e-9));
  CHECK(cost->net_bits ==
        Approx(std::log2((1 - without) / (1 - with)) - std::log2(with / without)).epsilon(1e-9));
  for (std::size_t i = 1; i < o.costs.size(); ++i) {
    CHECK(o.costs[i - 1].net_bits >= o.costs[i].net_bits);
  }
}

TEST_CASE("Every format of a study is whole and loads nothing") {
  Openings all = some_openings();
  StudyOptions options;
  options.folds = 3;
  const Outcomes o = study_outcomes(all, shipped(), options);
  const auto json = nlohmann::json::parse(outcomes_to_json(o));
  CHECK(json["format"] == "dryshaft-outcomes/1");
  CHECK(json["teardowns"] == 80);
  CHECK(json["fit"]["rules"].size() == o.fit.rules.size());
  CHECK_FALSE(has(outcomes_to_json(o), "nan"));
  const std::string page = outcomes_to_html(o);
  CHECK(count_of(page, "<svg") == o.scores.size());
  CHECK_FALSE(has(page, "http://"));
  CHECK_FALSE(has(page, "<script"));
  const std::string markdown = outcomes_to_markdown(o);
  CHECK(has(markdown, "Rules that misled most"));
  std::istringstream lines(outcomes_to_text(o, {.colour = false, .width = 80}));
  for (std::string line; std::getline(lines, line);) {
    CHECK(line.size() <= 80);
  }
}

}  // namespace dryshaft::test
