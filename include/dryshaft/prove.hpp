/// Proofs about rule data: what holds for every unit that could ever be
/// graded, not for a sample of them.
///
/// The product of all findings is too large to walk through, so `prove`
/// carries out an argument. It splits each claim into steps, finds out from
/// the rule data which findings a step can depend on, and enumerates those
/// exhaustively. The argument comes with its result, so that a reader can
/// check it. A direct walk through records of a few findings cross-checks it.
/// A claim that the argument does not reach is searched for a counterexample:
/// broken if there is one, else not proven, which is no pass.
#ifndef DRYSHAFT_PROVE_HPP
#define DRYSHAFT_PROVE_HPP

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {

enum class Proof : std::uint8_t { held, broken, not_proven };
std::string_view name(Proof proof);

/// What breaks a property, or keeps it from being proven.
struct Flaw {
  std::string what;      ///< in words, with the rule's id and place where a rule is at fault
  std::string record;    ///< `dryshaft-record/1`, an inspection a line; empty: no record shows it
  std::string compared;  ///< the record that `record` ought not to look better than; or empty
  std::string shows;     ///< grades and risks of both; or empty
};

struct Property {
  std::string id;
  std::string claim;
  std::vector<std::string> argument;  ///< why the enumeration is enough, a step an entry
  Proof outcome = Proof::held;
  std::uint64_t states = 0;  ///< covered by enumeration
  double seconds = 0;        ///< by `ProveOptions::seconds`
  std::vector<Flaw> flaws;
};

struct ProveOptions {
  /// Ids of the properties to prove; none: all of them.
  std::vector<std::string_view> only = {};
  /// The library reads no clock and starts no thread: callers lend theirs.
  std::function<double()> seconds = nullptr;
  /// Calls `work(i)` once for every i below `count`, in any order, perhaps at the same time.
  std::function<void(std::size_t count, const std::function<void(std::size_t)>& work)> spread =
      nullptr;
  /// Told the id of each property as its turn comes.
  std::function<void(std::string_view)> progress = nullptr;
};

/// Everything that `dryshaft rules verify` claims. The same rules give the
/// same properties, whatever the number of threads; only `seconds` differs.
std::vector<Property> prove(const Knowledge& knowledge, const ProveOptions& options);
bool all_held(const std::vector<Property>& properties);

}  // namespace dryshaft

#endif
