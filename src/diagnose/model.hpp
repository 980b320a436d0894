// Diagnosis: what a look says of the causes, on top of what the process holds before it.
//
// A finding's level is the worst that any present cause, or its background, brings about
// (noisy-MAX): with `G_l` the chance of level `l` or worse in a state,
// G_l = 1 - (1 - anyway_l) * prod(1 - shows_l) over the causes present, and the level itself has
// probability G_l - G_{l+1}. What was not observed is left out, which is the same as summing over
// its values. All joint states are gone through, so nothing is approximated.
//
// A look tells of the seal only by what reaches the sensor's tip, which is a hidden state of the
// look: fluid, tracks and rust of one tip are one witness. In the joint states of causes, as a
// look sees them, the bit of the seal leak therefore stands for "coolant has reached the tip"; how
// likely that is goes by the stage of the leak. Only an opened unit shows the seal itself.
#ifndef DRYSHAFT_DIAGNOSE_MODEL_HPP
#define DRYSHAFT_DIAGNOSE_MODEL_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <vector>

#include "diagnose/course.hpp"
#include "diagnose/life.hpp"
#include "dryshaft/diagnose.hpp"
#include "dryshaft/knowledge.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft {

using States = std::array<double, kStateCount>;
// States are worked on in blocks of neighbours: all values of the first two causes.
inline constexpr std::size_t kBlock = 4;

// So many looks before the newest have their weights told.
inline constexpr std::size_t kLooksWeighed = 8;

// Kinds of breakdown: none, rotor bearings, insulation, both.
inline constexpr std::size_t kBreakdowns = 4;

// What is believed of a unit before its newest look, and the same by what that look can see.
struct Prior {
  Belief belief;
  // By breakdown; the bit of the seal leak: coolant has reached the tip.
  std::array<States, kBreakdowns> state{};
  // Chance of a damaging cause in each of them: 1, or of a leak that does not show.
  States damaged{};
};

struct Posterior {
  Belief belief;
  std::array<double, kCauseCount> cause{};
  double risk = 0;  //< probability that at least one cause marked damaging "yes" is present
  // The risk without the findings that only explain others away (see
  // `Model::explains_only`): what the grade rests on.
  double graded_risk = 0;
  double evidence = 0;  //< how likely the look was; 0 where it cannot be
};

// As in `Posterior`; the odds as natural logs, from both sums: next to certainty one of them holds
// all digits.
struct Risks {
  double risk = 0;
  double graded_risk = 0;
  double odds = 0;
  double graded_odds = 0;
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
  // With a process that has been compiled.
  Model(const Knowledge& knowledge, std::shared_ptr<const Life> process);

  [[nodiscard]] const GradeConditions& grading() const { return grading_; }

  // What is believed before the newest look: the course is gone through. Many variants of a case
  // have it in common: all but those of `course`, times, situation, and what an opening showed of
  // the seal.
  [[nodiscard]] Prior prior(const Case& c) const;
  // Makes `state` and `damaged` of `belief`: what a look can see of it.
  void collapse(Prior& prior) const;
  // Allocates nothing, as all that follows.
  [[nodiscard]] Posterior infer(const Case& c, const Prior& prior) const;
  [[nodiscard]] Posterior infer(const Case& c) const { return infer(c, prior(c)); }
  // The belief of `infer` alone; with `graded`, of what the grade rests on.
  [[nodiscard]] Belief believed(const Case& c, const Prior& prior, bool graded) const;
  [[nodiscard]] Weights weigh(const Case& c, const Prior& prior) const;
  [[nodiscard]] Weights weigh(const Case& c) const { return weigh(c, prior(c)); }
  // Weights of the last looks of the course, each left out as a whole: newest last, at most
  // `kLooksWeighed`.
  struct LookWeight {
    std::size_t look;  // as `Leg::look`
    std::array<double, kCauseCount> decibans{};
  };
  [[nodiscard]] std::vector<LookWeight> weigh_looks(const Case& c) const;
  // The chance that the seal leaks along the course and the last way, by what was known then, and
  // so many km before the newest look: after each leg, which its look or work may have moved, and
  // `kBetween` times on the way. Nothing where there is no course.
  struct LeakThen {
    double km_before = 0;
    double chance = 0;
  };
  static constexpr std::size_t kBetween = 4;
  [[nodiscard]] std::vector<LeakThen> leak_along(const Case& c) const;
  // Whether something had not come yet at an earlier look, given all that has been seen since.
  struct Since {
    double not_yet = 1;    // the probability of that
    double risk_then = 0;  // the risk now, where it had not
  };
  // Of a damaging cause.
  [[nodiscard]] std::optional<Since> sound_at(const Case& c, std::size_t look) const;
  // Of harm to rotor bearings or insulation. Both: nothing where the course has no such look.
  [[nodiscard]] std::optional<Since> unharmed_at(const Case& c, std::size_t look) const;
  // The joint chance of what was seen and each state, not scaled, by breakdown; with `graded`, of
  // what the grade rests on.
  [[nodiscard]] std::array<States, kBreakdowns> weights(const Case& c, const Prior& prior,
                                                        bool graded) const;
  // The two risks of `infer(c, prior)` without the rest.
  [[nodiscard]] Risks risks(const Case& c, const Prior& prior) const;
  [[nodiscard]] double graded_risk(const Case& c, const Prior& prior) const;
  // The share of each state, by breakdown, whose seal leaks though nothing has reached the tip.
  [[nodiscard]] std::array<States, kBreakdowns> hidden_leaks(const Prior& prior) const;
  // Findings that count as evidence of the newest look, as bits.
  [[nodiscard]] std::uint32_t evidence_in(const Case& c) const;
  // How likely each state makes a look of long ago; what only explains away is left out.
  [[nodiscard]] Belief likelihood(const Levels& seen) const;
  // How much likelier a level is in a unit that has broken down so than in one that is harmed.
  [[nodiscard]] std::array<double, kBreakdowns> broken(Finding finding, int level) const;
  // How much likelier it is that nobody says that a unit has broken down: by kind of breakdown, of
  // what is on record; 1 where it is said.
  [[nodiscard]] std::array<double, kBreakdowns> unsaid(const Levels& level) const;
  // Findings that show the state of a breakdown, as bits.
  [[nodiscard]] std::uint32_t show_breakdown() const { return show_breakdown_; }
  [[nodiscard]] const Life& life() const { return *life_; }
  [[nodiscard]] const std::shared_ptr<const Life>& process() const { return life_; }
  // Chance that a look finds coolant to have reached the tip, by stage of the leak.
  [[nodiscard]] double reaches(std::size_t seal) const { return reaches_[seal]; }
  [[nodiscard]] bool same_tip(const Model& other) const { return reaches_ == other.reaches_; }

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

 private:
  void compile_likelihoods(const Knowledge& knowledge);
  void compile_broken(const Knowledge& knowledge);
  void compile_groups();
  void compile_carriers(const std::vector<Link>& links);

  GradeConditions grading_;
  std::shared_ptr<const Life> life_;  // the same in models that differ in what looks show alone
  std::array<std::uint16_t, kFindingCount> first_{};  // a finding's level 0 in the tables of levels
  std::vector<States> likelihood_;
  std::array<std::uint32_t, kFindingCount> linked_{};
  std::array<std::array<int, kCauseCount>, kFindingCount> carriers_{};
  std::array<bool, kFindingCount> carries_{};
  std::uint32_t carrying_ = 0;  // the same as bits
  std::uint32_t explains_ = 0;
  std::uint32_t on_rests_ = 0;  // findings that causes beside the cores bring about, as bits
  std::uint64_t damaging_ = 0;

  // Most findings depend on few causes, so likelihoods are multiplied in tables
  // over the causes of a group, and spread over all states once at the end.
  struct Group {
    std::uint32_t causes = 0;
    std::size_t size = 0;                                    // joint states of its causes
    std::uint32_t members = 0;                               // findings, as bits
    std::array<std::uint8_t, kStateCount / kBlock> block{};  // where each block of states is found
  };
  struct Product;
  void observe(const Levels& level, std::uint32_t which, Product& out) const;
  struct Risen;
  [[nodiscard]] Risen breakdown(const Levels& level, std::uint32_t seen) const;
  template <typename Take>
  void each_block(const Prior& prior, const Risen& risen, const Product& product, Take take) const;
  template <typename Into>
  [[nodiscard]] Into sum_up(const Case& c, const Prior& prior, std::uint32_t seen) const;
  double pass(Underway& unit, const Leg& leg) const;
  double arrive(Underway& unit, const Case& c) const;
  double see_opening(Underway& unit, const Case& c) const;
  [[nodiscard]] Cores of_seal(int opened) const;
  [[nodiscard]] Cores core_likelihood(const Levels& level, std::uint32_t seen) const;
  [[nodiscard]] Leg last_leg(const Case& c) const;
  template <typename There>
  [[nodiscard]] std::optional<Since> not_yet(const Case& c, std::size_t look, There there) const;
  [[nodiscard]] std::array<double, kCauseCount> log_odds(const Belief& belief) const;
  void spread(const States& tip, const Risen& risen, Belief& out) const;
  double take_in_newest(const Case& c, const Prior& prior, std::uint32_t seen, Belief& out) const;

  struct Broken {
    Finding finding;
    std::size_t harm;                        // its place in `kHarms`
    std::int8_t worst = 0;                   // level
    std::array<double, kMaxLevels> ratio{};  // to a unit that is only harmed
  };
  std::array<double, kSealStates> reaches_{};
  std::vector<Broken> broken_;
  std::uint32_t show_breakdown_ = 0;
  double unsaid_ = 1;
  std::array<Group, 2> groups_{};
  std::vector<std::uint16_t> grouped_at_;  // where each level's table begins in `grouped_`
  std::vector<double> grouped_;
};

// Where a unit stands at its newest look.
Clock clock_of(const Case& c);

}  // namespace dryshaft

#endif
