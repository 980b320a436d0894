// Diagnosis: exact inference over the joint states of the six causes.
//
// Causes are binary. A child cause is brought about by its base or by any
// present parent (noisy-OR). A finding's level is the worst that any present
// cause, or its background, brings about (noisy-MAX): with `G_l` the chance of
// level `l` or worse in a state, G_l = 1 - (1 - anyway_l) * prod(1 - shows_l)
// over the causes present, and the level itself has probability G_l - G_{l+1}.
// All 2^6 states are enumerated, so nothing is approximated. What was not
// observed is left out, which is the same as summing over its values.
#ifndef DRYSHAFT_DIAGNOSE_MODEL_HPP
#define DRYSHAFT_DIAGNOSE_MODEL_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "dryshaft/diagnose.hpp"
#include "dryshaft/knowledge.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft {

using States = std::array<double, kStateCount>;
// States are worked on in blocks of neighbours: all values of the first two causes.
inline constexpr std::size_t kBlock = 4;

struct Posterior {
  States state{};  //< probability of each joint state; sums to 1
  std::array<double, kCauseCount> cause{};
  double risk = 0;  //< probability that at least one cause marked damaging "yes" is present
  // The risk without the findings that only explain others away (see
  // `Model::explains_only`): what the grade rests on.
  double graded_risk = 0;
};

// As in `Posterior`.
struct Risks {
  double risk = 0;
  double graded_risk = 0;
};

// Weight of each finding for each cause, in decibans: log odds with the
// finding less log odds without it. 0 where the finding was not observed.
using Weights = std::array<std::array<double, kCauseCount>, kFindingCount>;

// What a grade rests on besides probabilities: the floors, in the order of
// `Knowledge::floors`; then where it stays open; then what A needs.
class GradeConditions {
 public:
  // Throws std::length_error where there are more than `kMaxFloors` floors, or more conditions
  // than a `ConditionSet` takes.
  explicit GradeConditions(const Knowledge& knowledge);
  struct Holding {
    std::uint64_t floors = 0;  //< bit `i`: `Knowledge::floors[i]` holds
    bool ungraded = false;
    bool sound = false;
  };
  [[nodiscard]] Holding holding(const Facts& facts) const;
  // What each asks for, see `asks`.
  [[nodiscard]] std::uint64_t floor_asks(std::size_t floor) const { return asks_[floor]; }
  [[nodiscard]] std::uint64_t ungraded_asks() const { return asks_[ungraded_row()]; }
  [[nodiscard]] std::uint64_t sound_asks() const { return asks_[ungraded_row() + 1]; }
  // Whether any asks for the probability of a cause; else only findings,
  // situation and the band of the risk count.
  [[nodiscard]] bool ask_causes() const { return (all_asks_ & AskBits::kCauses) != 0; }
  // Whether any asks for the band of the risk.
  [[nodiscard]] bool ask_risk() const { return (all_asks_ & AskBits::bit(Situation::risk)) != 0; }

 private:
  // One condition a row, in the order above.
  explicit GradeConditions(const std::vector<Condition>& rows);
  [[nodiscard]] std::size_t ungraded_row() const { return asks_.size() - 2; }
  std::vector<std::uint64_t> asks_;
  ConditionSet set_;
  std::uint64_t all_asks_ = 0;
};

// The rule data, compiled for speed. Immutable; safe to share between threads.
class Model {
 public:
  // Throws std::length_error where there are more floors, or floors and the like have more
  // conditions, than `load_knowledge` would take, see `GradeConditions`.
  explicit Model(const Knowledge& knowledge);

  [[nodiscard]] const GradeConditions& grading() const { return grading_; }

  // Prior probability of each joint state.
  [[nodiscard]] States prior(const Case& c) const;
  // Allocates nothing.
  [[nodiscard]] Posterior infer(const Case& c) const;
  [[nodiscard]] Weights weigh(const Case& c) const;
  // Chance that nothing has worn out yet, by distance, age and cooling; 1 without wear.
  [[nodiscard]] double unworn(const Case& c) const;
  // The two risks of `infer(c)` without the rest.
  [[nodiscard]] Risks risks(const Case& c) const;
  // `infer(c).graded_risk` without the rest; `unworn` is `unworn(c)`, which many
  // variants of a case have in common.
  [[nodiscard]] double graded_risk(const Case& c, double unworn) const;

  // P(finding at `level` | state), for all states. Findings without a
  // background in the rule data carry no evidence: all ones.
  [[nodiscard]] const States& likelihood(Finding finding, int level) const {
    return likelihood_[first_[static_cast<std::size_t>(finding)] + static_cast<std::size_t>(level)];
  }
  // The causes that a finding's likelihood depends on, as bits.
  [[nodiscard]] std::uint32_t linked(Finding finding) const {
    return linked_[static_cast<std::size_t>(finding)];
  }
  // The link, by its place in `Knowledge::links`, that carries a finding's weight
  // for a cause: its own, or, where the finding speaks through another cause, the
  // first by id. -1: the finding has none.
  [[nodiscard]] int carrier(Finding finding, Cause cause) const {
    return carriers_[static_cast<std::size_t>(finding)][static_cast<std::size_t>(cause)];
  }
  [[nodiscard]] bool carries_evidence(Finding finding) const {
    return carries_[static_cast<std::size_t>(finding)];
  }
  // Whether a finding bears on damage only by explaining another finding away:
  // it is linked to no damaging cause, or it describes one that other causes
  // bring about as well. Such news moves the probabilities of causes and the
  // risk, yet not the grade: a tone that sounds like etched bearings does not
  // show that the seal is dry, and what a noise sounds like may be misheard.
  // Without this rule an unanswered question could give a better grade than
  // each of its answers.
  [[nodiscard]] bool explains_only(Finding finding) const {
    return (explains_ >> static_cast<std::size_t>(finding) & 1U) != 0;
  }
  // Bit `s` is set where state `s` holds a damaging cause.
  [[nodiscard]] std::uint64_t damaging_states() const { return damaging_; }
  // Chance that wear-out alone has begun the leak by this distance and age; 0 without wear.
  [[nodiscard]] double wear_probability(double km, double years) const;
  // Cumulative hazard behind `wear_probability`: by the rules, or by a shop's own table.
  [[nodiscard]] double wear_hazard(double km, double years) const;
  // Chance that a port check today finds tip and port dry, clean and without
  // rust although a leak has begun and has brought nothing else about.
  [[nodiscard]] double check_misses_leak() const;

 private:
  void factor(const Case& c, std::size_t finding, States& out) const;
  void compile_priors();
  void compile_groups();
  void compile_carriers(const std::vector<Link>& links);
  [[nodiscard]] States prior_by_cause(const Case& c) const;
  [[nodiscard]] std::size_t configuration(const Case& c) const;

  GradeConditions grading_;
  struct CausePrior {
    int by = -1;  // situation, or -1
    std::array<double, 4> base{};
    bool has_wear = false;
    Wear wear;
    std::array<double, kCauseCount> given{};
    std::uint32_t parents = 0;
  };
  // Priors of one configuration: of all states before wear-out, and what is
  // added where nothing has worn out, times the chance of that.
  struct ConfiguredPrior {
    States worn{};
    States unworn{};
  };
  std::array<CausePrior, kCauseCount> priors_{};
  std::vector<ConfiguredPrior> configured_;
  std::array<std::size_t, kSituationCount> stride_{};  // in `configured_`; 0: no prior asks
  std::array<std::uint8_t, kSituationCount> asked_{};  // situations that some prior asks for
  std::size_t asked_count_ = 0;
  int wearing_ = -1;           // the cause that wears out, or none
  bool several_wear_ = false;  // more than one does
  // A table of wear-out in logs, for the wearing cause; empty: none.
  struct TablePoint {
    double log_at = 0;
    double log_hazard = 0;
  };
  [[nodiscard]] double table_hazard(double at) const;
  std::vector<TablePoint> table_;
  unsigned half_shapes_ = 0;  // twice its shape, where that is whole and small; else 0
  std::array<std::uint16_t, kFindingCount> first_{};  // a finding's level 0 in the tables of levels
  std::vector<States> likelihood_;
  std::array<std::uint32_t, kFindingCount> linked_{};
  std::array<std::array<int, kCauseCount>, kFindingCount> carriers_{};
  std::array<bool, kFindingCount> carries_{};
  std::uint32_t carrying_ = 0;                // the same as bits
  std::array<bool, kFindingCount> decays_{};  // harmless news of it grows old
  std::uint32_t explains_ = 0;
  std::uint64_t damaging_ = 0;

  // Most findings depend on few causes, so likelihoods are multiplied in tables
  // over the causes of a group, and spread over all states once at the end.
  struct Group {
    std::uint32_t causes = 0;
    std::size_t size = 0;        // joint states of its causes
    std::uint32_t members = 0;   // findings, as bits
    std::uint32_t decaying = 0;  // those of them whose harmless news grows old
    std::array<std::uint8_t, kStateCount / kBlock> block{};  // where each block of states is found
  };
  struct Product;
  void observe(const Case& c, std::uint32_t which, Product& out) const;
  template <typename Take>
  void each_block(const Case& c, double unworn, const Product& product, Take take) const;
  std::array<Group, 2> groups_{};
  std::vector<std::uint16_t> grouped_at_;  // where each level's table begins in `grouped_`
  std::vector<double> grouped_;
};

// Posterior from likelihoods already multiplied: normalises and sums up. Both risks are the same.
Posterior posterior_of(const States& unnormalised, std::uint64_t damaging);

}  // namespace dryshaft

#endif
