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

Verdict judge(const Knowledge& knowledge, const Case& c, const Posterior& posterior) {
  const Settings& s = knowledge.settings;
  Verdict v;
  v.posterior = posterior;
  v.band = band_of(s, posterior.graded_risk);
  v.grade = Grade::A;
  const Facts facts = facts_of(c, v);
  Grounds grounds{.worst_floor = Grade::A,
                  .ungraded = holds(s.ungraded, facts),
                  .sound = holds(s.sound, facts),
                  .band = v.band};
  for (std::size_t i = 0; i < knowledge.floors.size(); ++i) {
    const Floor& floor = knowledge.floors[i];
    if (holds(floor.when, facts)) {
      v.floors |= std::uint64_t{1} << i;
      grounds.worst_floor = std::max(grounds.worst_floor, floor.grade);
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
  return judge(knowledge, c, model.infer(c));
}

}  // namespace dryshaft
