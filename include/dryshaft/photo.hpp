/// Photographs that records name or hold. They are shown in reports and never judged.
///
/// The library reads no files: whoever has those that a record names hands them in
/// (`hand_in_photos`). What stands in a record itself, as a page saves it, the reader has read.
#ifndef DRYSHAFT_PHOTO_HPP
#define DRYSHAFT_PHOTO_HPP

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"

namespace dryshaft {

struct History;
struct Record;

/// Pictures that every browser shows, and that hold nothing to be run.
enum class PictureKind : std::uint8_t { jpeg, png, webp, gif };
/// "JPEG", and "image/jpeg" (RFC 2046, 2083, 9649).
std::string_view name(PictureKind kind);
std::string_view media_type(PictureKind kind);

struct Picture {
  PictureKind kind = PictureKind::jpeg;
  std::uint32_t width = 0;  ///< pixels, as its head says
  std::uint32_t height = 0;
};

/// What some bytes are by their first ones and their head, whatever they are called. Nothing: no
/// such picture, or one without a size, or with more than `kMaxPixels`. Sources: ITU-T T.81,
/// annex B; W3C PNG, section 11.2; RFC 9649; GIF89a specification (from memory).
std::optional<Picture> picture_in(std::string_view bytes);

inline constexpr std::size_t kMaxPixels = 64'000'000;
/// Bytes of one that stands in a record; of one in a file; and of all that a report shows.
inline constexpr std::size_t kMaxPhotoInside = std::size_t{300} << 10U;
inline constexpr std::size_t kMaxPhotoFile = std::size_t{4} << 20U;
inline constexpr std::size_t kMaxPhotosShown = std::size_t{12} << 20U;

/// One of a record.
struct Photo {
  std::string name;  ///< of its file; empty: it stands in the record itself
  std::shared_ptr<const std::string> bytes = {};  ///< null: not known, or not to be shown
  Picture picture = {};                           ///< what they are
  std::string not_shown = {};                     ///< why it is not, if that is known
  std::uint32_t line = 0;                         ///< where the record names it
  std::uint32_t column = 0;
};

/// The code of warnings about those that are named and cannot be shown.
inline constexpr std::string_view kPhotoNotShown = "photo-not-shown";

/// What became of a file.
struct PhotoFile {
  std::shared_ptr<const std::string> bytes = {};  ///< null: it could not be had
  std::string why_not = {};                       ///< in a few words, as reports say it
  std::string hint = {};                          ///< for the warning
};

/// Hands in the files that a unit's records name, newest record first, as far as a report may show
/// them and `room` bytes are left, from which what is taken is taken off. Each that cannot be shown
/// gets a warning at its place, says so itself, and stays named.
std::vector<Diagnostic> hand_in_photos(
    History& unit, std::size_t& room,
    const std::function<PhotoFile(const Record&, const std::string& name)>& read);

}  // namespace dryshaft

#endif
