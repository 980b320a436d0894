/// What comes with a recording: speeds and loads as people write them, and a
/// look at the sound itself before it is analysed.
#ifndef DRYSHAFT_NOISE_INPUT_HPP
#define DRYSHAFT_NOISE_INPUT_HPP

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
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

/// How much of a sound comes again exactly, sample for sample, in flat memory: of a clip in a loop,
/// or of what a generator made. No recording of a machine does, save silence, which is passed over.
class RepeatCheck {
 public:
  /// What tells one frame from another, such as the bits of its samples.
  void add(std::uint64_t frame);
  /// Of stretches spread evenly over the sound, the share that came more than once. 0 to 1.
  [[nodiscard]] double share() const;
  static constexpr std::size_t kStretch = 256;  ///< frames of a stretch

 private:
  static constexpr std::size_t kMostKept = 1024;  // stretches; then every second is let go of
  struct Stretch {
    std::uint64_t sum = 0;
    bool again = false;
  };
  void keep();

  std::array<std::uint64_t, kStretch> last_{};
  std::uint64_t sum_ = 0;  // of the last frames, in a hash that rolls
  std::size_t frames_ = 0;
  std::size_t same_ = 0;  // frames like the one before, up to the last one
  std::size_t spacing_ = kStretch;
  std::vector<Stretch> kept_;
  std::unordered_map<std::uint64_t, std::size_t> places_;               // of sums in `kept_`
  std::vector<bool> maybe_ = std::vector<bool>(std::size_t{1} << 16U);  // lower bits of such sums
};

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
    bool repeats = false;             ///< exactly, as no machine does (`LeftOpen::repeats`)
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
    std::size_t full = 0;                  // samples at full scale
    bool beyond = false;                   // goes beyond full scale, which thus cuts nothing off
    std::optional<std::size_t> no_number;  // the first frame that is no number
  };
  [[nodiscard]] double alternating_power(const Channel& channel) const;
  [[nodiscard]] std::vector<bool> alive() const;

  std::vector<Channel> channels_;
  std::size_t frames_ = 0;
  RepeatCheck repeats_;
};

}  // namespace dryshaft

#endif
