#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <filesystem>
#include <thread>

#include "base/number.hpp"
#include "cli/cli.hpp"
#include "cli/manual.hpp"

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

void take_one_of(CLI::Option& option, const std::vector<std::string>& words) {
  const auto refuse = [words](const std::string& given) -> std::string {
    if (std::ranges::find(words, given) != words.end()) {
      return {};
    }
    return fmt::format("\"{}\" is not {}{}", given, choice_of(words),
                       did_you_mean(given, {words.begin(), words.end()}, ", "));
  };
  // The manual reads the words off the description.
  option.check(CLI::Validator(refuse, fmt::format("{{{}}}", fmt::join(words, ","))));
}

void add_out_option(CLI::App& app, std::optional<std::string>& out) {
  app.add_option("--out", out, "Write to this file, which appears only when complete")
      ->type_name("FILE")
      ->default_str("standard output");
}

void add_format_option(CLI::App& app, std::string& format, const std::vector<std::string>& forms) {
  CLI::Option& option = *app.add_option("--format", format, "Form of the output");
  take_one_of(*option.type_name("FORMAT")->default_str(format), forms);
}

void add_for_option(CLI::App& app, std::string& audience) {
  CLI::Option& option = *app.add_option("--for", audience, "Who reads it");
  take_one_of(*option.type_name("WHO")->default_str(audience), {"technician", "owner"});
}

void add_buying_option(CLI::App& app, bool& buying) {
  app.add_flag("--buying", buying, "For an owner who is about to buy the car");
}

void add_family_option(CLI::App& app, std::string& family, std::string_view default_family) {
  app.add_option("--family", family, "Family of the drive unit, such as plover-2")
      ->type_name("ID")
      ->default_str(std::string(default_family));
}

void add_vehicle_option(CLI::App& app, std::string& vehicle) {
  app.add_option("--vehicle", vehicle,
                 "Vehicle of the family, such as Tarn; it gives the place of the sensor port and "
                 "the tyre size")
      ->type_name("ID");
}

void add_jobs_option(CLI::App& app, std::optional<unsigned>& jobs, std::string_view default_jobs) {
  CLI::Option& option = *app.add_option("--jobs", jobs, "Threads to use, 256 at most");
  keep_in_range(*option.type_name("NUMBER")->default_str(std::string(default_jobs)), 1, 256);
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

unsigned jobs_of(const std::optional<unsigned>& jobs) {
  return jobs.value_or(std::max(1U, std::thread::hardware_concurrency()));
}

void add_units_option(CLI::App& app, std::optional<std::string>& units) {
  CLI::Option& option = *app.add_option("--units", units, "Unit of distances");
  take_one_of(*option.type_name("UNITS")->default_str("km"), {"km", "mi"});
}

Units units_of(const std::optional<std::string>& units) {
  return units == "mi" ? Units::mi : Units::km;
}

void add_today_option(CLI::App& app, std::optional<std::string>& today,
                      std::string_view default_day) {
  app.add_option("--today", today, "The day that counts as today; no inspection is later")
      ->type_name("DATE")
      ->default_str(std::string(default_day));
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

void add_examples(CLI::App& app, std::initializer_list<Example> examples, std::string_view remark) {
  std::string text = remark.empty() ? std::string() : folded("", 0, remark) + "\n";
  text += "Examples:";
  for (const Example& example : examples) {
    text += fmt::format("\n  {}\n      {}", example.line, example.does);
  }
  app.footer(text);
}

}  // namespace dryshaft::cli
