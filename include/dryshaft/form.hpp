/// Forms: a list of questions, made from the vocabulary, in shapes that give the
/// same records.
///
///     Form form = make_form(grader, FormFor::owner);
///     blank_text(form);                      // to print, mail, fill in an editor
///     blank_html(form, {});                  // a page that grades by itself
///     read_forms(form, text, "mail.txt", o)  // either of them, filled
///     read_sent(form, {body, attached}, o)   // the same, counted once
///
/// A program that asks at a terminal walks `form.questions`, skips those that
/// do not apply, and hands the answers to `to_records`. Where nobody names the
/// car, whoever asks draws a name by chance: cars of one name are one car.
///
/// Answers become records by writing `dryshaft-record/1` text and reading it,
/// so what the record reader refuses, every shape refuses. A port that was
/// looked at on another day than today makes a record of its own, dated that
/// day: a dry port grows old. Where nobody knows the day, the record does not
/// say that the port was checked: what was bad there counts, what was good
/// does not.
#ifndef DRYSHAFT_FORM_HPP
#define DRYSHAFT_FORM_HPP

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/dryshaft.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/report.hpp"
#include "dryshaft/vocabulary.hpp"

namespace dryshaft {

/// What every question with choices also offers, and what its word is.
inline constexpr Choice kDoNotKnow = {kUnknownWord, "I do not know"};

/// What a shape asks that cannot ask for a unit beside each distance.
inline constexpr std::string_view kFormUnitsQuestion = "Are your distances in km or in miles?";

struct FormChoice {
  std::string word;  ///< short and stable, such as "film"
  std::string text;  ///< for people
  /// What it writes: fields, and their values as JSON text.
  std::vector<std::pair<Field, std::string>> writes = {};
  /// What to do at once, in owner's words, where this answer alone makes grade
  /// D by the rule data; else empty. What answers mean together: `stop_now`.
  std::string warning = {};
};

/// Who answers it: an owner, also one who is about to buy the car and knows no history of it, or a
/// technician, who is asked for all that a record holds.
enum class FormFor : std::uint8_t { owner, buyer, technician };

struct FormQuestion {
  std::string key;  ///< short and stable, such as "noise-level"
  Field field = Field::format;
  FormPart part = FormPart::none;
  /// About the day on which the port was looked at, not about today.
  bool of_check = false;
  /// Of an entry of `/work`: which, from 1; else 0. A technician's form has room for
  /// `kFormWork` of them.
  std::size_t work = 0;
  std::string text;
  std::string help;
  std::string sample;               ///< an answer as it may look
  std::vector<FormChoice> choices;  ///< without "I do not know"; empty: an answer is typed
  bool several = false;             ///< any number of the choices
  /// It applies only if question number `gate`, which comes before it, applies
  /// and is answered with one of `gate_words`. No words: it always applies.
  std::size_t gate = 0;
  std::vector<std::string> gate_words;
  /// Questions whose answers this one's cannot lie after: days, or readings of one odometer.
  std::vector<std::size_t> not_after;

  [[nodiscard]] const FieldSpec& row() const { return spec(field); }
  [[nodiscard]] bool required() const { return row().required && !of_check && work == 0; }
  /// A distance, in km or miles.
  [[nodiscard]] bool distance() const { return choices.empty() && row().miles_too; }
  /// Several lines of free text.
  [[nodiscard]] bool long_text() const {
    return row().type == FieldType::text && row().max_length == 0 && choices.empty();
  }
};

/// Questions in the order in which they are asked; a part's stand together.
struct Form {
  FormFor reader = FormFor::owner;
  std::vector<FormQuestion> questions;
  std::vector<std::string> cautions;  ///< owner's words, from the rule data
  /// A technician's, before the questions of a part, a line each.
  std::map<FormPart, std::vector<std::string>> care;

  [[nodiscard]] const FormQuestion* find(std::string_view key) const;
};

inline constexpr std::size_t kFormWork = 12;

/// Cars and drive units come from the families that the grader knows.
Form make_form(const Grader& grader, FormFor reader);

/// Words of the choices, or what was typed (a number: digits with a decimal
/// point), or photographs as a record holds them. Empty: not answered.
struct FormAnswer {
  std::vector<std::string> words;
  Units units = Units::km;  ///< of a distance
};
/// One answer a question, in the order of `Form::questions`.
using FormAnswers = std::vector<FormAnswer>;

bool applies(const Form& form, const FormAnswers& answers, std::size_t question);

/// What somebody wrote as an answer, read: choices by word, text, or number in
/// the list (from 1); numbers with their unit and stray words around them.
/// Where it cannot be read, `problem` says why, as a message of a `Diagnostic`
/// does. Nothing written: no words and no problem.
struct ReadAnswer {
  FormAnswer answer;
  std::string problem;
  std::string allowed;
  std::string hint;
  bool no_unit = false;  ///< the problem is a distance without a unit
};
/// `units` holds for a distance that names none.
ReadAnswer read_answer(const FormQuestion& question, std::string_view written,
                       std::optional<Units> units);

/// A complaint about an answer. Its pointer is the question's key in brackets;
/// it has no place.
struct FormComplaint {
  std::size_t question = 0;
  Diagnostic diagnostic;
};
struct FormRecords {
  std::string text;  ///< JSON Lines; empty where there is a complaint
  std::vector<Record> records;
  std::vector<FormComplaint> complaints;
};
/// Records from answers: one, or two where the port was looked at on another
/// day, the older first. Answers to questions that do not apply are left out.
FormRecords to_records(const Form& form, const FormAnswers& answers, const ReadOptions& options);

/// What the answers so far call for before the car is driven any further, in
/// owner's words: what grade D calls for, or else each thing that must be done
/// first. Empty: nothing of the kind. An answer that cannot be counts as none.
std::vector<std::string> stop_now(const Form& form, const FormAnswers& answers,
                                  const Grader& grader);

/// An owner's form to print or mail, at most 72 columns wide.
std::string blank_text(const Form& form);

/// What a page of a form holds beside its questions.
struct FormPage {
  std::string workshop = {};  ///< name and address of who gave it out; empty: not said
  /// Data files to grade by, rules and families; empty: those that ship, which every page has.
  std::vector<NamedText> rules = {};
  std::vector<NamedText> families = {};
};
/// Whether this library was built with what `blank_html` puts into a page: itself, compiled for
/// browsers.
bool pages_can_grade();
/// A form as a page of its own: it loads nothing, keeps answers in the browser, says at once what
/// `stop_now` says of them, shows the report that `to_html` writes of them, and gives all of it as
/// a file. Needs `pages_can_grade`. `form` was made from the rules and families that `page` holds.
std::string blank_html(const Form& form, const FormPage& page);
/// A sheet whose boxes and lines are kept in the browser while they are filled in, read as the
/// questions of `form`, and give a record.
std::string fillable_html(const Sheet& sheet, const Form& form, const FormPage& page);

/// What was found in a text: `text` is JSON Lines, one good record a line.
struct FormsRead {
  std::string text;
  Records records;
  /// What each record says, without a name that the car was given here: alike
  /// for copies of one form.
  std::vector<std::string> said;
};
/// Reads filled text forms, or records as the page saved them, also quoted in
/// a mail. `form` is the one for owners: it holds every question. A bad form
/// never loses a good one; a wrong answer refuses its form, and all complaints
/// of a form are listed.
FormsRead read_forms(const Form& form, std::string_view text, std::string_view source,
                     const ReadOptions& options);

/// A text that came together with others, such as a part of a mail.
struct SentText {
  std::string source;
  std::string text;
  /// Texts with the same number say the same in several ways, as a mail does in
  /// plain text and in HTML. 0: it is no version of another.
  std::size_t version_of = 0;
};
/// Reads what came together: what stands in several of the texts counts once,
/// and that there is no form is said where none of them has one. Of versions of
/// one text, the first that holds a form without an error counts; where two
/// such say different things, none does.
FormsRead read_sent(const Form& form, const std::vector<SentText>& texts,
                    const ReadOptions& options);

}  // namespace dryshaft

#endif
