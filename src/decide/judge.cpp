#include <algorithm>

#include "decide/grading.hpp"
#include "dryshaft/assess.hpp"

namespace dryshaft {

Facts facts_of(const Case& c, const Verdict& verdict) {
  Facts facts{.level = c.level, .situation = c.situation, .probability = verdict.posterior.cause};
  facts.situation[static_cast<std::size_t>(Situation::risk)] =
      static_cast<std::uint8_t>(verdict.band);
  facts.grade = verdict.grade;
  return facts;
}

Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c,
              const Posterior& posterior) {
  const GradeConditions& conditions = model.grading();
  Verdict v;
  v.posterior = posterior;
  v.band = band_of(knowledge.settings, posterior.graded_risk);
  FactBits facts(c.level, c.situation, Grade::A);
  facts.set(Situation::risk, static_cast<unsigned>(v.band));
  Grounds grounds{.worst_floor = Grade::A,
                  .ungraded = conditions.ungraded.holds(facts, posterior.cause),
                  .sound = conditions.sound.holds(facts, posterior.cause),
                  .band = v.band};
  for (std::size_t i = 0; i < conditions.floors.size(); ++i) {
    if (conditions.floors[i].holds(facts, posterior.cause)) {
      v.floors |= std::uint64_t{1} << i;
      grounds.worst_floor = std::max(grounds.worst_floor, knowledge.floors[i].grade);
    }
  }
  if (v.floors != 0) {
    v.at_least = grounds.worst_floor;
  }
  v.grade = grade_on(grounds);
  v.incomplete = v.grade == Grade::B && grounds.worst_floor == Grade::A && v.band == RiskBand::low;
  return v;
}

Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c) {
  return judge(knowledge, model, c, model.infer(c));
}

}  // namespace dryshaft
