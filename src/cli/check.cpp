#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "cli/photos.hpp"
#include "cli/summary.hpp"
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
  std::string format = "text";
  std::optional<std::string> accepted;
  std::optional<std::string> summary;
};

// A line for each rejected input alone, for `--accepted`.
constexpr std::string_view kLines = "jsonl";

int check_files(const CheckOptions& o) {
  const std::optional<int> today = day_of("--today", o.today);
  check_photos(o.photos);
  Summary summary("check", o.summary);
  const auto no_data = [&] {
    summary.because(kRejected, std::string(kWhyData));
    return summary.finish();
  };
  Accepted known(o.accepted);
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value || !known.usable()) {
    return no_data();
  }
  const Knowledge& k = *knowledge.value;
  const Result<Guides> guides = load_guides(o.data, o.guides, k);
  const Result<ColumnMap> columns = load_columns(o.columns);
  if (!guides.value || !columns.value) {
    return no_data();
  }
  const bool lines = o.format == kLines;
  Output output(std::nullopt);
  output.write(
      lines ? ""
            : folded("", 0,
                     fmt::format("rules {} version {}{}: {} causes, {} links, {} floors, {} "
                                 "actions, {} cautions, "
                                 "{} families, {} procedures: {}",
                                 k.id, k.version, adapted_by(k), k.causes.size(), k.links.size(),
                                 k.floors.size(), k.actions.size(), k.cautions.size(),
                                 k.families.size(), guides.value->common.procedures.size(),
                                 k.unsafe.empty() ? "no error" : "not safe, as said above")));
  std::vector<std::string> files = o.files;
  if (files.empty() && !o.data.rules && !o.data.overlay && !o.data.families && !o.guides) {
    files.emplace_back("-");
  }
  ReadOptions reading = read_options(k);
  reading.list_all = lines;
  UnitsRead read = read_units(files, *columns.value, reading, known, today);
  for (History& unit : read.histories) {
    if (has_photos(unit)) {
      std::size_t room = kMaxPhotosShown;
      (void)complain(hand_in_photos(unit, room, photo_files(o.photos)));
      unit.records.clear();  // and the pictures with them
    }
  }
  if (lines) {
    output.write(accepted_lines(read.complaints));
  } else if (!files.empty()) {
    output.write(fmt::format("records: {} good, {}{} rejected{}; {}\n", read.records,
                             read.rejected_at_least ? "at least " : "", read.rejected,
                             read.accepted > 0 ? fmt::format(", {} accepted", read.accepted) : "",
                             words::count(read.histories.size(), "unit", "units")));
  }
  summary.count(read);
  summary.because(read.refused ? kRejected : kDone, std::string(kWhyRejected));
  summary.because(output.finish(), std::string(kWhyOutput));
  summary.because(k.unsafe.empty() ? kDone : kRejected, "the rules are not safe");
  return summary.finish();
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
  add_format_option(*app, o->format, {"text", std::string(kLines)});
  add_accepted_option(*app, o->accepted);
  add_summary_option(*app, o->summary);
  add_data_options(*app, o->data);
  add_guides_option(*app, o->guides);
  add_examples(*app,
               {{"Say what is wrong in a record, by line and column.",
                 "dryshaft check examples/film-caught-early.json"},
                {"The same for a table of your own, whose titles a file explains.",
                 "dryshaft check --columns examples/shelf-list.columns examples/shelf-list.csv"},
                {"A line for each rejected record, to be completed for --accepted.",
                 "dryshaft check --format jsonl examples/intake.jsonl"}});
  return [o] { return check_files(*o); };
}

}  // namespace dryshaft::cli
