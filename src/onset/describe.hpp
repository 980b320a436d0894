// A report on onsets as blocks of a document.
#ifndef DRYSHAFT_ONSET_DESCRIBE_HPP
#define DRYSHAFT_ONSET_DESCRIBE_HPP

#include <string>

#include "dryshaft/onset.hpp"
#include "report/document.hpp"

namespace dryshaft::onset {

document::Description describe_onset(const OnsetSheet& sheet);

// "120,000 km", "7.5 years", or a plain number.
std::string shown_at(OnsetAxis axis, double at);
// "by distance" and the like, for an axis.
std::string axis_title(OnsetAxis axis);

}  // namespace dryshaft::onset

#endif
