#include "plan/pages.hpp"

#include <fmt/format.h>

#include <cmath>

#include "base/sentence.hpp"
#include "report/render.hpp"
#include "report/words.hpp"

namespace dryshaft::plan {
namespace {

// Grades look as they do in reports.
constexpr std::string_view kStyle =
#include "report/report.css.inc"
// sheets
#include "report/sheet.css.inc"
// what differs in a plan
#include "plan/plan.css.inc"
    ;

}  // namespace

std::string unit_line(const Report& r, Units units) {
  const std::string family =
      r.vehicle.empty() ? r.family_title : fmt::format("{} ({})", r.vehicle, r.family_title);
  return fmt::format(
      "{}, {}, {}, {}", r.unit_id, family, r.date,
      r.odometer_km ? words::distance(*r.odometer_km, units) : std::string("distance not known"));
}

Sheet page(const std::string& title,
           const std::vector<std::pair<std::string, document::Document>>& documents) {
  std::string body = "<main>\n";
  for (const auto& [unit, document] : documents) {
    body += document::in_html(document,
                              documents.size() > 1 ? std::string_view(unit) : std::string_view());
  }
  return {.title = title, .style = std::string(kStyle), .body = body + "</main>\n"};
}

std::string amount(double value, int digits) {
  const double size = std::abs(value);
  if (size < 1) {
    return "0";
  }
  const double step = std::pow(10.0, std::max(0.0, std::floor(std::log10(size)) - digits + 1));
  return grouped(std::round(value / step) * step);
}

std::string amounts(double low, double high, int digits) {
  const std::string from = amount(low, digits);
  const std::string to = amount(high, digits);
  return from == to ? from : fmt::format("{} to {}", from, to);
}

}  // namespace dryshaft::plan
