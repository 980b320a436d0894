// The wide walk: products of findings, tens of millions of states a second.
#ifndef DRYSHAFT_PROVE_WIDE_HPP
#define DRYSHAFT_PROVE_WIDE_HPP

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "prove/space.hpp"
#include "prove/sweep.hpp"

namespace dryshaft::proof {

struct Wide {
  std::uint64_t states = 0;
  std::uint64_t comparisons = 0;
  std::optional<Breach> breach;
  std::string obstacle;             // why it could not walk; or where it disagrees with the model
  std::vector<std::string> walked;  // what was walked, a line each
};
Wide walk_wide(const Space& space, std::uint32_t mixed, std::uint64_t about, const Spread& spread);

}  // namespace dryshaft::proof

#endif
