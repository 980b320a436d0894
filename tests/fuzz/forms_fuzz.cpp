#include "dryshaft/form.hpp"
#include "families.hpp"
#include "fuzz/fuzz.hpp"
#include "support.hpp"

FUZZ_TARGET(forms) {
  static const dryshaft::Form kForm = dryshaft::make_form(dryshaft::test::shipped(), false);
  const dryshaft::FormsRead read =
      dryshaft::read_forms(kForm, text, "f", dryshaft::test::kFamilies);
  dryshaft::fuzz::check(read.records.diagnostics);
  // What it makes are records.
  const dryshaft::Records again = dryshaft::read_records(read.text, "g", dryshaft::test::kFamilies);
  dryshaft::fuzz::require(read.text.empty() || again.rejected == 0, "a form makes good records");
}
