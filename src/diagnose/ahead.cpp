#include "diagnose/ahead.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace dryshaft {
namespace {

// Greatest multiple of `step` up to `most` at which `holds`, which stops holding once.
template <typename Holds>
double greatest(double most, double step, Holds holds) {
  if (holds(most)) {
    return most;
  }
  double low = 0;  // steps
  double high = std::ceil(most / step);
  while (high - low > 1) {
    const double middle = std::floor((low + high) / 2);
    (holds(middle * step) ? low : high) = middle;
  }
  return low * step;
}

double share(double now, double then) { return now < 1 ? std::max(0.0, then - now) / (1 - now) : 1; }

}  // namespace

Ahead::Ahead(const Life& life, const Belief& belief, const Clock& now, double km_per_year)
    : life_(life), at_(now), km_per_year_(km_per_year), now_(chances(belief)) {
  for (std::size_t core = 0; core < kCores; ++core) {
    belief_.at[core][0] = std::accumulate(belief.at[core].begin(), belief.at[core].end(), 0.0);
  }
}

Chances Ahead::after(double km, double years) const {
  Belief then = belief_;
  life_.drive(then, at_, at_.later(km, years));
  return chances(then);
}

Ahead::Chance Ahead::of(const Chances& then) const {
  return {share(now_.damaged, then.damaged), share(now_.broken, then.broken)};
}

Ahead::Chance Ahead::within(double km, double years) const { return of(after(km, years)); }

std::vector<Ahead::Chance> Ahead::within_each(std::span<const double> distances) const {
  std::vector<Chance> out;
  Belief then = belief_;
  Clock at = at_;
  for (const double km : distances) {
    const Clock next = at_.later(km, km / km_per_year_);
    life_.drive(then, at, next);
    at = next;
    out.push_back(of(chances(then)));
  }
  return out;
}

double Ahead::safe_km(double target, double most, double step, double unharmed) const {
  if (!(unharmed > 0)) {
    return 0;
  }
  return greatest(most, step, [&](double km) {
    const double damaged = after(km, km / km_per_year_).damaged;
    return (damaged - (1 - unharmed)) / unharmed <= target;
  });
}

double Ahead::broken_by(double share_of, double most, double step) const {
  return greatest(most, step, [&](double km) { return within(km).breakdown < share_of; });
}

}  // namespace dryshaft
