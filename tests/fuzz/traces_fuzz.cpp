// What a person writes about the speed of a recording: marks, loads, a table of speeds.
#include <cmath>

#include "dryshaft/noise_input.hpp"
#include "fuzz/fuzz.hpp"

FUZZ_TARGET(traces) {
  const auto trace = dryshaft::parse_speed_trace(text, "t.csv");
  dryshaft::fuzz::check(trace.diagnostics);
  dryshaft::fuzz::require(trace.value.has_value() || trace.has_errors(), "no trace, no word");
  const auto speed = dryshaft::parse_speed(text);
  dryshaft::fuzz::require(!speed.value || std::isfinite(*speed.value), "a speed is finite");
  const auto moment = dryshaft::parse_moment(text);
  dryshaft::fuzz::require(!moment.value || std::isfinite(*moment.value), "a moment is finite");
  dryshaft::fuzz::check(dryshaft::parse_speed_mark(text).diagnostics);
  dryshaft::fuzz::check(dryshaft::parse_load_mark(text).diagnostics);
}
