// Answers that together mean that the car must not be driven, as data for a page that cannot
// grade. All of it follows from the rule data: for each rule that stops a car, which answers count,
// by the findings that it asks for, and what they mean, by judging each combination of them. Where
// a question takes several answers, each is taken by itself.
#ifndef DRYSHAFT_FORM_STOPS_HPP
#define DRYSHAFT_FORM_STOPS_HPP

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/form.hpp"
#include "knowledge/condition_set.hpp"

namespace dryshaft::form {

// Words of a number: its least value, and any above.
inline constexpr std::string_view kLeast = "least";
inline constexpr std::string_view kMore = "more";

// Holds where each question is answered with one of its words; "" stands for no answer.
struct Stop {
  struct Need {
    std::size_t question = 0;
    std::vector<std::string> words;
  };
  std::vector<Need> needs;
  std::string text;
};

// What grade D calls for comes alone; else there is what must be done before any further driving.
struct Stops {
  std::vector<Stop> grade;
  std::vector<Stop> before_driving;
};
Stops stops_of(const Form& form, const Grader& grader);

// The facts of a car of which nothing but these answers is known; what cannot be is left out of
// them. Nothing: no record can be made of them.
std::optional<Facts> judged(const Form& form, FormAnswers answers, const Grader& grader);

// What an owner is told at once of grade D.
std::string stop_text(const Knowledge& knowledge);

}  // namespace dryshaft::form

#endif
