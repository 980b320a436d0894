// Photographs that records name, read from their files.
#ifndef DRYSHAFT_CLI_PHOTOS_HPP
#define DRYSHAFT_CLI_PHOTOS_HPP

#include <cstddef>
#include <functional>
#include <optional>
#include <string>

#include "dryshaft/photo.hpp"
#include "dryshaft/record.hpp"

namespace CLI {
class App;
}  // namespace CLI

namespace dryshaft::cli {

// Bytes of files on a page of many units.
inline constexpr std::size_t kMaxPhotosOnPage = std::size_t{64} << 20U;

void add_photos_option(CLI::App& app, std::optional<std::string>& folder);
// Throws Stop where the folder is none.
void check_photos(const std::optional<std::string>& folder);
bool has_photos(const History& unit);
// Reads a file in the folder; without one beside the record's own file, and below it.
std::function<PhotoFile(const Record&, const std::string& name)> photo_files(
    const std::optional<std::string>& folder);

}  // namespace dryshaft::cli

#endif
