// Records graded from outside by the example of the library's first header, with the data in the
// folder that is named:
//
//     embed FOLDER            # such as PREFIX/share/dryshaft
#include "example.hpp"

namespace {

constexpr const char* kRecord =
    R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","family":"plover-2"},)"
    R"("inspection":{"date":"2026-03-02","port":{"checked":true,"fluid":"pooled",)"
    R"("fluid_kind":"coolant"}}})";
constexpr const char* kMistyped =
    R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","family":"plover-22"},)"
    R"("inspection":{"date":"2026-03-02"}})";

}  // namespace

int main(int count, char** arguments) {
  const std::string data = count > 1 ? arguments[1] : ".";
  const bool graded = grade(data, kRecord) == 0;
  const bool refused = grade(data, kMistyped) == 1;
  const bool no_folder = grade(data + "/none", kRecord) == 2;
  // Whoever forgets the families is told so; no family is taken unseen.
  const bool unseen = dryshaft::read_records(kMistyped, "embedded", {}).rejected == 1;
  return graded && refused && no_folder && unseen ? 0 : 1;
}
