// Lengths that the headers of WAV, FLAC and OGG files state, against the length of the file.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <span>
#include <string_view>
#include <vector>

#include "base/sentence.hpp"
#include "dryshaft/noise_input.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr std::uint32_t kNoLength = 0xFFFFFFFFU;
constexpr std::size_t kHead = 8;    // of a chunk: name and length
constexpr std::size_t kFirst = 12;  // RIFF, its length, WAVE
constexpr std::string_view kCopyAgain =
    "copy it again from the recorder; if it was cut off, save it again with an audio editor";
constexpr std::string_view kSaveAnew =
    "save it again with an audio editor, and see that it is whole";

class WavLengths {
 public:
  WavLengths(const ReadAt& read_at, std::uint64_t size) : read_at_(read_at), size_(size) {}

  std::optional<Diagnostic> complaint() {
    std::array<unsigned char, kFirst> head{};
    if (!fill(0, head)) {
      return std::nullopt;
    }
    const std::string_view kind = name_at(head, 0);
    const bool long_form = kind == "RF64" || kind == "BW64";
    big_ = kind == "RIFX";
    if ((kind != "RIFF" && !long_form && !big_) || name_at(head, kHead) != "WAVE") {
      return std::nullopt;
    }
    promised_ = number<4>(head, 4);
    std::uint64_t at = kFirst;
    while (at + kHead <= size_) {
      std::array<unsigned char, kHead> chunk{};
      if (!fill(at, chunk)) {
        return std::nullopt;
      }
      const std::string_view name = name_at(chunk, 0);
      std::uint64_t length = number<4>(chunk, 4);
      if (name == "data") {
        return of_sound(at + kHead, long_form && length == kNoLength ? long_data_ : length);
      }
      read_chunk(name, at + kHead);
      length += length & 1U;  // chunks begin at even places
      at += kHead + length;
    }
    return complain("truncated", "is cut short: it ends before the audio begins");
  }

 private:
  template <std::size_t N>
  bool fill(std::uint64_t at, std::array<unsigned char, N>& bytes) const {
    return read_at_(at, bytes) == N;
  }

  template <std::size_t N>
  static std::string_view name_at(const std::array<unsigned char, N>& bytes, std::size_t at) {
    return {reinterpret_cast<const char*>(bytes.data()) + at, 4};
  }

  template <std::size_t Bytes, std::size_t N>
  [[nodiscard]] std::uint64_t number(const std::array<unsigned char, N>& bytes,
                                     std::size_t at) const {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < Bytes; ++i) {
      value = value << 8U | bytes[big_ ? at + i : at + Bytes - 1 - i];
    }
    return value;
  }

  void read_chunk(std::string_view name, std::uint64_t at) {
    if (name == "fmt ") {
      std::array<unsigned char, 14> format{};
      if (fill(at, format)) {
        bytes_a_second_ = number<4>(format, 8);
        frame_ = number<2>(format, 12);
      }
    } else if (name == "ds64") {
      std::array<unsigned char, 16> lengths{};
      if (fill(at, lengths)) {
        promised_ = number<8>(lengths, 0);
        long_data_ = number<8>(lengths, 8);
      }
    }
  }

  [[nodiscard]] std::string amount(std::uint64_t bytes) const {
    return bytes_a_second_ > 0
               ? fmt::format("{:.1f} s of audio",
                             static_cast<double>(bytes) / static_cast<double>(bytes_a_second_))
               : fmt::format("{} bytes of audio", grouped(static_cast<double>(bytes)));
  }

  static Diagnostic complain(std::string_view code, std::string message) {
    Diagnostic d;
    d.code = code;
    d.message = std::move(message);
    d.hint = code == "truncated" ? kCopyAgain : kSaveAnew;
    return d;
  }

  [[nodiscard]] std::optional<Diagnostic> of_sound(std::uint64_t begin,
                                                   std::uint64_t length) const {
    const std::uint64_t here = size_ - begin;
    if (length == kNoLength || (length == 0 && here >= kHead && !chunks_until_end(begin))) {
      return complain("bad-length", "does not say how long it is: the recorder did not end it");
    }
    if (length > here) {
      return complain("truncated",
                      fmt::format("is cut short: its header promises {}, the file holds {}",
                                  amount(length), amount(here)));
    }
    if (frame_ > 0 && length % frame_ != 0) {
      return complain(
          "bad-length",
          fmt::format("its header promises {} bytes of audio, which are no whole number of samples",
                      grouped(static_cast<double>(length))));
    }
    const std::uint64_t end = begin + length + (length & 1U);
    if (end < size_ && !chunks_until_end(end)) {
      return complain("bad-length",
                      fmt::format("its header promises {}, but the file goes on: {} bytes follow "
                                  "that are no part of it",
                                  amount(length), grouped(static_cast<double>(size_ - end))));
    }
    const std::uint64_t whole = promised_ + kHead;
    if (whole > size_ + 1 || whole < begin + length) {
      return complain(
          whole > size_ ? "truncated" : "bad-length",
          fmt::format("its header promises {} bytes in all, the file holds {}",
                      grouped(static_cast<double>(whole)), grouped(static_cast<double>(size_))));
    }
    return std::nullopt;
  }

  // Whether chunks, or tags that players add, fill the file from a place on.
  [[nodiscard]] bool chunks_until_end(std::uint64_t at) const {
    while (at + kHead <= size_) {
      std::array<unsigned char, kHead> chunk{};
      if (!fill(at, chunk)) {
        return false;
      }
      const std::string_view name = name_at(chunk, 0);
      if (name.starts_with("TAG") || name.starts_with("ID3") || name == "APET") {
        return true;
      }
      const bool printable = std::ranges::all_of(name, [](char c) { return c >= ' ' && c <= '~'; });
      const std::uint64_t length = number<4>(chunk, 4);
      if (!printable || length > size_ - at - kHead) {
        return false;
      }
      at += kHead + length + (length & 1U);
    }
    return at >= size_;
  }

  const ReadAt& read_at_;
  std::uint64_t size_;
  bool big_ = false;
  std::uint64_t promised_ = 0;
  std::uint64_t long_data_ = 0;
  std::uint64_t bytes_a_second_ = 0;
  std::uint64_t frame_ = 0;
};

// The header of a FLAC frame.
struct FlacFrame {
  bool by_sample = false;  // `number` counts samples, else frames
  std::uint64_t number = 0;
  std::uint64_t samples = 0;
};

std::uint8_t crc_8(std::span<const unsigned char> bytes) {
  std::uint8_t crc = 0;
  for (const unsigned char byte : bytes) {
    crc ^= byte;
    for (int i = 0; i < 8; ++i) {
      crc = static_cast<std::uint8_t>((crc << 1U) ^ ((crc & 0x80U) != 0 ? 0x07U : 0U));
    }
  }
  return crc;
}

std::uint16_t crc_16(std::span<const unsigned char> bytes) {
  std::uint16_t crc = 0;
  for (const unsigned char byte : bytes) {
    crc = static_cast<std::uint16_t>(crc ^ (byte << 8U));
    for (int i = 0; i < 8; ++i) {
      crc = static_cast<std::uint16_t>((crc << 1U) ^ ((crc & 0x8000U) != 0 ? 0x8005U : 0U));
    }
  }
  return crc;
}

// The frame that begins with these bytes, if its header is sound.
std::optional<FlacFrame> flac_frame(std::span<const unsigned char> bytes) {
  constexpr std::size_t kLeast = 6;
  if (bytes.size() < kLeast || bytes[0] != 0xFF || (bytes[1] & 0xFEU) != 0xF8) {
    return std::nullopt;
  }
  FlacFrame frame;
  frame.by_sample = (bytes[1] & 1U) != 0;
  const unsigned size_code = bytes[2] >> 4U;
  const unsigned rate_code = bytes[2] & 0x0FU;
  // A number coded as UTF-8 codes characters, of up to seven bytes.
  std::size_t at = 4;
  unsigned more = 0;
  while (more < 7 && (bytes[at] << more & 0x80U) != 0) {
    ++more;
  }
  frame.number = more == 0 ? bytes[at] : bytes[at] & (0x7FU >> more);
  more = more > 0 ? more - 1 : 0;
  for (++at; more > 0; --more, ++at) {
    if (at >= bytes.size()) {
      return std::nullopt;
    }
    frame.number = frame.number << 6U | (bytes[at] & 0x3FU);
  }
  const std::size_t size_bytes = size_code == 6 ? 1 : size_code == 7 ? 2 : 0;
  const std::size_t rate_bytes = rate_code == 12 ? 1 : rate_code == 13 || rate_code == 14 ? 2 : 0;
  if (at + size_bytes + rate_bytes >= bytes.size()) {
    return std::nullopt;
  }
  if (size_bytes > 0) {
    for (std::size_t i = 0; i < size_bytes; ++i) {
      frame.samples = frame.samples << 8U | bytes[at + i];
    }
    ++frame.samples;
  } else {
    frame.samples = size_code == 1  ? 192
                    : size_code < 6 ? std::uint64_t{144} << size_code
                                    : std::uint64_t{1} << size_code;
  }
  at += size_bytes + rate_bytes;
  return crc_8(bytes.first(at)) == bytes[at] ? std::optional(frame) : std::nullopt;
}

}  // namespace

std::optional<Diagnostic> complaint_about_wav(const ReadAt& read_at, std::uint64_t file_size) {
  return WavLengths(read_at, file_size).complaint();
}

std::optional<Diagnostic> complaint_about_ogg(const ReadAt& read_at, std::uint64_t file_size) {
  constexpr std::string_view kCapture = "OggS";
  constexpr std::size_t kFixed = 27;  // bytes of a page's header before its table of segments
  constexpr std::size_t kLongestPage = kFixed + 255 + std::size_t{255} * 255;
  constexpr unsigned char kLast = 4;
  std::vector<unsigned char> tail(std::min<std::uint64_t>(file_size, kLongestPage));
  std::array<unsigned char, kCapture.size()> head{};
  if (read_at(0, head) != head.size() || !std::ranges::equal(head, kCapture) ||
      read_at(file_size - tail.size(), tail) != tail.size()) {
    return std::nullopt;
  }
  for (std::size_t at = 0; at + kFixed <= tail.size(); ++at) {
    if (!std::equal(kCapture.begin(), kCapture.end(), tail.begin() + std::ptrdiff_t(at))) {
      continue;
    }
    std::size_t end = at + kFixed + tail[at + kFixed - 1];
    for (std::size_t i = at + kFixed; i < at + kFixed + tail[at + kFixed - 1]; ++i) {
      end += i < tail.size() ? tail[i] : tail.size();
    }
    if (end == tail.size() && (tail[at + 5] & kLast) != 0) {
      return std::nullopt;
    }
  }
  Diagnostic d;
  d.code = "truncated";
  d.message = "is cut short: its last page is not marked as the last";
  d.hint = kCopyAgain;
  return d;
}

std::optional<Diagnostic> complaint_about_flac(const ReadAt& read_at, std::uint64_t file_size) {
  constexpr std::string_view kMarker = "fLaC";
  constexpr std::size_t kHeader = 42;  // up to the end of the first block
  constexpr std::uint64_t kLongestFrame = std::uint64_t{1} << 19U;  // of files that people record
  std::array<unsigned char, kHeader> head{};
  if (read_at(0, head) != head.size() ||
      !std::equal(kMarker.begin(), kMarker.end(), head.begin())) {
    return std::nullopt;
  }
  const auto number = [&head](std::size_t at, std::size_t count) {
    std::uint64_t value = 0;
    for (std::size_t i = at; i < at + count; ++i) {
      value = value << 8U | head[i];
    }
    return value;
  };
  const std::uint64_t block = number(8, 2);
  const std::uint64_t rate = number(18, 3) >> 4U;
  const std::uint64_t promised = number(21, 5) & 0xFFFFFFFFFU;
  std::vector<unsigned char> tail(std::min(file_size - kHeader, kLongestFrame));
  if (promised == 0 || rate == 0 || read_at(file_size - tail.size(), tail) != tail.size()) {
    return std::nullopt;
  }
  // The last frame: its checksum reaches to the end of the file.
  for (std::size_t at = tail.size(); at-- > 0;) {
    const std::span<const unsigned char> rest = std::span(tail).subspan(at);
    const std::optional<FlacFrame> frame = flac_frame(rest);
    if (!frame || crc_16(rest) != 0) {
      continue;
    }
    const std::uint64_t holds = frame->number * (frame->by_sample ? 1 : block) + frame->samples;
    if (holds == promised) {
      return std::nullopt;
    }
    const auto seconds = [rate](std::uint64_t samples) {
      return static_cast<double>(samples) / static_cast<double>(rate);
    };
    Diagnostic d;
    d.code = holds < promised ? "truncated" : "bad-length";
    d.message =
        fmt::format("{}its header promises {:.1f} s of audio, the file holds {:.1f} s",
                    holds < promised ? "is cut short: " : "", seconds(promised), seconds(holds));
    d.hint = holds < promised ? kCopyAgain : kSaveAnew;
    return d;
  }
  return std::nullopt;
}

}  // namespace dryshaft
