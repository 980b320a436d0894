// What the answers to a form come to before there is a report.
#ifndef DRYSHAFT_FORM_STOPS_HPP
#define DRYSHAFT_FORM_STOPS_HPP

#include <optional>
#include <string>

#include "dryshaft/form.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft::form {

// The facts of a car of which nothing but these answers is known; what cannot be is left out of
// them. Nothing: no record can be made of them.
std::optional<Facts> judged(const Form& form, FormAnswers answers, const Grader& grader);

// What an owner is told at once of grade D.
std::string stop_text(const Knowledge& knowledge);

}  // namespace dryshaft::form

#endif
