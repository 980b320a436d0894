// `dryshaft fit`: what a shop's own records teach.
#include <CLI/CLI.hpp>

#include "cli/cli.hpp"

namespace dryshaft::cli {

Run add_fit(CLI::App& parent) {
  CLI::App* app = parent.add_subcommand(
      "fit", "Learn from your own records: when leaks begin, whether verdicts were right");
  app->require_subcommand(1);
  const Run onset = add_fit_onset(*app);
  const Run outcomes = add_fit_outcomes(*app);
  add_examples(*app, {{"When leaks begin on the units of these records.",
                       "dryshaft fit onset examples/history-ten-years.jsonl"},
                      {"How often the verdicts were right, by what teardowns showed.",
                       "dryshaft fit outcomes examples/teardowns.jsonl"}});
  return [=] { return app->got_subcommand("onset") ? onset() : outcomes(); };
}

}  // namespace dryshaft::cli
