#include "diagnose/ahead.hpp"

#include <algorithm>
#include <cmath>

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

double share(double now, double then) {
  return now < 1 ? std::max(0.0, then - now) / (1 - now) : 1;
}

}  // namespace

Ahead::Ahead(const Life& life, const Belief& belief, const Clock& now, double km_per_year)
    : life_(life),
      cores_(cores_of(belief)),
      at_(now),
      km_per_year_(km_per_year),
      now_(of(cores_)) {}

Ahead::Chance Ahead::of(const Cores& cores) {
  Chance c;
  for (std::size_t core = 0; core < kCores; ++core) {
    const std::size_t corrosion = core / kHarmStates % kHarmStates;
    const std::size_t insulation = core % kHarmStates;
    c.damage += corrosion > 0 || insulation > 0 ? cores[core] : 0;
    c.breakdown += corrosion == 2 || insulation == 2 ? cores[core] : 0;
  }
  return c;
}

Ahead::Chance Ahead::since_now(const Chance& then) const {
  return {share(now_.damage, then.damage), share(now_.breakdown, then.breakdown)};
}

Cores Ahead::after(double km, double years) const {
  Cores then = cores_;
  life_.drive(then, at_, at_.later(km, years));
  return then;
}

Ahead::Chance Ahead::within(double km, double years) const {
  return since_now(of(after(km, years)));
}

std::vector<Ahead::Chance> Ahead::within_each(std::span<const double> distances) const {
  std::vector<Chance> out;
  Cores then = cores_;
  Clock at = at_;
  for (const double km : distances) {
    const Clock next = at_.later(km, km / km_per_year_);
    life_.drive(then, at, next);
    at = next;
    out.push_back(since_now(of(then)));
  }
  return out;
}

double Ahead::safe_km(double target, double most, double step, double unharmed) const {
  if (!(unharmed > 0)) {
    return 0;
  }
  return greatest(most, step, [&](double km) {
    const double damaged = of(after(km, km / km_per_year_)).damage;
    return (damaged - (1 - unharmed)) / unharmed <= target;
  });
}

double Ahead::broken_by(double share_of, double most, double step) const {
  // Twice as far each time, until it is too far; then back by halves, always from where it is not.
  Cores near = cores_;
  double at = 0;
  const auto too_far = [&](double km, Cores& there) {
    there = near;
    life_.drive(there, at_.later(at, at / km_per_year_), at_.later(km, km / km_per_year_));
    return since_now(of(there)).breakdown >= share_of;
  };
  Cores there{};
  double far = std::min(most, step);
  while (!too_far(far, there)) {
    near = there;
    at = far;
    if (far >= most) {
      return most;
    }
    far = std::min(most, 2 * far);
  }
  while (far - at > step) {
    const double middle = at + std::max(1.0, std::floor((far - at) / step / 2)) * step;
    if (too_far(middle, there)) {
      far = middle;
    } else {
      near = there;
      at = middle;
    }
  }
  return at;
}

}  // namespace dryshaft
