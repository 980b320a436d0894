#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <map>
#include <memory>

#include "cli/cli.hpp"
#include "dryshaft/cases.hpp"

namespace dryshaft::cli {
namespace {

struct TestOptions {
  std::vector<std::string> files;
  std::optional<double> coverage;
  DataOptions data;
};

// Rounded down, so that 100 means all.
std::string percent(double p) { return fmt::format("{:g} %", std::floor(p * 10) / 10); }

void write_coverage(Output& output, const CaseRun& run) {
  struct Kind {
    std::string_view name;
    std::size_t rules = 0;
    std::array<std::size_t, kMetCount> parts{};
    std::array<std::size_t, kMetCount> covered{};
  };
  std::vector<Kind> kinds;
  std::string uncovered;
  for (const RuleCoverage& rule : run.coverage) {
    if (kinds.empty() || kinds.back().name != rule.kind) {
      kinds.push_back({.name = rule.kind});
    }
    Kind& kind = kinds.back();
    ++kind.rules;
    std::vector<std::string_view> missing;
    constexpr std::array<std::string_view, kMetCount> kMissing = {
        "no case fires it", "no case leaves it unfired", "no case leaves its input unobserved"};
    for (std::size_t m = 0; m < kMetCount; ++m) {
      kind.parts[m] += rule.cases[m] ? 1 : 0;
      kind.covered[m] += rule.cases[m].value_or(0) > 0 ? 1 : 0;
      if (rule.cases[m] == std::size_t{0}) {
        missing.push_back(kMissing[m]);
      }
    }
    if (!missing.empty()) {
      uncovered +=
          folded("  - ", 4, fmt::format("{} {}: {}", rule.kind, rule.id, fmt::join(missing, ", ")));
    }
  }
  output.write(
      "rules met by at least one case\n"
      "  kind            rules     fires  does not  not observed\n");
  for (const Kind& kind : kinds) {
    const auto cell = [&](Met met) {
      const auto m = static_cast<std::size_t>(met);
      return kind.parts[m] == 0 ? std::string("-")
                                : fmt::format("{}/{}", kind.covered[m], kind.parts[m]);
    };
    output.write(fmt::format("  {:<14}{:>7}{:>10}{:>10}{:>14}\n", kind.name, kind.rules,
                             cell(Met::fires), cell(Met::does_not), cell(Met::not_observed)));
  }
  if (!uncovered.empty()) {
    output.write("not covered\n" + uncovered);
  }
  output.write(
      fmt::format("coverage {}: {} of {}\n", percent(run.percent()), run.covered(), run.parts()));
}

int test_cases(const TestOptions& o) {
  Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  const Grader grader(std::move(*knowledge.value));
  std::size_t unread = 0;
  std::vector<NamedText> files;
  for (const std::string& path : o.files) {
    LineSource source(path);
    files.push_back({source.name(), source.rest(kCasesFile)});
    if (!source.error().empty()) {
      complain({input_complaint(source)});
      files.pop_back();
      ++unread;
    }
  }
  CaseRun result = run_cases(files, grader,
                             {.text = [](const Report& r) { return to_text(r, {.full = true}); }});
  result.failed += unread;  // what was not read never looks like passed
  complain(result.diagnostics);
  bool bad = !result.good();
  if (o.coverage && result.percent() < *o.coverage) {
    Diagnostic d;
    d.code = "coverage";
    d.message = fmt::format("the cases cover {} of the rules, {:g} % are asked for",
                            percent(result.percent()), *o.coverage);
    complain({d});
    bad = true;
  }
  Output output(std::nullopt);
  write_coverage(output, result);
  output.write(fmt::format("{} passed, {} failed\n", result.passed, result.failed));
  const int written = output.finish();
  return written != kDone ? written : (bad ? kRejected : kDone);
}

}  // namespace

Run add_rules_test(CLI::App& rules) {
  auto o = std::make_shared<TestOptions>();
  CLI::App* app = rules.add_subcommand("test", "Try cases: records, and what is expected of them");
  app->add_option("FILE", o->files, "Files of cases (dryshaft-cases/1); - is standard input")
      ->required();
  keep_in_range(
      *app->add_option("--coverage", o->coverage,
                       "Fail where less of the rules is met by a case in every way it can be")
           ->type_name("PERCENT"),
      0, 100);
  add_data_options(*app, o->data);
  add_examples(*app, {{"Judge the records of these cases, and compare with what is expected.",
                       "dryshaft rules test tests/cases/floors.json"},
                      {"The same, and fail where the cases meet less than half of the rules.",
                       "dryshaft rules test --coverage 50 tests/cases/*.json"}});
  return [o] { return test_cases(*o); };
}

}  // namespace dryshaft::cli
