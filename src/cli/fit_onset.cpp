// `dryshaft fit onset`: when leaks begin by a shop's own records, and how often to look.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <iterator>
#include <limits>
#include <memory>

#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "dryshaft/onset.hpp"

namespace dryshaft::cli {
namespace {

struct FitOnsetOptions {
  std::vector<std::string> records;
  std::optional<std::string> columns;
  std::optional<std::string> today;
  std::optional<std::string> accepted;
  std::optional<std::string> table;
  std::optional<std::string> over;
  std::string by;
  bool anonymous = false;
  std::vector<double> at;
  std::optional<std::string> prior;
  std::string format = "text";
  std::optional<std::string> out;
  DataOptions data;
};

class FittingOnset {
 public:
  explicit FittingOnset(const FitOnsetOptions& options) : o_(options) {}

  int run() {
    if (o_.table && !o_.records.empty()) {
      throw Stop{kUsage, "--table takes the place of records: give one of the two"};
    }
    if (o_.anonymous && o_.by.starts_with("x_")) {
      throw Stop{kUsage, "--anonymous goes without --by x_...: groups of your own have names"};
    }
    if (!o_.table && o_.over == "plain") {
      throw Stop{kUsage, "--over plain goes with --table: records tell km and years"};
    }
    if (o_.table && o_.columns) {
      throw Stop{kUsage, "--columns goes with records; a --table has columns of its own"};
    }
    if (o_.table && o_.accepted) {
      throw Stop{kUsage, "--accepted goes with records; a --table has none"};
    }
    if (o_.table && o_.today) {
      throw Stop{kUsage, "--today goes with records; a --table has no dates"};
    }
    Result<Knowledge> loaded = load(o_.data);
    if (!loaded.value) {
      return kRejected;
    }
    k_ = std::move(*loaded.value);
    const std::string axis = o_.over.value_or(o_.table ? "plain" : "km");
    axis_ = axis == "km" ? OnsetAxis::km : axis == "years" ? OnsetAxis::years : OnsetAxis::plain;
    check_by();
    std::optional<OnsetPriorWidths> widths;
    if (axis_ != OnsetAxis::plain) {
      Result<OnsetPriorWidths> read = load_onset_prior(prior_file());
      if (complain(read.diagnostics) || !read.value) {
        return kRejected;
      }
      widths = std::move(read.value);
    }
    const std::optional<OnsetData> data = o_.table ? table() : records();
    if (!data) {
      return kRejected;
    }
    OnsetOptions options = onset_options(k_, axis_, widths);
    options.distances = o_.at;
    std::ranges::sort(options.distances);
    OnsetSheet sheet;
    sheet.sources = sources_;
    sheet.rules_id = k_.id;
    sheet.rules_version = k_.version;
    sheet.rules_sha256 = k_.rules_sha256;
    sheet.families_sha256 = k_.families_sha256;
    if (widths) {
      sheet.prior_source =
          fmt::format("wear-out: {}; its width: {}",
                      shown(k_.causes[static_cast<std::size_t>(Cause::seal_leak)].source),
                      shown(widths->source));
    }
    sheet.cautions = k_.cautions_for(ActionRole::look_at_port);
    Progress progress;
    progress.say("fitting");
    sheet.report = fit_onset(*data, options, [&](std::size_t done, std::size_t of) {
      progress.at(done, of, "steps of the fit");
    });
    progress.end();
    if (o_.anonymous) {
      make_anonymous(sheet.report.data);
      sheet.sources.clear();
    }
    return finish(sheet);
  }

 private:
  void check_by() const {
    if (o_.table || o_.by.empty() || o_.by.starts_with("x_")) {
      return;
    }
    if (std::ranges::find(kOnsetGroups, o_.by) == std::end(kOnsetGroups)) {
      throw no_such("field to compare by", o_.by, "fields, besides those of your own (x_...)",
                    {std::begin(kOnsetGroups), std::end(kOnsetGroups)});
    }
  }

  [[nodiscard]] NamedText prior_file() const {
    return o_.prior ? text_file(*o_.prior) : shipped_file("onset/prior.json");
  }

  std::optional<OnsetData> table() {
    LineSource source(*o_.table);
    const std::string text = source.rest(kOnsetTable);
    if (!source.error().empty()) {
      complain({input_complaint(source)});
      return std::nullopt;
    }
    sources_.push_back(source.name());
    Result<OnsetData> read = read_onset_table(text, source.name(), axis_, o_.by);
    complain(read.diagnostics);
    return std::move(read.value);
  }

  std::optional<OnsetData> records() {
    const Result<ColumnMap> columns = load_columns(o_.columns);
    Accepted known(o_.accepted);
    if (!columns.value || !known.usable()) {
      return std::nullopt;
    }
    UnitsRead read = read_units(or_standard_input(o_.records), *columns.value, read_options(k_),
                                known, day_of("--today", o_.today));
    rejected_ = read.refused;
    sources_ = std::move(read.sources);
    if (read.histories.empty()) {
      return std::nullopt;  // the reader has said why
    }
    return onset_intervals(read.histories, k_, axis_, o_.by);
  }

  int finish(const OnsetSheet& sheet) {
    Output output(o_.out);
    if (o_.format == "json") {
      output.write(onset_to_json(sheet));
    } else if (o_.format == "html") {
      output.write(onset_to_html(sheet));
    } else if (o_.format == "markdown") {
      output.write(onset_to_markdown(sheet));
    } else {
      output.write(
          onset_to_text(sheet, {.colour = coloured(o_.out), .width = 80, .units = Units::km}));
    }
    const int written = output.finish();
    return written != kDone ? written : rejected_ ? kRejected : kDone;
  }

  const FitOnsetOptions& o_;
  Knowledge k_;
  OnsetAxis axis_ = OnsetAxis::km;
  std::vector<std::string> sources_;
  bool rejected_ = false;
};

}  // namespace

Run add_fit_onset(CLI::App& fit) {
  auto o = std::make_shared<FitOnsetOptions>();
  CLI::App* app = fit.add_subcommand("onset", "Find when leaks begin, and how often to check");
  app->add_option("RECORDS", o->records,
                  "Records of many inspections, or tables (.csv); - or no file: standard input");
  add_columns_option(*app, o->columns);
  add_today_option(*app, o->today);
  add_accepted_option(*app, o->accepted);
  app->add_option("--table", o->table,
                  "CSV of intervals instead of records: columns left,right,count; inf: no end")
      ->type_name("FILE");
  take_one_of(
      *app->add_option("--over", o->over,
                       "What leaks are counted over: the distance or the age of the seal, or "
                       "plain numbers of a table")
           ->type_name("WHAT")
           ->default_str("km, or plain for a table"),
      {"km", "years", "plain"});
  app->add_option("--by", o->by,
                  "Compare groups: family, vehicle, rotor_bearings, gear_bearings, a field x_... "
                  "of your own, or a column of the table")
      ->type_name("FIELD");
  app->add_flag("--anonymous", o->anonymous,
                "Without unit ids, file names and lines, to be given away");
  keep_in_range(
      *app->add_option("--at", o->at,
                       "Distance or age at which to give the probability of a leak; repeatable")
           ->allow_extra_args(false)
           ->type_name("NUMBER"),
      0, std::numeric_limits<double>::infinity(), true);
  app->add_option("--prior", o->prior,
                  "File with the spread of the estimate, in place of the shipped one")
      ->type_name("FILE");
  add_format_option(*app, o->format, {"text", "json", "markdown", "html"});
  add_out_option(*app, o->out);
  add_data_options(*app, o->data);
  add_examples(*app, {{"When leaks begin on the units of these records.",
                       "dryshaft fit onset examples/history-ten-years.jsonl"},
                      {"The same as a file, which assess and plan take with --onset.",
                       "dryshaft fit onset --format json --out onset.json records/*.jsonl"},
                      {"From a table of intervals in km.",
                       "dryshaft fit onset --table intervals.csv --over km"}});
  return [o] { return FittingOnset(*o).run(); };
}

}  // namespace dryshaft::cli
