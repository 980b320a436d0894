// A document in each format that shows it.
#ifndef DRYSHAFT_REPORT_RENDER_HPP
#define DRYSHAFT_REPORT_RENDER_HPP

#include <string>
#include <string_view>

#include "report/document.hpp"

namespace dryshaft::document {

std::string in_text(const Document& document, const TextStyle& style);
std::string in_markdown(const Document& document);
// The inside of a page's <main>; see markup.hpp for the page. `part`: of a page of several
// documents, the words that tell its regions from those of the others.
std::string in_html(const Document& document, std::string_view part = {});

}  // namespace dryshaft::document

#endif
