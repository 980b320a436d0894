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
//
// A look tells of the seal only by what reaches the sensor's tip, which is a hidden state of the
// look: fluid, tracks and rust of one tip are one witness. The likelihoods are those of `Model`,
// whose cause `seal_leak` stands for "reached the tip" in them.
#ifndef DRYSHAFT_DIAGNOSE_LIFE_HPP
#define DRYSHAFT_DIAGNOSE_LIFE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "diagnose/model.hpp"

namespace dryshaft {

// A stage of a leaking seal: damp, wet, dripping, as DIN 3761 has them (from memory).
inline constexpr std::size_t kSealStages = 3;
struct SealStage {
  double reaches = 0;  // chance that a look finds coolant to have reached the sensor's tip
  double mean_km = 0;  // mean working distance in it; of the last, which stays, not used
};

// What a leak brings about, stage by stage.
struct Harm {
  Cause cause = Cause::rotor_bearing_corrosion;
  std::array<double, kSealStages> mean_km{};  // mean working distance to it, in each stage
  double breakdown_km = 0;                    // from there to a unit that has broken down
};

// How a finding shows in a unit that has broken down by a harm: in place of its link.
struct BrokenShow {
  Cause cause = Cause::rotor_bearing_corrosion;
  Finding finding = Finding::rotation;
  std::array<double, kMaxLevels> shows{};  // as in `Link`
};

// What the process takes besides causes and links. Shares without a leak are those of
// `CauseRule::base`, at `base_km` of usual driving.
struct LifeRules {
  double rest_km_per_day = 0;  // working kilometres of a day, beside those driven
  double base_km = 1;
  std::array<SealStage, kSealStages> stages;
  std::array<Harm, 2> harms;  // corrosion, insulation loss
  std::vector<BrokenShow> broken;
  std::array<double, 2> erosion_shape{1, 1};  // rotor, gearbox: share by a power of distance
  double outside_km = 1;                      // mean distance that a noise from outside lasts
};

// Seal: tight and `kSealStages`; corrosion and insulation: whole, harmed, broken down.
inline constexpr std::size_t kSealStates = kSealStages + 1;
inline constexpr std::size_t kHarmStates = 3;
inline constexpr std::size_t kCores = kSealStates * kHarmStates * kHarmStates;
// Both erosions and noise from outside: a bit each, in the order of the causes.
inline constexpr std::size_t kRests = 8;

constexpr std::size_t core_of(std::size_t seal, std::size_t corrosion, std::size_t insulation) {
  return (seal * kHarmStates + corrosion) * kHarmStates + insulation;
}

// What is believed of a unit at one moment. Sums to 1.
struct Belief {
  // [core][rest], each core's rests side by side
  std::array<std::array<double, kRests>, kCores> at{};
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
  double risk = 0;     // that a damaging cause is present
  double damaged = 0;  // that rotor bearings or insulation are harmed, or broken down
  double broken = 0;   // that either has broken down
  std::array<double, kSealStates> seal{};
};

// Compiled from rule data; immutable.
class Life {
 public:
  // `step_km`: of the finest table; `longest`: so many doublings make the longest piece that is
  // driven at once.
  Life(const Knowledge& knowledge, const Model& model, const LifeRules& rules, double step_km = 16,
       unsigned longest = 10);

  // A unit that has just been built, of these bearings.
  [[nodiscard]] static Belief newborn();

  // From one moment to a later one: `to` is `from` after some km and years.
  void drive(Belief& belief, const Clock& from, const Clock& to) const;

  // Takes a look in; its likelihood given all before, 0 where it cannot be. Findings without
  // evidence in the rules say nothing.
  double look(Belief& belief, const Levels& levels) const;

  // The same without the change: how likely each state makes the look.
  [[nodiscard]] Belief likelihood(const Levels& levels) const;

  // Work that ends a cause: what was there is gone.
  static void end(Belief& belief, Cause cause);

  [[nodiscard]] Chances chances(const Belief& belief) const;

  // Chance that a tight seal begins to leak between two moments.
  [[nodiscard]] double onset_hazard(const Clock& at) const;
  // Working kilometres in so many driven and years.
  [[nodiscard]] double working_km(double km, double years) const;

 private:
  struct Harmed {
    double base = 0;  // a working km
    std::array<double, kSealStates> rate{};
    double breakdown = 0;
  };
  // Among states with a leak: from, to, and the chance of being there at the end of a piece.
  struct Move {
    std::uint8_t from;
    std::uint8_t to;
    double chance;
  };
  // One length of piece.
  struct Piece {
    double length = 0;
    std::vector<Move> leaking;  // of those that leak at its beginning
    std::vector<Move> begun;  // of leaks that began in it at an even pace; from: core without leak
    std::vector<Move> late;   // the same, weighted by how far into the piece
    std::array<std::array<double, kHarmStates>, kHarmStates> corrodes{};  // while tight
    std::array<std::array<double, kHarmStates>, kHarmStates> loses{};
  };
  // How a look's finding shows in a unit that has broken down, beside one that is only harmed.
  struct Broken {
    Finding finding;
    bool electrical;
    std::array<double, kMaxLevels> ratio{};
  };
  void compile_pieces(double step_km, unsigned longest);
  template <std::size_t Width>
  void one_piece(std::array<std::array<double, Width>, kCores>& at, const Piece& piece,
                 double first, double second) const;
  void rests(Belief& belief, const Clock& from, const Clock& to) const;

  const Model& model_;
  std::array<Harmed, 2> harms_{};
  std::array<double, kSealStates> reaches_{};
  std::array<double, kSealStages> leaves_{};  // a working km; of the last stage 0
  std::vector<Piece> pieces_;
  std::vector<Broken> broken_;
  double rest_km_per_day_ = 0;
  double base_km_ = 1;
  double seal_base_ = 0;                           // hazard a km
  std::uint8_t wears_ = 0;                         // bit mask over `Cooling`
  std::array<std::array<double, 4>, 2> etched_{};  // cumulative hazard at `base_km_`, by material
  std::array<double, 2> etched_shape_{1, 1};
  double outside_ = 0;
  double outside_km_ = 1;
  std::uint32_t seal_itself_ = 0;  // findings of the seal, not of the tip
};

}  // namespace dryshaft

#endif
