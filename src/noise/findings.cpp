// From what a recording showed to what a record says of it.
#include <algorithm>

#include "dryshaft/noise_report.hpp"
#include "noise/describe.hpp"

namespace dryshaft {
namespace {

bool one_of(const std::vector<Bearing>& bearings, const PartKind& part) {
  return of_bearing(part.kind) &&
         std::ranges::any_of(bearings, [&](const Bearing& b) { return b.name == part.part; });
}

std::optional<std::string_view> shown_by(const std::vector<Bearing>& bearings,
                                         const NoiseReport& report) {
  if (bearings.empty()) {
    return std::nullopt;
  }
  bool shared = false;
  for (const Attribution& a : report.named) {
    const auto here = [&](const PartKind& part) { return one_of(bearings, part); };
    const bool all = std::ranges::all_of(a.shared_with, here);
    if (here(a) && all) {
      return "clear";
    }
    shared = shared || here(a) || std::ranges::any_of(a.shared_with, here);
  }
  if (shared) {
    return "shared";
  }
  // Under the many lines of a rhythm a bearing's go unseen.
  return std::ranges::any_of(report.named, is_rhythm) ? std::nullopt
                                                      : std::optional<std::string_view>("none");
}

std::optional<std::string_view> shown_by_others(const NoiseReport& report) {
  bool open = false;
  for (const Attribution& a : report.named) {
    if (of_bearing(a.kind) || a.kind == NoiseKind::shaft) {
      continue;
    }
    if (a.kind == NoiseKind::elsewhere) {  // a record has no word for it
      open = true;
      continue;
    }
    // What may as well be a bearing must not speak against one.
    const bool bearing_too =
        std::ranges::any_of(a.shared_with, [](const PartKind& p) { return of_bearing(p.kind); });
    if (!bearing_too) {
      return name(a.kind == NoiseKind::joint ? NoiseKind::wheel : a.kind);
    }
    open = true;
  }
  return open ? std::nullopt : std::optional<std::string_view>("none");
}

}  // namespace

bool noise::speed_is_open(const NoiseSpeed& speed) {
  return !speed.alternatives_rpm.empty() ||
         (speed.basis == SpeedBasis::none && speed.shaft_lines == 0);
}

RecordingFindings recording_findings(const NoiseReport& report, const Machine& machine) {
  RecordingFindings found;
  // Where the speed is open, or lines fit nearly everything, that nothing was named says nothing.
  if (noise::speed_is_open(report.speed) || report.left_open != LeftOpen::no) {
    return found;
  }
  found.rotor_bearing = shown_by(machine.rotor_bearings, report);
  found.gear_bearing = shown_by(machine.gear_bearings, report);
  found.other = shown_by_others(report);
  const bool lines = found.rotor_bearing.value_or("none") != "none" ||
                     found.gear_bearing.value_or("none") != "none";
  if (lines && report.pattern && report.pattern->pattern != DamagePattern::unclear) {
    found.pattern = name(report.pattern->pattern);
  }
  return found;
}

}  // namespace dryshaft
