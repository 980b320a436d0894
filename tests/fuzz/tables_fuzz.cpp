// A file of titles, a line "---", a table; or a table alone.
#include "dryshaft/table.hpp"
#include "families.hpp"
#include "fuzz/fuzz.hpp"
#include "pieces.hpp"

FUZZ_TARGET(tables) {
  constexpr std::string_view kBetween = "\n---\n";
  const std::size_t between = text.find(kBetween);
  dryshaft::ColumnMap map;
  if (between != std::string_view::npos) {
    auto read = dryshaft::read_column_map(text.substr(0, between), "m");
    dryshaft::fuzz::check(read.diagnostics);
    dryshaft::fuzz::require(read.value.has_value() == read.diagnostics.empty(),
                            "a map or complaints");
    map = std::move(read.value).value_or(map);
    text.remove_prefix(between + kBetween.size());
  }
  const dryshaft::Records read =
      dryshaft::read_table(text, "t.csv", map, dryshaft::test::kFamilies);
  dryshaft::fuzz::check(read.diagnostics);
  dryshaft::fuzz::require(!read.records.empty() || !read.diagnostics.empty(), "no rows, no word");
  for (const dryshaft::Record& r : read.records) {
    dryshaft::fuzz::require(r.line >= 2 && r.begin < r.end && r.end <= text.size(),
                            "a row's place");
    dryshaft::fuzz::require(r.begin == 0 || text[r.begin - 1] == '\n', "a row begins a line");
  }
  const auto make = [&map] {
    return dryshaft::table_reader("t.csv", map, dryshaft::test::kFamilies, 300);
  };
  dryshaft::fuzz::require(
      dryshaft::test::in_pieces(make, text, 50, 3).read == dryshaft::test::whole(make, text),
      "in pieces as in one");
}
