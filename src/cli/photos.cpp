#include "cli/photos.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <memory>
#include <utility>

#include "base/utf8.hpp"
#include "cli/cli.hpp"
#include "record/photos.hpp"

namespace dryshaft::cli {
namespace {

class File {
 public:
  // Whatever else bears the name, such as a pipe, is not waited for.
  explicit File(const std::string& path)
      : descriptor_(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)) {}
  File(const File&) = delete;
  File& operator=(const File&) = delete;
  File(File&&) = delete;
  File& operator=(File&&) = delete;
  ~File() {
    if (descriptor_ >= 0) {
      ::close(descriptor_);
    }
  }
  [[nodiscard]] int descriptor() const { return descriptor_; }

 private:
  int descriptor_;
};

PhotoFile cannot_be_read(const std::string& path) {
  const int error = errno;
  return {{},
          error == ENOENT || error == ENOTDIR ? "no such file" : "it cannot be read",
          fmt::format("{}: {}; --photos says in which folder it is", utf8::harmless(path),
                      std::strerror(error))};
}

PhotoFile read_photo(const std::string& path) {
  const File file(path);
  struct stat what {};
  if (file.descriptor() < 0 || fstat(file.descriptor(), &what) != 0) {
    return cannot_be_read(path);
  }
  if (!S_ISREG(what.st_mode)) {
    return {{}, "it is no file", {}};
  }
  const auto size = static_cast<std::size_t>(what.st_size);
  if (size > kMaxPhotoFile) {
    return {{}, too_many_bytes(size, kMaxPhotoFile), "save the picture smaller"};
  }
  std::string bytes(size, '\0');
  std::size_t have = 0;
  while (have < size) {
    const ssize_t got = ::read(file.descriptor(), bytes.data() + have, size - have);
    if (got < 0 && errno == EINTR) {
      continue;
    }
    if (got < 0) {
      return cannot_be_read(path);
    }
    if (got == 0) {
      break;
    }
    have += static_cast<std::size_t>(got);
  }
  bytes.resize(have);
  return {std::make_shared<const std::string>(std::move(bytes)), {}, {}};
}

}  // namespace

void add_photos_option(CLI::App& app, std::optional<std::string>& folder) {
  app.add_option("--photos", folder,
                 "Where the photographs are that records name; without, beside the file of the "
                 "record")
      ->type_name("FOLDER");
}

void check_photos(const std::optional<std::string>& folder) {
  std::error_code failed;
  if (folder && !std::filesystem::is_directory(*folder, failed)) {
    throw Stop{kUsage, fmt::format("--photos: no such folder: {}", utf8::harmless(*folder))};
  }
}

bool has_photos(const History& unit) {
  return std::ranges::any_of(unit.records, [](const Record& r) { return !r.photos.empty(); });
}

std::function<PhotoFile(const Record&, const std::string& name)> photo_files(
    const std::optional<std::string>& folder) {
  return [&folder](const Record& record, const std::string& name) -> PhotoFile {
    if (!folder && record.source == "<stdin>") {
      return {{}, "no such file", "records from standard input have no folder: --photos names one"};
    }
    const std::filesystem::path place = folder ? std::filesystem::path(*folder)
                                               : std::filesystem::path(record.source).parent_path();
    return read_photo((place / name).string());
  };
}

}  // namespace dryshaft::cli
