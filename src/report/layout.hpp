// Text on one line or several: safe on a terminal, measured in columns.
#ifndef DRYSHAFT_REPORT_LAYOUT_HPP
#define DRYSHAFT_REPORT_LAYOUT_HPP

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace dryshaft::layout {

// Well-formed text on one line: tab, CR and LF become a space, any other
// control and each byte that is not UTF-8 becomes U+FFFD.
std::string clean(std::string_view text);

// Columns on a terminal. Expects clean text.
std::size_t width(std::string_view text);

// How many characters this thread has measured so far: what laying out costs is tested by it.
std::size_t measured();

// As much of the beginning, or of the end, as fits into `columns`.
std::string_view head(std::string_view text, std::size_t columns);
std::string_view tail(std::string_view text, std::size_t columns);

// Lines of at most `columns`; breaks at spaces, and inside a word only where it
// is wider than a line. A number keeps its unit.
std::vector<std::string> wrap(std::string_view text, std::size_t columns);

// Clean words of at most `columns`, cut with `~`. Different words stay
// different, whatever was cut away; equal words stay equal.
std::vector<std::string> cut(const std::vector<std::string>& words, std::size_t columns);

}  // namespace dryshaft::layout

#endif
