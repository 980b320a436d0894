// `dryshaft fit outcomes`: verdicts against what opening the units showed.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <iterator>
#include <memory>

#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "cli/parallel.hpp"
#include "dryshaft/outcomes.hpp"
#include "dryshaft/prove.hpp"

namespace dryshaft::cli {
namespace {

struct FitOutcomesOptions {
  std::vector<std::string> files;
  std::optional<std::string> columns;
  std::optional<std::string> today;
  std::optional<std::string> accepted;
  std::string format = "text";
  std::optional<std::string> out;
  std::optional<std::string> overlay;
  std::optional<double> prior_weight;
  std::optional<std::size_t> folds;
  std::optional<unsigned> jobs;
  DataOptions data;
};

class FitOutcomes {
 public:
  explicit FitOutcomes(const FitOutcomesOptions& options) : o_(options) {
    const unsigned jobs = jobs_of(o_.jobs);
    spread_ = [jobs](std::size_t count, const std::function<void(std::size_t)>& work) {
      in_parallel(count, jobs, work);
    };
  }

  int run() {
    if (o_.overlay && o_.data.overlay) {
      throw Stop{kUsage,
                 "--overlay starts from rules as they were shipped: a refit of an overlay would "
                 "count its teardowns twice. Give all teardowns, and no overlay in --rules"};
    }
    keep_apart("--out", o_.out, "--overlay", o_.overlay);
    Accepted known(o_.accepted);
    const Result<Knowledge> knowledge = load(o_.data);
    if (!knowledge.value || !known.usable()) {
      return kRejected;
    }
    StudyOptions options;
    options.fit.prior_weight = o_.prior_weight;
    options.folds = o_.folds;
    options.spread = spread_;
    std::size_t records = 0;
    const Result<ColumnMap> columns = load_columns(o_.columns);
    if (!columns.value) {
      return kRejected;
    }
    const Openings openings = read(*knowledge.value, *columns.value, known, records);
    Outcomes study = study_outcomes(openings, *knowledge.value, options);
    study.records = records;
    std::string overlay;
    if (o_.overlay) {
      overlay = proven_overlay(*knowledge.value, openings, options.fit, study);
    }
    int written = kDone;
    if (!overlay.empty()) {
      Output file(o_.overlay);
      file.write(overlay);
      written = file.finish();
      study.overlay_file = written == kDone ? *o_.overlay : std::string();
    }
    Output output(o_.out);
    output.write(shown(study));
    const int printed = output.finish();
    return printed != kDone ? printed : written != kDone ? written : rejected_ ? kRejected : kDone;
  }

 private:
  Openings read(const Knowledge& k, const ColumnMap& columns, Accepted& known, std::size_t& count) {
    const UnitsRead units = read_units(or_standard_input(o_.files), columns, read_options(k), known,
                                       day_of("--today", o_.today));
    rejected_ = units.refused;
    count = units.records;
    Openings openings = openings_of(units.histories, k);
    take(openings.diagnostics);
    return openings;
  }

  void take(const std::vector<Diagnostic>& diagnostics) {
    rejected_ = complain(diagnostics) || rejected_;
  }

  void no_overlay(const std::string& why) {
    warn(fmt::format("{}: error[no-overlay]: was not written: {}\n", *o_.overlay, why));
    rejected_ = true;
  }

  // Strengths that the proofs accept: the fitted ones, or as far on the way to
  // them as holds. Empty: none was found.
  std::string proven_overlay(const Knowledge& k, const Openings& openings,
                             const FitOptions& options, Outcomes& study) {
    if (study.fit.rules.empty()) {
      no_overlay("no teardown bears on any rule");
      return {};
    }
    const std::vector<std::string> before = broken(k);
    if (!before.empty()) {
      no_overlay(fmt::format("the rules in use break their own proofs ({}); see `rules verify`",
                             fmt::join(before, ", ")));
      return {};
    }
    std::vector<std::string> first;
    for (const double share : {1.0, 0.75, 0.5, 0.25}) {
      const OutcomeFit fit = share < 1 ? pulled_back(study.fit, share) : study.fit;
      const std::vector<std::string> flaws = broken(adapted(k, fit));
      if (flaws.empty()) {
        study.fit = fit;
        return overlay_text(fit, openings, k, options);
      }
      first = first.empty() ? flaws : first;
    }
    no_overlay(
        fmt::format("with refitted strengths these properties of the rules would no longer "
                    "hold: {}",
                    fmt::join(first, ", ")));
    return {};
  }

  // Ids of the properties that the proofs do not find to hold.
  [[nodiscard]] std::vector<std::string> broken(const Knowledge& k) const {
    ProveOptions options;
    options.spread = spread_;
    Progress progress;
    options.progress = [&](std::string_view id) { progress.say(fmt::format("proving {}", id)); };
    std::vector<std::string> ids;
    for (const Property& p : prove(k, options)) {
      if (p.outcome != Proof::held) {
        ids.push_back(p.id);
      }
    }
    return ids;
  }

  [[nodiscard]] std::string shown(const Outcomes& study) const {
    if (o_.format == "json") {
      return outcomes_to_json(study);
    }
    if (o_.format == "markdown") {
      return outcomes_to_markdown(study);
    }
    if (o_.format == "html") {
      return outcomes_to_html(study);
    }
    return outcomes_to_text(study, {.colour = coloured(o_.out), .width = 80, .units = Units::km});
  }

  const FitOutcomesOptions& o_;
  std::function<void(std::size_t, const std::function<void(std::size_t)>&)> spread_;
  bool rejected_ = false;
};

}  // namespace

Run add_fit_outcomes(CLI::App& fit) {
  auto o = std::make_shared<FitOutcomesOptions>();
  CLI::App* app =
      fit.add_subcommand("outcomes", "Check whether verdicts were right, by what teardowns showed");
  app->add_option("FILE", o->files,
                  "Records, or tables (.csv), some with a teardown; - or no file: standard input");
  add_columns_option(*app, o->columns);
  add_today_option(*app, o->today);
  add_accepted_option(*app, o->accepted);
  app->add_option("--overlay", o->overlay,
                  "Write refitted strengths to this file, for --rules; the proofs must hold "
                  "with them")
      ->type_name("FILE");
  keep_in_range(*app->add_option("--prior-weight", o->prior_weight,
                                 "Weight of the present strengths, in teardowns for each value")
                     ->type_name("NUMBER")
                     ->default_str("by the setting memory-band"),
                0.1, 1e6);
  keep_in_range(*app->add_option("--folds", o->folds, "Parts of the cross-validation")
                     ->type_name("NUMBER")
                     ->default_str("one part per unit up to 60 units, then 10"),
                2, 1000);
  add_format_option(*app, o->format, {"text", "json", "markdown", "html"});
  add_out_option(*app, o->out);
  add_jobs_option(*app, o->jobs, "one per processor");
  add_data_options(*app, o->data);
  add_examples(*app, {{"How often the verdicts were right, by what teardowns showed.",
                       "dryshaft fit outcomes examples/teardowns.jsonl"},
                      {"Write strengths refitted to your own teardowns, for --rules.",
                       "dryshaft fit outcomes --overlay own.json records/*.jsonl"}});
  return [o] { return FitOutcomes(*o).run(); };
}

}  // namespace dryshaft::cli
