/// What a recording showed, for people and for programs.
///
/// Writers are pure: the same sheets give the same bytes. `recording_findings`
/// says what an inspection record takes over from a recording.
#ifndef DRYSHAFT_NOISE_REPORT_HPP
#define DRYSHAFT_NOISE_REPORT_HPP

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/machine.hpp"
#include "dryshaft/noise.hpp"
#include "dryshaft/report.hpp"

namespace dryshaft {

inline constexpr std::string_view kNoiseFormat = "dryshaft-noise/1";

/// A report on a recording, with what its reader must know of where it is from.
struct NoiseSheet {
  std::string source;        ///< name of the recording
  std::size_t channel = 1;   ///< that was listened to, counted from 1
  std::size_t channels = 1;  ///< that the recording has
  std::string held_against;  ///< bearings, or family, vehicle and tyre, in words
  /// Of the rule data, in the order in which they are shown: id and text.
  std::vector<std::pair<std::string, std::string>> cautions;
  NoiseReport report;
};

std::string noise_to_json(const NoiseSheet& sheet);  ///< one line, `dryshaft-noise/1`
std::string noise_to_text(const NoiseSheet& sheet, const TextStyle& style);
std::string noise_to_markdown(const NoiseSheet& sheet);
/// A page of its own, with pictures; it loads nothing, and runs nothing.
std::string noise_to_html(std::span<const NoiseSheet> sheets);

/// What a record's `/inspection/recording` takes over: words of those fields,
/// nothing where the recording leaves it open. A bearing that was not known to
/// the machine was not listened for, and is not called silent.
struct RecordingFindings {
  std::optional<std::string_view> rotor_bearing;  ///< none, shared, clear
  std::optional<std::string_view> gear_bearing;   ///< none, shared, clear
  std::optional<std::string_view> other;          ///< none, electrical, mesh, wheel
  std::optional<std::string_view> pattern;        ///< single-defect, washboard
};
RecordingFindings recording_findings(const NoiseReport& report, const Machine& machine);

}  // namespace dryshaft

#endif
