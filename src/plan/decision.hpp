// The decision behind a plan: a hidden stage that moves on with the distance,
// checks that may miss it, and work that sets it back.
//
// Stages: dry, leak stages, damaged; a breakdown ends a life and begins another. Every stage may
// lead to damage, with a constant chance a kilometre.
// What is known is a belief: a probability for each stage. Solved backwards from
// the horizon at beliefs that can be reached (point-based value iteration): every
// number from it is the cost of a policy that can be followed. A second sweep
// over the same beliefs gives a bound from below, by interpolation in the
// concave cost (M. Hauskrecht 2000, J. Artif. Intell. Res. 13, sawtooth; from memory).
#ifndef DRYSHAFT_PLAN_DECISION_HPP
#define DRYSHAFT_PLAN_DECISION_HPP

#include <array>
#include <cstdint>
#include <functional>
#include <limits>
#include <optional>
#include <vector>

#include "base/draw.hpp"

namespace dryshaft::plan {

inline constexpr std::size_t kMostLeakStages = 3;
inline constexpr std::size_t kMostStages = kMostLeakStages + 2;  // dry, those, damaged
inline constexpr std::size_t kMostResults = 10;
using Row = std::array<double, kMostStages>;

enum class Work : std::uint8_t { bypass, rebuild, rebuild_bypass, major_parts, new_unit };
inline constexpr std::size_t kWorkCount = static_cast<std::size_t>(Work::new_unit) + 1;

// What money is spent on.
enum class Spent : std::uint8_t {
  check,
  bypass,
  rebuild,
  major_parts,
  replacement,
  breakdown,
  at_end,
};
inline constexpr std::size_t kSpentCount = static_cast<std::size_t>(Spent::at_end) + 1;

// What a check can show, as far as it matters: what may be done then, and how
// a damaged unit turns out when it is opened.
struct Seen {
  Row chance{};                // by stage; not used for what is known now
  std::size_t most_steps = 0;  // longest way to the next check; 0: work at once
  std::array<bool, kWorkCount> allowed{};
  double major = 0;  // a damaged unit needs major parts, if it can be rebuilt
  double lost = 0;   // a damaged unit turns out to be beyond repair
};

// In money; downtime and labour are in them.
struct Costs {
  double check = 0;
  double bypass = 0;
  double rebuild = 0;
  double bypass_in_rebuild = 0;  // on top of the rebuild
  double major_parts = 0;        // on top of the rebuild
  double beyond_repair = 0;      // another unit, on top of the opening
  double new_unit = 0;           // exchanged instead of opened
  double core = 0;               // paid for an undamaged unit that is given in exchange
  double breakdown = 0;
  // Whether what is leaking or damaged at the horizon is charged with its repair.
  bool charge_at_end = true;
  double end_major = 0;
  double end_lost = 0;
};

struct Problem {
  std::size_t leak_stages = 2;
  double step_km = 1;
  std::size_t steps = 1;              // to the horizon
  std::vector<double> onset;          // hazard of each step on this seal; empty: it cannot leak
  std::vector<double> onset_renewed;  // of each step after a rebuild; empty: it cannot leak
  Row next{};               // of a leak stage, chance a km to come to the one that follows
  Row harm{};               // of dry and leak stages, chance a km of damage
  double breakdown_km = 0;  // mean from damage to breakdown; 0: at once
  Row start{};              // belief now
  Seen now;
  std::vector<Seen> seen;          // results of checks of this unit, the clean one first
  std::vector<Seen> seen_renewed;  // of a rebuilt one
  std::vector<Seen> seen_closed;   // of a bypassed one: what harm shows, for nothing leaks
  std::size_t first_steps = 0;     // the first check is waited for no less than this
  std::vector<std::size_t> waits;  // distances to the next check that are tried, in steps

  [[nodiscard]] std::size_t stages() const { return 1 + leak_stages + (breakdown_km > 0 ? 1 : 0); }
  [[nodiscard]] std::size_t last() const { return stages() - 1; }
  [[nodiscard]] std::array<const std::vector<Seen>*, 3> all_seen() const {
    return {&seen, &seen_renewed, &seen_closed};
  }
  [[nodiscard]] bool is_damaged(std::size_t stage) const {
    return breakdown_km > 0 && stage == last();
  }
};

// How fine the grid of beliefs is: those closer than `near` (half the sum of
// differences) are taken for one, and at most `most` stand at a place.
struct Fineness {
  double near = 0.04;
  std::size_t most = 6;
  std::size_t most_renewed = 2;  // a rebuilt unit is nearly always dry
  bool corners = false;          // also what is certain: the bound from below needs it
};

// One step along the road: chances by stage at its beginning.
struct Motion {
  std::vector<Row> to;
  Row breaks{};
};
Motion motion(const Problem& problem, double onset);

// ------------------------------------------------------------ the grid

struct Point {
  Row belief{};
  std::vector<Row> arrive;     // by steps waited: chances of the stages then
  std::vector<double> breaks;  // chance of a breakdown in each step
};

// A life on the road: this seal, a renewed one, or a rotor without coolant.
struct Track {
  enum class Kind : std::uint8_t { own, renewed, closed };
  Kind kind = Kind::own;
  std::size_t steps = 0;
  const std::vector<Seen>* seen = nullptr;
  std::vector<std::size_t> waits;                      // steps to the next check that are tried
  std::vector<Motion> motion;                          // by step
  std::vector<std::vector<std::vector<Row>>> span;     // [step][waited][from]: to
  std::vector<std::vector<Row>> broke;                 // [step][waited][from]
  std::vector<std::vector<std::vector<Point>>> point;  // [step][result]
  Point entry;                                         // of a rebuilt unit: dry
};

// What does not depend on prices.
struct Grid {
  explicit Grid(const Problem& given, const Fineness& fineness);
  Grid(const Grid&) = delete;  // its tracks point into its problem
  Grid& operator=(const Grid&) = delete;
  Grid(Grid&&) = delete;
  Grid& operator=(Grid&&) = delete;
  ~Grid() = default;
  Problem problem;
  std::size_t longest = 1;  // steps between checks
  Track own;
  std::optional<Track> renewed;
  std::optional<Track> closed;  // after a bypass
  Point root;
  std::size_t points = 0;
};

// ------------------------------------------------------- policies and costs

inline constexpr std::uint32_t kNothing = 0xFFFFFFFFU;  // nothing happens any more

struct Node {
  enum class Does : std::uint8_t { wait, work };
  Does does = Does::wait;
  Work work = Work::rebuild;
  std::uint8_t result = 0;  // known at this node: an index of `seen`; kNow: of the present
  Track::Kind track = Track::Kind::own;
  std::uint32_t step = 0;         // along its track
  std::uint32_t remaining = 0;    // to the horizon
  std::uint32_t wait = 0;         // steps; a wait that ends at the horizon ends without a check
  std::uint32_t next = kNothing;  // after work
  std::array<std::uint32_t, kMostResults> after{};  // after a check
};
inline constexpr std::uint8_t kNow = 0xFF;

// What can be done first.
struct First {
  Node::Does does = Node::Does::wait;
  Work work = Work::rebuild;
  std::size_t wait = 0;  // 0: a check at once
  double cost = 0;
  std::uint32_t node = kNothing;
};

struct Solution {
  std::vector<Node> nodes;
  std::vector<double> total;           // `stages` a node: cost from there on, by stage
  std::vector<std::uint32_t> renewed;  // by steps remaining: a rebuilt unit's policy
  std::vector<double> renewed_cost;
  std::vector<First> first;  // all that the present allows; cheapest wait alone of the waits
};

// The best policy on the grid; what it costs is what following it costs.
Solution solve(const Grid& grid, const Costs& costs);
// Below what any policy can cost, for each of `Solution::first`, in its order.
std::vector<double> bound_from_below(const Grid& grid, const Costs& costs, const Solution& upper);

// The belief after a bypass: no leak any more.
Row after_bypass(const Problem& problem, const Row& belief);

double cost_of_work(const Problem& problem, const Costs& costs, Work work, const Seen& seen,
                    std::size_t stage);
double cost_at_end(const Problem& problem, const Costs& costs, std::size_t stage);

// Expected spending on each thing, and the chance that the unit is lost.
struct Account {
  std::array<double, kSpentCount> spent{};
  double lost = 0;
  [[nodiscard]] double total() const {
    double sum = 0;
    for (const double s : spent) {
      sum += s;
    }
    return sum;
  }
};
Account account(const Grid& grid, const Costs& costs, const Solution& solution, const First& first);

// Lives one life by the policy: the hidden stage is drawn, the policy sees the
// checks alone. Returns what it cost.
double live(const Grid& grid, const Costs& costs, const Solution& solution, const First& first,
            draw::Run& draws);

}  // namespace dryshaft::plan

#endif
