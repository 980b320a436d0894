/// Noise: from a recording to orders of shaft speed, and to the parts they fit.
///
/// An order is a frequency divided by the frequency of the reference shaft.
/// The library reads no files: a caller hands over samples.
#ifndef DRYSHAFT_NOISE_HPP
#define DRYSHAFT_NOISE_HPP

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"

namespace dryshaft {

/// A rolling bearing with its outer ring at rest. Lengths in any one unit.
struct Bearing {
  std::string name;
  int elements = 0;  ///< rolling elements in a row
  double element_diameter = 0;
  double pitch_diameter = 0;
  double contact_deg = 0;  ///< contact angle, degrees
};

/// Orders at which a bearing repeats itself, with no slip; reference: its shaft.
struct DefectOrders {
  double outer_race = 0;  ///< BPFO: elements pass a place on the outer race
  double inner_race = 0;  ///< BPFI: elements pass a place on the inner race
  double element = 0;     ///< 2 x BSF: a place on an element meets both races each turn
  double spin = 0;        ///< BSF: an element turns about itself
  double cage = 0;        ///< FTF
};

/// With r = element / pitch diameter x cos(contact): outer n/2 (1-r), inner
/// n/2 (1+r), spin (1-r^2) pitch / (2 element), cage (1-r)/2.
/// Source: Randall and Antoni 2011, MSSP 25(2) 485-520 (formulas as quoted there, from memory).
DefectOrders defect_orders(const Bearing& bearing);

/// `NAME=n:d:D:angle` or `n:d:D:angle`: elements, element diameter, pitch
/// diameter (same unit), contact angle in degrees. What is wrong is said in words.
Result<Bearing> parse_bearing(std::string_view text);

// ------------------------------------------------------------- recordings

/// Samples of one channel, full scale 1.
struct Recording {
  double rate = 0;  ///< samples a second
  /// Fills the span as far as there are samples; says how many it gave.
  std::function<std::size_t(std::span<float>)> read;
};

enum class NoiseKind : std::uint8_t { outer_race, inner_race, element, cage };
std::string_view name(NoiseKind kind);

/// A part that a family of lines fits.
struct Attribution {
  std::string part;  ///< the bearing's name
  NoiseKind kind = NoiseKind::outer_race;
  double expected_order = 0;
  double found_order = 0;
  double depth = 0;       ///< of modulation of the envelope, over up to four multiples
  double level_db = 0;    ///< mean power of its lines over the noise floor
  double p_value = 1;     ///< that noise alone does it, for all places looked at
  double confidence = 0;  ///< 0 to 1
  double band_low_hz = 0;
  double band_high_hz = 0;
  std::size_t lines = 0;              ///< multiples looked at
  std::size_t standing = 0;           ///< of these, multiples that stand out each by itself
  std::vector<std::size_t> excluded;  ///< multiples that coincide with a shaft order
};

struct NoiseSpeed {
  double given_rpm = 0;
  double used_rpm = 0;
  std::size_t shaft_lines = 0;  ///< of five, that bear it out; 0: taken as given
};

struct NoiseReport {
  double rate = 0;
  double seconds = 0;
  NoiseSpeed speed;
  std::vector<Attribution> named;       ///< clear ones, strongest first
  std::vector<Attribution> considered;  ///< the best place of each other part and kind
  std::vector<std::string> limits;      ///< of this recording, in words
};

struct NoiseOptions {
  double rotor_rpm = 0;
  double slip = 0.015;         ///< by which bearing orders may be off
  double speed_band = 0.10;    ///< within which the speed is borne out or put right
  double false_alarm = 0.001;  ///< for one recording, over all places looked at
  double least_depth = 0.5;    ///< of modulation, below which nothing is named
};

/// Which lines of the given bearings a recording at constant speed holds.
Result<NoiseReport> listen_to_bearings(const Recording& recording,
                                       const std::vector<Bearing>& bearings,
                                       const NoiseOptions& options);

}  // namespace dryshaft

#endif
