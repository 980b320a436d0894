#include "report/in_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <initializer_list>

namespace dryshaft {
namespace {

// The word that is meant, or the first where there is none; adds a complaint where it is another.
std::string word_of(std::string_view given, std::string_view what,
                    std::initializer_list<std::string_view> words,
                    std::vector<Diagnostic>& complaints) {
  if (given.empty()) {
    return std::string(*words.begin());
  }
  if (std::ranges::find(words, given) == words.end()) {
    Diagnostic& d = complaints.emplace_back();
    d.code = "bad-option";
    d.source = what;
    d.message = fmt::format("is \"{}\"", given);
    d.allowed = fmt::format("{}", fmt::join(words, ", "));
  }
  return std::string(given);
}

}  // namespace

Result<Task> task_in(const InWords& words) {
  Result<Task> out;
  std::vector<Diagnostic>& complaints = out.diagnostics;
  Task task;
  task.format =
      word_of(words.format, "format", {"json", "text", "markdown", "html", "csv"}, complaints);
  const std::string reader = word_of(words.reader, "reader", {"technician", "owner"}, complaints);
  task.units =
      word_of(words.units, "units", {"km", "mi"}, complaints) == "mi" ? Units::mi : Units::km;
  task.options.audience = reader == "owner" ? Audience::owner : Audience::technician;
  task.options.buying = words.buying;
  task.options.today = parse_date(words.today);
  if (!words.today.empty() && !task.options.today) {
    Diagnostic& d = complaints.emplace_back();
    d.code = "bad-option";
    d.source = "today";
    d.message = fmt::format("is \"{}\"", words.today);
    d.allowed = "YYYY-MM-DD";
  }
  if (complaints.empty()) {
    out.value = std::move(task);
  }
  return out;
}

std::string written(const Report& report, const Task& task) {
  return task.format == "json"       ? to_json(report)
         : task.format == "text"     ? to_text(report, {.units = task.units})
         : task.format == "markdown" ? to_markdown(report, task.units)
         : task.format == "csv"      ? csv_header() + to_csv(report)
                                     : to_html(report, task.units);
}

std::string written(const Batch& batch, const Task& task) {
  if (task.format == "json" || task.format == "csv") {
    std::string out = task.format == "csv" ? csv_header() : std::string();
    for (const Report& r : batch.reports) {
      out += task.format == "csv" ? to_csv(r) : to_json(r);
    }
    return out;
  }
  if (batch.reports.size() == 1 && batch.rejected_records == 0) {
    return written(batch.reports.front(), task);
  }
  return task.format == "text"       ? to_text(batch, {.units = task.units})
         : task.format == "markdown" ? to_markdown(batch, task.units)
                                     : to_html(batch, task.units, false);
}

}  // namespace dryshaft
