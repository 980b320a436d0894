#include "record/photos.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <tuple>
#include <utility>

#include "base/base64.hpp"
#include "base/index.hpp"
#include "base/utf8.hpp"
#include "dryshaft/record.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kNoPicture = "no JPEG, PNG, WebP or GIF picture, or a damaged one";

struct KindOfPicture {
  std::string_view name;
  std::string_view media_type;
};
constexpr std::array<KindOfPicture, 4> kPictureKinds = {
    {{"JPEG", "image/jpeg"}, {"PNG", "image/png"}, {"WebP", "image/webp"}, {"GIF", "image/gif"}}};

// The head of a picture, byte by byte. What lies behind its end is 0, which makes no size.
class Head {
 public:
  explicit Head(std::string_view bytes) : bytes_(bytes) {}

  [[nodiscard]] std::uint32_t byte(std::size_t at) const {
    return at < bytes_.size() ? static_cast<unsigned char>(bytes_[at]) : 0U;
  }
  [[nodiscard]] std::uint32_t big(std::size_t at, std::size_t bytes) const {
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < bytes; ++i) {
      value = value << 8U | byte(at + i);
    }
    return value;
  }
  [[nodiscard]] std::uint32_t little(std::size_t at, std::size_t bytes) const {
    std::uint32_t value = 0;
    for (std::size_t i = bytes; i > 0; --i) {
      value = value << 8U | byte(at + i - 1);
    }
    return value;
  }
  [[nodiscard]] bool has(std::size_t at, std::string_view text) const {
    return at <= bytes_.size() && bytes_.substr(at).starts_with(text);
  }
  [[nodiscard]] std::size_t size() const { return bytes_.size(); }

 private:
  std::string_view bytes_;
};

// Segments up to the frame that says the size.
std::optional<Picture> jpeg_in(const Head& head) {
  constexpr std::uint32_t kMarker = 0xFF;
  for (std::size_t at = 2; at + 9 <= head.size();) {
    if (head.byte(at) != kMarker) {
      return std::nullopt;
    }
    const std::uint32_t marker = head.byte(at + 1);
    if (marker == kMarker) {  // fill
      ++at;
      continue;
    }
    const bool frame = marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 &&
                       marker != 0xCC;  // tables and extensions have numbers among those of frames
    if (frame) {
      return Picture{PictureKind::jpeg, head.big(at + 7, 2), head.big(at + 5, 2)};
    }
    const std::uint32_t length = head.big(at + 2, 2);
    if (length < 2 || marker == 0xDA || marker == 0xD9) {  // the picture itself, or its end
      return std::nullopt;
    }
    at += 2 + length;
  }
  return std::nullopt;
}

std::optional<Picture> webp_in(const Head& head) {
  constexpr std::uint32_t kSizeBits = 0x3FFF;
  if (head.has(12, "VP8 ") && head.has(23, "\x9D\x01\x2A")) {
    return Picture{PictureKind::webp, head.little(26, 2) & kSizeBits,
                   head.little(28, 2) & kSizeBits};
  }
  if (head.has(12, "VP8L") && head.has(20, "\x2F")) {
    const std::uint32_t bits = head.little(21, 4);
    return Picture{PictureKind::webp, (bits & kSizeBits) + 1, (bits >> 14U & kSizeBits) + 1};
  }
  if (head.has(12, "VP8X") && head.size() >= 30) {
    return Picture{PictureKind::webp, head.little(24, 3) + 1, head.little(27, 3) + 1};
  }
  return std::nullopt;
}

std::optional<Picture> picture_of(const Head& head) {
  if (head.has(0, "\xFF\xD8\xFF")) {
    return jpeg_in(head);
  }
  if (head.has(0, "\x89PNG\r\n\x1A\n") && head.big(8, 4) == 13 && head.has(12, "IHDR")) {
    return Picture{PictureKind::png, head.big(16, 4), head.big(20, 4)};
  }
  if (head.has(0, "GIF87a") || head.has(0, "GIF89a")) {
    return Picture{PictureKind::gif, head.little(6, 2), head.little(8, 2)};
  }
  return head.has(0, "RIFF") && head.has(8, "WEBP") ? webp_in(head) : std::nullopt;
}

// Bytes as people count them: "300 KB", "4 MB".
std::string bytes_shown(std::size_t bytes) {
  constexpr std::size_t kKilo = 1024;
  constexpr std::size_t kMega = kKilo * kKilo;
  return bytes < kMega
             ? fmt::format("{} KB", (bytes + kKilo - 1) / kKilo)
             : fmt::format(
                   "{:.3g} MB",
                   std::ceil(static_cast<double>(bytes) * 10 / static_cast<double>(kMega)) / 10);
}

// Takes in what a file holds; says why not.
std::string take_bytes(Photo& photo, PhotoFile file, std::size_t most) {
  if (file.bytes == nullptr) {
    return file.why_not.empty() ? "it cannot be read" : std::move(file.why_not);
  }
  if (file.bytes->size() > most) {
    return too_many_bytes(file.bytes->size(), most);
  }
  const std::optional<Picture> picture = picture_in(*file.bytes);
  if (!picture) {
    return std::string(kNoPicture);
  }
  photo.bytes = std::move(file.bytes);
  photo.picture = *picture;
  return {};
}

Diagnostic not_shown(const Record& record, const Photo& photo, std::string hint) {
  const auto number = static_cast<std::size_t>(&photo - record.photos.data());
  Diagnostic d;
  d.severity = Severity::warning;
  d.code = kPhotoNotShown;
  d.source = record.source;
  d.line = photo.line == 0 ? record.line : photo.line;
  d.column = photo.column;
  d.pointer = fmt::format("{}/{}", spec(Field::photos).pointer, number);
  const std::string named =
      photo.name.empty() ? std::string() : fmt::format("\"{}\", and ", utf8::harmless(photo.name));
  d.message = fmt::format("is {}not shown: {}", named, photo.not_shown);
  d.hint = std::move(hint);
  return d;
}

}  // namespace

std::string_view name(PictureKind kind) { return kPictureKinds[idx(kind)].name; }
std::string_view media_type(PictureKind kind) { return kPictureKinds[idx(kind)].media_type; }

std::optional<Picture> picture_in(std::string_view bytes) {
  constexpr std::uint32_t kMostWide = 30'000;
  const std::optional<Picture> found = picture_of(Head(bytes));
  const bool sane = found && found->width > 0 && found->height > 0 && found->width <= kMostWide &&
                    found->height <= kMostWide &&
                    std::size_t{found->width} * found->height <= kMaxPixels;
  return sane ? found : std::nullopt;
}

std::string too_many_bytes(std::size_t bytes, std::size_t most) {
  return fmt::format("{}, and a picture may have {}", bytes_shown(bytes), bytes_shown(most));
}

bool is_photo_name(std::string_view name) {
  const auto letter = [](char c) { return (c | 0x20) >= 'a' && (c | 0x20) <= 'z'; };
  const std::size_t colon = name.find(':');
  const bool address =
      colon != std::string_view::npos && letter(name.front()) &&
      std::ranges::all_of(name.substr(0, colon), [&](char c) {
        return letter(c) || (c >= '0' && c <= '9') || c == '+' || c == '.' || c == '-';
      });
  const bool strange = std::ranges::any_of(name, [](char c) {
    return c == '\\' || static_cast<unsigned char>(c) < 0x20 || c == '\x7F';
  });
  bool leads_away = false;
  for (std::string_view rest = name;;) {
    const std::size_t slash = rest.find('/');
    const std::string_view part = rest.substr(0, slash);
    leads_away = leads_away || part.empty() || part == "." || part == "..";
    if (slash == std::string_view::npos) {
      break;
    }
    rest.remove_prefix(slash + 1);
  }
  return !address && !strange && !leads_away;
}

std::optional<Photo> photo_inside(std::string_view uri) {
  constexpr std::string_view kEncoded = ";base64,";
  uri.remove_prefix(std::min(kPhotoInside.size(), uri.size()));
  const std::size_t comma = uri.find(kEncoded);
  const std::span<const KindOfPicture> kinds(kPictureKinds);
  const auto kind = std::ranges::find(kinds, uri.substr(0, comma), &KindOfPicture::media_type);
  if (comma == std::string_view::npos || kind == kinds.end()) {
    return std::nullopt;
  }
  const std::string_view digits = uri.substr(comma + kEncoded.size());
  std::optional<std::string> bytes = from_base64(digits);
  if (!bytes || digits.empty()) {
    return std::nullopt;
  }
  Photo photo;
  photo.not_shown = take_bytes(photo, {std::make_shared<const std::string>(*std::move(bytes)), {}},
                               kMaxPhotoInside);
  if (photo.bytes != nullptr && media_type(photo.picture.kind) != kind->media_type) {
    photo.not_shown =
        fmt::format("said to be {}, and is {}", kind->media_type, media_type(photo.picture.kind));
    photo.bytes.reset();
  }
  return photo;
}

std::vector<Diagnostic> hand_in_photos(
    History& unit, std::size_t& room,
    const std::function<PhotoFile(const Record&, const std::string& name)>& read) {
  std::vector<Diagnostic> warnings;
  std::size_t left = kMaxPhotosShown;
  for (std::size_t i = unit.records.size(); i-- > 0;) {  // the newest first
    Record& record = unit.records[i];
    for (Photo& photo : record.photos) {
      const bool inside = photo.name.empty();
      std::string hint;
      if (!inside && photo.bytes == nullptr) {
        PhotoFile file = read(record, photo.name);
        hint = std::move(file.hint);
        photo.not_shown = take_bytes(photo, std::move(file), kMaxPhotoFile);
      } else if (photo.bytes == nullptr) {
        continue;  // the reader has said why
      }
      const std::size_t size = photo.bytes == nullptr ? 0 : photo.bytes->size();
      // What a record holds is there already, and takes no room.
      if (size > left || (!inside && size > room)) {
        photo.bytes.reset();
        photo.not_shown = size > left
                              ? fmt::format("those before it are the {} that a report shows",
                                            bytes_shown(kMaxPhotosShown))
                              : "those before it are all that a page of many units shows";
      } else {
        left -= size;
        room -= inside ? 0 : size;
      }
      if (photo.bytes == nullptr) {
        warnings.push_back(not_shown(record, photo, std::move(hint)));
      }
    }
  }
  std::ranges::stable_sort(warnings, {}, [](const Diagnostic& d) {
    return std::tuple(d.source, d.line, d.column, d.pointer);
  });
  return warnings;
}

}  // namespace dryshaft
