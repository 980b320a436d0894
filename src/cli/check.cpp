#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "cli/cli.hpp"
#include "cli/photos.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

struct CheckOptions {
  std::vector<std::string> files;
  DataOptions data;
  std::optional<std::string> guides;
  std::optional<std::string> columns;
  std::optional<std::string> today;
  std::optional<std::string> photos;
};

int check_files(const CheckOptions& o) {
  const std::optional<int> today = day_of("--today", o.today);
  check_photos(o.photos);
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
  output.write(folded(
      "", 0,
      fmt::format("rules {} version {}{}: {} causes, {} links, {} floors, {} actions, {} cautions, "
                  "{} families, {} procedures: {}",
                  k.id, k.version, adapted_by(k), k.causes.size(), k.links.size(), k.floors.size(),
                  k.actions.size(), k.cautions.size(), k.families.size(),
                  guides.value->common.procedures.size(),
                  k.unsafe.empty() ? "no error" : "not safe, as said above")));
  std::vector<std::string> files = o.files;
  if (files.empty() && !o.data.rules && !o.data.overlay && !o.data.families && !o.guides) {
    files.emplace_back("-");
  }
  UnitsRead read = read_units(files, *columns.value, read_options(k), today);
  for (History& unit : read.histories) {
    if (has_photos(unit)) {
      std::size_t room = kMaxPhotosShown;
      (void)complain(hand_in_photos(unit, room, photo_files(o.photos)));
      unit.records.clear();  // and the pictures with them
    }
  }
  if (!files.empty()) {
    output.write(fmt::format("records: {} good, {}{} rejected; {}\n", read.records,
                             read.rejected_at_least ? "at least " : "", read.rejected,
                             words::count(read.histories.size(), "unit", "units")));
  }
  const int written = output.finish();
  return written != kDone ? written : (read.refused || !k.unsafe.empty() ? kRejected : kDone);
}

}  // namespace

Run add_check(CLI::App& parent) {
  auto o = std::make_shared<CheckOptions>();
  CLI::App* app = parent.add_subcommand(
      "check", "Validate records, rule data, family profiles and guides; grade nothing");
  app->add_option("FILE", o->files,
                  "Records, or a table (.csv); - or no file and no folder: standard input");
  add_columns_option(*app, o->columns);
  add_today_option(*app, o->today);
  add_photos_option(*app, o->photos);
  add_data_options(*app, o->data);
  add_guides_option(*app, o->guides);
  add_examples(*app,
               {{"Say what is wrong in a record, by line and column.",
                 "dryshaft check examples/film-caught-early.json"},
                {"The same for a table of your own, whose titles a file explains.",
                 "dryshaft check --columns examples/shelf-list.columns examples/shelf-list.csv"}});
  return [o] { return check_files(*o); };
}

}  // namespace dryshaft::cli
