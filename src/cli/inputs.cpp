#include "cli/inputs.hpp"

#include <sys/stat.h>

#include <map>
#include <utility>

namespace dryshaft::cli {
namespace {

using FileId = std::pair<dev_t, ino_t>;

// With the reason.
std::map<FileId, std::string_view>& kept() {
  static std::map<FileId, std::string_view> files;
  return files;
}

void keep(int descriptor, std::string_view why) {
  struct stat what {};
  if (fstat(descriptor, &what) == 0 && S_ISREG(what.st_mode)) {
    kept().emplace(FileId(what.st_dev, what.st_ino), why);
  }
}

}  // namespace

void is_input(int descriptor) { keep(descriptor, "it is an input, and would be lost"); }

void is_output(int descriptor) { keep(descriptor, "it has just been written, and would be lost"); }

std::string_view why_kept(const std::string& path) {
  struct stat what {};
  if (stat(path.c_str(), &what) != 0) {
    return {};
  }
  const auto found = kept().find({what.st_dev, what.st_ino});
  return found == kept().end() ? std::string_view() : found->second;
}

}  // namespace dryshaft::cli
