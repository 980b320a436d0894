// From a leak's beginning to damage, and looks in between: the delay-time
// inspection model (Christer and Waller 1984, from memory).
//
// A leak begins at a distance u with cumulative hazard H(u); damage follows
// after an Erlang-distributed delay; each look misses a leak with the same
// chance, and a leak that is found does no damage.
#ifndef DRYSHAFT_DIAGNOSE_DELAY_HPP
#define DRYSHAFT_DIAGNOSE_DELAY_HPP

#include <algorithm>
#include <cmath>
#include <span>

namespace dryshaft::delay {

struct LeakToDamage {
  double mean = 0;
  double stages = 1;  // a whole number
};

// Chance that damage has come by `after` a leak began: Erlang's distribution.
inline double damaged_by(const LeakToDamage& delay, double after) {
  if (!(after > 0)) {
    return 0;
  }
  const double x = delay.stages * after / delay.mean;
  // The sum of the Poisson terms that are missing; below, the others, so that a small chance
  // keeps its digits.
  double term = 1;
  double sum = 1;
  for (double k = 1; k < delay.stages; ++k) {
    term *= x / k;
    sum += term;
  }
  if (x > 0.5 * delay.stages) {
    return -std::expm1(std::log(sum) - x);
  }
  double tail = 0;
  for (double k = delay.stages; k < delay.stages + 40; ++k) {
    term *= x / k;
    tail += term;
  }
  return tail * std::exp(-x);
}

// The delay after which hardly any leak (1e-9) is without damage.
inline double longest(const LeakToDamage& delay) {
  return delay.mean * (1 + 24 / std::sqrt(delay.stages));
}

struct Shares {
  double damaged = 0;  // within `ahead` of the last look
  double sound = 0;    // at the last look: no damage, and no leak that it found
};

// Of all seals, given looks at `looks`, in order, all dry. `hazard(at)` rises from 0.
template <typename Hazard>
Shares shares(const Hazard& hazard, std::span<const double> looks, double ahead, double misses,
              const LeakToDamage& delay) {
  constexpr int kParts = 24;  // of each stretch between looks
  const double now = looks.empty() ? 0 : looks.back();
  Shares out{0, std::exp(-hazard(now))};
  // Leaks that began between `from` and `to`, of which `kept` were missed by all looks since.
  const auto stretch = [&](double from, double to, double kept) {
    double left = std::exp(-hazard(from));
    for (int i = 0; i < kParts; ++i) {
      const double begin = from + (to - from) * i / kParts;
      const double end = from + (to - from) * (i + 1) / kParts;
      const double then = std::exp(-hazard(end));
      const double middle = (begin + end) / 2;
      const double share = kept * (left - then);
      const double before = damaged_by(delay, now - middle);
      out.damaged += share * (damaged_by(delay, now + ahead - middle) - before);
      out.sound += middle < now ? share * (1 - before) : 0;
      left = then;
    }
  };
  stretch(now, now + ahead, 1);
  double kept = misses;
  double to = now;
  for (std::size_t i = looks.size(); i-- > 0 && now - to < longest(delay);) {
    const double from = std::max(i > 0 ? looks[i - 1] : 0.0, now - longest(delay));
    if (to > from) {
      stretch(from, to, kept);
    }
    to = from;
    kept *= misses;
  }
  return out;
}

// Chance of damage within `ahead` of the last of some looks that were all dry.
template <typename Hazard>
double chance_of_damage(const Hazard& hazard, std::span<const double> looks, double ahead,
                        double misses, const LeakToDamage& delay) {
  const Shares s = shares(hazard, looks, ahead, misses, delay);
  return s.sound > 0 ? s.damaged / s.sound : 1;
}

}  // namespace dryshaft::delay

#endif
