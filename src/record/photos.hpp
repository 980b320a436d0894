// What stands for a photograph in a record: the name of a file, or the picture itself.
#ifndef DRYSHAFT_RECORD_PHOTOS_HPP
#define DRYSHAFT_RECORD_PHOTOS_HPP

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

#include "dryshaft/photo.hpp"

namespace dryshaft {

// A name leads to a file beside the record or below: relative, with / between folders, and no
// address. The same as a regular expression for the schema, and for people.
bool is_photo_name(std::string_view name);
inline constexpr std::string_view kPhotoNamePattern =
    R"(^(?![A-Za-z][A-Za-z0-9+.-]*:)(?!([^/]*/)*\.{0,2}(/|$))[^\\\u0000-\u001F\u007F]+$)";
inline constexpr std::string_view kPhotoNameAllowed =
    "the name of a file beside the record or in a folder there, as in tip.jpg; or a picture as "
    "data:image/jpeg;base64,...";

// A picture as a data URI (RFC 2397) of one of the kinds, in base64; nothing where it is no such
// text. What holds no picture, or too large a one, says so in `not_shown`.
std::optional<Photo> photo_inside(std::string_view uri);
inline constexpr std::string_view kPhotoInsidePattern =
    "^data:image/(jpeg|png|webp|gif);base64,"
    "([A-Za-z0-9+/]{4})*([A-Za-z0-9+/]{4}|[A-Za-z0-9+/]{3}=|[A-Za-z0-9+/]{2}==)$";

// "5.1 MB, and a picture may have 4 MB".
std::string too_many_bytes(std::size_t bytes, std::size_t most);

}  // namespace dryshaft

#endif
