// `dryshaft rules verify`: proofs about the rule data.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <memory>

#include "cli/cli.hpp"
#include "cli/parallel.hpp"
#include "dryshaft/prove.hpp"

namespace dryshaft::cli {
namespace {

struct VerifyOptions {
  DataOptions data;
  std::optional<unsigned> jobs;
};

// A record to be copied: as it stands, a line an inspection.
std::string copied(std::string_view title, std::string_view record) {
  return record.empty() ? std::string() : fmt::format("      {}:\n{}", title, record);
}

std::string in_words(const Property& p) {
  std::string text = fmt::format("{:<10}  {:<17}  {:>14} states  {:>6.1f} s\n", name(p.outcome),
                                 p.id, p.states, p.seconds);
  text += folded("", 4, p.claim);
  for (const std::string& step : p.argument) {
    text += folded("    - ", 6, step);
  }
  for (const Flaw& f : p.flaws) {
    text += folded("    ! ", 6, f.what);
    if (!f.shows.empty()) {
      text += folded("", 6, f.shows);
    }
    text += copied("the record", f.record);
    text += copied("compared with", f.compared);
  }
  return text;
}

int verify(const VerifyOptions& o) {
  const Result<Knowledge> knowledge = load(o.data);
  if (!knowledge.value) {
    return kRejected;
  }
  using Clock = std::chrono::steady_clock;
  const Clock::time_point start = Clock::now();
  const auto seconds = [start] {
    return std::chrono::duration<double>(Clock::now() - start).count();
  };
  const unsigned jobs = jobs_of(o.jobs);
  ProveOptions options;
  options.seconds = seconds;
  options.spread = [jobs](std::size_t count, const std::function<void(std::size_t)>& work) {
    in_parallel(count, jobs, work);
  };
  Progress progress;
  options.progress = [&](std::string_view id) {
    progress.say(fmt::format("{:.0f} s: {}", seconds(), id));
  };
  const std::vector<Property> properties = prove(*knowledge.value, options);
  progress.end();
  Output output(std::nullopt);
  const Knowledge& k = *knowledge.value;
  output.write(rules_heading(k));
  output.write("\n");
  std::uint64_t states = 0;
  std::size_t held = 0;
  for (const Property& p : properties) {
    output.write(in_words(p) + "\n");
    states += p.states;
    held += p.outcome == Proof::held ? 1U : 0U;
  }
  output.write(fmt::format("{} of {} properties held, {} states, {:.1f} s\n", held,
                           properties.size(), states, seconds()));
  const int failed = output.finish();
  return failed != kDone ? failed : (all_held(properties) ? kDone : kRejected);
}

}  // namespace

Run add_rules_verify(CLI::App& rules) {
  auto o = std::make_shared<VerifyOptions>();
  CLI::App* app = rules.add_subcommand("verify", "Prove what the rules promise, and say how");
  add_jobs_option(*app, o->jobs, "one per processor");
  add_examples(*app,
               {{"Prove the shipped rules.", "dryshaft rules verify"},
                {"Prove rules of your own, before they are used.",
                 "dryshaft rules verify --rules my-rules"}},
               "Exit code 3 if a property is broken or not proven.");
  add_data_options(*app, o->data);
  return [o] { return verify(*o); };
}

}  // namespace dryshaft::cli
