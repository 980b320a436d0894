// How often to look.
#ifndef DRYSHAFT_ONSET_RECHECK_HPP
#define DRYSHAFT_ONSET_RECHECK_HPP

#include "dryshaft/onset.hpp"

namespace dryshaft::onset {

// Fills in `rechecks` and `plan`, where there is a joined curve and rules to go by.
void plan_rechecks(OnsetReport& report);

}  // namespace dryshaft::onset

#endif
