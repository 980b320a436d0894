// Finds and loads the rule data.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <filesystem>

#include "cli/cli.hpp"

namespace dryshaft::cli {
namespace {

namespace fs = std::filesystem;

// Beside an installed program, else where it was built from.
fs::path shipped_data() {
  std::error_code ec;
  const fs::path program = fs::read_symlink("/proc/self/exe", ec);
  if (const fs::path installed = program.parent_path() / ".." / "share" / "dryshaft";
      fs::exists(installed / "rules" / "rules.json", ec)) {
    return fs::weakly_canonical(installed, ec);
  }
  if (fs::path source = DRYSHAFT_DATA_DIR; fs::exists(source / "rules" / "rules.json", ec)) {
    return source;
  }
  throw Stop{kUsage,
             "the rule data that came with this program cannot be found: name its folder "
             "with --rules"};
}

std::vector<NamedText> json_files(const fs::path& folder) {
  std::error_code ec;
  if (!fs::is_directory(folder, ec)) {
    throw Stop{kUsage, fmt::format("{} is not a folder", folder.string())};
  }
  std::vector<fs::path> paths;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, ec)) {
    if (entry.path().extension() == ".json") {
      paths.push_back(entry.path());
    }
  }
  std::ranges::sort(paths);
  std::vector<NamedText> files;
  for (const fs::path& path : paths) {
    LineSource source(path.string());
    NamedText file{path.string(), source.rest()};
    if (!source.error().empty()) {
      throw Stop{kUsage, fmt::format("{} cannot be read: {}", file.name, source.error())};
    }
    files.push_back(std::move(file));
  }
  return files;
}

}  // namespace

void add_data_options(CLI::App& app, DataOptions& options) {
  app.add_option("--rules", options.rules, "Folder with rule data to use instead of the shipped")
      ->type_name("DIR");
  app.add_option("--families", options.families,
                 "Folder with family profiles; they come before shipped ones of the same id")
      ->type_name("DIR");
}

Result<Knowledge> load(const DataOptions& options) {
  std::vector<NamedText> rules =
      json_files(options.rules ? fs::path(*options.rules) : shipped_data() / "rules");
  std::vector<NamedText> families;
  if (options.families) {
    families = json_files(*options.families);
  }
  // Shipped families stay, save where a given file has the same name.
  const auto base = [](const NamedText& f) { return fs::path(f.name).filename(); };
  for (NamedText& shipped : json_files(shipped_data() / "families")) {
    if (std::ranges::find(families, base(shipped), base) == families.end()) {
      families.push_back(std::move(shipped));
    }
  }
  Result<Knowledge> knowledge = load_knowledge(std::move(rules), std::move(families));
  complain(knowledge.diagnostics);
  return knowledge;
}

ReadOptions read_options(const Knowledge& knowledge) {
  ReadOptions options;
  for (const Family& f : knowledge.families) {
    std::vector<std::string> vehicles;
    for (const VehicleProfile& v : f.vehicles) {
      vehicles.push_back(v.id);
    }
    options.families.emplace_back(f.id, std::move(vehicles));
  }
  return options;
}

}  // namespace dryshaft::cli
