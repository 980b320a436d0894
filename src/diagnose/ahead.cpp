#include "diagnose/ahead.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/two.hpp"

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

bool is_unharmed(std::size_t core) { return core % kTight == 0; }
bool is_running(std::size_t core) {
  return core / kHarmStates % kHarmStates != 2 && core % kHarmStates != 2;
}

// Side by side.
Two both(const Left& left) { return Two{left.unharmed, left.running}; }

// What is left of units that are nearly all harmed is summed, here and below: as a difference from
// 1 it would be rounding.
Left left_of(const Cores& cores) {
  Left left;
  for (std::size_t core = 0; core < kCores; ++core) {
    left.unharmed += is_unharmed(core) ? cores[core] : 0;
    left.running += is_running(core) ? cores[core] : 0;
  }
  return left;
}

double share(double left_now, double left_then) {
  return left_now > 0 ? std::clamp(1 - left_then / left_now, 0.0, 1.0) : 1;
}

}  // namespace

Ahead::Ahead(const Life& life, const Belief& belief, const Clock& now, double km_per_year)
    : life_(life),
      cores_(cores_of(belief)),
      at_(now),
      km_per_year_(km_per_year),
      now_(left_of(cores_)) {}

Ahead::Chance Ahead::since_now(const Left& then) const {
  return {share(now_.unharmed, then.unharmed), share(now_.running, then.running)};
}

Cores Ahead::after(double km, double years) const {
  Cores then = cores_;
  life_.drive(then, at_, at_.later(km, years));
  return then;
}

Ahead::Chance Ahead::within(double km, double years) const {
  return since_now(left_of(after(km, years)));
}

std::vector<Ahead::Chance> Ahead::within_each(std::span<const double> distances) const {
  std::vector<Chance> out;
  Cores then = cores_;
  Clock at = at_;
  for (const double km : distances) {
    const Clock next = at_.later(km, km / km_per_year_);
    life_.drive(then, at, next);
    at = next;
    out.push_back(since_now(left_of(then)));
  }
  return out;
}

double Ahead::safe_km(double target, double most, double step, double unharmed) const {
  if (!(unharmed > 0)) {
    return 0;
  }
  return greatest(most, step, [&](double km) {
    return share(unharmed, left_of(after(km, km / km_per_year_)).unharmed) <= target;
  });
}

double Ahead::broken_by(double share_of, double most, double step) const {
  // Twice as far each time, until it is too far; then back by halves, always from where it is not.
  Cores near = cores_;
  double at = 0;
  const auto too_far = [&](double km, Cores& there) {
    there = near;
    life_.drive(there, at_.later(at, at / km_per_year_), at_.later(km, km / km_per_year_));
    return since_now(left_of(there)).breakdown >= share_of;
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

namespace {

// Of all cores with a leak: that they come to what `is` says.
template <typename Is>
Life::Worth worth(Is is) {
  Life::Worth value{};
  for (std::size_t core = 0; core < kLeaks; ++core) {
    value[core] = is(core) ? 1 : 0;
  }
  return value;
}

}  // namespace

Foresight::Foresight(std::shared_ptr<const Life> life, std::span<const double> distances,
                     double km_per_year)
    : life_(std::move(life)) {
  constexpr std::size_t kParts = 4;  // of each half
  for (const double km : distances) {
    Way& way = ways_.emplace_back(Way{km, km / km_per_year});
    const double working = life_->working_km(way.km, way.years);
    const Life::Harm tight = life_->harmed_after(working);
    for (std::size_t from = 0; from < kTight; ++from) {
      for (std::size_t to = 0; to < kTight; ++to) {
        way.none[from].unharmed += is_unharmed(to) ? tight[from][to] : 0;
        way.none[from].running += is_running(to) ? tight[from][to] : 0;
      }
    }
    // From the end back: a leak that begins late first.
    Life::Worth sound = worth(is_unharmed);
    Life::Worth going = worth(is_running);
    const double part = working / (2 * kParts);
    const auto back = [&](double by) {
      life_->back(sound, by);
      life_->back(going, by);
    };
    back(part / 2);
    for (std::size_t n = 2 * kParts; n-- > 0;) {
      const Life::Harm before = life_->harmed_after((static_cast<double>(n) + 0.5) * part);
      Tight& begun = way.begun[n / kParts];
      for (std::size_t from = 0; from < kTight; ++from) {
        for (std::size_t to = from; to < kTight; ++to) {
          begun[from].unharmed += before[from][to] * sound[to] / kParts;
          begun[from].running += before[from][to] * going[to] / kParts;
        }
      }
      back(n > 0 ? part : part / 2);
    }
    for (std::size_t core = 0; core < kLeaks; ++core) {
      way.none[kTight + core] = {sound[core], going[core]};
    }
  }
}

std::vector<Ahead::Chance> Foresight::within_each(const Cores& cores, const Clock& now) const {
  const Two left = both(left_of(cores));
  const bool wears = life_->wears(now.cooling);
  const auto hazard = [&](const Way& way, double share) {
    return wears ? life_->wear_hazard(now.seal_km + way.km * share,
                                      now.seal_years + way.years * share)
                 : 0;
  };
  const double before = hazard(Way{}, 0);
  std::vector<Ahead::Chance> out;
  out.reserve(ways_.size());
  for (const Way& way : ways_) {
    const double first = -std::expm1(before - hazard(way, 0.5));
    const double begun = -std::expm1(before - hazard(way, 1));
    Two tight{};
    Two leaks{};
    Two early{};
    Two late{};
    for (std::size_t core = 0; core < kTight; ++core) {
      tight += both(way.none[core]) * cores[core];
      early += both(way.begun[0][core]) * cores[core];
      late += both(way.begun[1][core]) * cores[core];
    }
    for (std::size_t core = kTight; core < kCores; ++core) {
      leaks += both(way.none[core]) * cores[core];
    }
    const Two then = tight * (1 - begun) + early * first + late * (begun - first) + leaks;
    out.push_back({share(left[0], then[0]), share(left[1], then[1])});
  }
  return out;
}

}  // namespace dryshaft
