// Pages and HTML mails as text. Nothing in them is carried out or fetched.
#ifndef DRYSHAFT_CLI_PAGE_TEXT_HPP
#define DRYSHAFT_CLI_PAGE_TEXT_HPP

#include <string>
#include <string_view>

namespace dryshaft::cli {

// Whether a text is a page, or part of one, rather than text with a few angle brackets.
bool is_page(std::string_view text);

// What a reader of the page sees, line by line; where it was stressed beside an empty box, the line
// has a "*" (bold, underlined, highlighted) or a "~" (coloured) there, and what was struck out is
// gone. A page that holds records (the element "dryshaft-records") has these alone, in their
// places.
struct PageText {
  std::string text;
  bool has_records_element = false;
};
PageText page_text(std::string utf8);

// The letters of ASCII in small.
std::string small(std::string_view text);

}  // namespace dryshaft::cli

#endif
