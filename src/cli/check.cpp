#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "cli/cli.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

struct CheckOptions {
  std::vector<std::string> files;
  DataOptions data;
  std::optional<std::string> guides;
  std::optional<std::string> columns;
};

int check_files(const CheckOptions& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Knowledge& k = *knowledge.value;
  const Result<Guides> guides = load_guides(o.data, o.guides, k);
  if (!guides.value) {
    return kRejected;
  }
  const Result<ColumnMap> columns = load_columns(o.columns);
  if (!columns.value) {
    return kRejected;
  }
  Output output(std::nullopt);
  output.write(
      fmt::format("rules {} version {}{}: {} causes, {} links, {} floors, {} actions, {} cautions, "
                  "{} families, "
                  "{} procedures: no error\n",
                  k.id, k.version, adapted_by(k), k.causes.size(), k.links.size(), k.floors.size(),
                  k.actions.size(), k.cautions.size(), k.families.size(),
                  guides.value->common.procedures.size()));
  std::vector<std::string> files = o.files;
  if (files.empty() && !o.data.rules && !o.data.overlay && !o.data.families && !o.guides) {
    files.emplace_back("-");
  }
  std::vector<Record> records;
  std::size_t rejected = 0;
  bool bad = false;
  const auto take = [&](const std::vector<Diagnostic>& diagnostics) {
    bad = complain(diagnostics) || bad;
  };
  for (const std::string& path : files) {
    LineSource source(path);
    Records read = read_input(source, *columns.value, read_options(k));
    take(read.diagnostics);
    rejected += read.rejected;
    std::ranges::move(read.records, std::back_inserter(records));
  }
  const std::size_t good = records.size();
  const Result<std::vector<History>> grouped = group_by_unit(std::move(records));
  take(grouped.diagnostics);
  if (!files.empty()) {
    output.write(
        fmt::format("records: {} good, {} rejected; {}\n", good, rejected,
                    words::count(grouped.value ? grouped.value->size() : 0, "unit", "units")));
  }
  const int written = output.finish();
  return written != kDone ? written : (bad ? kRejected : kDone);
}

}  // namespace

Run add_check(CLI::App& parent) {
  auto o = std::make_shared<CheckOptions>();
  CLI::App* app = parent.add_subcommand(
      "check", "Validate records, rule data, family profiles and guides; grade nothing");
  app->add_option("FILE", o->files,
                  "Records, or a table (.csv); - or no file and no folder: standard input");
  add_columns_option(*app, o->columns);
  add_data_options(*app, o->data);
  add_guides_option(*app, o->guides);
  return [o] { return check_files(*o); };
}

}  // namespace dryshaft::cli
