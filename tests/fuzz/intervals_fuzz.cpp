// A table of intervals, read and fitted: the first byte says what it counts, and whether curves
// are compared by a column; if not, the judgement is joined, which takes far longer.
#include <cmath>
#include <nlohmann/json.hpp>

#include "dryshaft/onset.hpp"
#include "fuzz/fuzz.hpp"
#include "support.hpp"

namespace {

using dryshaft::OnsetAxis;
using dryshaft::fuzz::require;

// So that an input takes no longer than a moment.
constexpr std::size_t kMostRows = 40;
constexpr std::size_t kResamples = 5;

dryshaft::OnsetOptions options_for(OnsetAxis axis, bool joined) {
  static const dryshaft::OnsetPriorWidths kWidths =
      *dryshaft::load_onset_prior(
           {"prior.json", dryshaft::test::read_file(std::filesystem::path(DRYSHAFT_DATA_DIR) /
                                                    "onset" / "prior.json")})
           .value;
  dryshaft::OnsetOptions options =
      dryshaft::onset_options(dryshaft::test::shipped(), axis, kWidths);
  options.resamples = kResamples;
  if (!joined) {
    options.prior.reset();
  }
  return options;
}

}  // namespace

FUZZ_TARGET(intervals) {
  if (text.empty()) {
    return;
  }
  // '0' and on: so that a corpus can be read and written by hand.
  const std::size_t kind = static_cast<unsigned char>(text[0] - '0') % 6;
  const auto axis = static_cast<OnsetAxis>(kind % 3);
  const auto read =
      dryshaft::read_onset_table(text.substr(1), "t.csv", axis, kind < 3 ? "" : "group");
  dryshaft::fuzz::check(read);
  if (!read.value) {
    return;
  }
  for (const dryshaft::OnsetInterval& i : read.value->intervals) {
    require(i.left >= 0 && std::isfinite(i.left) && i.left <= i.right && i.right > 0,
            "an interval has two ends");
    require(i.count > 0 && std::isfinite(i.count), "a row stands for units");
  }
  if (read.value->intervals.size() > kMostRows) {
    return;
  }
  const dryshaft::OnsetReport report =
      dryshaft::fit_onset(*read.value, options_for(axis, kind < 3), {});
  for (const auto& step : report.steps.steps) {
    require(step.probability >= 0 && step.below <= 1 + 1e-9, "a step is a probability");
  }
  const dryshaft::OnsetSheet sheet = {.sources = {"t.csv"},
                                      .rules_id = "r",
                                      .rules_version = "1",
                                      .rules_sha256 = "0",
                                      .families_sha256 = "",
                                      .prior_source = "",
                                      .cautions = {},
                                      .report = report};
  const std::string line = dryshaft::onset_to_json(sheet);
  require(nlohmann::json::accept(line), "a report is JSON");
  dryshaft::fuzz::check_text(dryshaft::onset_to_text(sheet, {}));
  const std::string page = dryshaft::onset_to_html(sheet);
  for (const char* odd : {"=\"nan", "=\"-nan", "=\"inf", "=\"-inf"}) {
    require(page.find(odd) == std::string::npos, "a page draws numbers");
  }
  // What it writes is what a grader takes.
  if (nlohmann::json::parse(line)["grader"].is_object()) {
    dryshaft::Knowledge knowledge = dryshaft::test::shipped();
    std::vector<dryshaft::Diagnostic> complaints;
    require(dryshaft::use_onset(knowledge, {"o.json", line}, complaints), "a grader takes it");
  }
}
