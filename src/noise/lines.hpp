// Lines against the noise floor around them, and families of lines.
#ifndef DRYSHAFT_NOISE_LINES_HPP
#define DRYSHAFT_NOISE_LINES_HPP

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "dryshaft/noise.hpp"
#include "noise/spectra.hpp"

namespace dryshaft::noise {

// Mean power of the noise at each line: the median over `window` lines around
// it, divided by the median of what noise of mean 1 has there (Gamma with as
// many degrees of shape as blocks were averaged). Worked out `a_window` times in
// a window, straight in between.
std::vector<double> noise_floor(const Spectrum& spectrum, std::size_t window,
                                std::size_t a_window = 4);

// The chance that noise alone makes the sum of `lines` normalised lines, each
// averaged over `blocks` blocks, reach `sum`: a Gamma tail.
double chance_of_sum(double sum, std::size_t lines, double blocks);

// Of a ratio of powers; -90 for nothing.
double decibels(double ratio);

// Power over the floor that one line in a million of noise reaches.
double standing_level(double blocks);

// A speed that a comb of shaft orders fits.
struct SpeedFound {
  double factor = 1;  // true over nominal
  std::size_t lines = 0;
};

// The factor, within `most` of 1, at which lines at 1 to 5 times the shaft
// frequency stand out most in the amplitude spectrum. Nothing: no such comb.
std::optional<SpeedFound> refine_speed(const Spectrum& amplitude, double shaft_hz, double most);

// Lines of a spectrum that are accounted for already, and why.
class Mask {
 public:
  explicit Mask(std::size_t lines) : why_(lines, kFree) {}
  // Lines within `near` of `place`, both counted in lines.
  void leave_out(double place, double near, LeftOut why);
  // What is left out takes its foot along: on each side, as long as the power falls and stands.
  void take_feet(const Spectrum& spectrum, const std::vector<double>& floor);
  [[nodiscard]] bool free(std::size_t line) const {
    return line < why_.size() && why_[line] == kFree;
  }
  [[nodiscard]] LeftOut why(std::size_t line) const { return static_cast<LeftOut>(why_[line]); }

 private:
  static constexpr std::uint8_t kFree = 0xFF;
  std::vector<std::uint8_t> why_;
};

// A family of lines at 1, 2, ... times an order.
struct Family {
  double order = 0;          // found
  std::size_t lines = 0;     // looked at: those that nothing else accounts for
  std::size_t standing = 0;  // of these, lines that stand out each by itself
  double sum = 0;            // of power over floor
  double depth = 0;          // root of the summed power: depth of modulation
  double p_value = 1;        // of the sum, for one place looked at
  bool first = false;        // the first multiple stands, or cannot be looked at
  std::size_t places = 0;    // looked at
  double centre = 0;         // mean multiple, weighted by power over floor
  struct Line {
    std::size_t place = 0;
    double over = 0;  // power over floor
  };
  std::vector<Line> looked_at;
  std::vector<Excluded> excluded;
};

struct FamilySearch {
  double per_order = 1;  // lines of the spectrum for one order
  double expected_order = 0;
  double slip = 0;
  std::size_t multiples = 4;
  double most_of_one = 1e300;  // what one line may add to the sum
};
// The best place for a family within `slip` of the expected order.
Family find_family(const Spectrum& spectrum, const std::vector<double>& floor, const Mask& mask,
                   const FamilySearch& search);

// The chance, for one place looked at, that lines which a spectrum holds anyway make those of a
// family: Fisher's sum of the logarithms of the lines' own chances. Noise alone makes one line in a
// million stand; a car's hums, whistles and voices make many, as many as around each line, and
// strong ones are rarer by a power law (Hill 1975, Annals of Statistics 3(5) 1163-1174, from
// memory). `others`: leaves out what the
// family itself accounts for.
double chance_of_others(const Spectrum& spectrum, const std::vector<double>& floor,
                        const Mask& others, const Family& family);

}  // namespace dryshaft::noise

#endif
