// Records of units, graded, in every writer: whatever a record may say, reports are whole.
#include <cmath>
#include <nlohmann/json.hpp>

#include "dryshaft/report.hpp"
#include "fuzz/fuzz.hpp"
#include "record/own.hpp"
#include "support.hpp"

namespace {

using dryshaft::Units;
using dryshaft::fuzz::require;

// So that an input takes no longer than a moment.
constexpr std::size_t kMostUnits = 2;
constexpr std::size_t kMostRecords = 6;
constexpr std::size_t kMostOwn = 2;

void check_report(const dryshaft::Report& report) {
  require(report.risk >= 0 && report.risk <= 1, "a risk is a probability");
  require(!report.actions.empty(), "something is to be done");
  const std::string line = dryshaft::to_json(report);
  require(nlohmann::json::accept(line), "a report is JSON");
  for (const Units units : {Units::km, Units::mi}) {
    dryshaft::fuzz::check_text(dryshaft::to_text(report, {.units = units}));
    const std::string page = dryshaft::to_html(report, units);
    require(page.ends_with("</html>\n"), "a page ends");
    for (const char* odd : {"=\"nan", "=\"-nan", "=\"inf", "=\"-inf"}) {
      require(page.find(odd) == std::string::npos, "a page draws numbers");
    }
  }
}

}  // namespace

FUZZ_TARGET(reports) {
  static const dryshaft::ReadOptions kOptions = read_options(dryshaft::test::shipped());
  dryshaft::Records read = dryshaft::read_records(text, "r.jsonl", kOptions);
  dryshaft::Batch batch;
  batch.rejected = std::move(read.diagnostics);
  batch.rejected_records = read.rejected;
  const auto grouped = dryshaft::group_by_unit(std::move(read.records));
  for (const dryshaft::History& history : *grouped.value) {
    if (batch.reports.size() < kMostUnits && history.records.size() <= kMostRecords) {
      dryshaft::AssessOptions options;
      for (const auto& [pointer, json] : history.records.back().own) {
        options.own.push_back(dryshaft::own_key(pointer));
        batch.wanted.own.push_back(options.own.back());
        if (options.own.size() == kMostOwn) {
          break;
        }
      }
      batch.reports.push_back(dryshaft::assess(history, dryshaft::test::shipped(),
                                               dryshaft::test::shipped_model(), options));
      check_report(batch.reports.back());
    }
  }
  if (batch.reports.empty()) {
    return;
  }
  dryshaft::rank(batch.reports);
  dryshaft::fuzz::check_text(dryshaft::to_text(batch, {}));
  require(dryshaft::to_html(batch, Units::km, true).ends_with("</html>\n"), "a page ends");
}
