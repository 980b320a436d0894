// Rule data, family profiles and guides: the first byte says which file the rest takes the place
// of.
#include <vector>

#include "dryshaft/guide.hpp"
#include "fuzz/fuzz.hpp"
#include "support.hpp"

namespace {

using dryshaft::NamedText;

dryshaft::Record plain_record() {
  return *dryshaft::read_record(
              R"({"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":)"
              R"("2026-03-01","odometer_km":150000,"port":{"checked":true,"fluid":"film"}}})",
              "r", 1, 1, {})
              .value;
}

// What loads must also judge.
void judge_with(const dryshaft::Result<dryshaft::Knowledge>& loaded) {
  dryshaft::fuzz::check(loaded.diagnostics);
  dryshaft::fuzz::require(loaded.value.has_value() || loaded.has_errors(), "no rules, no word");
  if (!loaded.value) {
    return;
  }
  const dryshaft::Model model(*loaded.value);
  dryshaft::History history{.unit_id = "HL-1", .records = {plain_record()}, .refused = {0}};
  const dryshaft::Report report = dryshaft::assess(history, *loaded.value, model, {});
  dryshaft::fuzz::require(report.risk >= 0 && report.risk <= 1, "a risk is a probability");
}

}  // namespace

FUZZ_TARGET(data) {
  if (text.empty()) {
    return;
  }
  static const std::vector<NamedText> kRules = dryshaft::test::shipped_rules();
  static const std::vector<NamedText> kFamilies = dryshaft::test::shipped_families();
  static const std::vector<NamedText> kGuides = dryshaft::test::shipped_guides();
  std::vector<NamedText> rules = kRules;
  std::vector<NamedText> families = kFamilies;
  std::vector<NamedText> guides = kGuides;
  // '0' and on: so that a corpus can be read and written by hand.
  std::size_t which = static_cast<unsigned char>(text[0] - '0');
  which %= rules.size() + families.size() + guides.size();
  std::vector<NamedText>& of = which < rules.size()                     ? rules
                               : which - rules.size() < families.size() ? families
                                                                        : guides;
  which -= &of == &rules ? 0 : rules.size() + (&of == &families ? 0 : families.size());
  of[which].text = text.substr(1);
  if (&of != &guides) {
    judge_with(dryshaft::load_knowledge(rules, families));
  }
  if (&of != &rules) {
    const auto loaded = dryshaft::load_guides(guides, {}, families, dryshaft::test::shipped());
    dryshaft::fuzz::check(loaded.diagnostics);
    dryshaft::fuzz::require(loaded.value.has_value() || loaded.has_errors(), "no guide, no word");
  }
}
