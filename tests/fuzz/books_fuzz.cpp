// Files beside the rule data: the first byte says which one the rest is, or edits. A price book,
// work data, the widths of the judgement on onsets, a shop's own onsets, strengths and cases.
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "dryshaft/cases.hpp"
#include "dryshaft/onset.hpp"
#include "dryshaft/plan.hpp"
#include "fuzz/edits.hpp"
#include "fuzz/fuzz.hpp"
#include "fuzz/shipped_work.hpp"
#include "support.hpp"

namespace {

using dryshaft::Knowledge;
using dryshaft::NamedText;
using dryshaft::Result;
using dryshaft::fuzz::require;
using dryshaft::fuzz::shipped_work;
using dryshaft::fuzz::work_files;
using dryshaft::test::shipped;
using dryshaft::test::shipped_grader;

// Stands for the hash of the shipped rules, so that these can change.
constexpr std::string_view kRulesHash = "RULES";

constexpr std::string_view kPriceBook = R"({"format": "dryshaft-prices/1", "currency": "crowns",
 "prices": {"check": 5, "bypass": {"low": 180, "likely": 220, "high": 300}, "rebuild": 520,
 "gear_bearings": 180, "major_parts": 1900, "replacement_unit": 3900, "loss": 5200, "core": 600,
 "rebuilt_unit": 3400, "downtime_day": 40, "hour": 70}})";
constexpr std::string_view kOnset = R"({"format": "dryshaft-onset/1", "units": 40, "grader":
 {"axis": "km", "hazard": [[50000, 0.01], [150000, 0.2], [250000, 0.9]]}})";
constexpr std::string_view kOverlay = R"({"format": "dryshaft-overlay/1",
 "rules": {"id": "a", "version": "1", "sha256": "RULES"}, "teardowns": 12,
 "backgrounds": [{"id": "fluid-anyway", "reason": "r", "source": "own teardowns", "teardowns": 12,
 "anyway": {"film": 0.2, "droplets": 0.1, "pooled": 0.05}}], "links": []})";
constexpr std::string_view kCases = R"({"format": "dryshaft-cases/1",
 "base": {"format": "dryshaft-record/1", "unit": {"id": "HL-1"},
 "inspection": {"date": "2026-03-01"}}, "cases": [{"note": "n", "record": {"inspection":
 {"port": {"checked": true, "fluid": "pooled", "fluid_kind": "coolant"}}},
 "expect": {"grade": "D", "actions": ["stop-driving"], "risk": {"at_least": 0.5}}}]})";

const dryshaft::History& history() {
  static const dryshaft::History kHistory = dryshaft::test::history_of(dryshaft::test::record_text(
      R"("odometer_km":150000,"port":{"checked":true,"fluid":"film"})", R"("family":"plover-2")"));
  return kHistory;
}

void grade_with(const Knowledge& knowledge) {
  const dryshaft::Model model(knowledge);
  const dryshaft::Verdict verdict = dryshaft::judge(knowledge, model, dryshaft::empty_case());
  require(verdict.posterior.risk >= 0 && verdict.posterior.risk <= 1, "a risk is a probability");
  const dryshaft::Report report = dryshaft::assess(history(), knowledge, model, {});
  require(report.risk >= 0 && report.risk <= 1, "a risk is a probability");
}

void plan_with(const dryshaft::WorkRules& work, const dryshaft::PriceBook& prices) {
  const dryshaft::Plan plan =
      dryshaft::make_plan(history(), shipped_grader(), work, prices,
                          {.horizon_km = 10000, .today = std::nullopt, .swings = false});
  for (const dryshaft::PlanOption& option : plan.options) {
    require(option.allowed == option.cost.has_value(), "what is allowed costs");
    require(!option.cost || (std::isfinite(option.cost->expected) &&
                             std::isfinite(option.cost->low) && std::isfinite(option.cost->high)),
            "a cost is finite");
    require(!option.cost || option.cost->low <= option.cost->high, "a cost has a range");
  }
  require(nlohmann::json::accept(dryshaft::to_json(plan)), "a plan is JSON");
  dryshaft::fuzz::check_text(dryshaft::plan_to_text(plan, {}));
}

void price_book(const std::string& text) {
  const Result<dryshaft::PriceBook> read = dryshaft::load_prices({"prices.json", text});
  dryshaft::fuzz::check(read);
  if (read.value) {
    for (const dryshaft::Price& p : read.value->price) {
      require(p.low >= 0 && p.low <= p.likely && p.likely <= p.high &&
                  p.high <= dryshaft::kHighestPrice,
              "a price has a spread");
    }
    plan_with(shipped_work(), *read.value);
  }
}

void work_data(std::size_t which, const std::string& text) {
  std::vector<NamedText> files = work_files();
  files[which].text = text;
  const Result<dryshaft::WorkRules> read = dryshaft::load_work(files, shipped());
  dryshaft::fuzz::check(read);
  if (!read.value) {
    return;
  }
  static const dryshaft::PriceBook kBook =
      *dryshaft::load_prices({"prices.json", std::string(kPriceBook)}).value;
  plan_with(*read.value, kBook);
  for (const dryshaft::PlanOptionRule& option : read.value->options) {
    const dryshaft::JobSheetRequest request{.option = option.id};
    if (dryshaft::barred(history(), shipped_grader(), *read.value, request).empty()) {
      dryshaft::fuzz::check_text(
          dryshaft::job_sheet_to_text(history(), shipped_grader(), *read.value, request, {}));
    }
  }
}

void widths(const std::string& text) {
  const Result<dryshaft::OnsetPriorWidths> read = dryshaft::load_onset_prior({"w.json", text});
  dryshaft::fuzz::check(read);
  require(!read.value || (read.value->sd_log_shape > 0 && read.value->sd_log_scale > 0),
          "a width is above 0");
}

void own_onset(const std::string& text) {
  Knowledge knowledge = shipped();
  std::vector<dryshaft::Diagnostic> complaints;
  const bool used = dryshaft::use_onset(knowledge, {"onset.json", text}, complaints);
  dryshaft::fuzz::check(complaints);
  require(used == complaints.empty(), "used or complained of");
  if (used) {
    grade_with(knowledge);
  }
}

void overlay(std::string text) {
  if (const std::size_t at = text.find(kRulesHash); at != std::string::npos) {
    text.replace(at, kRulesHash.size(), shipped().rules_sha256);
  }
  const Result<Knowledge> read = dryshaft::with_overlay(shipped(), {"overlay.json", text});
  dryshaft::fuzz::check(read);
  if (read.value) {
    grade_with(*read.value);
  }
}

void cases(const std::string& text) {
  const std::array<NamedText, 1> files = {NamedText{"cases.json", text}};
  const dryshaft::CaseRun run = dryshaft::run_cases(
      files, shipped_grader(),
      {.text = [](const dryshaft::Report& r) { return dryshaft::to_text(r, {}); }});
  dryshaft::fuzz::check(run.diagnostics);
  require(run.good() || !run.diagnostics.empty(), "no cases, no word");
}

}  // namespace

FUZZ_TARGET(books) {
  if (text.empty()) {
    return;
  }
  static const std::string kWidths =
      dryshaft::test::read_file(std::filesystem::path(DRYSHAFT_DATA_DIR) / "onset" / "prior.json");
  const std::string_view rest = text.substr(1);
  const auto from = [&](std::string_view file) {
    return dryshaft::fuzz::edited_or_new(file, rest);
  };
  // '0' and on: so that a corpus can be read and written by hand.
  switch (static_cast<unsigned char>(text[0] - '0') % 7) {
    case 0:
      return price_book(from(kPriceBook));
    case 1:
      return work_data(0, from(work_files()[0].text));
    case 2:
      return work_data(1, from(work_files()[1].text));
    case 3:
      return widths(from(kWidths));
    case 4:
      return own_onset(from(kOnset));
    case 5:
      return overlay(from(kOverlay));
    default:
      return cases(from(kCases));
  }
}
