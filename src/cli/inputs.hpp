// Which files are read: no output may take the place of one.
#ifndef DRYSHAFT_CLI_INPUTS_HPP
#define DRYSHAFT_CLI_INPUTS_HPP

#include <string>

namespace dryshaft::cli {

// An open file is read. `LineSource` says so itself.
void is_input(int descriptor);
bool was_input(const std::string& path);

}  // namespace dryshaft::cli

#endif
