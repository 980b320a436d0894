#include "cli/inputs.hpp"

#include <sys/stat.h>

#include <set>
#include <utility>

namespace dryshaft::cli {
namespace {

using FileId = std::pair<dev_t, ino_t>;

std::set<FileId>& files_read() {
  static std::set<FileId> files;
  return files;
}

}  // namespace

void is_input(int descriptor) {
  struct stat what {};
  if (fstat(descriptor, &what) == 0 && S_ISREG(what.st_mode)) {
    files_read().emplace(what.st_dev, what.st_ino);
  }
}

bool was_input(const std::string& path) {
  struct stat what {};
  return stat(path.c_str(), &what) == 0 && files_read().contains({what.st_dev, what.st_ino});
}

}  // namespace dryshaft::cli
