// What finished reports must and must not contain, tried on worded records.
#ifndef DRYSHAFT_PROVE_REPORTS_HPP
#define DRYSHAFT_PROVE_REPORTS_HPP

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "prove/space.hpp"
#include "prove/sweep.hpp"

namespace dryshaft::proof {

// A unit's history as a proof worded it.
struct Specimen {
  Draft draft;
  std::string lines;
  History history;
};
// Records of all picks of up to `most` findings: of none and of one on every base
// and look; of more on one of these. Those, units and distances take turns.
std::vector<Specimen> specimens(const Space& space, std::size_t most, const Spread& spread);

struct Offence {
  std::string what;
  const Specimen* specimen = nullptr;  // or none: the rule text itself
};
struct Inspected {
  std::uint64_t states = 0;
  std::vector<Offence> offences;  // the first few
};

// Every report has an action, and the cautions that its actions and checks need.
Inspected cautions_complete(const Space& space, const std::vector<Specimen>& specimens,
                            const Spread& spread);
// No text for owners says what a caution reserves for trained people.
Inspected owner_texts(const Space& space, const std::vector<Specimen>& specimens,
                      const Spread& spread);

// A report on a history, as text, by some rules.
using Reporter = std::function<std::string(const Knowledge&, const Model&, const History&)>;
// The same bytes with the rules and the records in any order.
Inspected order_is_nothing(const Space& space, const std::vector<Specimen>& specimens,
                           const Reporter& reporter, const Spread& spread);
std::string plain_report(const Knowledge& knowledge, const Model& model, const History& history);

}  // namespace dryshaft::proof

#endif
