// A report on a recording as blocks of a document.
#ifndef DRYSHAFT_NOISE_DESCRIBE_HPP
#define DRYSHAFT_NOISE_DESCRIBE_HPP

#include <string>
#include <vector>

#include "dryshaft/noise_report.hpp"
#include "report/document.hpp"

namespace dryshaft::noise {

// `most_lines`: of the strongest ones that are listed.
document::Description describe_recording(const NoiseSheet& sheet, std::size_t most_lines);

// No speed was given, and the recording shows none, or several.
bool speed_is_open(const NoiseSpeed& speed);

std::string phrase(const PartKind& part);  // "inner race of rear"
std::string shown_order(double order);
// The mark of a named part in pictures: "A" for the first.
std::string letter(std::size_t named);

}  // namespace dryshaft::noise

#endif
