// What pages say around questions and reports, written once.
#ifndef DRYSHAFT_PAGE_WORDING_HPP
#define DRYSHAFT_PAGE_WORDING_HPP

#include <span>
#include <string_view>

#include "dryshaft/form.hpp"
#include "form/wording.hpp"

namespace dryshaft::page {

// In requests: owner, buyer, technician.
constexpr std::string_view word_of(FormFor reader) {
  return reader == FormFor::technician ? "technician"
         : reader == FormFor::buyer    ? "buyer"
                                       : "owner";
}

// Shown until the script takes it away.
inline constexpr std::string_view kDead =
    "This page cannot work where you see it now, such as in a mail. Save it as a file, then open "
    "it with a web browser that is no older than 2023. If that does not help, ask whoever sent it "
    "for the same form as text.";
inline constexpr std::string_view kBroken =
    "Something in this page went wrong. Reload it; your answers stay. If that does not help, open "
    "it with another browser.";
inline constexpr std::string_view kTrouble =
    "This browser keeps nothing for this page, or has no room left. Save what you have before you "
    "close or reload it.";
inline constexpr std::string_view kKept =
    "Your answers stay in this browser until you delete them; this page sends nothing anywhere.";
inline constexpr std::string_view kUnfinished =
    "Correct the answers marked below. There is no report before that.";
inline constexpr std::string_view kKeepSheet = "What you wrote, as a record";
inline constexpr std::string_view kSheetUnfinished =
    "There is no record yet: it needs the unit's id, the day, and nothing that is wrong.";
inline constexpr std::string_view kNeeded = "This answer is needed: there is no report without it.";
inline constexpr std::string_view kRecordLabel = "The record as text";
inline constexpr std::string_view kNotKnown = "not known, or not looked at";
inline constexpr std::string_view kList =
    "Each unit stays here until you delete it. The file holds a record a line, for dryshaft "
    "assess.";
inline constexpr std::string_view kEarlier =
    "Records of this unit from before count for its report. They stay in this browser.";

struct Wording {
  std::span<const std::string_view> before;  // under the first question
  std::string_view now;                      // a button: the report as far as is known
  std::string_view result;                   // the same, after the last question
  std::string_view hand_on;                  // above the buttons that save and send
  std::string_view answers;
  std::string_view workshop;  // before its name and address
  std::string_view again;
  std::string_view sure;
};

inline constexpr std::string_view kOwnersBefore[] = {
    "You get the answer here, at once: whether you may drive, what to do, and by when. Leave out "
    "what you do not know.",
    "A good grade needs a workshop's look at the speed sensor's port. Without that look, the "
    "answer "
    "is how soon to have it made.",
    form::kNoTools,
};
inline constexpr std::string_view kBuyersBefore[] = {
    "Eight questions at the kerb, then the answer: whether to buy. Leave out what you do not know.",
    "No car can come out well before a workshop has looked at its speed sensor's port. Have that "
    "done before you buy.",
    form::kNoTools,
};
inline constexpr std::string_view kTechniciansBefore[] = {
    "Any step may be left out. The report says what to look at next.",
};
inline constexpr Wording kWordings[] = {
    {kOwnersBefore, "Show the answer now", "Show the answer", "Send it to the workshop, or keep it",
     "Your answers", "Give it to:", "Start again", "Delete all answers?"},
    {kBuyersBefore, "Show the answer now", "Show the answer", "Keep it, or send it to a workshop",
     "Your answers", "A workshop that looks at the port:", "Start again", "Delete all answers?"},
    {kTechniciansBefore, "Report", "Report", "Keep it, or send it", "What was entered",
     "From:", "Delete this unit", "Delete this unit?"},
};
constexpr const Wording& wording_for(FormFor reader) {
  return kWordings[static_cast<std::size_t>(reader)];
}

// What the script says.
struct Said {
  std::string_view name;
  std::string_view text;
};
inline constexpr Said kSays[] = {
    {"answer", "Your answer"},
    {"unitLabel", "Unit"},
    {"unit", "km or miles?"},
    {"question", "Question {n} of {all}"},
    {"step", "Step {n} of {all}"},
    {"next", "Next"},
    {"change", "Change"},
    {"none", "not answered"},
    {"choose", "choose"},
    {"saved",
     "The file {name} was given to your browser. Look in your downloads; if it is not there, "
     "copy the answers instead."},
    {"copied", "Copied. You can paste it into a mail."},
    {"copyByHand", "The text below is marked: copy it the way you copy any text."},
    {"notSent", "It was not sent. Save it as a file instead."},
    {"grade", "grade {grade}, {date}"},
    {"unnamed", "a unit without an id"},
    {"notFinished", "not finished"},
    {"open", "Open"},
    {"exported", "{count} saved in {name}."},
    {"leftOut", "Not in it, because something is missing or wrong: {units}."},
    {"known", "Units with earlier records at hand: {count}."},
    {"before", "{count} earlier, the last of {date}"},
    {"photos", "Add photographs"},
    {"photo", "Photograph {n}"},
    {"remove", "Remove"},
    {"noPicture", "{name} is no picture that this browser can open."},
    {"photosFull", "{name} has no room in this record. Remove another one first."},
};

}  // namespace dryshaft::page

#endif
