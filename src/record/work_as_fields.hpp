// What work on record says, in the fields of the unit that can say it: for whatever judges a unit
// by these fields.
#ifndef DRYSHAFT_RECORD_WORK_AS_FIELDS_HPP
#define DRYSHAFT_RECORD_WORK_AS_FIELDS_HPP

#include <vector>

#include "dryshaft/record.hpp"

namespace dryshaft {

// Fills in seal, fitting, rotor cooling, crossover pipe and bearings where work on record tells
// them, each in the record of the look that it comes before or after, and notes contradictions
// there, of which it warns. Where field and work disagree the worse of the two stands. Records that
// cannot be of one unit do not tell of each other's work. Without work nothing changes.
std::vector<Diagnostic> tell_work_as_fields(History& history);

}  // namespace dryshaft

#endif
