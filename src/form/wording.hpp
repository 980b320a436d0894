// What the shapes of the form say around its questions, written once.
#ifndef DRYSHAFT_FORM_WORDING_HPP
#define DRYSHAFT_FORM_WORDING_HPP

#include <string_view>

namespace dryshaft::form {

inline constexpr std::string_view kTitle = "The drive unit of an electric car";
inline constexpr std::string_view kBuyingTitle = "The drive unit of an electric car you may buy";
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

// The page.
inline constexpr std::string_view kKept =
    "Your answers stay in this browser until you delete them; this page sends nothing anywhere.";
inline constexpr std::string_view kNoScript =
    "This page needs scripting, which is off in this browser. The same form comes as plain text, "
    "to print or to fill in an editor: dryshaft form blank";
inline constexpr std::string_view kTrouble =
    "This browser does not let the page keep your answers. Fill it in at one go: closing or "
    "reloading the page loses them.";
inline constexpr std::string_view kUnfinished =
    "Correct the answers marked below. There is no record before that.";
inline constexpr std::string_view kHandOn =
    "This is what you hand on. Save it or copy it, and give it to the workshop. The program "
    "dryshaft makes a report for you from it: dryshaft assess --for owner FILE";
inline constexpr std::string_view kRecordLabel = "The record as text";

// Who looked, where nobody says otherwise: a word of `inspection.by`.
inline constexpr std::string_view kOwnerWord = "owner";

// The text form.
inline constexpr std::string_view kBegin = "DRYSHAFT FORM 1";
inline constexpr std::string_view kEnd = "END OF THE FORM";
inline constexpr std::string_view kAnswer = "Answer:";
inline constexpr std::string_view kUnitsKey = "units";
inline constexpr std::string_view kUnitWords[] = {"km", "miles"};  // in the order of `Units`

}  // namespace dryshaft::form

#endif
