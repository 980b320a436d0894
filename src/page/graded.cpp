#include <algorithm>

#include "page/page.hpp"
#include "page/request.hpp"

namespace dryshaft::page {
namespace {

std::string written(const Report& report, std::string_view format, Units units) {
  return format == "json"       ? to_json(report)
         : format == "text"     ? to_text(report, {.units = units})
         : format == "markdown" ? to_markdown(report, units)
                                : to_html(report, units);
}

}  // namespace

std::string Assessor::graded(std::string_view request) const {
  const std::optional<Json> asked = request_in(request);
  if (!asked || !asked->contains("records")) {
    return bug("the request holds no records");
  }
  const std::string day = text_of(*asked, "today");
  const AssessOptions options{
      .audience = text_of(*asked, "for") == "owner" ? Audience::owner : Audience::technician,
      .buying = is_true(*asked, "buying"),
      .today = parse_date(day)};
  if (!day.empty() && !options.today) {
    return bug("today is no day");
  }
  const Result<std::vector<History>> units =
      grader_.read(text_of(*asked, "records"), text_of(*asked, "name"), options.today);
  Json answer = {{"reports", Json::array()}, {"complaints", Json::array()}};
  for (const History& unit : *units.value) {
    answer["reports"].push_back(written(grader_.report(unit, options), text_of(*asked, "format"),
                                        units_in(*asked, "units")));
  }
  for (const Diagnostic& d : units.diagnostics) {
    answer["complaints"].push_back(to_text(d));
  }
  answer["refused"] = units.has_errors();
  return json_out::of(answer);
}

}  // namespace dryshaft::page
