#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <filesystem>

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

void add_out_option(CLI::App& app, std::optional<std::string>& out) {
  app.add_option("--out", out, "Write to this file, which appears only when complete")
      ->type_name("FILE");
}

void keep_apart(std::string_view option, const std::optional<std::string>& path,
                std::string_view other_option, const std::optional<std::string>& other_path) {
  const auto file = [](const std::string& name) {
    std::error_code none;
    std::filesystem::path whole = std::filesystem::weakly_canonical(name, none);
    return none ? std::filesystem::path(name) : whole;
  };
  std::error_code none;
  if (path && other_path && *path != "-" &&
      (file(*path) == file(*other_path) || std::filesystem::equivalent(*path, *other_path, none))) {
    throw Stop{kUsage, fmt::format("{} and {} name the same file", option, other_option)};
  }
}

void add_units_option(CLI::App& app, std::optional<std::string>& units) {
  app.add_option("--units", units, "Distances in km or mi")
      ->check(CLI::IsMember({"km", "mi"}))
      ->type_name("UNITS");
}

Units units_of(const std::optional<std::string>& units) {
  return units == "mi" ? Units::mi : Units::km;
}

void add_today_option(CLI::App& app, std::optional<std::string>& today) {
  app.add_option("--today", today, "No date of an inspection lies after this day")
      ->type_name("DATE");
}

std::optional<int> day_of(std::string_view option, const std::optional<std::string>& text) {
  if (!text) {
    return std::nullopt;
  }
  const std::optional<int> day = parse_date(*text);
  if (!day) {
    throw Stop{kUsage, fmt::format("{} is \"{}\", not a date YYYY-MM-DD", option, *text)};
  }
  return day;
}

}  // namespace dryshaft::cli
