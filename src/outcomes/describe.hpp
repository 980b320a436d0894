// The study in words, as blocks that every format renders.
#ifndef DRYSHAFT_OUTCOMES_DESCRIBE_HPP
#define DRYSHAFT_OUTCOMES_DESCRIBE_HPP

#include "dryshaft/outcomes.hpp"
#include "report/document.hpp"

namespace dryshaft::outcomes {

document::Description describe_outcomes(const Outcomes& outcomes);

// The judgement of the first line, also the page's title.
std::string answer_of(const Outcomes& outcomes);
// "seal-leak" as a row's name; "damage" for the risk.
std::string short_name(const Score& score);

}  // namespace dryshaft::outcomes

#endif
