#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>

#include "base/number.hpp"
#include "cli/cli.hpp"

namespace dryshaft::cli {

// CLI11's own range lets NaN pass, and writes the greatest double with all its digits.
void keep_in_range(CLI::Option& option, double least, double most, bool above_least) {
  const auto refuse = [least, most, above_least](const std::string& given) -> std::string {
    const std::optional<double> number = number_in(given);
    if (number && *number >= least && *number <= most && !(above_least && *number == least)) {
      return {};
    }
    const std::string from =
        above_least ? fmt::format("above {}", least) : fmt::format("of at least {}", least);
    return fmt::format("\"{}\" is no number {}{}", given, from,
                       std::isfinite(most) ? fmt::format(" and at most {}", most) : std::string());
  };
  option.check(CLI::Validator(refuse, ""));
}

}  // namespace dryshaft::cli
