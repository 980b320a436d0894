// `dryshaft fit outcomes`.
#include <CLI/CLI.hpp>

#include "cli/cli.hpp"

namespace dryshaft::cli {

Run add_fit_outcomes(CLI::App& fit) {
  fit.add_subcommand("outcomes", "Whether verdicts were right, by what opening the units showed");
  return [] { return kUsage; };
}

}  // namespace dryshaft::cli
