// Completions for bash, zsh and fish.
#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "cli/manual.hpp"

namespace dryshaft::cli {
namespace {

// In single quotes, as every one of the shells takes it.
std::string in_quotes(std::string_view text) {
  std::string out = "'";
  for (const char c : text) {
    out += c == '\'' ? std::string("'\\''") : std::string(1, c);
  }
  return out + "'";
}

// All commands that can be named, each before those below it.
void collect(const ManualCommand& command, std::vector<const ManualCommand*>& out) {
  out.push_back(&command);
  for (const ManualCommand& c : command.commands) {
    collect(c, out);
  }
}

std::vector<const ManualCommand*> all_commands(const ManualCommand& program) {
  std::vector<const ManualCommand*> out;
  collect(program, out);
  return out;
}

// What may stand where a command's argument does: topics and commands for `help`, else nothing.
std::vector<std::string> argument_words(const ManualCommand& command,
                                        const ManualCommand& program) {
  std::vector<std::string> words;
  if (command.name == "help") {
    for (const Topic& t : topics()) {
      words.emplace_back(t.name);
    }
    for (const ManualCommand& c : program.commands) {
      if (std::ranges::find(words, c.name) == words.end()) {
        words.push_back(c.name);
      }
    }
  }
  return words;
}

bool takes_files(const ManualCommand& command) {
  return std::ranges::any_of(command.arguments,
                             [](const ManualOption& a) { return a.takes == Takes::file; });
}

std::vector<std::string> option_names(const ManualCommand& command) {
  std::vector<std::string> names;
  for (const ManualOption& o : command.options) {
    std::ranges::copy(o.names, std::back_inserter(names));
  }
  return names;
}

std::vector<std::string> command_names(const ManualCommand& command) {
  std::vector<std::string> names;
  names.reserve(command.commands.size());
  for (const ManualCommand& c : command.commands) {
    names.push_back(c.name);
  }
  return names;
}

// A description in the brackets of zsh's _arguments.
std::string in_brackets(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '[' || c == ']' || c == ':' || c == '\\') {
      out += '\\';
    }
    out += c;
  }
  return out;
}

std::string zsh_action(const ManualOption& o) {
  if (!o.values.empty()) {
    return fmt::format("({})", fmt::join(o.values, " "));
  }
  return o.takes == Takes::file ? "_files" : o.takes == Takes::folder ? "_files -/" : " ";
}

std::string function_name(const ManualCommand& command) {
  std::string name = "_" + command.path;
  std::ranges::replace(name, ' ', '_');
  return name;
}

void add_zsh_command(std::string& out, const ManualCommand& command, const ManualCommand& program) {
  out += function_name(command) + "() {\n  _arguments -s -S -C";
  for (const ManualOption& o : command.options) {
    for (const std::string& name : o.names) {
      std::string argument =
          fmt::format("{}{}[{}]", o.repeats ? "*" : "", name, in_brackets(o.description));
      if (o.takes != Takes::nothing) {
        argument += fmt::format(":{}:{}", in_brackets(o.placeholder), zsh_action(o));
      }
      out += " \\\n    " + in_quotes(argument);
    }
  }
  if (const auto words = argument_words(command, program); !words.empty()) {
    out += " \\\n    " + in_quotes(fmt::format("*:topic:({})", fmt::join(words, " ")));
  } else if (takes_files(command)) {
    out += " \\\n    '*:file:_files'";
  }
  if (command.commands.empty()) {
    out += "\n}\n";
    return;
  }
  out +=
      fmt::format(" \\\n    {} \\\n    '*:: :->rest'\n",
                  in_quotes(fmt::format("1:command:({})", fmt::join(command_names(command), " "))));
  out += "  if [[ $state == rest ]]; then\n    case $words[1] in\n";
  for (const ManualCommand& c : command.commands) {
    out += fmt::format("      {}) {} ;;\n", c.name, function_name(c));
  }
  out += "    esac\n  fi\n}\n";
}

}  // namespace

std::string bash_completion(const ManualCommand& program) {
  const std::vector<const ManualCommand*> commands = all_commands(program);
  std::string out =
      "# Completions of dryshaft for bash.\n"
      "_dryshaft() {\n"
      "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
      "  local command=dryshaft i words= files=\n"
      "  for ((i = 1; i < COMP_CWORD; i++)); do\n"
      "    case \"$command ${COMP_WORDS[i]}\" in\n      ";
  for (std::size_t i = 1; i < commands.size(); ++i) {
    out += fmt::format("{}\"{}\"", i == 1 ? "" : " | ", commands[i]->path);
  }
  out += ") command=\"$command ${COMP_WORDS[i]}\" ;;\n    esac\n  done\n";
  // What an option takes.
  out += "  case \"$command $before\" in\n";
  for (const ManualCommand* command : commands) {
    for (const ManualOption& o : command->options) {
      if (o.takes == Takes::nothing) {
        continue;
      }
      for (const std::string& name : o.names) {
        out += fmt::format("    \"{} {}\") ", command->path, name);
        out += !o.values.empty()
                   ? fmt::format("words={}", in_quotes(fmt::format("{}", fmt::join(o.values, " "))))
               : o.takes == Takes::file   ? std::string("files=file")
               : o.takes == Takes::folder ? std::string("files=directory")
                                          : std::string("files=none");
        out += " ;;\n";
      }
    }
  }
  // Else options where a dash stands, and what the command takes.
  out += "    *)\n      case \"$command\" in\n";
  for (const ManualCommand* command : commands) {
    std::vector<std::string> words = command_names(*command);
    std::ranges::copy(argument_words(*command, program), std::back_inserter(words));
    const std::vector<std::string> options = option_names(*command);
    out += fmt::format("        \"{}\")\n          if [[ $word == -* ]]; then words={}\n",
                       command->path, in_quotes(fmt::format("{}", fmt::join(options, " "))));
    out += fmt::format("          else words={}{}; fi ;;\n",
                       in_quotes(fmt::format("{}", fmt::join(words, " "))),
                       takes_files(*command) ? " files=file" : "");
  }
  out +=
      "      esac ;;\n"
      "  esac\n"
      "  COMPREPLY=()\n"
      "  if [[ $files == file || $files == directory ]]; then\n"
      "    compopt -o filenames 2>/dev/null\n"
      "    local IFS=$'\\n'\n"
      "    COMPREPLY=($(compgen -A \"$files\" -- \"$word\"))\n"
      "  elif [[ -n $words ]]; then\n"
      "    COMPREPLY=($(compgen -W \"$words\" -- \"$word\"))\n"
      "  fi\n"
      "}\n"
      "complete -F _dryshaft dryshaft\n";
  return out;
}

std::string zsh_completion(const ManualCommand& program) {
  std::string out = "#compdef dryshaft\n# Completions of dryshaft for zsh.\n";
  for (const ManualCommand* command : all_commands(program)) {
    add_zsh_command(out, *command, program);
  }
  out +=
      "if [ \"$funcstack[1]\" = \"_dryshaft\" ]; then\n  _dryshaft \"$@\"\nelse\n"
      "  compdef _dryshaft dryshaft\nfi\n";
  return out;
}

std::string fish_completion(const ManualCommand& program) {
  std::string out = "# Completions of dryshaft for fish.\ncomplete -c dryshaft -f\n";
  for (const ManualCommand* command : all_commands(program)) {
    // All words of the path are there, and none of those that lead further.
    std::string when;
    std::string_view rest = std::string_view(command->path).substr(program.path.size());
    while (!rest.empty()) {
      rest.remove_prefix(1);  // the space
      const std::string_view word = rest.substr(0, rest.find(' '));
      when += fmt::format("{}__fish_seen_subcommand_from {}", when.empty() ? "" : "; and ", word);
      rest.remove_prefix(word.size());
    }
    const std::vector<std::string> names = command_names(*command);
    if (!names.empty()) {
      when += when.empty()
                  ? "__fish_use_subcommand"
                  : fmt::format("; and not __fish_seen_subcommand_from {}", fmt::join(names, " "));
    }
    const std::string head = fmt::format("complete -c dryshaft -n {}", in_quotes(when));
    for (const ManualCommand& c : command->commands) {
      out += fmt::format("{} -a {} -d {}\n", head, c.name, in_quotes(c.description));
    }
    for (const std::string& word : argument_words(*command, program)) {
      out += fmt::format("{} -a {}\n", head, word);
    }
    if (takes_files(*command)) {
      out += head + " -F\n";
    }
    for (const ManualOption& o : command->options) {
      out += head;
      for (const std::string& name : o.names) {
        out += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
      }
      if (!o.values.empty()) {
        out += fmt::format(" -x -a {}", in_quotes(fmt::format("{}", fmt::join(o.values, " "))));
      } else if (o.takes == Takes::folder) {
        out += " -x -a '(__fish_complete_directories)'";
      } else if (o.takes == Takes::file) {
        out += " -r -F";
      } else if (o.takes == Takes::word) {
        out += " -x";
      }
      out += fmt::format(" -d {}\n", in_quotes(o.description));
    }
  }
  return out;
}

}  // namespace dryshaft::cli
