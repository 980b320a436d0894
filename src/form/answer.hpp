// What people write, matched with what a question offers.
#ifndef DRYSHAFT_FORM_ANSWER_HPP
#define DRYSHAFT_FORM_ANSWER_HPP

#include <optional>
#include <string>
#include <string_view>

#include "dryshaft/form.hpp"

namespace dryshaft::form {

constexpr bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Small letters, single spaces, no punctuation at the end.
std::string plain(std::string_view text);

// The word of the choice that `written` names: by its word or text, with more
// words after a comma or the like, or by its beginning, if that fits one choice
// alone. Also `unknown`, for all that is not known.
enum class Cut : unsigned char { no, allowed };  // whether the beginning is enough
std::optional<std::string> choice_meant(const FormQuestion& question, std::string_view written,
                                        Cut cut = Cut::allowed);

// Whether `written` is the word or text of a choice and nothing else.
bool is_whole_choice(const FormQuestion& question, std::string_view written);

// Whether an answer that was typed says more than the number, unit or date that is asked for.
bool says_more(const FormQuestion& question, std::string_view written);

// Without blanks at either end.
std::string_view trimmed(std::string_view text, std::string_view blanks = " \t\r\n");

// km or miles, if the text names one of them.
std::optional<Units> unit_named(std::string_view text);

// "dry; a film of liquid; I do not know"
std::string offered(const FormQuestion& question);

// "did you mean ...?", or empty.
std::string meant_hint(const FormQuestion& question, std::string_view written);

}  // namespace dryshaft::form

#endif
