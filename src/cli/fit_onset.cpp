// `dryshaft fit onset`.
#include <CLI/CLI.hpp>

#include "cli/cli.hpp"

namespace dryshaft::cli {

Run add_fit_onset(CLI::App& fit) {
  fit.add_subcommand("onset", "When leaks begin, and how often to look");
  return [] { return kUsage; };
}

}  // namespace dryshaft::cli
