// Pages in HTML: text made safe, and the frame that every page stands in.
#ifndef DRYSHAFT_REPORT_MARKUP_HPP
#define DRYSHAFT_REPORT_MARKUP_HPP

#include <string>
#include <string_view>

namespace dryshaft::markup {

// Text that HTML shows as it stands, in an element or a quoted attribute.
std::string escaped(std::string_view text);
// The same for an element alone, where quotes need no escape.
std::string escaped_content(std::string_view text);

// JSON text as it may stand in a <script> element.
std::string in_script(std::string_view json);

struct Page {
  std::string title;        // plain text
  std::string style;        // CSS, after the common one
  std::string body;         // HTML
  std::string script = {};  // JavaScript; empty: none
  std::string data = {};    // JSON for the script, in the element `data`; empty: none
  // The library for the script, in the element `core`; empty: none. It may be compiled, then.
  std::string_view core = {};
};

// A page of its own: nothing is loaded but pictures that stand in it, and nothing runs but
// `script`, whose hash stands in the page's content security policy (W3C CSP 3), and `core`.
std::string whole(const Page& page);

}  // namespace dryshaft::markup

#endif
