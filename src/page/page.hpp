// What a page asks of the library that stands in it, and that library as a page holds it.
//
// Requests and answers are JSON texts, so that a page's script needs no more than strings.
#ifndef DRYSHAFT_PAGE_PAGE_HPP
#define DRYSHAFT_PAGE_PAGE_HPP

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/dryshaft.hpp"
#include "dryshaft/form.hpp"

namespace dryshaft::page {

// The rules and families that this was built with, save where others are given.
Result<Grader> shipped_grader(std::vector<NamedText> rules = {},
                              std::vector<NamedText> families = {});

// Answers requests; rules and forms are made once.
class Assessor {
 public:
  explicit Assessor(Grader grader) : grader_(std::move(grader)) {}

  // Other rules and families to grade by from here on:
  //
  //     {"rules": [{"name": "rules.json", "text": "..."}], "families": [...]}
  //
  // Where a list is empty, what ships stands. The answer is {} or {"bug": "..."}.
  std::string loaded(std::string_view request);

  // Units graded as `assess` does it. The request:
  //
  //     {"records": "{...}", "name": "unit.json", "unit": "HL-0147", "format": "html",
  //      "for": "owner", "buying": false, "units": "km", "today": "2026-03-18", "saved": "{...}"}
  //
  // `records` alone must be there: text that `read_records` takes. The format is html, json, text
  // or markdown, or none. `unit`: that one alone is graded. The answer has the units, a report for
  // each, and complaints as people read them:
  //
  //     {"units": [{"id": "HL-0147", "records": 2, "date": "2026-03-18", "grade": "B"}],
  //      "reports": ["..."], "complaints": ["..."], "refused": false}
  //
  // With the format none there is no grade. `saved`: JSON Lines that each report, as HTML, holds in
  // an element of its own, where `form read` finds them. `refused`: a complaint is an error. What
  // is no request is answered by {"bug": "..."}.
  [[nodiscard]] std::string graded(std::string_view request) const;

  // What the answers to a form come to so far. The request:
  //
  //     {"form": "owner", "today": "2026-03-18",
  //      "answers": {"port-checked": {"words": ["yes"]},
  //                  "odometer": {"typed": "109 000", "unit": "km"}}}
  //
  // The form is owner, buyer or technician. Answers stand under their questions' keys: words of
  // choices, or what was typed, with the unit of a distance that names none. The answer has the
  // questions that apply, in their order, each with what is wrong with its answer (`problem`) and
  // how that is read (`words`, and the `unit` of a distance); what must be done before driving on;
  // what the answers are taken for, of a technician's, with the questions behind each; and JSON
  // Lines, empty while there is a problem:
  //
  //     {"questions": [{"key": "odometer", "words": ["109000"], "unit": "km", "problem": ""}],
  //      "stop": [], "found": [{"questions": ["insulation-resistance-mohm"], "text": "..."}],
  //      "records": "{...}"}
  //
  // Where `today` is there, no day may lie after it.
  [[nodiscard]] std::string answered(std::string_view request);

 private:
  const Form& form(FormFor reader);

  Grader grader_;
  std::array<std::optional<Form>, 3> forms_;  // by `FormFor`
};

// The library for a page, which src/page/core.js opens: a WebAssembly module, gzipped, in base64.
// Empty: this was built without it, for want of the compiler that DEVELOPERS.md names.
std::string_view module_base64();
// SHA-256 of the module itself, in hexadecimal; empty as well.
std::string_view module_sha256();

}  // namespace dryshaft::page

#endif
