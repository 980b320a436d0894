// Days and months as people write them.
#ifndef DRYSHAFT_FORM_DATES_HPP
#define DRYSHAFT_FORM_DATES_HPP

#include <string>
#include <string_view>

namespace dryshaft::form {

struct WrittenDate {
  std::string text;      // as records have it: "2026-11-20", "2017-05", "2017"; or empty
  std::string readings;  // "3 April 2026 or 4 March 2026", where it may be either; or empty
  std::string first;     // how a record has the first of these
};

// The one day, month or year among other words, such as "Friday, 20 November 2026", "20.11.2026",
// "2026/11/20", "May 2017", "05/2017". No text and no readings: there is none, or more than one. It
// may be no day of the calendar: that is for who reads the record.
WrittenDate date_among(std::string_view written);

// Whether a word belongs to a date: a month, a day of the week, "20th", "of".
bool is_word_of_date(std::string_view small_letters);

}  // namespace dryshaft::form

#endif
