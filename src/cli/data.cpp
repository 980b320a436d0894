// Finds and loads the rule data.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <filesystem>
#include <iterator>

#include "cli/cli.hpp"
#include "dryshaft/onset.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

namespace fs = std::filesystem;

// Beside an installed program; where it was built from only for one that was not installed: that
// folder may be anybody's on another machine.
// What cannot be found has no path.
fs::path found_data() {
  std::error_code ec;
  const fs::path program = fs::read_symlink("/proc/self/exe", ec);
  if (const fs::path installed = program.parent_path() / ".." / "share" / "dryshaft";
      fs::exists(installed / "rules" / "rules.json", ec)) {
    return fs::weakly_canonical(installed, ec);
  }
  if (fs::path source = DRYSHAFT_DATA_DIR;
      fs::equivalent(program.parent_path(), DRYSHAFT_BUILD_DIR, ec) &&
      fs::exists(source / "rules" / "rules.json", ec)) {
    return source;
  }
  return {};
}

fs::path shipped_data() {
  fs::path found = found_data();
  if (found.empty()) {
    throw Stop{kUsage,
               "the rule data that came with this program cannot be found: name its folder "
               "with --rules"};
  }
  return found;
}

std::vector<NamedText> json_files(const fs::path& folder) {
  const Result<std::vector<fs::path>> paths = data_files(folder);
  if (!paths.value) {
    const Diagnostic& why = paths.diagnostics.front();
    throw Stop{why.code == "no-folder" ? kUsage : kRejected, why.source + " " + why.message};
  }
  std::vector<NamedText> files;
  for (const fs::path& path : *paths.value) {
    files.push_back(text_file(path.string()));
  }
  return files;
}

// Rules that lie over the shipped ones come after them.
std::vector<NamedText> rule_files(const DataOptions& options) {
  std::vector<NamedText> own;
  if (options.rules) {
    own = json_files(*options.rules);
  }
  if (options.rules && rules_below(own).empty()) {
    return own;
  }
  std::vector<NamedText> all = json_files(shipped_data() / "rules");
  std::ranges::move(own, std::back_inserter(all));
  return all;
}

// Shipped families stay, save where a given file has the same name.
std::vector<NamedText> family_files(const DataOptions& options) {
  std::vector<NamedText> families;
  if (options.families) {
    families = json_files(*options.families);
  }
  std::ranges::move(not_taken(json_files(shipped_data() / "families"), families),
                    std::back_inserter(families));
  return families;
}

}  // namespace

void add_rules_option(CLI::App& app, const std::string& name, std::string_view description,
                      DataOptions& options) {
  const auto take = [name, &options](const std::vector<std::string>& given) {
    for (const std::string& path : given) {
      std::error_code ec;
      const bool file = fs::is_regular_file(path, ec);
      std::optional<std::string>& into = file ? options.overlay : options.rules;
      if (into) {
        throw Stop{kUsage, fmt::format("{} takes one folder and one overlay: {} and {} are both {}",
                                       name, *into, path, file ? "files" : "folders")};
      }
      into = path;
    }
  };
  app.add_option_function<std::vector<std::string>>(name, take, std::string(description))
      ->allow_extra_args(false)
      ->type_name("FOLDER|FILE");
}

void add_data_options(CLI::App& app, DataOptions& options) {
  add_rules_option(
      app, "--rules",
      "Rule folder instead of the shipped one or over it, or an overlay file; may be given once "
      "each",
      options);
  app.add_option(
         "--families", options.families,
         "Folder of family profiles of your own; each is added to the shipped ones, or replaces "
         "that of the same file name")
      ->type_name("FOLDER");
}

void add_onset_option(CLI::App& app, DataOptions& options) {
  app.add_option("--onset", options.onset,
                 "Use the leak statistics of your own records, from fit onset --format json")
      ->type_name("FILE");
}

std::optional<std::string> example_record() {
  const fs::path data = found_data();
  std::error_code ec;
  // An installation keeps its examples with its documents.
  for (const fs::path& folder : {data / "../examples", data / "../doc/dryshaft/examples"}) {
    const fs::path file = fs::weakly_canonical(folder / "film-caught-early.json", ec);
    if (!data.empty() && fs::exists(file, ec)) {
      const std::string near = fs::proximate(file, ec).string();
      return near.empty() || near.size() > file.string().size() ? file.string() : near;
    }
  }
  return std::nullopt;
}

std::string with_examples_found(std::string text) {
  constexpr std::string_view kNamed = " examples/";
  if (text.find(kNamed) == std::string::npos) {
    return text;
  }
  std::error_code ec;
  const std::optional<std::string> record = example_record();
  if (!record || fs::exists("examples", ec)) {
    return text;
  }
  const std::string found = " " + fs::path(*record).parent_path().string() + "/";
  for (std::size_t at = 0; (at = text.find(kNamed, at)) != std::string::npos; at += found.size()) {
    text.replace(at, kNamed.size(), found);
  }
  return text;
}

Result<Knowledge> load(const DataOptions& options) {
  Result<Knowledge> knowledge = load_knowledge(rule_files(options), family_files(options));
  complain(knowledge.diagnostics);
  if (knowledge.value && options.overlay) {
    knowledge = with_overlay(*knowledge.value, text_file(*options.overlay, kOverlayFile));
    complain(knowledge.diagnostics);
  }
  if (knowledge.value && options.onset) {
    std::vector<Diagnostic> complaints;
    if (!use_onset(*knowledge.value, text_file(*options.onset, kOnsetFile), complaints)) {
      knowledge.value.reset();
    }
    complain(complaints);
  }
  return knowledge;
}

FormPage own_data(const DataOptions& options) {
  return {.workshop = {},
          .rules = options.rules ? rule_files(options) : std::vector<NamedText>(),
          .families = options.families ? family_files(options) : std::vector<NamedText>()};
}

std::string page_of(const Sheet& sheet, const Grader& grader, Audience audience,
                    const DataOptions& options) {
  const bool to_write_on = sheet.body.find(" data-field=") != std::string::npos;
  if (!to_write_on || !pages_can_grade()) {
    return to_html(sheet);
  }
  const Form form =
      make_form(grader, audience == Audience::owner ? FormFor::owner : FormFor::technician);
  return fillable_html(sheet, form, own_data(options));
}

std::string adapted_by(const Knowledge& knowledge) {
  return knowledge.overlay ? fmt::format(", adapted to {} (overlay sha256 {})",
                                         words::count(knowledge.overlay->teardowns, "own teardown",
                                                      "own teardowns"),
                                         knowledge.overlay->sha256)
                           : std::string();
}

std::string rules_heading(const Knowledge& knowledge) {
  std::string out =
      folded("", 0,
             fmt::format("rules {} version {}, sha256 {}; families, sha256 {}", knowledge.id,
                         knowledge.version, knowledge.rules_sha256, knowledge.families_sha256));
  if (knowledge.overlay) {
    out += folded("", 0, adapted_by(knowledge).substr(2));
  }
  return out;
}

void add_guides_option(CLI::App& app, std::optional<std::string>& folder) {
  app.add_option(
         "--guides", folder,
         "Folder of guides of your own; each is added to the shipped ones, or replaces that of "
         "the same file name")
      ->type_name("FOLDER");
}

Result<Guides> load_guides(const DataOptions& options, const std::optional<std::string>& folder,
                           const Knowledge& knowledge) {
  std::vector<NamedText> own;
  std::error_code ec;
  if (folder) {
    own = json_files(*folder);
  } else if (options.rules) {
    const fs::path beside = fs::weakly_canonical(*options.rules, ec).parent_path() / "guides";
    if (fs::is_directory(beside, ec)) {
      own = json_files(beside);
    }
  }
  std::vector<NamedText> shipped = not_taken(json_files(shipped_data() / "guides"), own);
  std::vector<NamedText> borrowed;
  // Shipped guides go with shipped rules; to others they are lent.
  std::ranges::move(shipped, std::back_inserter(options.rules ? borrowed : own));
  Result<Guides> guides =
      dryshaft::load_guides(std::move(own), std::move(borrowed), family_files(options), knowledge);
  complain(guides.diagnostics);
  return guides;
}

NamedText text_file(const std::string& path, const FileKind& kind) {
  LineSource source(path);
  NamedText file{path, source.rest(kind)};
  if (!source.error().empty()) {
    throw Stop{kRejected, fmt::format("{} cannot be read: {}", file.name, source.error())};
  }
  return file;
}

NamedText shipped_file(std::string_view name) {
  return text_file((shipped_data() / name).string());
}

Result<WorkRules> load_work(const DataOptions& options, const std::optional<std::string>& folder,
                            const Knowledge& knowledge) {
  fs::path from = shipped_data() / "work";
  std::error_code ec;
  if (folder) {
    from = *folder;
  } else if (options.rules) {
    const fs::path beside = fs::weakly_canonical(*options.rules, ec).parent_path() / "work";
    from = fs::is_directory(beside, ec) ? beside : from;
  }
  Result<WorkRules> work = dryshaft::load_work(json_files(from), knowledge);
  complain(work.diagnostics);
  return work;
}

Stop no_such(std::string_view what, std::string_view wanted, std::string_view list,
             std::vector<std::string_view> known) {
  std::ranges::sort(known);
  return {kUsage, fmt::format("there is no {} \"{}\"{}; {}: {}", what, wanted,
                              did_you_mean(wanted, known, ", "), list, fmt::join(known, ", "))};
}

void check_names(const std::string& family, const std::string& vehicle,
                 const Knowledge& knowledge) {
  std::vector<std::string_view> families;
  for (const Family& f : knowledge.families) {
    families.emplace_back(f.id);
  }
  if (!family.empty() && std::ranges::find(families, family) == families.end()) {
    throw no_such("family", family, "families", families);
  }
  if (vehicle.empty()) {
    return;
  }
  if (family.empty()) {
    throw Stop{kUsage, "--vehicle goes with --family, the family of that vehicle"};
  }
  std::vector<std::string_view> vehicles;
  for (const VehicleProfile& v : knowledge.family(family).vehicles) {
    vehicles.emplace_back(v.id);
  }
  if (vehicles.empty()) {
    throw Stop{kUsage, fmt::format("the profile of family {} names no vehicle", family)};
  }
  if (std::ranges::find(vehicles, vehicle) == vehicles.end()) {
    throw no_such("vehicle", vehicle, fmt::format("vehicles of {}", family), vehicles);
  }
}

}  // namespace dryshaft::cli
