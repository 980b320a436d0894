// Ids of the rule data that is in use, for completions.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <iterator>

#include "cli/cli.hpp"
#include "dryshaft/guide.hpp"
#include "dryshaft/plan.hpp"

namespace dryshaft::cli {
namespace {

using IdsIn = std::vector<std::string> (*)(const IdsOptions&, const Knowledge&);

std::vector<std::string> families_in(const IdsOptions& /*options*/, const Knowledge& k) {
  std::vector<std::string> ids;
  std::ranges::transform(k.families, std::back_inserter(ids), &Family::id);
  return ids;
}

std::vector<std::string> vehicles_in(const IdsOptions& o, const Knowledge& k) {
  std::vector<std::string> ids;
  for (const Family& f : k.families) {
    if (o.family.empty() || o.family == f.id) {
      std::ranges::transform(f.vehicles, std::back_inserter(ids), &VehicleProfile::id);
    }
  }
  return ids;
}

std::vector<std::string> checks_in(const IdsOptions& o, const Knowledge& k) {
  const Result<Guides> guides = load_guides(o.data, o.guides, k);
  if (!guides.value) {
    return {};
  }
  const std::vector<std::string_view> ids = guide_checks(*guides.value, k, {.family = o.family});
  return {ids.begin(), ids.end()};
}

std::vector<std::string> job_sheets_in(const IdsOptions& o, const Knowledge& k) {
  std::vector<std::string> ids;
  if (const Result<WorkRules> work = load_work(o.data, o.work, k); work.value) {
    std::ranges::transform(work.value->options, std::back_inserter(ids), &PlanOptionRule::id);
  }
  return ids;
}

std::vector<std::string> rules_in(const IdsOptions& /*options*/, const Knowledge& k) {
  return rule_ids(k);
}

constexpr std::pair<std::string_view, IdsIn> kKindsOfIds[] = {{"families", families_in},
                                                              {"vehicles", vehicles_in},
                                                              {"checks", checks_in},
                                                              {"job-sheets", job_sheets_in},
                                                              {"rules", rules_in}};
constexpr std::string_view kGroupsAsIds = "groups";

}  // namespace

void add_ids_options(CLI::App& app, IdsOptions& options) {
  app.add_option("--ids", options.what, "Ids of a kind, a line each");
  app.add_option("--family", options.family, "Of this family");
  app.add_option("--work", options.work, "Folder of work data");
  add_data_options(app, options.data);
  add_guides_option(app, options.guides);
  for (const char* name : {"--ids", "--family", "--work", "--rules", "--families", "--guides"}) {
    app.get_option(name)->group("");
  }
}

std::string ids_of(const IdsOptions& options) {
  std::vector<std::string> ids;
  if (options.what == kGroupsAsIds) {
    ids.assign(std::begin(kOnsetGroups), std::end(kOnsetGroups));
  } else {
    const auto kind = std::ranges::find(kKindsOfIds, *options.what,
                                        [](const auto& k) { return std::string(k.first); });
    if (kind == std::end(kKindsOfIds)) {
      std::vector<std::string_view> known{kGroupsAsIds};
      std::ranges::transform(kKindsOfIds, std::back_inserter(known),
                             [](const auto& k) { return k.first; });
      throw no_such("kind of ids", *options.what, "kinds", known);
    }
    const Result<Knowledge> knowledge = load(options.data);
    if (!knowledge.value) {
      return {};
    }
    ids = kind->second(options, *knowledge.value);
  }
  std::ranges::sort(ids);
  ids.erase(std::unique(ids.begin(), ids.end()), ids.end());
  return fmt::format("{}\n", fmt::join(ids, "\n"));
}

}  // namespace dryshaft::cli
