// How far the answer depends on judgement: the same case under many models, in
// each of which every value marked "from memory" is off by its own factor.
#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "base/draw.hpp"
#include "base/odds.hpp"
#include "decide/assess.hpp"
#include "decide/grading.hpp"

namespace dryshaft {
namespace {

// A draw depends on nothing but these, so the order of the rules does not matter.
double draw_between(std::string_view id, std::string_view part, std::uint64_t number) {
  const std::uint64_t z = draw::mixed(draw::hashed(part, draw::hashed(id)), number);
  return std::ldexp(static_cast<double>(z >> 11U), -52) - 1;  // from -1 to 1
}

class Variation {
 public:
  Variation(double band, std::uint64_t number) : log_band_(std::log(band)), number_(number) {}

  [[nodiscard]] double factor(const Item& item, std::string_view part = {}) const {
    // A refitted value is judgement still, as far as few teardowns have moved it.
    const bool judged = item.source.mark == SourceMark::from_memory ||
                        item.source.mark == SourceMark::own_teardowns;
    return judged ? std::exp(log_band_ * draw_between(item.id, part, number_)) : 1.0;
  }

  template <typename Values>
  void shift(Values& values, double by) const {
    for (double& p : values) {
      p = with_odds(p, by);
    }
  }

 private:
  double log_band_;
  std::uint64_t number_;
};

}  // namespace

std::vector<Model> variations(const Knowledge& knowledge, std::size_t count) {
  Knowledge k;
  std::vector<Model> models;
  models.reserve(count);
  for (std::uint64_t number = 0; number < count; ++number) {
    const Variation v(knowledge.settings.memory_band, number);
    k.causes = knowledge.causes;
    k.links = knowledge.links;
    k.backgrounds = knowledge.backgrounds;
    for (CauseRule& c : k.causes) {
      v.shift(c.base, v.factor(c, "base"));
      if (c.wear) {
        const double scale = std::pow(v.factor(c, "wear"), -1 / c.wear->shape);
        c.wear->scale_km *= scale;
        c.wear->scale_years *= scale;
      }
    }
    k.stages = knowledge.stages;
    for (StageRule& stage : k.stages) {
      stage.reaches = with_odds(stage.reaches, v.factor(stage, "reaches"));
      stage.lasts_km *= v.factor(stage, "lasts");
    }
    k.harms = knowledge.harms;
    for (HarmRule& harm : k.harms) {
      const double after = v.factor(harm, "after");
      for (double& km : harm.after_km) {
        km *= after;
      }
      harm.breakdown_km *= v.factor(harm, "breakdown");
    }
    k.broken = knowledge.broken;
    for (BrokenRule& b : k.broken) {
      v.shift(b.shows, v.factor(b));
    }
    k.settings = knowledge.settings;
    // One factor for all levels of a link, so that worse stays rarer.
    for (Link& link : k.links) {
      v.shift(link.shows, v.factor(link));
    }
    for (Background& b : k.backgrounds) {
      v.shift(b.anyway, v.factor(b));
    }
    models.emplace_back(k);
  }
  return models;
}

HowSure how_sure(const Knowledge& knowledge, const Model& model,
                 const std::vector<Model>& variations, const Case& c, const Verdict& verdict) {
  HowSure sure{.models = variations.size(),
               .odds_factor = knowledge.settings.memory_band,
               .risk_low = verdict.posterior.risk,
               .risk_high = verdict.posterior.risk,
               .grade_holds = 0,
               .grades = {}};
  // Where no condition asks for a cause, the band of the risk settles the grade.
  std::array<std::optional<Grade>, kRiskBandCount> by_band;
  const auto grade_by = [&](const Risks& risks, const Model& variation, const Prior& prior) {
    if (model.grading().ask_causes()) {
      return judge(knowledge, model, c, variation.infer(c, prior)).grade;
    }
    const RiskBand band = band_of(knowledge.settings, risks.graded_risk);
    std::optional<Grade>& known = by_band.at(static_cast<std::size_t>(band));
    if (!known) {
      known = grade_of(knowledge, model.grading(), c, risks.graded_risk, {});
    }
    return *known;
  };
  std::array<bool, kGradeCount> seen{};
  for (const Model& variation : variations) {
    const Prior prior = variation.prior(c);
    const Risks risks = variation.risks(c, prior);
    const Grade grade = grade_by(risks, variation, prior);
    sure.risk_low = std::min(sure.risk_low, risks.risk);
    sure.risk_high = std::max(sure.risk_high, risks.risk);
    sure.grade_holds += grade == verdict.grade ? 1 : 0;
    seen.at(static_cast<std::size_t>(grade)) = true;
  }
  for (std::size_t g = 0; g < kGradeCount; ++g) {
    if (seen.at(g)) {
      sure.grades.push_back(static_cast<Grade>(g));
    }
  }
  sure.grade_holds /= variations.empty() ? 1 : static_cast<double>(variations.size());
  return sure;
}

}  // namespace dryshaft
