// Lengths that the headers of WAV and OGG files state, against the length of the file.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>
#include <vector>

#include "dryshaft/noise_input.hpp"
#include "report/words.hpp"

namespace dryshaft {
namespace {

constexpr std::uint32_t kNoLength = 0xFFFFFFFFU;
constexpr std::size_t kHead = 8;    // of a chunk: name and length
constexpr std::size_t kFirst = 12;  // RIFF, its length, WAVE
constexpr std::string_view kCopyAgain =
    "copy it again from the recorder; if it was cut off, save it anew with a sound editor";

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
    return complain("truncated", "is cut short: it ends before the sound begins");
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
               ? fmt::format("{:.1f} s of sound",
                             static_cast<double>(bytes) / static_cast<double>(bytes_a_second_))
               : fmt::format("{} bytes of sound", words::grouped(static_cast<double>(bytes)));
  }

  static Diagnostic complain(std::string_view code, std::string message) {
    Diagnostic d;
    d.code = code;
    d.message = std::move(message);
    d.hint = code == "truncated" ? kCopyAgain
                                 : "save it anew with a sound editor, and see that it is whole";
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
      return complain("bad-length",
                      fmt::format("its header promises {} bytes of sound, which are no whole "
                                  "number of samples",
                                  words::grouped(static_cast<double>(length))));
    }
    const std::uint64_t end = begin + length + (length & 1U);
    if (end < size_ && !chunks_until_end(end)) {
      return complain(
          "bad-length",
          fmt::format("its header promises {}, but the file goes on: {} bytes follow "
                      "that are no part of it",
                      amount(length), words::grouped(static_cast<double>(size_ - end))));
    }
    const std::uint64_t whole = promised_ + kHead;
    if (whole > size_ + 1 || whole < begin + length) {
      return complain(whole > size_ ? "truncated" : "bad-length",
                      fmt::format("its header promises {} bytes in all, the file holds {}",
                                  words::grouped(static_cast<double>(whole)),
                                  words::grouped(static_cast<double>(size_))));
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

}  // namespace dryshaft
