#include <algorithm>

#include "dryshaft/assess.hpp"

namespace dryshaft {

Facts facts_of(const Case& c, const Verdict& verdict) {
  Facts facts{
      .level = c.level, .situation = c.situation, .probability = verdict.posterior.cause};
  facts.situation[static_cast<std::size_t>(Situation::risk)] =
      static_cast<std::uint8_t>(verdict.band);
  facts.grade = verdict.grade;
  return facts;
}

Verdict judge(const Knowledge& knowledge, const Case& c, const Posterior& posterior) {
  const Settings& s = knowledge.settings;
  Verdict v;
  v.posterior = posterior;
  v.band = posterior.risk >= s.risk_high
               ? RiskBand::high
               : (posterior.risk >= s.risk_raised ? RiskBand::raised : RiskBand::low);
  v.grade = Grade::A;
  const Facts facts = facts_of(c, v);
  Grade worst = Grade::A;
  for (std::size_t i = 0; i < knowledge.floors.size(); ++i) {
    const Floor& floor = knowledge.floors[i];
    if (holds(floor.when, facts)) {
      v.floors |= std::uint64_t{1} << i;
      worst = std::max(worst, floor.grade);
    }
  }
  if (v.floors != 0) {
    v.at_least = worst;
  }
  if (worst >= Grade::C) {
    v.grade = worst;
  } else if (holds(s.ungraded, facts)) {
    v.grade = Grade::U;
  } else if (v.band == RiskBand::high) {
    v.grade = Grade::C;
  } else if (v.band == RiskBand::raised) {
    v.grade = Grade::B;
  } else if (worst == Grade::A && !holds(s.sound, facts)) {
    v.grade = Grade::B;
    v.incomplete = true;
  } else {
    v.grade = worst;
  }
  return v;
}

Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c) {
  return judge(knowledge, c, model.infer(c));
}

}  // namespace dryshaft
