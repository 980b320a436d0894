// `dryshaft help`: topics and commands in short; man page and completions for an installation.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <iterator>
#include <memory>
#include <sstream>

#include "cli/cli.hpp"
#include "cli/manual.hpp"

namespace dryshaft::cli {
namespace {

constexpr Topic kTopics[] = {
    {
        "start",
#include "cli/topics/start.txt.inc"
    },
    {
        "grades",
#include "cli/topics/grades.txt.inc"
    },
    {
        "records",
#include "cli/topics/records.txt.inc"
    },
    {
        "csv",
#include "cli/topics/csv.txt.inc"
    },
    {
        "recordings",
#include "cli/topics/recordings.txt.inc"
    },
    {
        "rules",
#include "cli/topics/rules.txt.inc"
    },
    {
        "output",
#include "cli/topics/output.txt.inc"
    },
    {
        "formats",
#include "cli/topics/formats.txt.inc"
    },
    {
        "exit-codes",
#include "cli/topics/exit-codes.txt.inc"
    },
};

constexpr std::string_view kCsvTopic = "csv";

struct HelpOptions {
  std::vector<std::string> words;
  bool man = false;
  std::optional<std::string> completion;
  std::optional<std::string> schema;
  IdsOptions ids;
};

std::string_view title_of(const Topic& topic) {
  return topic.text.substr(0, topic.text.find('\n'));
}

// Every field of a record, by the shortest of its names.
std::string names_of_fields() {
  constexpr std::size_t kTitleColumn = 36;
  std::string out;
  const auto add = [&](const FieldSpec& field, std::string_view title) {
    std::string name = "  " + column_names(field).front();
    if (field.miles_too) {
      name += ", _mi";
    }
    out += folded(name.size() + 2 > kTitleColumn ? name + "  " : name,
                  std::max(kTitleColumn, name.size() + 2), title);
  };
  for (const FieldSpec& field : fields()) {
    add(field, field.title);
  }
  add(spec(Field::work_did), kWorkTitle);
  out += "\nWork done, in the column work:\n";
  for (const Choice& did : spec(Field::work_did).choices) {
    out += folded(fmt::format("  {}", did.id), kTitleColumn, did.plain);
  }
  return out;
}

std::string overview(const ManualCommand& program) {
  std::string out = folded("", 0,
                           "dryshaft help TOPIC explains a topic, dryshaft help COMMAND a command. "
                           "Topics have examples.");
  out += "\nTopics:\n";
  for (const Topic& t : kTopics) {
    out += folded(fmt::format("  {}", t.name), 16, title_of(t));
  }
  out += "\nCommands:\n";
  for (const ManualCommand& c : program.commands) {
    out += folded("  " + c.name, 16, c.description);
  }
  return out;
}

// The command that the words name from the program on, or null.
const ManualCommand* find_command(const ManualCommand& program,
                                  const std::vector<std::string>& words) {
  const ManualCommand* at = &program;
  for (const std::string& word : words) {
    const auto next = std::ranges::find(at->commands, word, &ManualCommand::name);
    if (next == at->commands.end()) {
      return nullptr;
    }
    at = &*next;
  }
  return at;
}

void add_paths(const ManualCommand& command, std::vector<std::string>& paths) {
  for (const ManualCommand& c : command.commands) {
    paths.push_back(c.path.substr(c.path.find(' ') + 1));
    add_paths(c, paths);
  }
}

std::string about(const ManualCommand& program, const std::vector<std::string>& given) {
  const std::string wanted = fmt::format("{}", fmt::join(given, " "));
  std::vector<std::string> words;  // a path may come in quotes, as one
  std::istringstream in(wanted);
  for (std::string word; in >> word;) {
    words.push_back(word);
  }
  const auto topic = std::ranges::find(kTopics, wanted, &Topic::name);
  const ManualCommand* command = find_command(program, words);
  // `rules` is both: what there is to know, then the command.
  if (topic != std::end(kTopics)) {
    return topic_text(*topic) + (command != nullptr ? "\n" + help_text(*command) : "");
  }
  if (command != nullptr) {
    return help_text(*command);
  }
  std::vector<std::string> paths;
  add_paths(program, paths);
  std::vector<std::string_view> names;
  names.reserve(std::size(kTopics));
  for (const Topic& t : kTopics) {
    names.push_back(t.name);
  }
  std::vector<std::string_view> known(paths.begin(), paths.end());
  std::ranges::copy(names, std::back_inserter(known));
  throw Stop{kUsage, fmt::format("there is no topic \"{}\"{}; topics: {}, and each command", wanted,
                                 did_you_mean(wanted, known, ", "), fmt::join(names, ", "))};
}

int help(const CLI::App& program, const HelpOptions& o) {
  const ManualCommand manual = manual_of(program, program.get_name());
  if (int{o.man} + int{o.completion.has_value()} + int{o.ids.what.has_value()} +
          int{o.schema.has_value()} + int{!o.words.empty()} >
      1) {
    throw Stop{kUsage, "help takes one of a topic, --schema, --man and --completion"};
  }
  std::string text;
  if (o.schema) {
    text = schema_of(*o.schema);
  } else if (o.ids.what) {
    text = ids_of(o.ids);
  } else if (o.man) {
    text = man_page(manual);
  } else if (o.completion) {
    constexpr std::string_view kShells[] = {"bash", "zsh", "fish"};
    if (std::ranges::find(kShells, *o.completion) == std::end(kShells)) {
      throw Stop{kUsage,
                 fmt::format("--completion is \"{}\", not bash, zsh or fish", *o.completion)};
    }
    text = *o.completion == "bash"  ? bash_completion(manual)
           : *o.completion == "zsh" ? zsh_completion(manual)
                                    : fish_completion(manual);
  } else {
    text = with_examples_found(o.words.empty() ? overview(manual) : about(manual, o.words));
  }
  Output output(std::nullopt);
  output.write(text);
  return output.finish();
}

}  // namespace

std::span<const Topic> topics() { return kTopics; }

std::string topic_text(const Topic& topic) {
  std::string out(topic.text);
  return topic.name == kCsvTopic ? out + names_of_fields() : out;
}

Run add_help(CLI::App& parent) {
  auto o = std::make_shared<HelpOptions>();
  CLI::App* app = parent.add_subcommand("help", "Explain a topic or a command, with examples");
  app->add_option("TOPIC", o->words, "A topic or a command; without one: the list of them");
  take_one_of(
      *app->add_option("--schema", o->schema, "The JSON Schema of a format")->type_name("FORMAT"),
      schema_names());
  // For whoever installs the program.
  app->add_flag("--man", o->man, "The manual page")->group("");
  app->add_option("--completion", o->completion, "Completions for a shell")->group("");
  add_ids_options(*app, o->ids);
  add_examples(*app, {{"Where to begin, for each person.", "dryshaft help start"},
                      {"The JSON Schema (draft 2020-12) of reports, for other programs.",
                       "dryshaft help --schema report"},
                      {"How a table is read, and the names of its columns.", "dryshaft help csv"}});
  return [o, &parent] { return help(parent, *o); };
}

}  // namespace dryshaft::cli
