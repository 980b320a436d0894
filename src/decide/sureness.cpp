// How far the answer depends on judgement: the same case under models in each of which one value
// from memory is off. Moves of log odds add up, as long as each is small beside all of them.
#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <optional>
#include <utility>

#include "base/index.hpp"
#include "base/odds.hpp"
#include "decide/assess.hpp"
#include "decide/grading.hpp"
#include "diagnose/ahead.hpp"

namespace dryshaft {
namespace {

constexpr std::size_t kNamed = 3;
// Of a normal distribution: one in twenty lies beyond on either side.
constexpr double kOneInTwenty = 1.6449;

// Where the value itself is judgement. A refitted value is still, as far as few teardowns have
// moved it.
bool is_judged(const Item& item) {
  return item.source.mark == SourceMark::from_memory ||
         item.source.mark == SourceMark::own_teardowns;
}

// An unknown factor between 1/band and band, evenly on a logarithmic scale: the deviation of its
// logarithm.
double deviation(double band) { return std::log(band) / std::numbers::sqrt3; }

double logit(double p) {
  constexpr double kEdge = 1e-15;
  const double q = std::clamp(p, kEdge, 1 - kEdge);
  return std::log(q) - std::log1p(-q);
}
double chance(double logit) { return 1 / (1 + std::exp(-logit)); }
double below(double deviations) { return std::erfc(-deviations / std::numbers::sqrt2) / 2; }

// Makes the models, one value moved in each.
class Mover {
 public:
  Mover(const Knowledge& k, const Model& base)
      : moved_(k), base_(base), band_(k.settings.memory_band), out_{{}, Model(k, coarse())} {}

  Judgements all() {
    process();
    looks();
    return std::move(out_);
  }

 private:
  [[nodiscard]] std::shared_ptr<const Life> coarse() const {
    constexpr double kStepKm = 512;
    constexpr unsigned kLongest = 6;
    return std::make_shared<const Life>(moved_, kStepKm, kLongest);
  }

  template <typename Values>
  void shift(Values& values) const {
    for (double& p : values) {
      p = with_odds(p, band_);
    }
  }

  // Changes a part of the rules, makes the model, and puts it back.
  // `process`: it moves what happens between looks; else what the findings of a look say.
  template <typename Part, typename Change>
  void move(Part& part, std::string_view value, bool process, std::uint32_t findings,
            const Change& change) {
    if (!is_judged(part)) {
      return;
    }
    const Part kept = part;
    change(part);
    out_.values.push_back(
        {part.id, value, process, findings, Model(moved_, process ? coarse() : base_.process())});
    part = kept;
  }

  void process() {
    for (CauseRule& c : moved_.causes) {
      move(c, "base", true, findings_of(c), [&](CauseRule& r) { shift(r.base); });
      if (c.wear) {
        move(c, "wear", true, kAll, [&](CauseRule& r) {
          const double scale = std::pow(band_, -1 / r.wear->shape);
          r.wear->scale_km *= scale;
          r.wear->scale_years *= scale;
        });
      }
    }
    for (StageRule& s : moved_.stages) {
      move(s, "reaches", false, kAll,
           [&](StageRule& r) { r.reaches = with_odds(r.reaches, band_); });
      if (s.lasts_km > 0) {
        move(s, "lasts_km", true, kAll, [&](StageRule& r) { r.lasts_km *= band_; });
      }
    }
    for (HarmRule& h : moved_.harms) {
      move(h, "after_km", true, kAll, [&](HarmRule& r) {
        for (double& km : r.after_km) {
          km *= band_;
        }
      });
      move(h, "breakdown_km", true, kAll, [&](HarmRule& r) { r.breakdown_km *= band_; });
    }
    for (Setting& s : moved_.setting_items) {
      const bool unsaid = s.value == &Settings::broken_unsaid;
      if (!unsaid && s.value != &Settings::rest_km_per_day) {
        continue;
      }
      double& value = moved_.settings.*s.value;
      const double kept = value;
      value = unsaid ? with_odds(value, band_) : value * band_;
      move(s, "value", !unsaid, kAll, [](Setting&) {});
      value = kept;
    }
  }

  // What comes and goes without a leak shows in what is linked to it alone.
  [[nodiscard]] std::uint32_t findings_of(const CauseRule& c) const {
    const bool rest = std::ranges::find(kRestCauses, c.cause) != kRestCauses.end();
    std::uint32_t linked = 0;
    for (const Link& l : moved_.links) {
      linked |= l.cause == c.cause ? 1U << idx(l.finding) : 0U;
    }
    return rest ? linked : kAll;
  }

  // One factor for all levels, so that worse stays rarer.
  void looks() {
    const auto bit = [](Finding f) { return 1U << idx(f); };
    for (Link& l : moved_.links) {
      move(l, "shows", false, bit(l.finding), [&](Link& r) { shift(r.shows); });
    }
    for (Background& b : moved_.backgrounds) {
      move(b, "anyway", false, bit(b.finding), [&](Background& r) { shift(r.anyway); });
    }
    for (BrokenRule& b : moved_.broken) {
      move(b, "shows", false, bit(b.finding), [&](BrokenRule& r) { shift(r.shows); });
    }
  }

  static constexpr std::uint32_t kAll = ~0U;

  Knowledge moved_;
  const Model& base_;
  double band_;
  Judgements out_;
};

// Findings of all looks, as bits.
std::uint32_t seen_before(const Case& c) {
  std::uint32_t seen = 0;
  if (!c.course) {
    return seen;
  }
  for (const Leg& leg : c.course->legs) {
    for (std::size_t f = 0; f < kFindingCount; ++f) {
      seen |= leg.seen[f] >= 0 ? 1U << f : 0U;
    }
  }
  return seen;
}

}  // namespace

Judgements judged_values(const Knowledge& knowledge, const Model& model) {
  return Mover(knowledge, model).all();
}

namespace {

// In the order in which `Prognosis` stands in a report.
std::vector<Ahead::Chance> chances_ahead(const Model& model, const Case& c, const Belief& belief,
                                         const std::vector<Prognosis>& rows, double km_per_year) {
  std::vector<double> distances(rows.size());
  std::ranges::transform(rows, distances.begin(), &Prognosis::km);
  return Ahead(model.life(), belief, clock_of(c), km_per_year).within_each(distances);
}

// Ranges of what is to come, from how it moves with each value.
class Widths {
 public:
  explicit Widths(const std::vector<Prognosis>& rows)
      : damage_(rows.size()), breakdown_(rows.size()) {}

  void add(const std::vector<Ahead::Chance>& from, const std::vector<Ahead::Chance>& moved,
           double scale) {
    for (std::size_t i = 0; i < from.size(); ++i) {
      const auto square = [scale](double a, double b) {
        return std::pow((logit(b) - logit(a)) * scale, 2);
      };
      damage_[i] += square(from[i].damage, moved[i].damage);
      breakdown_[i] += square(from[i].breakdown, moved[i].breakdown);
    }
  }
  void put(std::vector<Prognosis>& rows) const {
    const auto range = [](Foreseen& f, double variance) {
      const double spread = kOneInTwenty * std::sqrt(variance);
      f.low = chance(logit(f.probability) - spread);
      f.high = chance(logit(f.probability) + spread);
    };
    for (std::size_t i = 0; i < rows.size(); ++i) {
      range(rows[i].damage, damage_[i]);
      range(rows[i].breakdown, breakdown_[i]);
    }
  }

 private:
  std::vector<double> damage_;  // variances
  std::vector<double> breakdown_;
};

}  // namespace

std::vector<Prognosis> prognosis(const Knowledge& knowledge, const Model& model, const Case& c,
                                 const Posterior& posterior) {
  const double km_per_year = knowledge.settings.km_per_year;
  std::vector<Prognosis> rows;
  std::vector<double> distances = {5000, 10000, 20000};
  if (std::ranges::find(distances, km_per_year) == distances.end()) {
    distances.push_back(km_per_year);
  }
  for (const double km : distances) {
    Prognosis& row = rows.emplace_back();
    row.km = km;
    row.days = std::round(km / km_per_year * kDaysPerYear);
  }
  std::ranges::stable_sort(rows, {}, &Prognosis::km);
  const std::vector<Ahead::Chance> chances =
      chances_ahead(model, c, posterior.belief, rows, km_per_year);
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const auto known = [](double p) { return Foreseen{p, p, p}; };
    rows[i].damage = known(chances[i].damage);
    rows[i].breakdown = known(chances[i].breakdown);
  }
  return rows;
}

HowSure how_sure(const Knowledge& knowledge, const Model& model, const Judgements& judged,
                 const Case& c, const Prior& prior, const Verdict& verdict,
                 std::vector<Prognosis>* ahead) {
  const Settings& s = knowledge.settings;
  HowSure sure;
  sure.odds_factor = s.memory_band;
  sure.values = judged.values.size();
  const double graded = logit(verdict.posterior.graded_risk);
  // As the rules stand, by the process as it is and in coarse steps.
  struct AsItStands {
    Risks risks;
    std::vector<Ahead::Chance> ahead;
  };
  const auto standing = [&](const Model& of, const Prior& before) {
    AsItStands out{of.risks(c, before), {}};
    if (ahead != nullptr) {
      out.ahead = chances_ahead(of, c, of.infer(c, before).belief, *ahead, s.km_per_year);
    }
    return out;
  };
  const AsItStands fine = standing(model, prior);
  const AsItStands coarse = standing(judged.coarse, judged.coarse.prior(c));
  const std::uint32_t now = model.evidence_in(c);
  // What an opening showed of the seal stands in what was believed before.
  const std::uint32_t opened =
      c.at(Finding::opened_seal_leak) >= 0 ? 1U << idx(Finding::opened_seal_leak) : 0U;
  const std::uint32_t before = seen_before(c) | opened;
  // The effect of a move by the whole factor, per deviation of its logarithm.
  const double scale =
      std::log(s.memory_band) > 0 ? deviation(s.memory_band) / std::log(s.memory_band) : 0;
  double variance = 0;
  double graded_variance = 0;
  Widths widths(ahead != nullptr ? *ahead : std::vector<Prognosis>());
  for (const JudgedValue& j : judged.values) {
    if (j.findings != ~0U && (j.findings & (now | before)) == 0) {
      continue;
    }
    const AsItStands& from = j.of_process ? coarse : fine;
    std::optional<Prior> own;  // else what was believed before is the same
    if (j.of_process || (j.findings & before) != 0) {
      own.emplace(j.model.prior(c));
    } else if (!j.model.same_tip(model)) {
      own.emplace().belief = prior.belief;
      j.model.collapse(*own);
    }
    const Prior& then = own ? *own : prior;
    const Risks moved = j.model.risks(c, then);
    const double by = (logit(moved.risk) - logit(from.risks.risk)) * scale;
    const double graded_by = (logit(moved.graded_risk) - logit(from.risks.graded_risk)) * scale;
    variance += by * by;
    graded_variance += graded_by * graded_by;
    constexpr double kDecibansPerNat = 10 / std::numbers::ln10;
    sure.rests_on.push_back({j.rule, j.value, by * kDecibansPerNat});
    // What a look says moves what is to come by what it moves of today, or less.
    constexpr double kLeastNats = 0.1;
    if (ahead != nullptr && (j.of_process || std::abs(by) >= kLeastNats)) {
      const Belief belief = j.model.infer(c, then).belief;
      widths.add(from.ahead, chances_ahead(j.model, c, belief, *ahead, s.km_per_year), scale);
    }
  }
  if (ahead != nullptr) {
    widths.put(*ahead);
  }
  std::ranges::stable_sort(sure.rests_on, [](const RestsOn& a, const RestsOn& b) {
    return std::abs(a.decibans) > std::abs(b.decibans);
  });
  sure.rests_on.resize(std::min(sure.rests_on.size(), kNamed));
  const double spread = kOneInTwenty * std::sqrt(variance);
  const double risk = logit(verdict.posterior.risk);
  sure.risk_low = chance(risk - spread);
  sure.risk_high = chance(risk + spread);
  // The bounds of the bands are judgement as well.
  const auto beyond = [&](double bound) {
    double all = graded_variance;
    for (const Setting& setting : knowledge.setting_items) {
      const bool this_one = s.*setting.value == bound && (setting.value == &Settings::risk_raised ||
                                                          setting.value == &Settings::risk_high);
      all += this_one && is_judged(setting) ? std::pow(deviation(s.memory_band), 2) : 0;
    }
    const double apart = graded - logit(bound);
    return all > 0 ? below(apart / std::sqrt(all)) : (apart >= 0 ? 1.0 : 0.0);
  };
  const double raised = beyond(s.risk_raised);
  const double high = std::min(raised, beyond(s.risk_high));
  const std::pair<double, double> bands[] = {
      {0, 1 - raised}, {s.risk_raised, raised - high}, {s.risk_high, high}};
  std::array<double, kGradeCount> grades{};
  for (const auto& [of, share] : bands) {
    grades.at(idx(grade_of(knowledge, model.grading(), c, of, verdict.posterior.cause))) += share;
  }
  sure.grade_holds = grades.at(idx(verdict.grade));
  constexpr double kWorthNaming = 0.05;
  for (std::size_t g = 0; g < kGradeCount; ++g) {
    if (grades.at(g) >= kWorthNaming || static_cast<Grade>(g) == verdict.grade) {
      sure.grades.push_back(static_cast<Grade>(g));
    }
  }
  return sure;
}

}  // namespace dryshaft
