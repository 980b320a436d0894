#include <fmt/format.h>

#include <cmath>
#include <numbers>
#include <optional>

#include "base/number.hpp"
#include "dryshaft/machine.hpp"

namespace dryshaft {
namespace {

constexpr int kMostElements = 1000;
constexpr double kMostDegrees = 90;

Result<Bearing> refused(std::string_view text, std::string_view what) {
  Result<Bearing> result;
  Diagnostic d;
  d.code = "bad-bearing";
  d.message = fmt::format("\"{}\" is no bearing: {}", text, what);
  d.hint = "n:d:D:angle, as in 9:7.94:39.04:0";
  result.diagnostics.push_back(std::move(d));
  return result;
}

}  // namespace

DefectOrders defect_orders(const Bearing& bearing) {
  const double contact = bearing.contact_deg * std::numbers::pi / 180;
  const double r = bearing.element_diameter / bearing.pitch_diameter * std::cos(contact);
  const double n = bearing.elements;
  DefectOrders orders;
  orders.outer_race = n / 2 * (1 - r);
  orders.inner_race = n / 2 * (1 + r);
  orders.spin = bearing.pitch_diameter / (2 * bearing.element_diameter) * (1 - r * r);
  orders.element = 2 * orders.spin;
  orders.cage = (1 - r) / 2;
  return orders;
}

std::string complaint_about(const Bearing& bearing) {
  if (bearing.elements < 3 || bearing.elements > kMostElements) {
    return fmt::format("n, the number of elements, is {}", bearing.elements);
  }
  if (!(bearing.element_diameter > 0) || !(bearing.pitch_diameter > bearing.element_diameter)) {
    return "the pitch diameter D must be greater than the element diameter d, and both greater "
           "than 0";
  }
  if (!(bearing.contact_deg >= 0 && bearing.contact_deg < kMostDegrees)) {
    return "the contact angle must be from 0 to less than 90 degrees";
  }
  return {};
}

double Machine::ratio() const {
  double ratio = 1;
  for (const GearStage& stage : stages) {
    ratio *= static_cast<double>(stage.driven) / stage.driving;
  }
  return ratio;
}

Result<Bearing> parse_bearing(std::string_view text) {
  Bearing bearing;
  std::string_view rest = text;
  if (const std::size_t at = rest.find('='); at != std::string_view::npos) {
    bearing.name = rest.substr(0, at);
    rest.remove_prefix(at + 1);
  }
  std::vector<double> values;
  for (bool more = true; more;) {
    const std::size_t colon = rest.find(':');
    more = colon != std::string_view::npos;
    const std::optional<double> value = number_in(rest.substr(0, colon));
    if (!value) {
      return refused(text, fmt::format("\"{}\" is no number", rest.substr(0, colon)));
    }
    values.push_back(*value);
    rest.remove_prefix(more ? colon + 1 : rest.size());
  }
  if (values.size() != 4) {
    return refused(text, fmt::format("it has {} numbers, not 4", values.size()));
  }
  if (values[0] != std::floor(values[0]) || std::abs(values[0]) > kMostElements) {
    return refused(text, fmt::format("n, the number of elements, is {}", values[0]));
  }
  bearing.elements = static_cast<int>(values[0]);
  bearing.element_diameter = values[1];
  bearing.pitch_diameter = values[2];
  bearing.contact_deg = values[3];
  if (std::string what = complaint_about(bearing); !what.empty()) {
    return refused(text, what);
  }
  Result<Bearing> result;
  result.value = std::move(bearing);
  return result;
}

}  // namespace dryshaft
