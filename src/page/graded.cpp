#include <fmt/format.h>

#include <algorithm>

#include "page/page.hpp"
#include "page/request.hpp"
#include "report/in_words.hpp"
#include "report/markup.hpp"

namespace dryshaft::page {
namespace {

// A page with the records that it was made of.
std::string with_records(const std::string& page, std::string_view records) {
  Json kept = Json::array();
  for (std::size_t at = 0; at < records.size();) {
    const std::size_t end = std::min(records.find('\n', at), records.size());
    if (Json one = Json::parse(records.substr(at, end - at), nullptr, false); !one.is_discarded()) {
      kept.push_back(std::move(one));
    }
    at = end + 1;
  }
  const std::size_t end = page.rfind("</body>");
  return fmt::format("{}<script type=\"application/json\" id=\"dryshaft-records\">{}</script>\n{}",
                     page.substr(0, end), markup::in_script(json_out::of(kept)), page.substr(end));
}

}  // namespace

std::string Assessor::loaded(std::string_view request) {
  const std::optional<Json> asked = request_in(request);
  if (!asked) {
    return bug("the request is no object");
  }
  Result<Grader> grader = shipped_grader(files_in(*asked, "rules"), files_in(*asked, "families"));
  if (!grader.value) {
    return bug(grader.diagnostics.empty() ? "no rules" : to_text(grader.diagnostics.front()));
  }
  grader_ = *std::move(grader.value);
  forms_ = {};
  return json_out::of(Json::object());
}

std::string Assessor::graded(std::string_view request) const {
  const std::optional<Json> asked = request_in(request);
  if (!asked || !asked->contains("records")) {
    return bug("the request holds no records");
  }
  const std::string format = text_of(*asked, "format");
  const Result<Task> meant =
      task_in({.format = format.empty() || format == "none" ? "html" : format,
               .reader = text_of(*asked, "for"),
               .units = text_of(*asked, "units"),
               .today = text_of(*asked, "today"),
               .buying = is_true(*asked, "buying")});
  if (!meant.value) {
    return bug(to_text(meant.diagnostics.front()));
  }
  const Result<std::vector<History>> units =
      grader_.read(text_of(*asked, "records"), text_of(*asked, "name"), meant.value->options.today);
  Json answer = {
      {"units", Json::array()}, {"reports", Json::array()}, {"complaints", Json::array()}};
  for (const History& unit : *units.value) {
    if (asked->contains("unit") && text_of(*asked, "unit") != unit.unit_id) {
      continue;
    }
    Json row = {{"id", unit.unit_id},
                {"records", unit.records.size()},
                {"date", date_text(static_cast<int>(unit.records.back().at(Field::date).number))}};
    if (format != "none") {
      const Report report = grader_.report(unit, meant.value->options);
      row["grade"] = name(report.grade);
      std::string text = written(report, *meant.value);
      answer["reports"].push_back(asked->contains("saved")
                                      ? with_records(text, text_of(*asked, "saved"))
                                      : std::move(text));
    }
    answer["units"].push_back(std::move(row));
  }
  for (const Diagnostic& d : units.diagnostics) {
    answer["complaints"].push_back(to_text(d));
  }
  answer["refused"] = units.has_errors();
  return json_out::of(answer);
}

}  // namespace dryshaft::page
