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

// Ids of the rule data, which a shop may have of its own: the program is asked for them (`help
// --ids`), with what the line says of data so far.
std::string_view ids_for(const ManualOption& option) {
  constexpr std::pair<std::string_view, std::string_view> kIds[] = {{"--family", "families"},
                                                                    {"--vehicle", "vehicles"},
                                                                    {"--check", "checks"},
                                                                    {"--job-sheet", "job-sheets"},
                                                                    {"--by", "groups"}};
  const auto found = std::ranges::find(kIds, option.names.back(),
                                       [](const auto& pair) { return std::string(pair.first); });
  return found == std::end(kIds) ? std::string_view() : found->second;
}
std::string_view ids_for(const ManualCommand& command) {
  return command.path == "dryshaft rules show" ? "rules" : "";
}
constexpr std::string_view kDataOptions[] = {"--rules", "--families", "--work", "--guides",
                                             "--family"};

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
  if (const std::string_view ids = ids_for(o); !ids.empty()) {
    return fmt::format(" _dryshaft_ids {}", ids);
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
      const bool takes = o.takes != Takes::nothing;
      // What is taken stands after a blank, or after "=".
      std::string argument =
          fmt::format("{}{}{}[{}]", o.repeats ? "*" : "", name,
                      takes && name.starts_with("--") ? "=" : "", in_brackets(o.description));
      if (takes) {
        argument += fmt::format(":{}:{}", in_brackets(o.placeholder), zsh_action(o));
      }
      out += " \\\n    " + in_quotes(argument);
    }
  }
  if (const auto words = argument_words(command, program); !words.empty()) {
    out += " \\\n    " + in_quotes(fmt::format("*:topic:({})", fmt::join(words, " ")));
  } else if (const std::string_view ids = ids_for(command); !ids.empty()) {
    out += fmt::format(" \\\n    ':id: _dryshaft_ids {}'", ids);
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
      "_dryshaft_ids() {\n"
      "  \"${COMP_WORDS[0]}\" help --ids \"$1\" \"${data[@]}\" 2>/dev/null\n"
      "}\n"
      "_dryshaft() {\n"
      "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
      "  local command=dryshaft i words= files=\n"
      "  local -a data=()\n"
      "  if [[ $word == = ]]; then word=  # --option=\n"
      "  elif [[ $before == = ]]; then before=${COMP_WORDS[COMP_CWORD-2]}; fi\n"
      "  for ((i = 1; i < COMP_CWORD; i++)); do\n"
      "    case ${COMP_WORDS[i]} in\n      ";
  out += fmt::format("{}", fmt::join(kDataOptions, " | "));
  out +=
      ")\n"
      "        if ((i + 1 >= COMP_CWORD)); then :\n"
      "        elif [[ ${COMP_WORDS[i+1]} != = ]]; then\n"
      "          data+=(\"${COMP_WORDS[i]}=${COMP_WORDS[i+1]}\")\n"
      "        elif ((i + 2 < COMP_CWORD)); then\n"
      "          data+=(\"${COMP_WORDS[i]}=${COMP_WORDS[i+2]}\")\n"
      "        fi ;;\n"
      "    esac\n"
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
               : !ids_for(o).empty()      ? fmt::format("words=$(_dryshaft_ids {})", ids_for(o))
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
    const std::string_view ids = ids_for(*command);
    out += fmt::format("          else words={}{}; fi ;;\n",
                       ids.empty() ? in_quotes(fmt::format("{}", fmt::join(words, " ")))
                                   : fmt::format("$(_dryshaft_ids {})", ids),
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
  std::string out =
      "#compdef dryshaft\n# Completions of dryshaft for zsh.\n"
      "_dryshaft_ids() {\n"
      "  local i\n"
      "  local -a data ids\n"
      "  for ((i = 1; i < CURRENT - 1; i++)); do\n"
      "    case $words[i] in\n";
  out += fmt::format("      ({})\n        data+=($words[i] $words[i+1]) ;;\n",
                     fmt::join(kDataOptions, "|"));
  out +=
      fmt::format("      ({}=*)\n        data+=($words[i]) ;;\n", fmt::join(kDataOptions, "=*|"));
  out +=
      "    esac\n"
      "  done\n"
      "  ids=(${(f)\"$(_call_program ids dryshaft help --ids $1 ${(q)data[@]} 2>/dev/null)\"})\n"
      "  compadd -a ids\n"
      "}\n";
  for (const ManualCommand* command : all_commands(program)) {
    add_zsh_command(out, *command, program);
  }
  out +=
      "if [ \"$funcstack[1]\" = \"_dryshaft\" ]; then\n  _dryshaft \"$@\"\nelse\n"
      "  compdef _dryshaft dryshaft\nfi\n";
  return out;
}

std::string fish_completion(const ManualCommand& program) {
  std::string out =
      "# Completions of dryshaft for fish.\n"
      "function __dryshaft_ids\n"
      "  set -l words (commandline -opc)\n"
      "  set -l data\n"
      "  for i in (seq (count $words))\n"
      "    switch $words[$i]\n";
  out += fmt::format(
      "      case {}\n        if test $i -lt (count $words)\n"
      "          set -a data $words[$i] $words[(math $i + 1)]\n        end\n",
      fmt::join(kDataOptions, " "));
  out += fmt::format("      case '{}=*'\n        set -a data $words[$i]\n",
                     fmt::join(kDataOptions, "=*' '"));
  out +=
      "    end\n"
      "  end\n"
      "  dryshaft help --ids $argv[1] $data 2>/dev/null\n"
      "end\n"
      "complete -c dryshaft -f\n";
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
    if (const std::string_view ids = ids_for(*command); !ids.empty()) {
      out += fmt::format("{} -a '(__dryshaft_ids {})'\n", head, ids);
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
      } else if (const std::string_view ids = ids_for(o); !ids.empty()) {
        out += fmt::format(" -x -a '(__dryshaft_ids {})'", ids);
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
