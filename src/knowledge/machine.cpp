#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "base/number.hpp"
#include "dryshaft/machine.hpp"

namespace dryshaft {
namespace {

std::string wrong_elements(double n) {
  return fmt::format("n, the number of elements, is {}; it must be a whole number from {} to {}", n,
                     geometry::kLeastElements, geometry::kMostElements);
}

bool good_diameter(double value) {
  return value >= geometry::kLeastDiameter && value <= geometry::kMostDiameter;
}

Result<Bearing> refused(std::string_view text, std::string_view what) {
  Result<Bearing> result;
  Diagnostic d;
  d.code = "bad-bearing";
  d.message = fmt::format("\"{}\" is no bearing: {}", text, what);
  d.hint = "n:d:D:angle, as in 11:6.2:43.5:0";
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
  const double d = bearing.element_diameter;
  const double pitch = bearing.pitch_diameter;
  if (bearing.elements < geometry::kLeastElements || bearing.elements > geometry::kMostElements) {
    return wrong_elements(bearing.elements);
  }
  if (!(d > 0) || !(pitch > d)) {
    return "the pitch diameter D must be greater than the element diameter d, and both greater "
           "than 0";
  }
  if (!good_diameter(d) || !good_diameter(pitch)) {
    return fmt::format(
        "the element diameter d is {} and the pitch diameter D {}; both must be "
        "from {} to {}",
        d, pitch, geometry::kLeastDiameter, geometry::kMostDiameter);
  }
  if (!(pitch >= geometry::kLeastPitch * d && pitch <= geometry::kMostPitch * d)) {
    return fmt::format(
        "the pitch diameter D is {:.4g} times the element diameter d; it must be "
        "{} to {} times",
        pitch / d, geometry::kLeastPitch, geometry::kMostPitch);
  }
  if (!(bearing.contact_deg >= 0 && bearing.contact_deg < geometry::kDegreesBelow)) {
    return fmt::format("the contact angle must be from 0 to less than {} degrees",
                       geometry::kDegreesBelow);
  }
  return {};
}

std::string complaint_about_count(std::size_t bearings) {
  return bearings > geometry::kMostBearings
             ? fmt::format("there are {} bearings; at most {} are looked at", bearings,
                           geometry::kMostBearings)
             : std::string();
}

std::string complaint_about(const std::vector<Bearing>& bearings) {
  if (std::string what = complaint_about_count(bearings.size()); !what.empty()) {
    return what;
  }
  for (const Bearing& bearing : bearings) {
    if (const std::string what = complaint_about(bearing); !what.empty()) {
      return fmt::format("{} is no bearing: {}", bearing.name, what);
    }
  }
  return {};
}

std::string complaint_about(const std::vector<GearStage>& stages) {
  if (stages.size() > geometry::kMostGearPairs) {
    return fmt::format("there are {} gear pairs; at most {} are looked at", stages.size(),
                       geometry::kMostGearPairs);
  }
  double turns = 1;
  double least = 1;
  double most = 1;
  for (const GearStage& stage : stages) {
    for (const int teeth : {stage.driving, stage.driven}) {
      if (teeth < 1 || teeth > geometry::kMostTeeth) {
        return fmt::format("a gear has {} teeth; it must have 1 to {}", teeth,
                           geometry::kMostTeeth);
      }
    }
    turns *= static_cast<double>(stage.driving) / stage.driven;
    least = std::min(least, turns);
    most = std::max(most, turns);
  }
  if (most > geometry::kMostRatio * least) {
    return fmt::format(
        "one shaft turns {:.4g} times as fast as another; at most {} times are "
        "looked at",
        most / least, geometry::kMostRatio);
  }
  return {};
}

std::string complaint_about(const Machine& machine) {
  if (std::string what = complaint_about(machine.stages); !what.empty()) {
    return what;
  }
  std::vector<Bearing> all = machine.rotor_bearings;
  all.insert(all.end(), machine.gear_bearings.begin(), machine.gear_bearings.end());
  return complaint_about(all);
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
  if (values[0] != std::floor(values[0]) || std::abs(values[0]) > geometry::kMostElements) {
    return refused(text, wrong_elements(values[0]));
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
