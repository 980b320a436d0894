/// Noise: from a recording to orders of shaft speed, and to the parts they fit.
///
/// An order is a frequency divided by the frequency of the reference shaft: the
/// bearing's own, or the rotor's. The library reads no files: a caller hands
/// over samples.
#ifndef DRYSHAFT_NOISE_HPP
#define DRYSHAFT_NOISE_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/machine.hpp"

namespace dryshaft {

// ------------------------------------------------------------------ what is given

/// Below so many samples a second no recording tells anything of a bearing.
inline constexpr int kLeastSampleRate = 2000;

/// Samples of one channel, full scale 1.
struct Recording {
  double rate = 0;  ///< samples a second
  /// Fills the span as far as there are samples; says how many it gave.
  std::function<std::size_t(std::span<float>)> read;
  /// Back to the first sample. Needed by `listen_to_machine`, which reads twice.
  std::function<void()> rewind;
};

/// Road speed in km/h to rotor turns a minute. `circumference_m`: what the tyre
/// rolls in one turn; `ratio`: turns of the rotor for one of the wheel.
double rotor_rpm(double km_per_h, double circumference_m, double ratio);
/// What a tyre of this outer diameter rolls in a turn, in m: 0.97 x pi x D, since a loaded tyre
/// rolls about 3 % less than its unloaded circumference (common practice, no source).
double rolling_circumference_m(double outer_diameter_mm);

/// How the speed is known. `none`: it has to be found in the recording.
enum class SpeedBasis : std::uint8_t { constant, marks, trace, none };
std::string_view name(SpeedBasis basis);  ///< "constant", "marks", "trace", "estimated"

struct SpeedPoint {
  double seconds = 0;
  double rpm = 0;  ///< of the rotor
};
/// Points in order of time; smooth between them, constant before the first and
/// after the last. One point for `constant`, none for `none`.
struct GivenSpeed {
  SpeedBasis basis = SpeedBasis::none;
  std::vector<SpeedPoint> points;
};

enum class Load : std::uint8_t { accelerating, steady, coasting };
inline constexpr std::size_t kLoadCount = 3;
std::string_view name(Load load);
std::optional<Load> load_named(std::string_view name);
struct LoadMark {
  double from_s = 0;
  double to_s = 0;
  Load load = Load::steady;
};

struct NoiseOptions {
  double slip = 0.015;         ///< share by which a bearing's orders may be off
  double speed_band = 0.10;    ///< within which a given speed is borne out or put right
  double false_alarm = 0.001;  ///< for one recording, over all places looked at
  double least_depth = 0.5;    ///< of modulation, below which no bearing is named
};

// ------------------------------------------------------------------ what is found

enum class NoiseKind : std::uint8_t {
  outer_race,
  inner_race,
  element,  ///< at twice the spin frequency: a place on an element meets both races
  cage,
  shaft,
  mesh,
  electrical,
  wheel,
  joint,       ///< of a half-shaft
  elsewhere,   ///< knocks at an order that is no part's
  fixed_rate,  ///< whatever keeps its rate while the speed changes: a pump, a fan
};
inline constexpr std::size_t kNoiseKindCount = 11;
std::string_view name(NoiseKind kind);   ///< "outer-race"
std::string_view title(NoiseKind kind);  ///< "outer race"
/// One of outer race, inner race, element, cage.
bool of_bearing(NoiseKind kind);

struct PartKind {
  std::string part;
  NoiseKind kind = NoiseKind::outer_race;
  bool operator==(const PartKind&) const = default;
};

/// Why a multiple of an order was left out of a family of lines.
enum class LeftOut : std::uint8_t { shaft_order, mains, named_already };
std::string_view title(LeftOut why);
struct Excluded {
  std::size_t multiple = 0;
  LeftOut why = LeftOut::shaft_order;
};

/// A part that a family of lines fits.
struct Attribution : PartKind {
  double expected_order = 0;
  double found_order = 0;
  double depth = 0;       ///< of modulation of the envelope, over its multiples; 0: a tone
  double level_db = 0;    ///< mean power of its lines over the noise floor
  double p_value = 1;     ///< that noise alone does it, for all places looked at
  double confidence = 0;  ///< 0 to 1
  /// Band whose envelope shows it; 0 to 0: it stands in the order spectrum itself.
  double band_low_hz = 0;
  double band_high_hz = 0;
  std::size_t lines = 0;     ///< multiples looked at
  std::size_t standing = 0;  ///< of these, multiples that stand out each by itself
  double share = -1;         ///< of the time in which its strongest line stands; -1: not known
  std::vector<Excluded> excluded;
  /// What fits the same lines no worse, so that it cannot be told apart here.
  std::vector<PartKind> shared_with;
};

/// Whether it is the rhythm of something slower than a bearing's part, such as a flat spot on a
/// tyre: with so many lines that a bearing's may be among them.
bool is_rhythm(const Attribution& a);

/// One peak of a spectrum.
struct NoiseLine {
  bool in_envelope = false;  ///< else in the order spectrum
  double order = 0;
  double hz = 0;  ///< at the mean speed
  double level_db = 0;
  double p_value = 1;
  double share = -1;  ///< of the time in which it stands above the floor; -1: not known
  std::string fits;   ///< what it is accounted for by, in words; empty: nothing known
};

struct NoiseSpeed {
  SpeedBasis basis = SpeedBasis::none;
  double given_rpm = 0;  ///< mean; 0: none given
  double used_rpm = 0;   ///< mean
  double lowest_rpm = 0;
  double highest_rpm = 0;
  /// Half the width of the range that the lines leave open, as a share; 0: not worked out.
  double uncertainty = 0;
  std::size_t shaft_lines = 0;  ///< lines of the comb that bear the speed out; 0: taken as given
  /// Mean speeds that the lines fit nearly as well; not empty: nothing is named.
  std::vector<double> alternatives_rpm;
  std::vector<SpeedPoint> track;  ///< as used, at most 240 points
};

/// What the bearing's lines look like.
enum class DamagePattern : std::uint8_t { unclear, single_defect, washboard };
std::string_view name(DamagePattern pattern);  ///< "unclear", "single-defect", "washboard"
struct PatternFound {
  DamagePattern pattern = DamagePattern::unclear;
  std::string reason;
};

/// Level over the floor of a named part's lines under each load; nothing: too short there.
struct LoadLevels : PartKind {
  std::array<std::optional<double>, kLoadCount> level_db;
};

/// A curve to draw: level over the noise floor at `i * order_spacing`.
struct OrderCurve {
  double order_spacing = 0;
  std::vector<float> level_db;
};
/// Rows of levels over the noise floor, in order of time.
struct OrderMap {
  double order_spacing = 0;
  std::vector<double> seconds;  ///< middle of each row, at most 256
  std::vector<std::vector<float>> level_db;
};

/// Why no part may be named, whatever its lines; speed aside.
enum class LeftOpen : std::uint8_t {
  no,
  lines_everywhere,  ///< they fit orders that belong to no part as well
  repeats            ///< the sound comes again exactly, as no machine's does
};
std::string_view name(LeftOpen why);   ///< "no", "lines-everywhere", "repeats"
std::string_view title(LeftOpen why);  ///< "repeats itself exactly": said of the recording

struct NoiseReport {
  double rate = 0;
  double seconds = 0;
  bool plain_bearings = false;  ///< made by `listen_to_bearings`
  NoiseSpeed speed;
  std::vector<Attribution> named;       ///< clear ones: bearings first, then by confidence
  std::vector<Attribution> considered;  ///< the best place of each other part and kind
  std::optional<PatternFound> pattern;  ///< where a bearing is named
  std::vector<NoiseLine> lines;         ///< strongest first, at most 40
  std::vector<LoadLevels> loads;        ///< empty: no load marks
  OrderCurve order_spectrum;
  OrderCurve envelope_spectrum;  ///< of the band that shows the first bearing best, or is richest
  double envelope_low_hz = 0;
  double envelope_high_hz = 0;
  OrderMap map;            ///< of the order spectrum
  double false_alarm = 0;  ///< stated, for the whole recording
  LeftOpen left_open = LeftOpen::no;
  double decoys = 0;  ///< share of orders that belong to no part, but would be named as well
  std::vector<std::string> limits;  ///< of this recording, each a sentence

  /// Moves what is named to what was considered.
  void name_nothing();
};

// ---------------------------------------------------------------------- listening

/// Which lines of the given bearings a recording at constant speed holds; the
/// bearings' own shaft turns at `shaft_rpm`. Errors: silence, too short, too slow,
/// less than `kLeastSampleRate` samples a second, bearings beyond `geometry`.
Result<NoiseReport> listen_to_bearings(const Recording& recording,
                                       const std::vector<Bearing>& bearings, double shaft_rpm,
                                       const NoiseOptions& options);

/// Which parts of a drive unit a recording made in the car holds. Errors: as above, and gears
/// beyond `geometry`.
Result<NoiseReport> listen_to_machine(const Recording& recording, const Machine& machine,
                                      const GivenSpeed& speed, const std::vector<LoadMark>& loads,
                                      const NoiseOptions& options);

}  // namespace dryshaft

#endif
