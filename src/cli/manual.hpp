// The command line as data, read off the parser: help, man page and completions are made from it.
#ifndef DRYSHAFT_CLI_MANUAL_HPP
#define DRYSHAFT_CLI_MANUAL_HPP

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace CLI {
class App;
}

namespace dryshaft::cli {

enum class Takes : std::uint8_t { nothing, word, file, folder };

struct ManualOption {
  std::vector<std::string> names;  // "--out"; an argument has one name without dashes
  std::string placeholder;         // "FILE"; empty where it takes nothing
  std::string description;
  std::vector<std::string> values;  // where it takes one of some words
  std::string fallback;             // what holds where it is not given; empty: nothing, or it is
                                    // needless to say
  Takes takes = Takes::nothing;
  bool required = false;
  bool repeats = false;
};

struct ManualCommand {
  std::string path;   // "dryshaft rules show"
  std::string name;   // "show"
  std::string group;  // what one does with it
  std::string description;
  std::string footer;
  std::vector<ManualOption> arguments;
  std::vector<ManualOption> options;
  std::vector<ManualCommand> commands;
};

// What is hidden in the parser is left out.
ManualCommand manual_of(const CLI::App& app, const std::string& path);

// A topic of `dryshaft help` that is no command.
struct Topic {
  std::string_view name;
  std::string_view text;  // its first line is its title; indented lines stand as they are
};
std::span<const Topic> topics();
std::string topic_text(const Topic& topic);  // with what comes from the vocabulary

// "text, json or csv"
std::string choice_of(std::span<const std::string> words);
// The description, the words it takes and what holds without it.
std::string described(const ManualOption& option);
std::string usage_line(const ManualCommand& command);
std::string help_text(const ManualCommand& command);  // at most 80 columns wide
std::string man_page(const ManualCommand& program);
std::string bash_completion(const ManualCommand& program);
std::string zsh_completion(const ManualCommand& program);
std::string fish_completion(const ManualCommand& program);

}  // namespace dryshaft::cli

#endif
