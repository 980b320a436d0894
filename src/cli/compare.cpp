// `dryshaft compare`: two files of reports, or one set of records judged twice.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <utility>

#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "dryshaft/compare.hpp"
#include "record/look.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

// What holds for one side alone; the rest it has from what holds for both.
struct SideOptions {
  DataOptions data;
  std::optional<std::string> today;

  [[nodiscard]] bool given() const {
    return data.rules || data.overlay || data.families || data.onset || today;
  }
};

struct CompareOptions {
  std::vector<std::string> files;
  std::optional<std::string> columns;
  std::optional<std::string> accepted;
  std::string format = "text";
  std::optional<std::string> units;
  std::optional<std::string> out;
  bool fail_on_worse = false;
  std::optional<std::string> today;
  DataOptions data;
  SideOptions before;
  SideOptions after;
};

class Comparing {
 public:
  explicit Comparing(const CompareOptions& options) : o_(options) {}

  int run() {
    const bool twice = o_.before.given() || o_.after.given();
    if (!twice) {
      check_two();
    }
    const std::optional<Changes> changes = twice ? of_records() : of_reports();
    if (!changes) {
      return kRejected;
    }
    Output output(o_.out);
    output.write(shown(*changes));
    const int written = output.finish();
    return written != kDone                       ? written
           : rejected_                            ? kRejected
           : o_.fail_on_worse && changes->fails() ? kFailOn
                                                  : kDone;
  }

 private:
  void check_two() const {
    if (o_.files.size() != 2) {
      throw Stop{kUsage,
                 "compare takes two files of reports, or records with --old-... or --new-... "
                 "options"};
    }
    if (o_.today || o_.columns || o_.accepted || o_.data.rules || o_.data.overlay ||
        o_.data.families || o_.data.onset) {
      throw Stop{kUsage,
                 "reports are compared as they are: options for judging go with records, and "
                 "--old-... or --new-..."};
    }
    if (is_table(o_.files[0]) != is_table(o_.files[1])) {
      throw Stop{kUsage,
                 "a table of reports holds less than JSON: compare two tables, or two files of "
                 "JSON"};
    }
  }

  // ---------------------------------------------------------------- reports

  std::optional<Changes> of_reports() {
    std::vector<Report> sides[2];
    for (std::size_t i = 0; i < 2; ++i) {
      LineSource source(o_.files[i]);
      const std::string text = source.rest(kReportsFile);
      if (!source.error().empty()) {
        complain({input_complaint(source)});
        return std::nullopt;
      }
      Result<std::vector<Report>> read = is_table(o_.files[i])
                                             ? read_report_table(text, source.name())
                                             : read_reports(text, source.name());
      rejected_ = complain(read.diagnostics) || rejected_;
      sides[i] = std::move(*read.value);
    }
    Changes changes = compare(sides[0], sides[1]);
    changes.before.name = o_.files[0];
    changes.after.name = o_.files[1];
    return changes;
  }

  // ---------------------------------------------------------------- records

  std::optional<Changes> of_records() {
    std::optional<Side> before = side_of(o_.before, "--old-today");
    std::optional<Side> after = before ? side_of(o_.after, "--new-today") : std::nullopt;
    const Result<ColumnMap> columns = load_columns(o_.columns);
    Accepted known(o_.accepted);
    if (!before || !after || !columns.value || !known.usable()) {
      return std::nullopt;
    }
    const std::optional<int> days[] = {before->options.today, after->options.today};
    const std::optional<int> last = days[0] && days[1] ? std::max(days[0], days[1]) : std::nullopt;
    UnitsRead read =
        read_units(o_.files, *columns.value, families_of(*before, *after), known, last);
    rejected_ = read.refused;
    for (Side* side : {&*before, &*after}) {
      if (!side->options.today) {
        side->options.today = newest_date(read.histories);
      } else {
        tell_of_later(read.histories, *side->options.today);
      }
    }
    Progress progress;
    Changes changes =
        compare(read.histories, *before, *after,
                [&](std::size_t done, std::size_t of) { progress.at(done, of, "reports"); });
    progress.end();
    return changes;
  }

  std::optional<Side> side_of(const SideOptions& own, std::string_view option) const {
    DataOptions data = o_.data;
    data.rules = own.data.rules ? own.data.rules : data.rules;
    data.overlay = own.data.overlay ? own.data.overlay : data.overlay;
    data.families = own.data.families ? own.data.families : data.families;
    data.onset = own.data.onset ? own.data.onset : data.onset;
    const std::optional<int> day =
        own.today ? day_of(option, own.today) : day_of("--today", o_.today);
    Result<Knowledge> knowledge = load(data);
    if (!knowledge.value) {
      return std::nullopt;
    }
    std::vector<std::string> name = {data.rules.value_or("shipped rules")};
    for (const auto& part : {data.overlay, data.families, data.onset}) {
      if (part) {
        name.push_back(*part);
      }
    }
    return Side{Grader(std::move(*knowledge.value)), AssessOptions{.today = day},
                fmt::format("{}", fmt::join(name, ", "))};
  }

  // What one of them knows is no error.
  static ReadOptions families_of(const Side& before, const Side& after) {
    ReadOptions out = after.grader.read_options();
    for (const auto& [family, vehicles] : before.grader.read_options().families) {
      const auto other = std::ranges::find(
          out.families, family, [](const auto& f) -> const std::string& { return f.first; });
      if (other == out.families.end()) {
        out.families.emplace_back(family, vehicles);
      } else if (!vehicles.empty() && !other->second.empty()) {
        std::ranges::copy(vehicles, std::back_inserter(other->second));
      } else {
        other->second.clear();
      }
    }
    return out;
  }

  static void tell_of_later(const std::vector<History>& histories, int day) {
    std::size_t later = 0;
    for (const History& h : histories) {
      later += static_cast<std::size_t>(std::ranges::count_if(
          h.records, [day](const Record& r) { return dryshaft::day_of(r) > day; }));
    }
    if (later > 0) {
      warn(
          fmt::format("dryshaft: {} dated after {}: as of that day, only what {} for the worse "
                      "counts\n",
                      words::count(later, "record is", "records are"), date_text(day),
                      later == 1 ? "it says" : "they say"));
    }
  }

  [[nodiscard]] std::string shown(const Changes& changes) const {
    if (o_.format == "json") {
      return changes_to_json(changes);
    }
    if (o_.format == "csv") {
      return changes_to_csv(changes);
    }
    if (o_.format == "html") {
      return changes_to_html(changes, units_of(o_.units));
    }
    if (o_.format == "markdown") {
      return changes_to_markdown(changes, units_of(o_.units));
    }
    return changes_to_text(changes,
                           {.colour = coloured(o_.out), .width = 80, .units = units_of(o_.units)});
  }

  const CompareOptions& o_;
  bool rejected_ = false;
};

void add_side_options(CLI::App& app, const std::string& side, const std::string& which,
                      SideOptions& options) {
  add_rules_option(app, "--" + side + "-rules", "As --rules, for the " + which + " side alone",
                   options.data);
  app.add_option("--" + side + "-families", options.data.families,
                 "As --families, for the " + which + " side alone")
      ->type_name("FOLDER");
  app.add_option("--" + side + "-onset", options.data.onset,
                 "As --onset, for the " + which + " side alone")
      ->type_name("FILE");
  app.add_option("--" + side + "-today", options.today,
                 "As --today, for the " + which + " side alone")
      ->type_name("DATE");
}

}  // namespace

Run add_compare(CLI::App& parent) {
  auto o = std::make_shared<CompareOptions>();
  CLI::App* app =
      parent.add_subcommand("compare", "Say whose grade, first action or dates moved, and by what");
  app->add_option("FILE", o->files,
                  "Two files of reports, the older first (assess --format json, jsonl or csv); or "
                  "records, to be judged twice")
      ->required();
  add_side_options(*app, "old", "first", o->before);
  add_side_options(*app, "new", "second", o->after);
  add_columns_option(*app, o->columns);
  add_today_option(*app, o->today, "the newest date in the input");
  add_accepted_option(*app, o->accepted);
  add_format_option(*app, o->format, {"text", "json", "markdown", "html", "csv"});
  add_out_option(*app, o->out);
  app->add_flag("--fail-on-worse", o->fail_on_worse,
                "Exit with code 1 where a grade got worse, or a unit is new and not graded A or B");
  add_units_option(*app, o->units);
  add_onset_option(*app, o->data);
  add_data_options(*app, o->data);
  add_examples(*app, {{"What moved between two runs, by the reports that were kept.",
                       "dryshaft compare last-week.jsonl this-week.jsonl"},
                      {"What rules of your own would move, and which of them does.",
                       "dryshaft compare --new-rules my-rules records/*.jsonl"},
                      {"What becomes due by a day, with no new record.",
                       "dryshaft compare --new-today 2026-12-31 examples/intake.jsonl"}});
  return [o] { return Comparing(*o).run(); };
}

}  // namespace dryshaft::cli
