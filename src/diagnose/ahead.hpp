// What is to come of a unit if nothing is done.
#ifndef DRYSHAFT_DIAGNOSE_AHEAD_HPP
#define DRYSHAFT_DIAGNOSE_AHEAD_HPP

#include <array>
#include <memory>
#include <span>
#include <vector>

#include "diagnose/life.hpp"

namespace dryshaft {

// A number for each: neither bearings nor insulation are harmed; the unit has not broken down.
struct Left {
  double unharmed = 0;
  double running = 0;
};

class Ahead {
 public:
  // `belief`: now, at `now`. From here on the car is driven `km_per_year`.
  Ahead(const Life& life, const Belief& belief, const Clock& now, double km_per_year);

  struct Chance {
    double damage = 0;     // that rotor bearings or insulation are harmed by then
    double breakdown = 0;  // that the unit has broken down by then
  };
  // Of units in which neither is the case yet.
  [[nodiscard]] Chance within(double km, double years) const;
  [[nodiscard]] Chance within(double km) const { return within(km, km / km_per_year_); }
  // The same for several distances, each beyond the last.
  [[nodiscard]] std::vector<Chance> within_each(std::span<const double> distances) const;
  // The greatest distance, in whole `step`s up to `most`, within which damage has a chance of at
  // most `target`; `unharmed`: the chance that there was none when the distance began to count.
  [[nodiscard]] double safe_km(double target, double most, double step, double unharmed) const;
  // The distance within which so many have broken down; `most` where that is later.
  [[nodiscard]] double broken_by(double share, double most, double step) const;

  [[nodiscard]] double unharmed() const { return now_.unharmed; }

 private:
  [[nodiscard]] Chance since_now(const Left& then) const;
  [[nodiscard]] Cores after(double km, double years) const;

  const Life& life_;
  Cores cores_;
  Clock at_;
  double km_per_year_;
  Left now_;
};

// The same of many beliefs, for the same few distances: what each state comes to is worked out
// once. In each half of a distance leaks begin at an even pace.
class Foresight {
 public:
  Foresight(std::shared_ptr<const Life> life, std::span<const double> distances,
            double km_per_year);
  // As `Ahead::within_each`. `cores` need not sum to 1.
  [[nodiscard]] std::vector<Ahead::Chance> within_each(const Cores& cores, const Clock& now) const;

 private:
  using Tight = std::array<Left, kTight>;
  struct Way {
    double km = 0;
    double years = 0;
    std::array<Left, kCores> none{};  // chances where no leak begins
    std::array<Tight, 2> begun{};     // where one begins in this half
  };
  std::shared_ptr<const Life> life_;
  std::vector<Way> ways_;
};

}  // namespace dryshaft

#endif
