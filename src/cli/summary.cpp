#include "cli/summary.hpp"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <nlohmann/json.hpp>
#include <utility>

#include "base/json_out.hpp"

namespace dryshaft::cli {
namespace {

constexpr std::string_view kSummaryFormat = "dryshaft-summary/1";

}  // namespace

void add_summary_option(CLI::App& app, std::optional<std::string>& path) {
  app.add_option("--summary", path,
                 "Write what the run came to as JSON: counts, and every reason for the exit code")
      ->type_name("FILE");
}

void Summary::count(const UnitsRead& read) {
  units = read.histories.size();
  records = read.records;
  rejected = read.rejected;
  rejected_at_least = read.rejected_at_least;
  accepted = read.accepted;
}

void Summary::because(int code, std::string text) {
  if (code != kDone) {
    reasons_.push_back({code, std::move(text)});
  }
}

int Summary::finish() {
  std::ranges::stable_sort(reasons_, std::ranges::greater{}, &Reason::code);
  const int code = reasons_.empty() ? static_cast<int>(kDone) : reasons_.front().code;
  if (!path_) {
    return code;
  }
  nlohmann::ordered_json json;
  json["format"] = kSummaryFormat;
  json["tool"] = {{"name", kToolName}, {"version", DRYSHAFT_VERSION}};
  json["command"] = command_;
  if (as_of) {
    json["as_of"] = *as_of;
  }
  if (units) {
    json["units"] = *units;
  }
  if (grades) {
    for (std::size_t g = 0; g < kGradeCount; ++g) {
      json["grades"][std::string(name(static_cast<Grade>(g)))] = (*grades)[g];
    }
  }
  if (overdue) {
    json["overdue"] = *overdue;
  }
  json["records"] = {{"read", records},
                     {"rejected", rejected},
                     {"rejected_at_least", rejected_at_least},
                     {"accepted", accepted}};
  json["exit"] = {{"code", code}, {"reasons", nlohmann::ordered_json::array()}};
  for (const Reason& r : reasons_) {
    json["exit"]["reasons"].push_back({{"code", r.code}, {"text", r.text}});
  }
  Output output(path_);
  output.write(json_out::of(json, 2) + "\n");
  const int written = output.finish();
  return written != kDone ? written : code;
}

}  // namespace dryshaft::cli
