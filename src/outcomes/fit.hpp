// What the study and the fit share.
#ifndef DRYSHAFT_OUTCOMES_FIT_HPP
#define DRYSHAFT_OUTCOMES_FIT_HPP

#include "dryshaft/outcomes.hpp"

namespace dryshaft::outcomes {

// Whether opening a unit shows this finding: what verdicts are held against.
constexpr bool shown_by_opening(Finding f) { return f >= Finding::opened_seal_leak; }

}  // namespace dryshaft::outcomes

#endif
