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

#include "dryshaft/dryshaft.hpp"
#include "dryshaft/form.hpp"

namespace dryshaft::page {

// The rules and families that this was built with.
Result<Grader> shipped_grader();

// Answers requests; rules and forms are made once.
class Assessor {
 public:
  explicit Assessor(Grader grader) : grader_(std::move(grader)) {}

  // Units graded as `assess` does it. The request:
  //
  //     {"records": "{...}", "name": "unit.json", "format": "html", "for": "owner",
  //      "buying": false, "units": "km", "today": "2026-03-18"}
  //
  // `records` alone must be there: text that `read_records` takes. The format is html, json, text
  // or markdown. The answer has a report for each unit, and complaints as people read them:
  //
  //     {"reports": ["..."], "complaints": ["..."], "refused": false}
  //
  // `refused`: a complaint is an error. What is no request is answered by {"bug": "..."}.
  [[nodiscard]] std::string graded(std::string_view request) const;

  // What the answers to a form come to so far. The request:
  //
  //     {"buying": false, "today": "2026-03-18",
  //      "answers": {"port-checked": {"words": ["yes"]},
  //                  "odometer": {"typed": "109 000", "unit": "km"}}}
  //
  // Answers stand under their questions' keys: words of choices, or what was typed, with the unit
  // of a distance that names none. The answer has the questions that apply, in their order, each
  // with what is wrong with its answer (`problem`) and how that is read (`words`, and the `unit`
  // of a distance); what must be done before driving on; and JSON Lines, empty while there is a
  // problem:
  //
  //     {"questions": [{"key": "odometer", "words": ["109000"], "unit": "km", "problem": ""}],
  //      "stop": [], "records": "{...}"}
  //
  // Where `today` is there, no day may lie after it.
  [[nodiscard]] std::string answered(std::string_view request);

 private:
  const Form& form(bool buying);

  Grader grader_;
  std::array<std::optional<Form>, 2> forms_;  // the second for someone about to buy
};

// The library for a page, which src/page/core.js opens: a WebAssembly module, gzipped, in base64.
// Empty: this was built without it, for want of the compiler that DEVELOPERS.md names.
std::string_view module_base64();
// SHA-256 of the module itself, in hexadecimal; empty as well.
std::string_view module_sha256();

}  // namespace dryshaft::page

#endif
