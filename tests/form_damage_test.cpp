// Filled forms, damaged on their way: what is read without an error says what the form said.
#include <catch2/catch.hpp>
#include <random>
#include <string>

#include "families.hpp"
#include "support.hpp"
#include "support/damaged_forms.hpp"

namespace dryshaft::test {
namespace {

struct Tried {
  std::size_t forms = 0;
  std::size_t refused = 0;  // with an error
  std::size_t broken = 0;
};

Tried try_damage(std::uint64_t seed, std::size_t forms) {
  const Form owners = make_form(shipped_grader(), FormFor::owner);
  const Form buyers = make_form(shipped_grader(), FormFor::buyer);
  Tried out;
  std::mt19937_64 random(seed);
  const Draw draw = [&](std::size_t below) { return static_cast<std::size_t>(random() % below); };
  for (; out.forms < forms; ++out.forms) {
    const FilledForm whole = FormFiller(draw(4) == 0 ? buyers : owners, draw).fill();
    const FilledForm damaged = FormDamager(whole, draw).damage();
    const FormsRead read = read_forms(owners, damaged.text, "f", test::kFamilies);
    out.refused += read.records.rejected;
    const std::string what = lost(owners, whole, damaged, read, test::kFamilies);
    if (!what.empty()) {
      ++out.broken;
      WARN("form " << out.forms << ": " << what << " after " << damaged.story);
    }
  }
  return out;
}

}  // namespace

TEST_CASE("what is read of a damaged form without an error is what the form said") {
  const Tried tried = try_damage(17, 200);
  CHECK(tried.broken == 0);
  CHECK(tried.refused > tried.forms / 10);
  CHECK(tried.refused < tried.forms / 2);
}

// dryshaft_tests "[soak]" --rng-seed 5: about a minute.
TEST_CASE("ten thousand damaged forms", "[.][soak]") {
  const Tried tried = try_damage(Catch::rngSeed(), 10000);
  CHECK(tried.broken == 0);
  WARN(tried.forms << " forms, " << tried.refused << " refused");
}

}  // namespace dryshaft::test
