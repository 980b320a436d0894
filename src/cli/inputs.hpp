// Which files were read or written: no output may take the place of one.
#ifndef DRYSHAFT_CLI_INPUTS_HPP
#define DRYSHAFT_CLI_INPUTS_HPP

#include <string>
#include <string_view>

namespace dryshaft::cli {

// An open file is read. `LineSource` says so itself.
void is_input(int descriptor);
// An open file is written, and stays. `Output` says so itself.
void is_output(int descriptor);
// Why the file of this name is to be left alone; empty: it may be replaced.
std::string_view why_kept(const std::string& path);

}  // namespace dryshaft::cli

#endif
