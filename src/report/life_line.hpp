// A unit's life as a drawing.
#ifndef DRYSHAFT_REPORT_LIFE_LINE_HPP
#define DRYSHAFT_REPORT_LIFE_LINE_HPP

#include <string>

#include "report/document.hpp"

namespace dryshaft::document {

// An <svg> element, as wide as a phone's screen; empty where there is nothing to draw.
std::string drawn(const LifeLine& line);

}  // namespace dryshaft::document

#endif
