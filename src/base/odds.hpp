// Chances by their odds.
#ifndef DRYSHAFT_BASE_ODDS_HPP
#define DRYSHAFT_BASE_ODDS_HPP

namespace dryshaft {

// The chance whose odds are those of `p` times `factor`; what is certain stays so.
constexpr double with_odds(double p, double factor) {
  return p <= 0 || p >= 1 ? p : p * factor / (1 - p + p * factor);
}

}  // namespace dryshaft

#endif
