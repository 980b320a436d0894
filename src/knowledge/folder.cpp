// Folders of data, read from disk.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstddef>
#include <fstream>
#include <system_error>
#include <utility>

#include "dryshaft/knowledge.hpp"

namespace dryshaft {
namespace {

namespace fs = std::filesystem;

Diagnostic complaint(const fs::path& about, std::string_view code, std::string message) {
  Diagnostic d;
  d.code = code;
  d.source = about.string();
  d.message = std::move(message);
  return d;
}

Diagnostic unreadable(const fs::path& about, const std::error_code& why) {
  return complaint(about, "no-input", "cannot be read: " + why.message());
}

}  // namespace

Result<std::vector<fs::path>> data_files(const fs::path& folder) {
  std::error_code ec;
  if (!fs::is_directory(folder, ec)) {
    return {{}, {complaint(folder, "no-folder", "is not a folder")}};
  }
  std::vector<fs::path> paths;
  std::vector<std::string> others;
  for (fs::directory_iterator entry(folder, ec); !ec && entry != fs::directory_iterator();
       entry.increment(ec)) {
    const std::string name = entry->path().filename().string();
    if (name.starts_with('.')) {
      continue;
    }
    // A pipe or a device is never opened: it could be waited for without end.
    std::error_code of_entry;
    if (entry->path().extension() == ".json" && entry->is_regular_file(of_entry)) {
      paths.push_back(entry->path());
    } else {
      others.push_back(name);
    }
  }
  if (ec) {
    return {{}, {unreadable(folder, ec)}};
  }
  if (!others.empty()) {
    std::ranges::sort(others);
    return {{},
            {complaint(folder, "not-data",
                       fmt::format("holds what is no .json file: {}; take it out, so that nothing "
                                   "is taken for a rule that is none",
                                   fmt::join(others, ", ")))}};
  }
  if (paths.empty()) {
    return {{}, {complaint(folder, "no-folder", "holds no .json file")}};
  }
  std::ranges::sort(paths);
  return {std::move(paths), {}};
}

Result<std::vector<NamedText>> read_folder(const fs::path& folder) {
  Result<std::vector<fs::path>> paths = data_files(folder);
  Result<std::vector<NamedText>> read{{}, std::move(paths.diagnostics)};
  if (!paths.value) {
    return read;
  }
  std::vector<NamedText> files;
  for (const fs::path& path : *paths.value) {
    std::string& text = files.emplace_back(NamedText{path.string(), {}}).text;
    errno = 0;
    std::ifstream in(path, std::ios::binary);
    std::array<char, std::size_t{1} << 14U> part;
    do {
      in.read(part.data(), part.size());
      text.append(part.data(), static_cast<std::size_t>(in.gcount()));
    } while (in.good());
    if (!in.eof()) {
      read.diagnostics.push_back(unreadable(path, {errno, std::generic_category()}));
    }
  }
  if (read.diagnostics.empty()) {
    read.value = std::move(files);
  }
  return read;
}

std::vector<NamedText> not_taken(std::vector<NamedText> shipped,
                                 const std::vector<NamedText>& own) {
  const auto base = [](const NamedText& f) { return fs::path(f.name).filename(); };
  std::erase_if(shipped, [&](const NamedText& f) {
    return std::ranges::find(own, base(f), base) != own.end();
  });
  return shipped;
}

}  // namespace dryshaft
