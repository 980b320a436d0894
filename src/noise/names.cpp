#include <algorithm>
#include <array>
#include <iterator>
#include <numbers>

#include "dryshaft/noise.hpp"

namespace dryshaft {
namespace {

struct KindNames {
  std::string_view name;
  std::string_view title;
};
constexpr std::array<KindNames, kNoiseKindCount> kKindNames = {
    {{"outer-race", "outer race"},
     {"inner-race", "inner race"},
     {"element", "rolling element"},
     {"cage", "cage"},
     {"shaft", "shaft"},
     {"mesh", "gear mesh"},
     {"electrical", "electrical tone"},
     {"wheel", "wheel or tyre"},
     {"joint", "half-shaft joint"},
     {"elsewhere", "something else"},
     {"fixed-rate", "something at a fixed rate"}}};
constexpr std::array<std::string_view, 4> kBases = {"constant", "marks", "trace", "estimated"};
constexpr std::array<std::string_view, kLoadCount> kLoads = {"accelerating", "steady", "coasting"};
constexpr std::array<std::string_view, 3> kPatterns = {"unclear", "single-defect", "washboard"};
constexpr std::array<std::string_view, 3> kLeftOut = {"a shaft order", "a mains line",
                                                      "a line of a part named already"};

constexpr std::array<KindNames, 3> kLeftOpen = {
    {{"no", "leaves nothing open"},
     {"lines-everywhere", "has lines that fit nearly everything"},
     {"repeats", "repeats itself exactly"}}};

constexpr double kRolls = 0.97;  // of the unloaded circumference

}  // namespace

std::string_view name(NoiseKind kind) { return kKindNames[static_cast<std::size_t>(kind)].name; }
std::string_view title(NoiseKind kind) { return kKindNames[static_cast<std::size_t>(kind)].title; }
bool of_bearing(NoiseKind kind) { return kind <= NoiseKind::cage; }
bool is_rhythm(const Attribution& a) { return a.depth > 0 && !of_bearing(a.kind); }
std::string_view name(SpeedBasis basis) { return kBases[static_cast<std::size_t>(basis)]; }
std::string_view name(Load load) { return kLoads[static_cast<std::size_t>(load)]; }
std::optional<Load> load_named(std::string_view name) {
  const auto found = std::ranges::find(kLoads, name);
  return found == kLoads.end() ? std::nullopt
                               : std::optional(static_cast<Load>(found - kLoads.begin()));
}
std::string_view name(DamagePattern pattern) {
  return kPatterns[static_cast<std::size_t>(pattern)];
}
std::string_view name(LeftOpen why) { return kLeftOpen[static_cast<std::size_t>(why)].name; }
std::string_view title(LeftOpen why) { return kLeftOpen[static_cast<std::size_t>(why)].title; }
std::string_view title(LeftOut why) { return kLeftOut[static_cast<std::size_t>(why)]; }

void NoiseReport::name_nothing() {
  std::ranges::move(named, std::back_inserter(considered));
  named.clear();
  pattern.reset();
  loads.clear();
}

double rotor_rpm(double km_per_h, double circumference_m, double ratio) {
  constexpr double kMetresPerKm = 1000;
  constexpr double kMinutesPerHour = 60;
  return km_per_h * kMetresPerKm / kMinutesPerHour / circumference_m * ratio;
}

double rolling_circumference_m(double outer_diameter_mm) {
  constexpr double kMmPerM = 1000;
  return kRolls * std::numbers::pi * outer_diameter_mm / kMmPerM;
}

}  // namespace dryshaft
