// From a diagnosis to a decision: grade, what to do and by when, what to
// check next, what would change the grade.
#ifndef DRYSHAFT_DECIDE_ASSESS_HPP
#define DRYSHAFT_DECIDE_ASSESS_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/index.hpp"
#include "diagnose/ahead.hpp"
#include "diagnose/model.hpp"
#include "diagnose/present.hpp"
#include "dryshaft/dryshaft.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft {

struct Verdict {
  Grade grade = Grade::U;
  std::optional<Grade> at_least;  // the worst floor that holds
  std::uint64_t floors = 0;       // bit `i`: `Knowledge::floors[i]` holds
  RiskBand band = RiskBand::low;
  bool incomplete = false;  // not A only because the port check is not fully on record
  Posterior posterior;
};

// Grades a case. Pure; allocates nothing. `model` is compiled from `knowledge`.
Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c);
// The same with what was believed before already known.
Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c, const Prior& prior);
// The same with the posterior already known.
Verdict judge(const Knowledge& knowledge, const Model& model, const Case& c,
              const Posterior& posterior);

// Facts of a judged case, for conditions on advice and outlook.
Facts facts_of(const Case& c, const Verdict& verdict);

// Expected information of each check that could still be made, best first.
// A check's findings are taken together: all joint outcomes are enumerated.
// Bits are the mutual information between them and whether a damaging cause
// is present, given everything else observed (Shannon 1948).
std::vector<NextCheck> next_checks(const Knowledge& knowledge, const Model& model, const Case& c,
                                   const Prior& prior, const Verdict& verdict, Audience audience);

// The fewest findings that would move the grade: single ones, and pairs in a
// direction (better or worse) in which no single one does. Smallest steps first.
std::vector<WouldChange> would_change(const Knowledge& knowledge, const Model& model, const Case& c,
                                      const Prior& prior, const Verdict& verdict);

// The rules with one value moved.
struct Moved {
  Model model;
  std::optional<Foresight> ahead;  // of its own process
};
// A value from memory, and how it may be off: its odds (of a distance or a hazard: itself) are
// those of the rules times one deviation, the `memory-band` to the power of 1 by the root of 3.
struct JudgedValue {
  std::string rule;
  std::string_view value;      // which of the rule's
  bool of_process = false;     // of what happens between looks; else of what a look finds
  std::uint32_t findings = 0;  // it counts where one of these was seen, as bits; all: everywhere
  Moved up;
  std::optional<Moved> down;  // else it moves what is asked as far the other way
};
struct Judgements;
// How much likelier each core is in a unit that nobody has looked at, where values of the process
// are moved: from nodes at fixed distances and ages, each made when it is first needed.
class MovedUnseen {
 public:
  // Of each of `Judgements::values` that is of the process, up and then down where it has that, in
  // their order.
  [[nodiscard]] std::vector<Cores> at(const Judgements& judged, const Case& c) const;

 private:
  static constexpr std::size_t kNodes = 21;  // either way
  struct Node {
    std::once_flag once;
    std::vector<Cores> ratios;
  };
  using ByCooling = std::array<std::array<Node, kNodes>, kNodes>;
  [[nodiscard]] const std::vector<Cores>& node(const Judgements& judged, std::size_t cooling,
                                               std::size_t km, std::size_t years) const;
  mutable std::array<ByCooling, idx(Cooling::unknown) + 1> nodes_;
};
struct Judgements {
  std::vector<JudgedValue> values;
  // The rules as they stand, with the process in coarse steps: moved models have it so, for only
  // differences count.
  Moved coarse;
  std::unique_ptr<const MovedUnseen> unseen;
};
Judgements judged_values(const Knowledge& knowledge);

// What is to come if nothing is done, not how sure that is.
std::vector<Prognosis> prognosis(const Knowledge& knowledge, const Model& model, const Case& c,
                                 const Posterior& posterior);

// The range that holds nine in ten sets of values, each of which is off by a factor of its own:
// its logarithm even between the memory band's down and up, independent of the others. `judged` are
// of `model`. `ahead`, where it is given, gets such ranges too.
HowSure how_sure(const Knowledge& knowledge, const Model& model, const Judgements& judged,
                 const Case& c, const Prior& prior, const Verdict& verdict,
                 std::vector<Prognosis>* ahead = nullptr);

// A history that is not valid is a bug of the caller.
void require_valid(const History& history);

// As `Grader::report`; without `judged` the report does not say how sure it is.
Report assess(const History& history, const Knowledge& knowledge, const Model& model,
              const AssessOptions& options, const Judgements* judged = nullptr);

}  // namespace dryshaft

#endif
