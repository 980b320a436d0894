// Rule data, family profiles and guides: the first byte says which file the rest takes the place
// of, or edits.
#include <nlohmann/json.hpp>
#include <vector>

#include "base/located_json.hpp"
#include "dryshaft/guide.hpp"
#include "fuzz/edits.hpp"
#include "fuzz/fuzz.hpp"
#include "knowledge/object_view.hpp"
#include "support.hpp"

namespace {

using dryshaft::Guides;
using dryshaft::Knowledge;
using dryshaft::NamedText;
using dryshaft::Result;
using dryshaft::fuzz::require;

// What loads must also judge.
void judge_with(const Knowledge& knowledge) {
  static const dryshaft::History kHistory = dryshaft::test::history_of(dryshaft::test::record_text(
      R"("odometer_km":150000,"port":{"checked":true,"fluid":"film"})", R"("family":"plover-2")"));
  const dryshaft::Model model(knowledge);
  const dryshaft::Report report = dryshaft::assess(kHistory, knowledge, model, {});
  require(report.risk >= 0 && report.risk <= 1, "a risk is a probability");
  require(nlohmann::json::accept(dryshaft::to_json(report)), "a report is JSON");
  dryshaft::fuzz::check_text(dryshaft::to_text(report, {}));
}

// And guide.
void guide_with(const Guides& guides, const Knowledge& knowledge) {
  for (const dryshaft::Family& family : knowledge.families) {
    for (const auto audience : {dryshaft::Audience::technician, dryshaft::Audience::owner}) {
      const dryshaft::GuideRequest request{.family = family.id, .audience = audience};
      dryshaft::fuzz::check_text(dryshaft::guide_to_text(guides, knowledge, request, {}));
    }
  }
}

bool is_json(const NamedText& file) {
  std::vector<dryshaft::Diagnostic> complaints;
  return dryshaft::located::Document(file.text, {.source = file.name}, dryshaft::kDataLimits,
                                     complaints)
      .usable();
}

}  // namespace

FUZZ_TARGET(data) {
  if (text.empty()) {
    return;
  }
  static const std::vector<NamedText> kRules = dryshaft::test::own_rules();
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
  of[which].text = dryshaft::fuzz::edited_or_new(of[which].text, text.substr(1));
  if (!is_json(of[which])) {
    // Such a file is refused whatever stands beside it, and by itself it is refused sooner.
    of = {of[which]};
    rules.resize(&of == &rules ? 1 : 0);
    families.resize(&of == &families ? 1 : 0);
    guides.resize(&of == &guides ? 1 : 0);
  }
  const Knowledge* knowledge = &dryshaft::test::shipped();
  Result<Knowledge> loaded;
  if (&of != &guides) {
    loaded = dryshaft::load_knowledge(rules, families);
    dryshaft::fuzz::check(loaded);
    if (loaded.value) {
      knowledge = &*loaded.value;
      judge_with(*knowledge);
    }
  }
  if (&of != &rules) {
    const Result<Guides> read = dryshaft::load_guides(guides, {}, families, *knowledge);
    dryshaft::fuzz::check(read);
    if (read.value && (&of == &guides || loaded.value)) {
      guide_with(*read.value, *knowledge);
    }
  }
}
