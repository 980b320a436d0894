#include "cli/recording.hpp"

#include <fmt/format.h>
#include <sndfile.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>
#include <string_view>
#include <utility>

#include "cli/inputs.hpp"

namespace dryshaft::cli {
namespace {

constexpr std::size_t kPiece = std::size_t{1} << 16U;  // samples read at once
constexpr int kHighestRate = 1000000;
constexpr std::string_view kKinds = "WAV, FLAC, OGG";
// Some formats say that they do not know their length by a length beyond any.
constexpr sf_count_t kNoLength = sf_count_t{1} << 60U;

struct CloseSound {
  void operator()(SNDFILE* file) const { sf_close(file); }
};
struct CloseFile {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

// One channel out of several, frame by frame.
class OneChannel {
 public:
  OneChannel(std::unique_ptr<SNDFILE, CloseSound> file, std::size_t channels, std::size_t channel)
      : file_(std::move(file)), channels_(channels), channel_(channel) {}

  std::size_t read(std::span<float> samples) {
    if (channels_ == 1) {
      return static_cast<std::size_t>(std::max<sf_count_t>(
          sf_readf_float(file_.get(), samples.data(), static_cast<sf_count_t>(samples.size())), 0));
    }
    std::size_t have = 0;
    const std::size_t at_once = std::max<std::size_t>(kPiece / channels_, 1);
    frames_.resize(at_once * channels_);
    while (have < samples.size()) {
      const std::size_t wanted = std::min(at_once, samples.size() - have);
      const sf_count_t got =
          sf_readf_float(file_.get(), frames_.data(), static_cast<sf_count_t>(wanted));
      if (got <= 0) {
        break;
      }
      for (std::size_t i = 0; i < static_cast<std::size_t>(got); ++i) {
        samples[have++] = frames_[i * channels_ + channel_ - 1];
      }
    }
    return have;
  }

  void rewind() { sf_seek(file_.get(), 0, SEEK_SET); }

 private:
  std::unique_ptr<SNDFILE, CloseSound> file_;
  std::size_t channels_;
  std::size_t channel_;
  std::vector<float> frames_;
};

class Opening {
 public:
  Opening(const std::string& path, std::size_t channel) : path_(path), wanted_(channel) {}

  Result<OpenedRecording> open() {
    if (file_is_good() && sound_is_good()) {
      listen_through();
    }
    for (Diagnostic& d : result_.diagnostics) {
      d.source = path_ == "-" ? "<stdin>" : path_;
    }
    return std::move(result_);
  }

 private:
  bool refuse(std::string_view code, std::string message, std::string_view hint = {}) {
    Diagnostic& d = result_.diagnostics.emplace_back();
    d.code = code;
    d.message = std::move(message);
    d.hint = hint;
    return false;
  }

  bool file_is_good() {
    constexpr std::string_view kSaveFirst =
        "a recording is read twice: save it as a file, then name that file";
    if (path_ == "-") {
      return refuse("no-input", "a recording cannot come from standard input", kSaveFirst);
    }
    struct stat what {};
    const std::unique_ptr<std::FILE, CloseFile> file(
        stat(path_.c_str(), &what) == 0 && S_ISREG(what.st_mode) ? std::fopen(path_.c_str(), "rbe")
                                                                 : nullptr);
    if (!file) {
      if (errno == 0 || S_ISDIR(what.st_mode)) {
        return refuse("no-input", S_ISDIR(what.st_mode) ? "is a folder" : "is a pipe or a device",
                      S_ISDIR(what.st_mode) ? "name the recordings in it" : kSaveFirst);
      }
      return refuse("no-input", fmt::format("cannot be read: {}", std::strerror(errno)));
    }
    is_input(fileno(file.get()));
    const auto size = static_cast<std::uint64_t>(what.st_size);
    if (size == 0) {
      return refuse("no-sound", "is empty");
    }
    const ReadAt read_at = [&](std::uint64_t offset, std::span<unsigned char> bytes) {
      return std::fseek(file.get(), static_cast<long>(offset), SEEK_SET) == 0
                 ? std::fread(bytes.data(), 1, bytes.size(), file.get())
                 : 0;
    };
    for (const auto check : {complaint_about_wav, complaint_about_ogg, complaint_about_flac}) {
      if (const std::optional<Diagnostic> wrong = check(read_at, size)) {
        result_.diagnostics.push_back(*wrong);
        return false;
      }
    }
    return kind_is_taken(read_at);
  }

  // Whether it begins like one that is read: asked to try, libsndfile's own libraries
  // write to standard error what they think of others.
  bool kind_is_taken(const ReadAt& read_at) {
    std::array<unsigned char, 8> head{};
    const auto begins = [&](std::string_view word, std::size_t at = 0) {
      return std::ranges::equal(word, std::span(head).subspan(at, word.size()));
    };
    read_at(0, head);
    constexpr std::array<std::string_view, 5> kHeads = {"RIFF", "RIFX", "RF64", "fLaC", "OggS"};
    return std::ranges::any_of(kHeads, [&](std::string_view word) { return begins(word); }) ||
           not_sound(begins("ftyp", 4) ? "that can be read: MPEG-4 audio is not read"
                                       : "of a kind that is read");
  }

  bool not_sound(std::string_view why) {
    refuse("not-sound", fmt::format("is no recording {}", why),
           "convert it to WAV or FLAC, and change neither rate nor level");
    result_.diagnostics.back().allowed = kKinds;
    return false;
  }

  bool sound_is_good() {
    sound_.reset(sf_open(path_.c_str(), SFM_READ, &info_));
    if (!sound_) {
      const std::string_view why = sf_strerror(nullptr);
      return not_sound(
          fmt::format("that can be read: {}", why.substr(0, why.find_last_not_of(". \n") + 1)));
    }
    constexpr std::array kTaken = {SF_FORMAT_WAV, SF_FORMAT_WAVEX, SF_FORMAT_RF64, SF_FORMAT_FLAC,
                                   SF_FORMAT_OGG};
    if (std::ranges::find(kTaken, info_.format & SF_FORMAT_TYPEMASK) == kTaken.end()) {
      return not_sound("of a kind that is read");
    }
    if (info_.samplerate < kLeastSampleRate || info_.samplerate > kHighestRate) {
      refuse("bad-rate", fmt::format("its header says {} samples a second", info_.samplerate));
      result_.diagnostics.back().allowed = fmt::format("{} to {}", kLeastSampleRate, kHighestRate);
      return false;
    }
    return true;
  }

  void listen_through() {
    const auto channels = static_cast<std::size_t>(info_.channels);
    SoundCheck check(channels);
    const std::size_t at_once = std::max<std::size_t>(kPiece / channels, 1);
    std::vector<float> frames(at_once * channels);
    sf_count_t got = 0;
    do {
      got = sf_readf_float(sound_.get(), frames.data(), static_cast<sf_count_t>(at_once));
      check.add(std::span(frames).first(static_cast<std::size_t>(std::max<sf_count_t>(got, 0)) *
                                        channels));
    } while (got > 0);
    const double seconds = static_cast<double>(check.frames()) / info_.samplerate;
    if (sf_error(sound_.get()) != SF_ERR_NO_ERROR) {
      refuse("damaged",
             fmt::format("cannot be read beyond {:.1f} s: {}", seconds, sf_strerror(sound_.get())),
             "copy it again from the recorder");
      return;
    }
    if (info_.frames < kNoLength && std::cmp_less(check.frames(), info_.frames)) {
      refuse("truncated",
             fmt::format(
                 "is cut short: its header promises {:.1f} s of audio, the file holds {:.1f} s",
                 static_cast<double>(info_.frames) / info_.samplerate, seconds),
             "copy it again from the recorder");
      return;
    }
    if (check.frames() == 0) {
      refuse("no-sound", "holds no audio: it is 0 s long");
      return;
    }
    Result<SoundCheck::Chosen> chosen = check.choose(wanted_, info_.samplerate);
    if (!chosen.value) {
      result_.diagnostics = std::move(chosen.diagnostics);
      return;
    }
    OpenedRecording& opened = result_.value.emplace();
    opened.seconds = seconds;
    opened.channel = chosen.value->channel;
    opened.channels = channels;
    opened.limits = std::move(chosen.value->limits);
    opened.repeats = chosen.value->repeats;
    const auto source = std::make_shared<OneChannel>(std::move(sound_), channels, opened.channel);
    source->rewind();
    opened.recording.rate = info_.samplerate;
    opened.recording.read = [source](std::span<float> samples) { return source->read(samples); };
    opened.recording.rewind = [source] { source->rewind(); };
  }

  const std::string& path_;
  std::size_t wanted_;
  SF_INFO info_{};
  std::unique_ptr<SNDFILE, CloseSound> sound_;
  Result<OpenedRecording> result_;
};

}  // namespace

Result<OpenedRecording> open_recording(const std::string& path, std::size_t channel) {
  errno = 0;
  return Opening(path, channel).open();
}

}  // namespace dryshaft::cli
