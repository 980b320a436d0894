// `dryshaft plan`.
#include <CLI/CLI.hpp>

#include "cli/cli.hpp"

namespace dryshaft::cli {

Run add_plan(CLI::App& parent) {
  parent.add_subcommand("plan", "What to do about a unit: watch, bypass, rebuild or replace");
  return [] { return kUsage; };
}

}  // namespace dryshaft::cli
