// What the shapes of a form say around its questions, written once; a page says more of its own.
#ifndef DRYSHAFT_FORM_WORDING_HPP
#define DRYSHAFT_FORM_WORDING_HPP

#include <string_view>

#include "dryshaft/form.hpp"

namespace dryshaft::form {

inline constexpr std::string_view kTitle = "The drive unit of an electric car";
inline constexpr std::string_view kBuyingTitle = "The drive unit of an electric car you may buy";
inline constexpr std::string_view kTechnicianTitle = "A drive unit on the lift";
constexpr std::string_view title_of(FormFor reader) {
  return reader == FormFor::technician ? kTechnicianTitle
         : reader == FormFor::buyer    ? kBuyingTitle
                                       : kTitle;
}
inline constexpr std::string_view kAbout =
    "This form asks what you have heard and seen of the car. From the answers a workshop, or the "
    "program dryshaft, can tell how urgent a check of its drive unit is: the motor and gearbox in "
    "one housing.";
inline constexpr std::string_view kBuyingAbout =
    "This form asks what can be heard and seen of a car before you buy it. From the answers a "
    "workshop, or the program dryshaft, can tell how urgent a check of its drive unit is: the "
    "motor and gearbox in one housing. A report names a distance and a time for that check. "
    "Whatever it names, have the check made before you buy.";
inline constexpr std::string_view kNoTools =
    "You need no tools. Nothing has to be opened, and nothing of the high-voltage system has to be "
    "touched.";
inline constexpr std::string_view kGaps =
    "Leave out what you do not know. A blank counts neither for nor against the car.";

// Where the page, or who asks at a terminal, has a name drawn.
inline constexpr std::string_view kDrawn =
    "Without a name, the car gets a random one; it stands in your record.";

// Who looked, where nobody says otherwise: a word of `inspection.by`.
inline constexpr std::string_view kOwnerWord = "owner";
inline constexpr std::string_view kTechnicianWord = "technician";

// The text form.
inline constexpr std::string_view kBegin = "DRYSHAFT FORM 1";
inline constexpr std::string_view kEnd = "END OF THE FORM";
inline constexpr std::string_view kAnswer = "Answer:";
inline constexpr std::string_view kUnitsKey = "units";
inline constexpr std::string_view kUnitWords[] = {"km", "miles"};  // in the order of `Units`

}  // namespace dryshaft::form

#endif
