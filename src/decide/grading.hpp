// The last step from floors and risk to a grade, as a function of all that it
// depends on: the proofs enumerate its arguments.
#ifndef DRYSHAFT_DECIDE_GRADING_HPP
#define DRYSHAFT_DECIDE_GRADING_HPP

#include "diagnose/model.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

struct Grounds {
  Grade worst_floor = Grade::A;  // A: no floor holds
  bool ungraded = false;
  bool sound = false;
  RiskBand band = RiskBand::low;
};

constexpr Grade grade_on(const Grounds& g) {
  if (g.worst_floor >= Grade::C) {
    return g.worst_floor;
  }
  if (g.ungraded) {
    return Grade::U;
  }
  if (g.band == RiskBand::high) {
    return Grade::C;
  }
  if (g.band == RiskBand::raised || g.worst_floor == Grade::B || !g.sound) {
    return Grade::B;
  }
  return Grade::A;
}

// Whether the band makes no difference.
constexpr bool settled(Grounds g) {
  g.band = RiskBand::low;
  const Grade grade = grade_on(g);
  g.band = RiskBand::high;
  return grade_on(g) == grade;
}

constexpr RiskBand band_of(const Settings& s, double risk) {
  return risk >= s.risk_high ? RiskBand::high
                             : (risk >= s.risk_raised ? RiskBand::raised : RiskBand::low);
}

/// The grade alone, with the risk that it rests on and each cause's probability known.
/// Probabilities may be anything where `GradeConditions::ask_causes()` is false.
Grade grade_of(const Knowledge& knowledge, const GradeConditions& conditions, const Case& c,
               double graded_risk, const std::array<double, kCauseCount>& probability);
/// The same for a variant of a case that has the same prior.
Grade grade_of(const Knowledge& knowledge, const Model& model, const Case& c, const Prior& prior);

}  // namespace dryshaft

#endif
