// `dryshaft plan`.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>

#include "base/number.hpp"
#include "cli/cli.hpp"
#include "dryshaft/plan.hpp"

namespace dryshaft::cli {
namespace {

struct PlanCommandOptions {
  std::vector<std::string> files;
  std::string prices;
  std::string horizon = "60000km";
  std::string audience = "technician";
  std::string format = "text";
  std::string units = "km";
  std::optional<std::string> today;
  std::optional<std::string> out;
  DataOptions data;
  std::optional<std::string> work;
};

class PlanCommand {
 public:
  explicit PlanCommand(const PlanCommandOptions& options) : o_(options) {}

  int run() {
    plan_.audience = o_.audience == "owner" ? Audience::owner : Audience::technician;
    if (o_.today) {
      plan_.today = parse_date(*o_.today);
      if (!plan_.today) {
        throw Stop{kUsage, fmt::format("--today is \"{}\", not a date YYYY-MM-DD", *o_.today)};
      }
    }
    Result<Knowledge> loaded = load(o_.data);
    if (!loaded.value) {
      return kRejected;
    }
    const Knowledge& k = *loaded.value;
    plan_.horizon_km = horizon(k);
    const Result<WorkRules> work = load_work(o_.data, o_.work, k);
    const Result<PriceBook> prices = price_book();
    if (!work.value || !prices.value) {
      return kRejected;
    }
    const Model model(k);
    std::vector<History> histories = units(k);
    Output output(o_.out);
    for (const History& h : histories) {
      output.write(to_json(make_plan(h, k, model, *work.value, *prices.value, plan_)));
    }
    const int written = output.finish();
    return written != kDone ? written : (rejected_ ? kRejected : kDone);
  }

 private:
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
      throw Stop{kUsage, fmt::format("--horizon is {:.0f} km, not between {:.0f} and {:.0f}", km,
                                     kLeastHorizonKm, kMostHorizonKm)};
    }
    return km;
  }

  [[nodiscard]] Result<PriceBook> price_book() const {
    LineSource source(o_.prices);
    const std::string text = source.rest();
    if (!source.error().empty()) {
      complain({input_complaint(source)});
      return {};
    }
    Result<PriceBook> prices = load_prices({source.name(), text});
    complain(prices.diagnostics);
    return prices;
  }

  std::vector<History> units(const Knowledge& k) {
    std::vector<Record> records;
    for (const std::string& path : o_.files.empty() ? std::vector<std::string>{"-"} : o_.files) {
      LineSource source(path);
      const std::string text = source.rest();
      if (!source.error().empty()) {
        rejected_ = complain({input_complaint(source)}) || rejected_;
        continue;
      }
      Records read = read_records(text, source.name(), read_options(k));
      rejected_ = complain(read.diagnostics) || rejected_;
      std::ranges::move(read.records, std::back_inserter(records));
    }
    Result<std::vector<History>> grouped = group_by_unit(std::move(records));
    rejected_ = complain(grouped.diagnostics) || rejected_;
    return std::move(grouped.value).value_or(std::vector<History>{});
  }

  const PlanCommandOptions& o_;
  PlanOptions plan_;
  bool rejected_ = false;
};

}  // namespace

Run add_plan(CLI::App& parent) {
  auto o = std::make_shared<PlanCommandOptions>();
  CLI::App* app =
      parent.add_subcommand("plan", "What to do about a unit: watch, bypass, rebuild or replace");
  app->add_option("FILE", o->files, "Records; - or no file: standard input");
  app->add_option("--prices", o->prices, "Price book, dryshaft-prices/1")
      ->required()
      ->type_name("FILE");
  app->add_option("--horizon", o->horizon, "How far to look: 60000km, 40000mi or 5y")
      ->type_name("DISTANCE");
  app->add_option("--for", o->audience, "Who reads it: technician, or owner (a quotation)")
      ->check(CLI::IsMember({"technician", "owner"}))
      ->type_name("WHO");
  app->add_option("--format", o->format, "text, json, markdown or html")
      ->check(CLI::IsMember({"text", "json", "markdown", "html"}))
      ->type_name("FORMAT");
  app->add_option("--out", o->out, "Write to this file, which appears only when complete")
      ->type_name("FILE");
  app->add_option("--today", o->today, "Judge as of this day; default: the unit's newest date")
      ->type_name("DATE");
  app->add_option("--units", o->units, "Distances in km or mi")
      ->check(CLI::IsMember({"km", "mi"}))
      ->type_name("UNITS");
  add_data_options(*app, o->data);
  app->add_option("--work", o->work, "Folder with work data to use instead of the shipped")
      ->type_name("DIR");
  return [o] { return PlanCommand(*o).run(); };
}

}  // namespace dryshaft::cli
