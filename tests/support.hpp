// What several test files need: the shipped rule data and quick records.
#ifndef DRYSHAFT_TESTS_SUPPORT_HPP
#define DRYSHAFT_TESTS_SUPPORT_HPP

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "decide/assess.hpp"

namespace dryshaft::test {

inline std::string replaced(std::string text, std::string_view from, std::string_view to) {
  for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size()) {
    text.replace(at, from.size(), to);
  }
  return text;
}

inline std::string read_file(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) {
    throw std::runtime_error("cannot read " + path.string());
  }
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

inline std::vector<NamedText> read_folder(const std::filesystem::path& folder) {
  std::vector<NamedText> files;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (!entry.is_regular_file()) {
      continue;
    }
    files.push_back({entry.path().filename().string(), read_file(entry.path())});
  }
  std::ranges::sort(files, {}, &NamedText::name);
  return files;
}

inline std::vector<NamedText> shipped_rules() {
  return read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "rules");
}
inline std::vector<NamedText> shipped_families() {
  return read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "families");
}
inline std::vector<NamedText> shipped_guides() {
  return read_folder(std::filesystem::path(DRYSHAFT_DATA_DIR) / "guides");
}

inline std::string complaints(const std::vector<Diagnostic>& diagnostics) {
  std::string text;
  for (const Diagnostic& d : diagnostics) {
    text += to_text(d);
  }
  return text;
}

inline const Grader& shipped_grader() {
  static const Grader grader = [] {
    Result<Knowledge> loaded = load_knowledge(shipped_rules(), shipped_families());
    if (!loaded.value) {
      throw std::runtime_error(complaints(loaded.diagnostics));
    }
    return Grader(std::move(*loaded.value));
  }();
  return grader;
}
inline const Knowledge& shipped() { return shipped_grader().knowledge(); }
inline const Model& shipped_model() { return shipped_grader().model(); }

// `files` with one text replaced once in one of them.
inline std::vector<NamedText> edited(std::vector<NamedText> files, std::string_view file,
                                     std::string_view from, std::string_view to) {
  const auto found = std::ranges::find(files, file, &NamedText::name);
  const std::size_t at = found->text.find(from);
  if (at == std::string::npos) {
    throw std::runtime_error("not in the file: " + std::string(from));
  }
  found->text.replace(at, from.size(), to);
  return files;
}
// Rules with other texts than the shipped ones need an id of their own.
inline std::vector<NamedText> own_rules() {
  return edited(shipped_rules(), "rules.json", R"("id": "dryshaft-shipped")",
                R"("id": "harrow-lane")");
}
inline std::vector<NamedText> edited_rules(std::string_view file, std::string_view from,
                                           std::string_view to) {
  return edited(own_rules(), file, from, to);
}

// One unit's history from JSON Lines; throws where a record is refused.
inline History history_of(std::string_view json_lines) {
  Records read = read_records(json_lines, "test", read_options(shipped()));
  if (read.rejected != 0 || read.records.empty()) {
    throw std::runtime_error(complaints(read.diagnostics));
  }
  Result<std::vector<History>> grouped = group_by_unit(std::move(read.records));
  return std::move(grouped.value->at(0));
}

// A record with the given members of `unit` and `inspection` (JSON, without braces).
inline std::string record_text(std::string_view inspection, std::string_view unit = "",
                               std::string_view date = "2026-03-02") {
  return std::string(R"({"format":"dryshaft-record/1","unit":{"id":"HL-0147")") +
         (unit.empty() ? "" : "," + std::string(unit)) + R"(},"inspection":{"date":")" +
         std::string(date) + "\"" + (inspection.empty() ? "" : "," + std::string(inspection)) +
         "}}\n";
}

inline Report report_on(std::string_view json_lines, const AssessOptions& options = {}) {
  return assess(history_of(json_lines), shipped(), shipped_model(), options);
}

inline double probability(const Report& report, std::string_view cause) {
  return std::ranges::find(report.causes, cause, &CauseReport::id)->probability;
}

template <typename Items>
bool has_id(const Items& items, std::string_view id) {
  return std::ranges::any_of(items, [&](const auto& item) { return item.id == id; });
}

// How often a part stands in a text.
inline bool has(std::string_view text, std::string_view part) {
  return text.find(part) != std::string_view::npos;
}
inline std::size_t count_of(std::string_view text, std::string_view part) {
  std::size_t n = 0;
  for (std::size_t at = text.find(part); at != std::string_view::npos;
       at = text.find(part, at + 1)) {
    ++n;
  }
  return n;
}

// A port check that was made, dry and clean, and more.
inline constexpr std::string_view kDry =
    R"("port":{"checked":true,"fluid":"none","dried_residue":false,"corrosion":"none",)"
    R"("debris":"none"})";

inline std::string dry_and(std::string_view more) {
  return std::string(kDry) + (more.empty() ? "" : "," + std::string(more));
}

}  // namespace dryshaft::test

#endif
