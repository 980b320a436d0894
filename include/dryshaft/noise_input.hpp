/// What comes with a recording: speeds and loads as people write them, and a
/// look at the sound itself before it is analysed.
#ifndef DRYSHAFT_NOISE_INPUT_HPP
#define DRYSHAFT_NOISE_INPUT_HPP

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/noise.hpp"

namespace dryshaft {

// ---------------------------------------------------------------- speeds and loads

/// Road speed in km/h: `60`, `60km/h`, `37.5 mph`. Above 0, at most 500 km/h.
Result<double> parse_speed(std::string_view text);

/// A moment of the recording in seconds: `MINUTES:SECONDS`, such as `1:02.5`.
Result<double> parse_moment(std::string_view text);

/// A speed at a moment; the unit is said where it is used.
struct SpeedAt {
  double seconds = 0;
  double value = 0;
};
/// `MOMENT=SPEED`, such as `0:05=30` or `1:02.5=40mph`: in km/h, 0 for standing.
Result<SpeedAt> parse_speed_mark(std::string_view text);

/// `MOMENT-MOMENT=LOAD`, such as `0:05-0:12=accelerating`.
Result<LoadMark> parse_load_mark(std::string_view text);

/// Speeds over time, from a data logger or written down.
struct SpeedTrace {
  bool of_rotor = false;        ///< turns a minute; else km/h
  std::vector<SpeedAt> points;  ///< in order of time
};
/// CSV with the header `seconds,km_per_h`, `seconds,mph` or `seconds,rpm` and a
/// row a point, times rising. Every bad line is complained of, with its place.
Result<SpeedTrace> parse_speed_trace(std::string_view text, std::string_view source);

// ------------------------------------------------------------------------ the file

/// Fills the span from a byte of the file on; says how many bytes it gave.
using ReadAt = std::function<std::size_t(std::uint64_t offset, std::span<unsigned char>)>;

/// What a WAV file's header says of lengths, against the length of the file:
/// nothing where they agree, and for any other kind of file. Needed since a
/// reader of sound files quietly takes the shorter of two lengths.
/// Source: RIFF as Microsoft and IBM published it in 1991, and its 64-bit form
/// RF64 of EBU Tech 3306 (both from memory).
std::optional<Diagnostic> complaint_about_wav(const ReadAt& read_at, std::uint64_t file_size);

/// That an OGG file's last page is whole and marked as the last; nothing for any
/// other kind of file. Source: RFC 3533 (from memory).
std::optional<Diagnostic> complaint_about_ogg(const ReadAt& read_at, std::uint64_t file_size);

/// What a FLAC file's header says of its length, against the number of its last
/// frame; nothing where they agree, where the header leaves it open, where no whole
/// frame ends the file (the reader of sound files then complains), and for any
/// other kind of file. Source: RFC 9639 (from memory).
std::optional<Diagnostic> complaint_about_flac(const ReadAt& read_at, std::uint64_t file_size);

/// A look at every sample before the analysis, in flat memory.
class SoundCheck {
 public:
  explicit SoundCheck(std::size_t channels);

  /// Samples of all channels in turn, full scale 1; whole frames.
  void add(std::span<const float> frames);
  [[nodiscard]] std::size_t frames() const { return frames_; }

  struct Chosen {
    std::size_t channel = 0;          ///< counted from 1
    std::vector<std::string> limits;  ///< sentences for `NoiseReport::limits`
  };
  /// The channel to listen to: `wanted` (counted from 1), or 0 for the first one
  /// that is alive. Errors: no such channel, it is dead while another is alive,
  /// most of it is clipped, a sample that is no number. A recording whose
  /// channels are all dead is left to the analysis, which refuses silence.
  [[nodiscard]] Result<Chosen> choose(std::size_t wanted, double rate) const;

 private:
  struct Channel {
    double sum = 0;
    double squares = 0;
    std::size_t clipped = 0;  // samples in runs at full scale
    std::size_t run = 0;      // samples at full scale up to the last one
    float last = 0;
    std::optional<std::size_t> no_number;  // the first frame that is no number
  };
  [[nodiscard]] double alternating_power(const Channel& channel) const;
  [[nodiscard]] std::vector<bool> alive() const;

  std::vector<Channel> channels_;
  std::size_t frames_ = 0;
};

}  // namespace dryshaft

#endif
