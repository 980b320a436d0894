// Two presentations that may be of one unit or of two: whatever is worse counts.
#ifndef DRYSHAFT_DIAGNOSE_JOINED_HPP
#define DRYSHAFT_DIAGNOSE_JOINED_HPP

#include "diagnose/present.hpp"

namespace dryshaft {

// Adds what the other one, of the day `day`, shows for the worse.
void take_worse(Presentation& into, const Presentation& other, std::string_view day);

// Takes out what is good of one alone, and assumes the worse of two units.
void keep_common_good(Presentation& into, const Presentation& other);

}  // namespace dryshaft

#endif
