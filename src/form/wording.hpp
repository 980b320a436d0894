// What the shapes of the form say around its questions, written once.
#ifndef DRYSHAFT_FORM_WORDING_HPP
#define DRYSHAFT_FORM_WORDING_HPP

#include <string_view>

namespace dryshaft::form {

inline constexpr std::string_view kTitle = "The drive unit of an electric car";
inline constexpr std::string_view kBuyingTitle = "The drive unit of an electric car you may buy";
inline constexpr std::string_view kAbout =
    "This form asks what you have heard and seen of the car. From the answers a workshop, or the "
    "program dryshaft, can say how urgent a look at its drive unit is: the motor and gearbox in "
    "one housing.";
inline constexpr std::string_view kBuyingAbout =
    "This form asks what can be heard and seen of a car before you buy it. From the answers a "
    "workshop, or the program dryshaft, can say how urgent a look at its drive unit is: the motor "
    "and gearbox in one housing.";
inline constexpr std::string_view kNoTools =
    "You need no tools. Nothing has to be opened, and nothing of the high-voltage system has to be "
    "touched.";
inline constexpr std::string_view kGaps =
    "Leave out what you do not know. A blank is never taken for good news or for bad.";

// The text form.
inline constexpr std::string_view kBegin = "DRYSHAFT FORM 1";
inline constexpr std::string_view kEnd = "END OF THE FORM";
inline constexpr std::string_view kAnswer = "Answer:";
inline constexpr std::string_view kUnitsKey = "units";
inline constexpr std::string_view kUnitWords[] = {"km", "miles"};  // in the order of `Units`

}  // namespace dryshaft::form

#endif
