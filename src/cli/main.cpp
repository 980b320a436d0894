// The program: parses the command line and calls the command.
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cerrno>
#include <csignal>
#include <exception>
#include <map>
#include <memory>
#include <new>
#include <sstream>

#include "base/utf8.hpp"
#include "cli/cli.hpp"
#include "cli/manual.hpp"

namespace dryshaft::cli {
namespace {

// Commands, grouped by what one does with them, in the order of the help.
constexpr std::pair<const char*, Run (*)(CLI::App&)> kCommands[] = {
    {"Grade a unit, or a yard of them", add_assess},
    {"Grade a unit, or a yard of them", add_check},
    {"Grade a unit, or a yard of them", add_compare},
    {"Inspect a unit", add_guide},
    {"Inspect a unit", add_listen},
    {"Ask an owner", add_form},
    {"Plan and price the work", add_plan},
    {"Learn from your own records", add_fit},
    {"Keep your records", add_records},
    {"See what the rules say, and why", add_rules},
    {"Learn more", add_help}};

// "assess, check or rules"
std::string names_of(const CLI::App& app) {
  std::string out;
  const std::vector<const CLI::App*> commands = app.get_subcommands({});
  for (std::size_t i = 0; i < commands.size(); ++i) {
    out += i == 0 ? "" : i + 1 == commands.size() ? " or " : ", ";
    out += commands[i]->get_name();
  }
  return out;
}

// CLI11 answers a mistyped command with "A subcommand is required": say what was meant.
std::optional<std::string> mistyped(const CLI::App& app, int argc, char** argv) {
  if (argc < 2 || argv[1][0] == '-') {
    return std::nullopt;
  }
  const CLI::App* at = &app;
  for (int i = 1; i < argc && argv[i][0] != '-'; ++i) {
    std::vector<std::string_view> names;
    const CLI::App* found = nullptr;
    for (const CLI::App* sub : at->get_subcommands({})) {
      names.emplace_back(sub->get_name());
      found = sub->check_name(argv[i]) ? sub : found;
    }
    if (names.empty()) {
      return std::nullopt;
    }
    if (found == nullptr) {
      return fmt::format("there is no command \"{}\"{}; commands: {}", argv[i],
                         did_you_mean(argv[i], names, ", "), fmt::join(names, ", "));
    }
    at = found;
  }
  return std::nullopt;
}

// What stands on the command line and no command knows. CLI11 tells of it only where nothing else
// is amiss: `rules --bogus` would be told that a command is missing.
std::optional<std::string> not_known(const CLI::App& app) {
  const CLI::App* at = &app;
  std::string path;
  while (at->remaining().empty()) {
    const std::vector<CLI::App*> used = at->get_subcommands();
    if (used.empty()) {
      return std::nullopt;
    }
    at = used.front();
    path += (path.empty() ? "" : " ") + at->get_name();
  }
  const std::string given = at->remaining().front();
  const std::string help = path.empty() ? "--help tells more" : path + " --help tells more";
  if (given.size() < 2 || given.front() != '-') {
    return fmt::format("{} takes no \"{}\"; {}", path.empty() ? "dryshaft" : path, given, help);
  }
  const std::string option = given.substr(0, given.find('='));
  std::string message = path.empty() ? fmt::format("there is no option {} before a command", option)
                                     : fmt::format("{} has no option {}", path, option);
  std::vector<std::string> names;
  for (const CLI::Option* known : at->get_options()) {
    for (const std::string& name : known->get_lnames()) {
      names.push_back("--" + name);
    }
  }
  const std::string_view near = closest(option, {names.begin(), names.end()});
  std::string owners;
  for (const CLI::App* sub : at->get_subcommands({})) {
    if (sub->get_option_no_throw(option) != nullptr) {
      owners += (owners.empty() ? "" : " or ") + (path.empty() ? "" : path + " ") + sub->get_name();
    }
  }
  if (!near.empty()) {
    message += fmt::format(", did you mean {}?", near);
  } else if (!owners.empty()) {
    message += fmt::format("; it stands after {}", owners);
  }
  return fmt::format("{}; {}", message, help);
}

// Help in 80 columns, as `dryshaft help` writes it.
class Help : public CLI::FormatterBase {
 public:
  // The program's name as it was typed.
  explicit Help(std::string typed) : typed_(std::move(typed)) {}

  std::string make_help(const CLI::App* app, std::string /*name*/,
                        CLI::AppFormatMode /*mode*/) const override {
    std::string path = app->get_name();
    for (const CLI::App* up = app->get_parent(); up != nullptr; up = up->get_parent()) {
      path.insert(0, up->get_name() + " ");
    }
    std::string text = with_examples_found(help_text(manual_of(*app, path)));
    const std::optional<std::string> record = example_record();
    if (app->get_parent() != nullptr || !record) {
      return text;
    }
    // Something to type at once, wherever the program lies.
    const std::size_t usage = text.find('\n', text.find("\nUsage: ") + 1) + 1;
    return fmt::format("{}\nTo see a report, type:\n  {} assess {}\n{}", text.substr(0, usage),
                       typed_, *record, text.substr(usage));
  }

 private:
  std::string typed_;
};

int usage(const std::string& message) {
  // What it quotes of the command line may be anything.
  warn(fmt::format("dryshaft: {}\n", utf8::harmless(message)));
  return kUsage;
}

// Where one of them is closed, the next file opened would take its place, and its text. What is
// read or written there fails, as it would have.
void open_standard_streams() {
  for (const int stream : {STDIN_FILENO, STDOUT_FILENO, STDERR_FILENO}) {
    if (fcntl(stream, F_GETFD) == -1 && errno == EBADF) {
      // The least descriptor that is free is this one.
      (void)open("/dev/null", stream == STDIN_FILENO ? O_WRONLY : O_RDONLY);
    }
  }
}

int run(int argc, char** argv) {
  CLI::App app{
      "Assesses the health of electric-vehicle traction drive units from inspection "
      "records.",
      "dryshaft"};
  app.formatter(
      std::make_shared<Help>(argc > 0 ? argv[0] : app.get_name()));  // every command takes it over
  app.set_help_flag("-h,--help", "Show this help");                  // of every command, too
  app.set_version_flag("--version", "dryshaft " DRYSHAFT_VERSION, "Show the version");
  app.require_subcommand(1);
  app.footer(
      "COMMAND --help shows its options and examples; dryshaft help lists topics.\n"
      "A screening aid: the decision stays with a qualified technician.\n"
      "Exit codes: 0 done, 1 a unit was graded --fail-on or worse, 2 wrong usage,\n"
      "3 some input was rejected, 4 output could not be written, 70 a bug.");
  std::map<std::string, Run> commands;
  for (const auto& [group, add] : kCommands) {
    Run run = add(app);
    CLI::App* added = app.get_subcommands({}).back();
    added->group(group);
    commands.emplace(added->get_name(), std::move(run));
  }
  if (const auto wrong = mistyped(app, argc, argv)) {
    return usage(*wrong);
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::Success& help) {
    std::ostringstream text;
    app.exit(help, text, text);
    Output output(std::nullopt);
    output.write(text.str());
    return output.finish();
  } catch (const CLI::ParseError& error) {
    if (const auto what = not_known(app)) {
      return usage(*what);
    }
    if (argc < 2) {
      return usage("name a command: " + names_of(app) + "; --help tells more");
    }
    // CLI11 says "A subcommand is required" of a command that has several.
    for (const CLI::App* named : app.get_subcommands()) {
      if (argc == 2 && named->get_require_subcommand_min() > 0) {
        return usage(fmt::format("{} needs one of its commands: {}; {} --help tells more",
                                 named->get_name(), names_of(*named), named->get_name()));
      }
    }
    return usage(error.what());
  }
  return commands.at(app.get_subcommands().front()->get_name())();
}

}  // namespace
}  // namespace dryshaft::cli

int main(int argc, char** argv) {
  dryshaft::cli::open_standard_streams();
  // Writing into a closed pipe, or beyond the greatest size of a file, then fails as on a full
  // disk.
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGXFSZ, SIG_IGN);
  try {
    return dryshaft::cli::run(argc, argv);
  } catch (const dryshaft::cli::Stop& stop) {
    dryshaft::cli::warn(fmt::format("dryshaft: {}\n", dryshaft::utf8::harmless(stop.message)));
    return stop.code;
  } catch (const std::bad_alloc&) {
    dryshaft::cli::warn(
        "dryshaft: the input does not fit into memory; assess --format jsonl reads it in pieces\n");
    return dryshaft::cli::kRejected;
  } catch (const std::exception& bug) {
    dryshaft::cli::warn(fmt::format(
        "dryshaft: a bug in dryshaft, please report it with the input: {}\n", bug.what()));
    return dryshaft::cli::kBug;
  }
}
