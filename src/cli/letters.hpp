// One file for each unit's owner.
#ifndef DRYSHAFT_CLI_LETTERS_HPP
#define DRYSHAFT_CLI_LETTERS_HPP

#include <cstddef>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace dryshaft::cli {

// A file name for each id, without its ending: the id, where that is a name that any system takes,
// else what is left of it and the beginning of its SHA-256. No two look alike.
std::vector<std::string> file_names(const std::vector<std::string>& ids);

// Writes files into a folder, which is made if it is missing; each as `Output` does. `text_of` is
// called by several threads, for the i-th name. kOutput where one could not be written: the others
// are.
int write_files(const std::string& folder, const std::vector<std::string>& names, unsigned jobs,
                const std::function<std::string(std::size_t)>& text_of);

}  // namespace dryshaft::cli

#endif
