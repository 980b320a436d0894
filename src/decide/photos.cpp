#include "decide/photos.hpp"

#include <fmt/format.h>

#include <cstddef>
#include <string>
#include <string_view>

#include "record/look.hpp"

namespace dryshaft {
namespace {

// "a film of liquid, coolant, light rust": what the record says of the port.
std::string port_in_words(const Record& record) {
  constexpr Field kSeen[] = {Field::port_fluid, Field::port_fluid_kind, Field::port_dried_residue,
                             Field::port_corrosion, Field::port_debris};
  std::string words;
  for (const Field field : kSeen) {
    const FieldSpec& row = spec(field);
    if (!record.has(field)) {
      continue;
    }
    const std::uint16_t code = record.at(field).code;
    const bool flag = row.type == FieldType::flag;
    words += fmt::format("{}{}{}", words.empty() ? "" : ", ", flag && code == 0 ? "no " : "",
                         flag ? row.title : row.choices[code].plain);
  }
  return words;
}

std::string name_of(const Photo& photo, std::size_t number) {
  if (!photo.name.empty()) {
    return photo.name;
  }
  const std::string kind = photo.bytes == nullptr
                               ? std::string()
                               : fmt::format(" ({}, {} x {})", name(photo.picture.kind),
                                             photo.picture.width, photo.picture.height);
  return fmt::format("photograph {}{}", number, kind);
}

}  // namespace

std::vector<PhotoShown> photos_of(const History& history) {
  std::vector<PhotoShown> shown;
  for (std::size_t i = history.records.size(); i-- > 0;) {  // the newest first
    const Record& record = history.records[i];
    if (record.photos.empty()) {
      continue;
    }
    const std::string date = date_text(day_of(record));
    const std::string port = port_in_words(record);
    const std::string text = fmt::format(
        "Photograph of {}. {}", date,
        port.empty() ? std::string("The record does not say what was seen at the sensor port.")
                     : fmt::format("At the sensor port, by the record: {}.", port));
    std::size_t number = 0;
    for (const Photo& photo : record.photos) {
      shown.push_back({.name = name_of(photo, ++number),
                       .date = date,
                       .text = text,
                       .bytes = photo.bytes,
                       .picture = photo.picture,
                       .not_shown = photo.not_shown});
    }
  }
  return shown;
}

}  // namespace dryshaft
