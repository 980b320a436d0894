// `dryshaft plan`.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <iterator>
#include <memory>

#include "base/number.hpp"
#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "cli/parallel.hpp"
#include "dryshaft/plan.hpp"

namespace dryshaft::cli {
namespace {

struct PlanCommandOptions {
  std::vector<std::string> files;
  std::string prices;
  std::string horizon = "60000km";
  std::string audience = "technician";
  std::string format = "text";
  std::optional<std::string> units;
  std::optional<std::string> today;
  std::optional<std::string> job_sheet;
  std::optional<std::string> intake;
  std::optional<std::string> columns;
  std::optional<double> hours;
  std::optional<double> budget;
  std::optional<unsigned> jobs;
  std::optional<std::string> out;
  DataOptions data;
  std::optional<std::string> work;
  std::optional<std::string> accepted;
};

class PlanCommand {
 public:
  explicit PlanCommand(const PlanCommandOptions& options) : o_(options) {}

  int run() {
    plan_.audience = o_.audience == "owner" ? Audience::owner : Audience::technician;
    check_options();
    plan_.today = day_of("--today", o_.today);
    Accepted known(o_.accepted);
    Result<Knowledge> loaded = load(o_.data);
    if (!loaded.value || !known.usable()) {
      return kRejected;
    }
    const Grader grader(std::move(*loaded.value));
    const Knowledge& k = grader.knowledge();
    plan_.horizon_km = horizon(k);
    const Result<WorkRules> work = load_work(o_.data, o_.work, k);
    const Result<PriceBook> prices = price_book();
    if (!work.value || !prices.value) {
      return kRejected;
    }
    if (o_.job_sheet) {
      check_option(*work.value);
    }
    const Result<ColumnMap> columns = load_columns(o_.columns);
    if (!columns.value) {
      return kRejected;
    }
    UnitsRead read =
        read_units(o_.intake ? std::vector<std::string>{*o_.intake} : or_standard_input(o_.files),
                   *columns.value, grader.read_options(), known, plan_.today);
    const std::vector<History>& histories = read.histories;
    plan_.today = plan_.today ? plan_.today : newest_date(histories);
    Output output(o_.out);
    if (o_.intake) {
      yard(output, read, grader, *work.value, *prices.value);
    } else if (o_.job_sheet) {
      job_sheet(output, histories, grader, *work.value);
    } else {
      plans(output, histories, grader, *work.value, *prices.value);
    }
    const int written = output.finish();
    return written != kDone ? written : (read.refused ? kRejected : kDone);
  }

 private:
  void check_options() const {
    if (o_.intake ? !o_.files.empty() || o_.job_sheet || o_.audience == "owner"
                  : o_.hours || o_.budget || o_.format == "csv") {
      throw Stop{kUsage, o_.intake
                             ? "--intake stands without other records, a job sheet or an owner"
                             : "--hours, --budget and --format csv go with --intake FILE"};
    }
    if (o_.jobs && (o_.intake || o_.job_sheet)) {
      throw Stop{kUsage, "--jobs goes with plans of units"};
    }
    if (o_.hours && o_.budget) {
      throw Stop{kUsage, "the limit is --hours or --budget, not both"};
    }
    if (!o_.job_sheet) {
      if (o_.prices.empty()) {
        throw Stop{kUsage, "a plan needs --prices FILE"};
      }
      return;
    }
    if (o_.format == "json" || plan_.audience == Audience::owner) {
      throw Stop{kUsage, "a job sheet is text, markdown or html, and for a technician"};
    }
  }

  [[nodiscard]] Units in_units() const { return units_of(o_.units); }
  [[nodiscard]] TextStyle style() const {
    return {.colour = coloured(o_.out), .width = 80, .units = in_units()};
  }

  void plans(Output& output, const std::vector<History>& histories, const Grader& grader,
             const WorkRules& work, const PriceBook& prices) {
    std::vector<Plan> made(histories.size());
    Progress progress;
    std::atomic<std::size_t> done{0};
    in_parallel(made.size(), jobs_of(o_.jobs), [&](std::size_t i) {
      made[i] = make_plan(histories[i], grader, work, prices, plan_);
      progress.at(++done, made.size(), "units");
    });
    progress.end();
    if (o_.format == "html") {
      output.write(plans_to_html(made, in_units()));
      return;
    }
    bool first = true;
    for (const Plan& plan : made) {
      if (o_.format == "json") {
        output.write(to_json(plan));
        continue;
      }
      output.write(first ? "" : "\n");
      first = false;
      output.write(o_.format == "markdown" ? plan_to_markdown(plan, in_units())
                                           : plan_to_text(plan, style()));
    }
  }

  void yard(Output& output, UnitsRead& read, const Grader& grader, const WorkRules& work,
            const PriceBook& prices) const {
    Yard made = make_yard(read.histories, grader, work, prices,
                          {.hours = o_.hours, .money = o_.budget, .today = plan_.today});
    made.rejected = std::move(read.complaints);
    made.rejected_records = read.rejected;
    made.rejected_at_least = read.rejected_at_least;
    if (o_.format == "json") {
      output.write(to_json(made));
    } else if (o_.format == "csv") {
      output.write(to_csv(made));
    } else if (o_.format == "html") {
      output.write(yard_to_html(made, in_units()));
    } else {
      output.write(o_.format == "markdown" ? yard_to_markdown(made, in_units())
                                           : yard_to_text(made, style()));
    }
  }

  void check_option(const WorkRules& work) const {
    if (work.option(*o_.job_sheet) == nullptr) {
      std::vector<std::string_view> known;
      for (const PlanOptionRule& option : work.options) {
        known.emplace_back(option.id);
      }
      throw no_such("option", *o_.job_sheet, "options", std::move(known));
    }
  }

  void job_sheet(Output& output, const std::vector<History>& histories, const Grader& grader,
                 const WorkRules& work) const {
    if (histories.empty()) {
      return;
    }
    if (histories.size() != 1) {
      throw Stop{kUsage, "--job-sheet is for one unit"};
    }
    const History& unit = histories.front();
    const JobSheetRequest request{
        .option = *o_.job_sheet, .today = plan_.today, .units = in_units()};
    if (const std::vector<PlanReason> why = barred(unit, grader, work, request); !why.empty()) {
      throw Stop{kUsage, fmt::format("{} is not allowed for {}: {}", *o_.job_sheet, unit.unit_id,
                                     why.front().text)};
    }
    if (o_.format == "html") {
      output.write(page_of(dryshaft::job_sheet(unit, grader, work, request), grader,
                           Audience::technician, o_.data));
    } else if (o_.format == "markdown") {
      output.write(job_sheet_to_markdown(unit, grader, work, request));
    } else {
      output.write(job_sheet_to_text(unit, grader, work, request, style()));
    }
  }

  // "60000km", "40000mi" or "5y"; a bare number is km.
  [[nodiscard]] double horizon(const Knowledge& k) const {
    std::string_view text = o_.horizon;
    double factor = 1;
    for (const auto& [unit, km] : {std::pair<std::string_view, double>{"km", 1},
                                   {"mi", kKmPerMile},
                                   {"y", k.settings.km_per_year}}) {
      if (text.ends_with(unit)) {
        text.remove_suffix(unit.size());
        factor = km;
        break;
      }
    }
    const std::optional<double> number = number_in(text);
    if (!number) {
      throw Stop{kUsage, fmt::format("--horizon is \"{}\", not a distance such as 60000km or a "
                                     "time such as 5y",
                                     o_.horizon)};
    }
    const double km = *number * factor;
    if (km < kLeastHorizonKm || km > kMostHorizonKm) {
      throw Stop{kUsage,
                 fmt::format("--horizon is \"{}\", {:.0f} km: not between {:.0f} and {:.0f}",
                             o_.horizon, km, kLeastHorizonKm, kMostHorizonKm)};
    }
    return km;
  }

  [[nodiscard]] Result<PriceBook> price_book() const {
    if (o_.prices.empty()) {
      return {.value = PriceBook{}, .diagnostics = {}};  // a job sheet names no price
    }
    LineSource source(o_.prices);
    const std::string text = source.rest(kPriceBook);
    if (!source.error().empty()) {
      complain({input_complaint(source)});
      return {};
    }
    Result<PriceBook> prices = load_prices({source.name(), text});
    complain(prices.diagnostics);
    return prices;
  }

  const PlanCommandOptions& o_;
  PlanOptions plan_;
};

}  // namespace

Run add_plan(CLI::App& parent) {
  auto o = std::make_shared<PlanCommandOptions>();
  CLI::App* app = parent.add_subcommand(
      "plan", "Weigh what to do about a unit, in money: watch, bypass, rebuild or replace");
  app->add_option("FILE", o->files, "Records, or a table (.csv); - or no file: standard input");
  add_columns_option(*app, o->columns);
  app->add_option("--prices", o->prices,
                  "Price book (dryshaft-prices/1), such as examples/prices.json")
      ->type_name("FILE");
  app->add_option("--horizon", o->horizon,
                  "How far to plan ahead, such as 40000mi, or 5y for years")
      ->type_name("DISTANCE")
      ->default_str(o->horizon);
  add_for_option(*app, o->audience);
  app->add_option("--job-sheet", o->job_sheet,
                  "The job sheet of this option instead, such as open-and-rebuild; needs no prices")
      ->type_name("OPTION");
  app->add_option("--intake", o->intake, "Rank these cores instead: which to open first")
      ->type_name("FILE");
  keep_in_range(*app->add_option("--hours", o->hours, "With --intake: hours of work a week")
                     ->type_name("NUMBER"),
                0, 1e6);
  keep_in_range(*app->add_option("--budget", o->budget, "With --intake: money for parts a week")
                     ->type_name("NUMBER"),
                0, 1e9);
  add_format_option(*app, o->format, {"text", "json", "markdown", "html", "csv"});
  add_out_option(*app, o->out);
  add_today_option(*app, o->today, "the newest date in the input");
  add_units_option(*app, o->units);
  add_accepted_option(*app, o->accepted);
  add_jobs_option(*app, o->jobs, "one per processor");
  add_onset_option(*app, o->data);
  add_data_options(*app, o->data);
  app->add_option("--work", o->work, "Folder of work data (jobs, plan) instead of the shipped one")
      ->type_name("FOLDER");
  add_examples(*app,
               {{"What each way to go is expected to cost for this unit.",
                 "dryshaft plan examples/film-caught-early.json --prices examples/prices.json"},
                {"Which cores of a yard to open first.",
                 "dryshaft plan --intake examples/intake.csv --prices examples/prices.json"}});
  return [o] { return PlanCommand(*o).run(); };
}

}  // namespace dryshaft::cli
