// A record graded from outside, with the data in the folder that is named:
//
//     embed FOLDER            # such as PREFIX/share/dryshaft
#include <dryshaft/assess.hpp>
#include <dryshaft/diagnostic.hpp>
#include <dryshaft/form.hpp>
#include <dryshaft/knowledge.hpp>
#include <dryshaft/record.hpp>
#include <dryshaft/report.hpp>
#include <dryshaft/vocabulary.hpp>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <iterator>
#include <string>
#include <utility>
#include <vector>

namespace {

std::vector<dryshaft::NamedText> read_folder(const std::filesystem::path& folder) {
  std::vector<dryshaft::NamedText> files;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    std::ifstream in(entry.path(), std::ios::binary);
    files.push_back({entry.path().string(), {std::istreambuf_iterator<char>(in), {}}});
  }
  return files;
}

int failed(const std::vector<dryshaft::Diagnostic>& complaints) {
  for (const dryshaft::Diagnostic& d : complaints) {
    std::cerr << dryshaft::to_text(d);
  }
  return 1;
}

constexpr const char* kRecord =
    R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","family":"plover-2"},)"
    R"("inspection":{"date":"2026-03-02","port":{"checked":true,"fluid":"pooled",)"
    R"("fluid_kind":"coolant"}}})";
constexpr const char* kMistyped =
    R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147","family":"plover-22"},)"
    R"("inspection":{"date":"2026-03-02"}})";

}  // namespace

int main(int count, char** arguments) {
  const std::filesystem::path data = count > 1 ? arguments[1] : ".";
  const auto knowledge =
      dryshaft::load_knowledge(read_folder(data / "rules"), read_folder(data / "families"));
  if (!knowledge.value) {
    return failed(knowledge.diagnostics);
  }
  const dryshaft::Model model(*knowledge.value);
  dryshaft::Records read =
      dryshaft::read_records(kRecord, "embedded", dryshaft::read_options(*knowledge.value));
  if (read.records.empty()) {
    return failed(read.diagnostics);
  }
  const auto units = dryshaft::group_by_unit(std::move(read.records));
  const dryshaft::Report report =
      dryshaft::assess(units.value->front(), *knowledge.value, model, {});
  std::cout << dryshaft::to_text(report, {});
  // Whoever forgets the families is told so; no family is taken unseen.
  const bool refused = dryshaft::read_records(kMistyped, "embedded", {}).rejected == 1;
  return report.grade == dryshaft::Grade::D && refused ? 0 : 1;
}
