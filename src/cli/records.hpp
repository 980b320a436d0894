// What the commands below `records` share.
#ifndef DRYSHAFT_CLI_RECORDS_HPP
#define DRYSHAFT_CLI_RECORDS_HPP

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "cli/cli.hpp"
#include "dryshaft/archive.hpp"

namespace dryshaft::cli {

struct RecordsOptions {
  std::vector<std::string> files;
  std::optional<std::string> columns;
  std::optional<std::string> out;
  DataOptions data;
};
// FILE, `--columns`, `--out` and those of the rule data, by which families are known.
void add_records_options(CLI::App& app, RecordsOptions& options);

// The records of some files with their texts; what is wrong has been said.
class RecordsFiles {
 public:
  explicit RecordsFiles(const RecordsOptions& options) : o_(options) {}

  // False: nothing can be read; exit kRejected.
  bool open();
  [[nodiscard]] const ReadOptions& read_options() const { return options_; }
  std::vector<Record> records();
  std::vector<RecordText> texts();
  // Of `texts` or `records`: how many there were, and whether some input was refused.
  [[nodiscard]] std::size_t count() const { return read_.records; }
  [[nodiscard]] int code(int written) const;
  void refuse(const std::vector<Diagnostic>& complaints);  // says so

 private:
  void each(const std::function<void(Record)>& take);

  const RecordsOptions& o_;
  ColumnMap columns_;
  ReadOptions options_;
  UnitsRead read_;
};

// Writes lines, and says on standard error what became of the records.
int write_lines(const RecordLines& lines, const std::optional<std::string>& out);

}  // namespace dryshaft::cli

#endif
