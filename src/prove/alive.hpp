// Nothing in the rule data is dead: each item matters to some unit.
#ifndef DRYSHAFT_PROVE_ALIVE_HPP
#define DRYSHAFT_PROVE_ALIVE_HPP

#include <optional>
#include <string>
#include <vector>

#include "prove/space.hpp"
#include "prove/sweep.hpp"

namespace dryshaft::proof {

struct Dead {
  std::string what;
  bool sure = true;           // false: a search did not find it, which proves nothing
  std::optional<Draft> seen;  // a state in which it might have mattered
};
struct Alive {
  std::uint64_t states = 0;
  std::vector<Dead> dead;
};
Alive find_dead(const Space& space, const Spread& spread);

}  // namespace dryshaft::proof

#endif
