#include <algorithm>
#include <bit>

#include "decide/assess.hpp"
#include "decide/grading.hpp"

namespace dryshaft {

Facts facts_of(const Case& c, const Verdict& verdict) {
  Facts facts{.level = c.level, .situation = c.situation, .probability = verdict.posterior.cause};
  facts.situation[static_cast<std::size_t>(Situation::risk)] =
      static_cast<std::uint8_t>(verdict.band);
  facts.grade = verdict.grade;
  return facts;
}

namespace {

struct Held {
  Grounds grounds;
  std::uint64_t floors = 0;
};

Held grounds_of(const Knowledge& knowledge, const GradeConditions& conditions, const Case& c,
                RiskBand band, const std::array<double, kCauseCount>& probability) {
  Facts facts{.level = c.level, .situation = c.situation, .probability = probability};
  facts.situation[static_cast<std::size_t>(Situation::risk)] = static_cast<std::uint8_t>(band);
  const GradeConditions::Holding holding = conditions.holding(facts);
  Held held{.grounds = {.worst_floor = Grade::A,
                        .ungraded = holding.ungraded,
                        .sound = holding.sound,
                        .band = band},
            .floors = holding.floors};
  for (std::uint64_t left = held.floors; left != 0; left &= left - 1) {
    const auto floor = static_cast<std::size_t>(std::countr_zero(left));
    held.grounds.worst_floor = std::max(held.grounds.worst_floor, knowledge.floors[floor].grade);
  }
  return held;
}

}  // namespace

Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c,
              const Posterior& posterior) {
  const auto [grounds, floors] =
      grounds_of(knowledge, model.grading(), c, band_of(knowledge.settings, posterior.graded_risk),
                 posterior.cause);
  Verdict v;
  v.posterior = posterior;
  v.band = grounds.band;
  v.floors = floors;
  if (floors != 0) {
    v.at_least = grounds.worst_floor;
  }
  v.grade = grade_on(grounds);
  v.incomplete = v.grade == Grade::B && grounds.worst_floor == Grade::A && v.band == RiskBand::low;
  return v;
}

Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c, const Prior& prior) {
  return judge(knowledge, model, c, model.infer(c, prior));
}

Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c) {
  return judge(knowledge, model, c, model.prior(c));
}

Grade grade_of(const Knowledge& knowledge, const GradeConditions& conditions, const Case& c,
               double graded_risk, const std::array<double, kCauseCount>& probability) {
  const RiskBand band = band_of(knowledge.settings, graded_risk);
  return grade_on(grounds_of(knowledge, conditions, c, band, probability).grounds);
}

Grade grade_of(const Knowledge& knowledge, const Model& model, const Case& c, const Prior& prior) {
  const GradeConditions& conditions = model.grading();
  if (conditions.ask_causes()) {
    return judge(knowledge, model, c, prior).grade;
  }
  if (conditions.ask_risk()) {
    return grade_of(knowledge, conditions, c, model.graded_risk(c, prior), {});
  }
  // Floors alone settle many a grade.
  Grounds grounds = grounds_of(knowledge, conditions, c, RiskBand::low, {}).grounds;
  if (!settled(grounds)) {
    grounds.band = band_of(knowledge.settings, model.graded_risk(c, prior));
  }
  return grade_on(grounds);
}

}  // namespace dryshaft
