#include "cli/manual.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>

#include "cli/cli.hpp"

namespace dryshaft::cli {
namespace {

constexpr std::string_view kFilePlaceholders[] = {"FILE", "RECORD", "RECORDS", "RECORDING",
                                                  "FOLDER|FILE"};
constexpr std::string_view kFolderPlaceholder = "FOLDER";
constexpr std::size_t kHelpIndent = 24;
constexpr std::string_view kUngrouped = "Subcommands";  // as CLI11 has it

// "FORMAT:{text,json}" is a placeholder, and the words that `take_one_of` allows.
void read_type(const std::string& type, ManualOption& option) {
  const std::size_t colon = type.find(":{");  // a placeholder may have colons of its own
  option.placeholder = type.substr(0, colon);
  const std::size_t open = type.find('{');
  const std::size_t close = type.rfind('}');
  if (colon == std::string::npos || open == std::string::npos || close == std::string::npos) {
    return;
  }
  std::string word;
  for (const char c : type.substr(open + 1, close - open - 1) + ",") {
    if (c == ',') {
      option.values.push_back(std::move(word));
      word.clear();
    } else {
      word += c;
    }
  }
}

ManualOption option_of(const CLI::Option& given) {
  ManualOption option;
  option.description = given.get_description();
  option.fallback = given.get_default_str();
  option.required = given.get_required();
  option.repeats = given.get_items_expected_max() > 1;
  if (given.get_positional()) {
    option.names.push_back(given.get_name(true));
    option.placeholder = option.names.front();
  } else {
    for (const std::string& name : given.get_snames()) {
      option.names.push_back("-" + name);
    }
    for (const std::string& name : given.get_lnames()) {
      option.names.push_back("--" + name);
    }
  }
  if (given.get_items_expected_max() == 0) {
    return option;
  }
  if (option.placeholder.empty()) {
    read_type(given.get_type_name(), option);
  }
  const bool file =
      std::ranges::find(kFilePlaceholders, option.placeholder) != std::end(kFilePlaceholders);
  option.takes = file                                       ? Takes::file
                 : option.placeholder == kFolderPlaceholder ? Takes::folder
                                                            : Takes::word;
  return option;
}

std::string shown_names(const ManualOption& option) {
  std::string out = fmt::format("{}", fmt::join(option.names, ", "));
  return option.takes == Takes::nothing || option.placeholder == option.names.front()
             ? out
             : fmt::format("{} {}", out, option.placeholder);
}

std::string entry(const std::string& label, const std::string& text) {
  if (label.size() + 2 < kHelpIndent) {
    return folded(label, kHelpIndent, text);
  }
  return label + "\n" + folded("", kHelpIndent, text);
}

// Commands below a command by their names; of the program, those that do something, in groups.
std::string listed(const ManualCommand& command) {
  std::string out;
  std::string_view group = "Commands";
  bool first = true;
  for (const ManualCommand& c : command.commands) {
    if (first || (!c.group.empty() && c.group != group)) {
      group = c.group.empty() ? group : std::string_view(c.group);
      out += fmt::format("\n{}:\n", group);
      first = false;
    }
    if (c.group.empty() || c.commands.empty()) {
      out += entry("  " + c.name, c.description);
      continue;
    }
    for (const ManualCommand& below : c.commands) {
      out += entry(fmt::format("  {} {}", c.name, below.name), below.description);
    }
  }
  return out;
}

}  // namespace

std::string choice_of(std::span<const std::string> words) {
  if (words.size() < 2) {
    return words.empty() ? std::string() : words.front();
  }
  return fmt::format("{} or {}", fmt::join(words.first(words.size() - 1), ", "), words.back());
}

std::string described(const ManualOption& option) {
  std::string more = choice_of(option.values);
  if (!option.fallback.empty()) {
    more += fmt::format("{}default: {}", more.empty() ? "" : "; ", option.fallback);
  }
  return more.empty() ? option.description : fmt::format("{} ({})", option.description, more);
}

ManualCommand manual_of(const CLI::App& app, const std::string& path) {
  ManualCommand command;
  command.path = path;
  command.name = app.get_name();
  command.group = app.get_group() == kUngrouped ? std::string() : app.get_group();
  command.description = app.get_description();
  command.footer = app.get_footer();
  for (const CLI::Option* option : app.get_options()) {
    if (!option->get_group().empty()) {
      (option->get_positional() ? command.arguments : command.options)
          .push_back(option_of(*option));
    }
  }
  for (const CLI::App* sub : app.get_subcommands({})) {
    if (!sub->get_group().empty()) {
      command.commands.push_back(manual_of(*sub, path + " " + sub->get_name()));
    }
  }
  return command;
}

std::string usage_line(const ManualCommand& command) {
  std::string out = command.path;
  out += command.commands.empty() ? "" : " COMMAND";
  out += " [OPTION...]";
  for (const ManualOption& a : command.arguments) {
    out += fmt::format(" {}{}{}{}", a.required ? "" : "[", a.placeholder, a.repeats ? "..." : "",
                       a.required ? "" : "]");
  }
  return out;
}

std::string help_text(const ManualCommand& command) {
  std::string out = folded("", 0, command.description) + "\nUsage: " + usage_line(command) + "\n";
  out += listed(command);
  if (!command.arguments.empty()) {
    out += "\nArguments:\n";
    for (const ManualOption& a : command.arguments) {
      out += entry("  " + a.placeholder, described(a));
    }
  }
  out += "\nOptions:\n";
  for (const ManualOption& o : command.options) {
    out += entry("  " + shown_names(o), described(o));
  }
  if (!command.footer.empty()) {
    out += "\n" + command.footer + "\n";
  }
  return out;
}

}  // namespace dryshaft::cli
