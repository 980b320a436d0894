// What a person writes about a recording: marks, loads, a table of speeds, a bearing.
#include <cmath>
#include <string_view>
#include <vector>

#include "dryshaft/machine.hpp"
#include "dryshaft/noise_input.hpp"
#include "fuzz/fuzz.hpp"
#include "noise/angle.hpp"

namespace {

using dryshaft::fuzz::require;

// What is read must also give a speed at every moment.
void check_curve(const std::vector<dryshaft::SpeedAt>& trace) {
  std::vector<dryshaft::SpeedPoint> points;
  points.reserve(trace.size());
  for (const dryshaft::SpeedAt& at : trace) {
    points.push_back({.seconds = at.seconds, .rpm = at.value});
  }
  constexpr int kSeconds = 10;
  const dryshaft::noise::SpeedCurve curve(points, kSeconds);
  double before = -1;
  for (int t = 0; t <= kSeconds; ++t) {
    require(std::isfinite(curve.rps(t)) && curve.rps(t) > 0, "a speed is a number");
    require(std::isfinite(curve.turns(t)) && curve.turns(t) > before, "turns add up");
    before = curve.turns(t);
  }
}

// No bearing that is taken has an order that takes for ever to look for.
void check_bearing(std::string_view text) {
  const auto bearing = dryshaft::parse_bearing(text);
  dryshaft::fuzz::check(bearing.diagnostics);
  require(bearing.value.has_value() || bearing.has_errors(), "no bearing, no word");
  if (bearing.value) {
    const dryshaft::DefectOrders orders = dryshaft::defect_orders(*bearing.value);
    for (const double order : {orders.outer_race, orders.inner_race, orders.element, orders.cage}) {
      require(order > 0.09 && order < 201, "an order is neither tiny nor huge");
    }
  }
}

}  // namespace

FUZZ_TARGET(traces) {
  const auto trace = dryshaft::parse_speed_trace(text, "t.csv");
  dryshaft::fuzz::check(trace.diagnostics);
  require(trace.value.has_value() || trace.has_errors(), "no trace, no word");
  if (trace.value) {
    check_curve(trace.value->points);
  }
  const auto speed = dryshaft::parse_speed(text);
  require(!speed.value || std::isfinite(*speed.value), "a speed is finite");
  const auto moment = dryshaft::parse_moment(text);
  require(!moment.value || std::isfinite(*moment.value), "a moment is finite");
  dryshaft::fuzz::check(dryshaft::parse_speed_mark(text).diagnostics);
  dryshaft::fuzz::check(dryshaft::parse_load_mark(text).diagnostics);
  check_bearing(text);
}
