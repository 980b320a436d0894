// Known bad inputs: a file of a shop's, for `--accepted`.
#ifndef DRYSHAFT_CLI_ACCEPTED_HPP
#define DRYSHAFT_CLI_ACCEPTED_HPP

#include <cstddef>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "dryshaft/record.hpp"

namespace CLI {
class App;
}  // namespace CLI

namespace dryshaft::cli {

inline constexpr std::string_view kAcceptedFormat = "dryshaft-accepted/1";

void add_accepted_option(CLI::App& app, std::optional<std::string>& path);

class Accepted {
 public:
  // No path: nothing is known. Complaints go to standard error; see `usable`.
  explicit Accepted(const std::optional<std::string>& path);
  [[nodiscard]] bool usable() const { return usable_; }

  // These, and that complaints about known inputs be left out.
  [[nodiscard]] ReadOptions options(ReadOptions read) const;
  // Hashes that a reader met.
  void met(const std::vector<std::string>& hashes);
  // Takes complaints about known inputs out of what was said later of records that were read.
  void leave_out(std::vector<Diagnostic>& complaints);
  [[nodiscard]] std::size_t number() const { return number_; }
  // To standard error: how many inputs were accepted, and which entries none has.
  void tell() const;

 private:
  struct Entry {
    Diagnostic at;  // what is said where no input has it
    std::size_t met = 0;
  };
  void read(const std::string& text);

  std::string path_;
  bool usable_ = true;
  std::map<std::string, Entry> entries_;  // by hash
  std::size_t number_ = 0;
};

// A line of such a file for each rejected input, in which the reason is left to be filled in.
std::string accepted_lines(const std::vector<Diagnostic>& complaints);

}  // namespace dryshaft::cli

#endif
