// The life of a unit: how causes come, grow and go between looks, as one process.
//
// Hidden state: the seal is tight, or leaks in one of three stages; the rotor bearings and the
// insulation are whole, harmed, or broken down; the bearings are etched or not; a noise from
// outside is there or not. All is exact in the mean but for the step: a tight seal begins to leak
// by the wear-out hazard (Weibull, km and years added); from there on the process has constant
// chances a working kilometre (driven, and so many a day at rest), whose matrix exponentials stand
// in tables of doubling length. A hidden Markov chain in continuous time: Rabiner 1989 for the
// forward pass; Higham, "Functions of Matrices", 2008, 10.3 for doubling; delay-time models after
// Christer and Waller 1984 (all from memory).
#ifndef DRYSHAFT_DIAGNOSE_LIFE_HPP
#define DRYSHAFT_DIAGNOSE_LIFE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "base/index.hpp"
#include "diagnose/rows.hpp"
#include "dryshaft/knowledge.hpp"

namespace dryshaft {

// Both erosions and noise from outside: a bit each, in the order of the causes.
inline constexpr std::array kRestCauses = {Cause::rotor_bearing_erosion,
                                           Cause::gear_bearing_erosion, Cause::outside_noise};

constexpr std::size_t core_of(std::size_t seal, std::size_t corrosion, std::size_t insulation) {
  return (seal * kHarmStates + corrosion) * kHarmStates + insulation;
}

// The causes that are there, as bits.
constexpr unsigned causes_in(std::size_t seal, std::size_t corrosion, std::size_t insulation,
                             std::size_t rest) {
  unsigned there = (seal > 0 ? 1U << idx(Cause::seal_leak) : 0U) |
                   (corrosion > 0 ? 1U << idx(kHarms[0]) : 0U) |
                   (insulation > 0 ? 1U << idx(kHarms[1]) : 0U);
  for (std::size_t b = 0; b < kRestCauses.size(); ++b) {
    there |= (rest >> b & 1U) != 0 ? 1U << idx(kRestCauses[b]) : 0U;
  }
  return there;
}

// What is believed of a unit at one moment. Sums to 1.
struct Belief {
  Rows at{};
};

// The same on its way: as long as cores and rests tell nothing of each other, as in a unit in which
// nobody has looked for a noise, each goes by itself.
struct Underway {
  explicit Underway(const Belief& belief);
  Underway(const Cores& by_core, const std::array<double, kRests>& by_rest)
      : cores(by_core), rests(by_rest) {}
  [[nodiscard]] Belief belief() const;
  void join();  // from here on they go together

  bool apart = true;
  Cores cores{};
  std::array<double, kRests> rests{};
  Rows rows;  // where they are not apart
};

// Where a unit stands on its own clocks.
struct Clock {
  double seal_km = 0;  // since the seal was new
  double seal_years = 0;
  double rotor_km = 0;  // since these bearings were new
  double gear_km = 0;
  Cooling cooling = Cooling::wet;
  Bearings rotor = Bearings::unknown;
  Bearings gear = Bearings::unknown;

  [[nodiscard]] Clock later(double km, double years) const {
    Clock c = *this;
    c.seal_km += km;
    c.seal_years += years;
    c.rotor_km += km;
    c.gear_km += km;
    return c;
  }
};

// What a belief says of each cause, and of harm.
struct Chances {
  std::array<double, kCauseCount> cause{};
  double damaged = 0;  // that rotor bearings or insulation are harmed, or broken down
  double broken = 0;   // that either has broken down
  std::array<double, kSealStates> seal{};
};
Chances chances(const Belief& belief);
// All rests taken together.
Cores cores_of(const Belief& belief);

// Compiled from rule data; immutable.
class Life {
 public:
  // `step_km`: of the finest table; `longest`: so many doublings make the longest piece that is
  // driven at once.
  explicit Life(const Knowledge& knowledge, double step_km = 64, unsigned longest = 9);

  // A unit that has just been built.
  [[nodiscard]] Belief newborn() const;
  // A new seal: a few leak from the start.
  void renew_seal(Underway& unit) const;
  // Work that ends a cause: what was there is gone.
  static void end(Underway& unit, Cause cause);

  // From one moment to a later one: `to` is `from` after some km and years.
  void drive(Underway& unit, const Clock& from, const Clock& to) const;
  void drive(Belief& belief, const Clock& from, const Clock& to) const;
  // The same of the cores alone, all rests taken together.
  void drive(Cores& cores, const Clock& from, const Clock& to) const;
  // A unit that was driven so far since it was built, and that nobody has looked at.
  [[nodiscard]] Underway unseen(const Clock& from, const Clock& to) const;
  // The same where the rotor circuit was bypassed on the way, and nobody knows when.
  void drive_and_bypass(Underway& unit, const Clock& from, const Clock& to) const;

  // Cumulative hazard of wear-out: by the rules, or by a shop's own table.
  [[nodiscard]] double wear_hazard(double km, double years) const;
  // Chances a working kilometre: that a leak comes to its next stage, 0 for the last; that either
  // harm begins; that what is harmed, as by the last stage, breaks down.
  [[nodiscard]] double leaves(std::size_t seal) const { return seal > 0 ? leaves_[seal - 1] : 0; }
  [[nodiscard]] double harms(std::size_t seal) const {
    return harms_[0].rate[seal] + harms_[1].rate[seal];
  }
  [[nodiscard]] double breaks_down() const {
    constexpr std::size_t kLast = kSealStates - 1;
    double sum = 0;
    for (const Harmed& h : harms_) {
      sum += h.rate[kLast] * h.breakdown;
    }
    return sum / harms(kLast);
  }
  // Working kilometres in so many driven and years.
  [[nodiscard]] double working_km(double km, double years) const;

  // Backwards: `value`, of what each state with a leak is worth at the end of so many working
  // kilometres, becomes what it is worth at their beginning.
  using Worth = std::array<double, kLeaks>;
  void back(Worth& value, double working) const;
  // While the seal is tight: harm after so many working kilometres, from and to.
  using Harm = std::array<std::array<double, kTight>, kTight>;
  [[nodiscard]] Harm harmed_after(double working) const;
  // Whether a seal wears that runs so.
  [[nodiscard]] bool wears(Cooling cooling) const {
    return wear_ && (wear_->cooling >> idx(cooling) & 1U) != 0;
  }
  // Of rests, each by itself: as in a unit that was driven so far since it was built.
  [[nodiscard]] std::array<double, kRests> rests_unseen(const Clock& from, const Clock& to) const;

 private:
  struct Harmed {
    std::array<double, kSealStates> rate{};  // a working km
    double breakdown = 0;
  };
  // One length of piece.
  struct Piece {
    double length = 0;
    double steps = 0;  // of the finest table
    CoreChances cores;
    // The same for rows: `harmed` and `leaking`; by the stage that follows, `begun` and `late`.
    std::array<std::array<HarmChances, kSealStates>, kSealStates> to_from{};
    std::array<HarmChances, kSealStates> begun_in{};
    std::array<HarmChances, kSealStates> late_in{};
    void pair_up();
  };
  void compile_pieces(double step_km, unsigned longest);
  // `first` and `second`: shares of the tight seals that begin to leak in each half of the piece.
  // Of all that happens in it, `part` does.
  static void one_piece(Cores& at, const Piece& piece, double first, double second, double part);
  static void one_piece(Rows& at, const Piece& piece, double first, double second, double part);
  // From one moment to another, in steps of the finest table.
  struct Way {
    Clock from;
    double km = 0;
    double years = 0;
    double steps = 0;
    bool wears = false;
  };
  [[nodiscard]] Way way(const Clock& from, const Clock& to, Cooling cooling) const;
  // Cumulative hazard of wear-out after so many steps of it.
  [[nodiscard]] double hazard_on(const Way& way, double steps) const;
  // The part of a way between two counts of steps.
  template <typename Row>
  void go(std::array<Row, kCores>& at, const Way& way, double done, double until) const;
  template <typename Row>
  void pieces(std::array<Row, kCores>& at, const Clock& from, const Clock& to) const;
  template <typename Row>
  void pieces_and_bypass(std::array<Row, kCores>& at, const Clock& from, const Clock& to) const;
  // Calls `move` with the cores, in rows where rests stand beside them; the rests go by themselves.
  template <typename Move>
  void each_part(Underway& unit, const Clock& from, const Clock& to, const Move& move) const;
  void rests(std::span<std::array<double, kRests>> rows, const Clock& from, const Clock& to) const;

  [[nodiscard]] double table_hazard(double at) const;

  std::array<Harmed, 2> harms_{};
  std::array<double, kSealStages> leaves_{};  // a working km; of the last stage 0
  std::vector<Piece> pieces_;
  double rest_km_per_day_ = 0;
  double base_km_ = 1;
  double leaks_when_new_ = 0;
  std::optional<Wear> wear_;
  // A table of wear-out in logs; empty: none.
  struct TablePoint {
    double log_at = 0;
    double log_hazard = 0;
  };
  std::vector<TablePoint> table_;
  unsigned half_shapes_ = 0;                       // twice the shape, where whole and small; else 0
  std::array<std::array<double, 4>, 2> etched_{};  // cumulative hazard at `base_km_`, by material
  double etched_shape_ = 1;
  double outside_ = 0;
  double outside_km_ = 1;
};

}  // namespace dryshaft

#endif
