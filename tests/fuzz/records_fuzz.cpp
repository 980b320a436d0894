#include "dryshaft/record.hpp"

#include "fuzz/fuzz.hpp"
#include "pieces.hpp"

namespace {

using dryshaft::fuzz::require;

const dryshaft::ReadOptions kFamilies = {
    .families = {{"plover-2", {"Tarn", "Corrie"}}, {"generic", {}}}};

}  // namespace

FUZZ_TARGET(records) {
  const dryshaft::Records read = dryshaft::read_records(text, "f", kFamilies);
  dryshaft::fuzz::check(read.diagnostics);
  require(read.rejected == 0 || !read.diagnostics.empty(), "what is refused is complained of");
  require(!read.records.empty() || !read.diagnostics.empty(), "nothing is said of no text");
  for (const dryshaft::Record& r : read.records) {
    require(r.begin < r.end && r.end <= text.size(), "a record lies in the text");
    const auto again =
        dryshaft::read_record(text.substr(r.begin, r.end - r.begin), "f", 1, 1, kFamilies);
    require(again.value && again.value->sha256 == r.sha256, "a record read alone is the same");
  }
  const auto groups = dryshaft::group_by_unit(read.records);
  dryshaft::fuzz::check(groups.diagnostics);
  const auto written = dryshaft::write_recording(
      text, "f", {{dryshaft::Field::recording_other, "mesh"}}, {}, kFamilies);
  dryshaft::fuzz::check(written.diagnostics);
  if (written.value) {
    const dryshaft::Records then = dryshaft::read_records(*written.value, "f", kFamilies);
    require(then.rejected == 0 && then.records.size() == read.records.size(),
            "what was written into can be read");
  }
  const auto make = [] { return dryshaft::records_reader("f", 1, kFamilies, 300); };
  require(dryshaft::test::in_pieces(make, text, 50, 3).read == dryshaft::test::whole(make, text),
          "in pieces as in one");
}
