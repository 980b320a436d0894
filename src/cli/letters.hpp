// One file for each unit's owner.
#ifndef DRYSHAFT_CLI_LETTERS_HPP
#define DRYSHAFT_CLI_LETTERS_HPP

#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/dryshaft.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"

namespace CLI {
class App;
}

namespace dryshaft::cli {

// A file name for each id, without its ending: the id, where that is a name that any system takes,
// else what is left of it and the beginning of its SHA-256. No two look alike.
std::vector<std::string> file_names(const std::vector<std::string>& ids);

// Writes files into a folder, which is made if it is missing; each as `Output` does. `text_of` is
// called by several threads, for the i-th name. kOutput where one could not be written: the others
// are.
int write_files(const std::string& folder, const std::vector<std::string>& names, unsigned jobs,
                const std::function<std::string(std::size_t)>& text_of);

// The folder to write letters to.
void add_letters_option(CLI::App& app, std::optional<std::string>& folder);

// A letter to each unit's owner: what `assess --for owner --full` writes of the unit alone.
struct Letters {
  std::string folder;
  std::string ending = "html";  // or "md", "txt": what a letter is
  Units units = Units::km;
  unsigned jobs = 1;
  AssessOptions options;
  // Where given: the unit of this number with all that is shown of it, such as photographs.
  std::function<History(std::size_t)> shown = {};
};
// Whom a letter goes to, by the numbers of their units; the others are counted.
struct Owners {
  std::vector<std::size_t> units;
  std::size_t cores = 0;  // graded at intake: they stand in no car
  std::size_t gone = 0;   // sold or scrapped; what was returned has its owner again

  void add(std::size_t unit, const Report& report);
};
// Names go by all units, so that a letter keeps its name whichever are chosen. Who gets none is
// told of. kOutput where one could not be written: the others are.
int write_letters(const Letters& letters, const Grader& grader,
                  const std::vector<History>& histories, const Owners& owners);

}  // namespace dryshaft::cli

#endif
