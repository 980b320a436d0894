// Verdicts against openings: scores, misleading rules, and whether a refit does better.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numeric>
#include <set>

#include "base/draw.hpp"
#include "base/index.hpp"
#include "diagnose/model.hpp"
#include "dryshaft/outcomes.hpp"
#include "outcomes/fit.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

// Where the grader's own bounds and what people tell apart lie [judgement].
constexpr double kBinEdges[] = {0.02, 0.1, 0.25, 0.5, 0.75, 0.9};
// Below these no comparison is called better or worse [judgement].
constexpr std::size_t kLeastUnits = 10;
constexpr std::size_t kLeastOfEach = 3;
constexpr std::size_t kMostSingleFolds = 60;
constexpr std::size_t kUsualFolds = 10;

double squared(double x) { return x * x; }
double squared_miss(const Forecast& f) { return squared(f.probability - (f.happened ? 1 : 0)); }
bool is_set(unsigned mask, Cause cause) { return (mask >> idx(cause) & 1U) != 0; }

// Differences, gathered by unit, and what they say.
class Differences {
 public:
  void add(const std::string& unit, double by_brier, double by_log) {
    for (auto& [sums, by] : {std::pair{&brier_, by_brier}, std::pair{&log_, by_log}}) {
      UnitDifference& d = (*sums)[unit];
      d.sum += by;
      ++d.count;
    }
  }
  [[nodiscard]] Gain brier() const { return gain(brier_); }
  [[nodiscard]] Gain log() const { return gain(log_); }
  [[nodiscard]] std::size_t units() const { return brier_.size(); }

 private:
  using Sums = std::map<std::string, UnitDifference>;
  static Gain gain(const Sums& sums) {
    Gain g;
    std::vector<UnitDifference> units;
    double count = 0;
    for (const auto& [unit, d] : sums) {
      units.push_back(d);
      g.mean += d.sum;
      count += static_cast<double>(d.count);
    }
    g.mean = count > 0 ? g.mean / count : 0;
    g.interval = bootstrap_mean(units, kConfidence);
    return g;
  }
  Sums brier_;
  Sums log_;
};

Judged judged(const Gain& brier, const Gain& log, bool enough) {
  if (!enough || !brier.interval || !log.interval) {
    return Judged::too_few;
  }
  if (brier.interval->low > 0 && log.interval->low > 0) {
    return Judged::better;
  }
  return brier.interval->high < 0 && log.interval->high < 0 ? Judged::worse : Judged::open;
}

// ---------------------------------------------------------------- scores

struct Asked {
  std::vector<Forecast> forecasts;
  std::vector<const Opening*> of;
};

Score score_of(const Asked& asked) {
  Score s;
  s.count = asked.forecasts.size();
  const auto n = static_cast<double>(s.count);
  for (const Forecast& f : asked.forecasts) {
    s.happened += f.happened ? 1 : 0;
    s.mean_said += f.probability / n;
    s.log_bits += log_score(f) / n;
  }
  s.brier = brier_parts(asked.forecasts, kBinEdges);
  s.table = reliability_table(asked.forecasts, kBinEdges);
  Differences differences;
  for (std::size_t i = 0; i < asked.forecasts.size(); ++i) {
    const Forecast& said = asked.forecasts[i];
    const double others = static_cast<double>(s.happened) - (said.happened ? 1 : 0);
    const Forecast constant{(others + 0.5) / n, said.happened};
    s.constant_brier += squared_miss(constant) / n;
    s.constant_log_bits += log_score(constant) / n;
    differences.add(asked.of[i]->unit_id, squared_miss(constant) - squared_miss(said),
                    log_score(constant) - log_score(said));
  }
  s.brier_gain = differences.brier();
  s.log_gain = differences.log();
  s.judged = judged(s.brier_gain, s.log_gain,
                    differences.units() >= kLeastUnits &&
                        std::min(s.happened, s.count - s.happened) >= kLeastOfEach);
  return s;
}

void add_scores(const Openings& all, const Knowledge& k, const Model& model, Outcomes& out) {
  unsigned damaging = 0;
  for (const CauseRule& c : k.causes) {
    damaging |= c.damaging == CauseRule::Damaging::yes ? 1U << idx(c.cause) : 0U;
  }
  Asked risk;
  std::array<Asked, kCauseCount> of_cause;
  for (const Opening& o : all.openings) {
    const Posterior p = model.infer(o.facts);
    // To count damage that was found where not all was examined would find too much.
    if ((o.examined & damaging) == damaging) {
      risk.forecasts.push_back({p.risk, (o.found & damaging) != 0});
      risk.of.push_back(&o);
    }
    for (const CauseSpec& c : causes()) {
      if (is_set(o.examined, c.id)) {
        Asked& asked = of_cause[idx(c.id)];
        asked.forecasts.push_back({p.cause[idx(c.id)], is_set(o.found, c.id)});
        asked.of.push_back(&o);
      }
    }
  }
  const auto add = [&out](const Asked& asked, std::string_view id, std::string_view title) {
    if (!asked.forecasts.empty()) {
      out.scores.push_back(score_of(asked));
      out.scores.back().id = id;
      out.scores.back().title = title;
    }
  };
  add(risk, "risk", "a damaging cause is present");
  for (const CauseSpec& c : causes()) {
    add(of_cause[idx(c.id)], c.name, k.causes.at(idx(c.id)).title);
  }
}

// ------------------------------------------------------- what misled most

void add_costs(const Openings& all, const Knowledge& k, const Model& model, Outcomes& out) {
  for (const Link& l : k.links) {
    out.costs.push_back({.id = l.id, .finding = l.finding, .cause = l.cause});
  }
  for (const Opening& o : all.openings) {
    const Posterior p = model.infer(o.facts);
    const Weights weights = model.weigh(o.facts);
    for (RuleCost& cost : out.costs) {
      if ((model.evidence_in(o.facts) >> idx(cost.finding) & 1U) == 0 ||
          !is_set(o.examined, cost.cause)) {
        continue;
      }
      constexpr double kNatsPerDeciban = 0.23025850929940457;  // ln(10) / 10
      const double with = p.cause[idx(cost.cause)];
      const double log_odds = std::log(with) - std::log1p(-with) -
                              kNatsPerDeciban * weights[idx(cost.finding)][idx(cost.cause)];
      const bool there = is_set(o.found, cost.cause);
      const double bits =
          log_score({with, there}) - log_score({1 / (1 + std::exp(-log_odds)), there});
      ++cost.count;
      cost.misled += bits > 0 ? 1 : 0;
      cost.cost_bits += std::max(bits, 0.0);
      cost.net_bits += bits;
    }
  }
  std::erase_if(out.costs, [](const RuleCost& c) { return c.count == 0; });
  std::ranges::stable_sort(out.costs, std::ranges::greater(), &RuleCost::net_bits);
}

// ------------------------------------------------------- cross-validation

// Of everything that was examined in an opening.
struct OpeningScore {
  double brier = 0;
  double log_bits = 0;
};

double chance_of_all_found(const Opening& o, const Belief& belief) {
  double chance = 0;
  for (std::size_t seal = 0; seal < kSealStates; ++seal) {
    for (std::size_t c = 0; c < kHarmStates; ++c) {
      for (std::size_t i = 0; i < kHarmStates; ++i) {
        for (std::size_t r = 0; r < kRests; ++r) {
          if ((causes_in(seal, c, i, r) & o.examined) == o.found) {
            chance += belief.at[core_of(seal, c, i)][r];
          }
        }
      }
    }
  }
  return chance;
}

OpeningScore score_opening(const Opening& o, const Model& model) {
  const Posterior p = model.infer(o.facts);
  OpeningScore s;
  double examined = 0;
  for (const CauseSpec& c : causes()) {
    if (is_set(o.examined, c.id)) {
      s.brier += squared_miss({p.cause[idx(c.id)], is_set(o.found, c.id)});
      examined += 1;
    }
  }
  s.brier /= examined;
  s.log_bits = log_score({chance_of_all_found(o, p.belief), true});
  return s;
}

// Units in an order that their ids alone decide, dealt out to the folds.
std::map<std::string, std::size_t> dealt(const std::set<std::string>& units, std::size_t folds) {
  std::vector<std::pair<std::uint64_t, std::string>> order;
  order.reserve(units.size());
  for (const std::string& unit : units) {
    order.emplace_back(draw::mixed(draw::hashed(unit), 0), unit);
  }
  std::ranges::sort(order);
  std::map<std::string, std::size_t> fold_of;
  for (std::size_t i = 0; i < order.size(); ++i) {
    fold_of[order[i].second] = i % folds;
  }
  return fold_of;
}

std::optional<CrossValidation> cross_validate(const Openings& all, const Knowledge& k,
                                              const Model& model, const StudyOptions& options) {
  std::set<std::string> units;
  for (const Opening& o : all.openings) {
    units.insert(o.unit_id);
  }
  if (units.size() < 2) {
    return std::nullopt;
  }
  CrossValidation cross;
  cross.folds = std::min(
      units.size(),
      options.folds.value_or(units.size() <= kMostSingleFolds ? units.size() : kUsualFolds));
  cross.one_by_one = cross.folds == units.size();
  const auto fold_of = dealt(units, cross.folds);
  std::vector<OpeningScore> fitted(all.openings.size());
  const auto one_fold = [&](std::size_t fold) {
    std::vector<Opening> others;
    for (const Opening& o : all.openings) {
      if (fold_of.at(o.unit_id) != fold) {
        others.push_back(o);
      }
    }
    const Model own(adapted(k, fit_outcomes(others, k, options.fit)));
    for (std::size_t i = 0; i < all.openings.size(); ++i) {
      if (fold_of.at(all.openings[i].unit_id) == fold) {
        fitted[i] = score_opening(all.openings[i], own);
      }
    }
  };
  if (options.spread) {
    options.spread(cross.folds, one_fold);
  } else {
    for (std::size_t fold = 0; fold < cross.folds; ++fold) {
      one_fold(fold);
    }
  }
  Differences differences;
  const auto n = static_cast<double>(all.openings.size());
  for (std::size_t i = 0; i < all.openings.size(); ++i) {
    const OpeningScore shipped = score_opening(all.openings[i], model);
    cross.shipped_brier += shipped.brier / n;
    cross.fitted_brier += fitted[i].brier / n;
    cross.shipped_log_bits += shipped.log_bits / n;
    cross.fitted_log_bits += fitted[i].log_bits / n;
    differences.add(all.openings[i].unit_id, shipped.brier - fitted[i].brier,
                    shipped.log_bits - fitted[i].log_bits);
  }
  cross.brier_gain = differences.brier();
  cross.log_gain = differences.log();
  cross.judged = judged(cross.brier_gain, cross.log_gain, differences.units() >= kLeastUnits);
  return cross;
}

// ----------------------------------------------------------------- limits

void add_limits(const Openings& all, Outcomes& out) {
  std::vector<std::string>& limits = out.limits;
  limits.emplace_back(
      "Units are opened for a reason, so they are no random sample. How often a cause was found "
      "here says nothing about units that stayed closed: base rates of causes are left as they "
      "are. Strengths fitted to opened units lean towards the findings that led to opening.");
  if (!out.scores.empty() && out.openings < kMostSingleFolds) {
    limits.push_back(fmt::format(
        "{} opened units are few: intervals are wide, and one more teardown can change the result.",
        out.units));
  }
  limits.emplace_back(
      "In small samples the reliability term comes out too high: a perfect forecaster would not "
      "score 0 (Ferro and Fricker 2012).");
  limits.emplace_back(
      "What the teardown showed is taken to be true. Causes that were not examined are left out of "
      "the scores, and the risk is scored only where every damaging cause was examined.");
  limits.emplace_back(
      "Rules are refitted to the units that they are scored on; only the comparison above, on "
      "units outside the fit, is fair.");
  if (all.not_seen_before > 0) {
    limits.push_back(fmt::format("{} with no inspection before {} left out.",
                                 words::count(all.not_seen_before, "teardown", "teardowns"),
                                 all.not_seen_before == 1 ? "it was" : "them were"));
  }
  if (all.nothing_examined > 0) {
    limits.push_back(fmt::format("{} that {} what was found {} left out.",
                                 words::count(all.nothing_examined, "teardown", "teardowns"),
                                 all.nothing_examined == 1 ? "does not say" : "do not say",
                                 all.nothing_examined == 1 ? "was" : "were"));
  }
}

}  // namespace

Outcomes study_outcomes(const Openings& openings, const Knowledge& knowledge,
                        const StudyOptions& options) {
  Outcomes out;
  out.rules_id = knowledge.id;
  out.rules_version = knowledge.version;
  out.rules_sha256 = knowledge.rules_sha256;
  out.families_sha256 = knowledge.families_sha256;
  out.rules_overlay = knowledge.overlay;
  out.limits = knowledge.reservations;
  out.openings = openings.openings.size();
  out.not_seen_before = openings.not_seen_before;
  out.nothing_examined = openings.nothing_examined;
  out.prior_weight = options.fit.prior_weight;
  out.memory_band = knowledge.settings.memory_band;
  std::set<std::string_view> units;
  int first = 0;
  int last = 0;
  for (const Opening& o : openings.openings) {
    first = units.empty() ? o.date : std::min(first, o.date);
    last = units.empty() ? o.date : std::max(last, o.date);
    units.insert(o.unit_id);
  }
  out.units = units.size();
  if (out.openings == 0) {
    return out;
  }
  out.first_date = date_text(first);
  out.last_date = date_text(last);
  const Model model(knowledge);
  add_scores(openings, knowledge, model, out);
  add_costs(openings, knowledge, model, out);
  out.fit = fit_outcomes(openings.openings, knowledge, options.fit);
  out.cross = cross_validate(openings, knowledge, model, options);
  add_limits(openings, out);
  return out;
}

}  // namespace dryshaft
