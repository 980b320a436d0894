// What a run came to, for programs (`--summary`), and its exit code.
#ifndef DRYSHAFT_CLI_SUMMARY_HPP
#define DRYSHAFT_CLI_SUMMARY_HPP

#include <array>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft::cli {

void add_summary_option(CLI::App& app, std::optional<std::string>& path);

class Summary {
 public:
  Summary(std::string_view command, const std::optional<std::string>& path)
      : command_(command), path_(path) {}

  // What was counted; what is left alone is not said.
  std::optional<std::string> as_of = {};
  std::optional<std::size_t> units = {};
  std::optional<std::array<std::size_t, kGradeCount>> grades = {};
  std::optional<std::size_t> overdue = {};  // units
  std::size_t records = 0;                  // good ones
  std::size_t rejected = 0;
  bool rejected_at_least = false;
  std::size_t accepted = 0;
  void count(const UnitsRead& read);

  // A reason for an exit code other than 0.
  void because(int code, std::string text);
  // Writes the file, and gives the code: 4 before 3 before 1.
  int finish();

 private:
  struct Reason {
    int code;
    std::string text;
  };
  std::string_view command_;
  const std::optional<std::string>& path_;
  std::vector<Reason> reasons_;
};

// The reasons that commands share.
inline constexpr std::string_view kWhyData = "rules, families or another file of data are refused";
inline constexpr std::string_view kWhyRejected = "some input was rejected";
inline constexpr std::string_view kWhyOutput = "output could not be written";

}  // namespace dryshaft::cli

#endif
