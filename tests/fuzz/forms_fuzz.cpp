#include "dryshaft/form.hpp"
#include "families.hpp"
#include "fuzz/fuzz.hpp"
#include "support.hpp"
#include "support/damaged_forms.hpp"

namespace {

// An input that begins with `#` chooses the answers of a form and what befalls it.
std::string damaged(const dryshaft::Form& form, std::string_view choices) {
  std::size_t at = 0;
  const dryshaft::test::Draw draw = [&](std::size_t below) {
    std::size_t value = 0;
    for (int i = 0; i < 2 && at < choices.size(); ++i, ++at) {
      value = value * 256 + static_cast<unsigned char>(choices[at]);
    }
    return value % below;
  };
  using namespace dryshaft::test;
  const FilledForm whole = FormFiller(form, draw).fill();
  const FilledForm after = FormDamager(whole, draw).damage();
  const dryshaft::FormsRead read = dryshaft::read_forms(form, after.text, "f", kFamilies);
  const std::string what = lost(form, whole, after, read, kFamilies);
  if (!what.empty()) {
    std::fprintf(stderr, "%s after %s\n", what.c_str(), after.story.c_str());
  }
  dryshaft::fuzz::require(what.empty(), "a damaged form says what it said, or is refused");
  return after.text;
}

}  // namespace

FUZZ_TARGET(forms) {
  static const dryshaft::Form kForm =
      dryshaft::make_form(dryshaft::test::shipped_grader(), dryshaft::FormFor::owner);
  const std::string made = text.starts_with('#') ? damaged(kForm, text.substr(1)) : "";
  const dryshaft::FormsRead read = dryshaft::read_forms(
      kForm, made.empty() ? text : std::string_view(made), "f", dryshaft::test::kFamilies);
  dryshaft::fuzz::check(read.records.diagnostics);
  // What it makes are records.
  const dryshaft::Records again = dryshaft::read_records(read.text, "g", dryshaft::test::kFamilies);
  dryshaft::fuzz::require(read.text.empty() || again.rejected == 0, "a form makes good records");
}
