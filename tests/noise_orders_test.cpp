// Order tracking, speed found by the gearing's lines, and drive units as a whole.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <memory>
#include <numbers>
#include <random>
#include <string>

#include "dryshaft/machine.hpp"
#include "dryshaft/noise_report.hpp"
#include "noise/angle.hpp"
#include "noise/fourier.hpp"
#include "noise/lines.hpp"
#include "noise/orders.hpp"
#include "noise/search.hpp"
#include "noise/sources.hpp"
#include "noise/track.hpp"
#include "support.hpp"
#include "support/drive_noise.hpp"

namespace dryshaft {
namespace {

using noise::OrderAnalyser;
using noise::SpeedCurve;
using noise::ThreePulses;
using synthetic::DriveNoise;
using synthetic::DriveRecording;
using synthetic::Fault;

const Machine& family(std::string_view id) { return *test::shipped().family(id).machine; }

// Constructed, not published: theta = t + t^2/2 passes 0, 1.5 and 3 at 0, 1 and sqrt(7) - 1.
// The formula is Fyfe and Munck's, 1997 (from memory).
TEST_CASE("angle between three pulses") {
  const ThreePulses p(0, 1, std::sqrt(7.0) - 1, 1.5);
  CHECK(p.b0 == Approx(0).margin(1e-12));
  CHECK(p.b1 == Approx(1).epsilon(1e-12));
  CHECK(p.b2 == Approx(0.5).epsilon(1e-12));
  CHECK(p.time_of(2) == Approx(std::sqrt(5.0) - 1).epsilon(1e-12));
  // At a constant speed b2 is 0, where the formula as printed divides by it.
  const ThreePulses even(2, 3, 4, 0.5);
  CHECK(even.b2 == Approx(0).margin(1e-12));
  CHECK(even.time_of(0.75) == Approx(3.5).epsilon(1e-12));
}

TEST_CASE("a speed between marks, and the turns made") {
  const SpeedCurve ramp({{0, 600}, {10, 1800}}, 12);
  for (const double t : {0.0, 2.5, 5.0, 9.99}) {
    CHECK(ramp.rps(t) == Approx(10 + 2 * t).epsilon(1e-9));
    CHECK(ramp.turns(t) == Approx(10 * t + t * t).margin(1e-6));
    CHECK(ramp.seconds_at(10 * t + t * t) == Approx(t).margin(1e-9));
  }
  CHECK(ramp.rps(11) == Approx(30).epsilon(1e-12));
  const SpeedCurve constant({{3, 1200}}, 20);
  CHECK(constant.turns(20) == Approx(400).epsilon(1e-12));
  // Through its marks, never beyond those on either side.
  const std::vector<SpeedPoint> marks = {{0, 500}, {4, 2000}, {6, 2100}, {9, 900}, {12, 1000}};
  const SpeedCurve smooth(marks, 12);
  for (std::size_t i = 0; i < marks.size(); ++i) {
    CHECK(smooth.rps(marks[i].seconds) * 60 == Approx(marks[i].rpm).epsilon(1e-9));
    for (double t = marks[i].seconds; i + 1 < marks.size() && t <= marks[i + 1].seconds;
         t += 0.01) {
      const auto [least, most] = std::minmax(marks[i].rpm, marks[i + 1].rpm);
      CHECK(smooth.rps(t) * 60 >= least - 1e-6);
      CHECK(smooth.rps(t) * 60 <= most + 1e-6);
    }
  }
  // Two moments that are nearly one.
  for (const double near : {5e-324, 1e-300, 1e-9}) {
    const SpeedCurve step({{0, 600}, {near, 900}, {10, 1800}}, 12);
    CHECK(step.rps(0) == Approx(10).epsilon(1e-12));
    CHECK(step.rps(10) == Approx(30).epsilon(1e-9));
    CHECK(step.turns(10) == Approx(200).epsilon(1e-6));
  }
}

// A tone locked to the angle is a chirp in time, and one line in the order spectrum.
TEST_CASE("a swept tone becomes a line at its order") {
  constexpr double kRate = 24000;
  constexpr double kSeconds = 12;
  const SpeedCurve ramp({{0, 1500}, {kSeconds, 4500}}, kSeconds);
  std::mt19937 draw(3);
  std::normal_distribution<float> hiss;
  std::vector<float> x(static_cast<std::size_t>(kRate * kSeconds));
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / kRate;
    const double turns = 25 * t + 50 / kSeconds * t * t / 2;
    x[i] = static_cast<float>(std::cos(2 * std::numbers::pi * 29.25 * turns)) + 0.001F * hiss(draw);
  }
  OrderAnalyser analyser(kRate, ramp, 64, {{0, 6, Load::accelerating}, {6, 12, Load::coasting}});
  // In pieces of odd sizes: where they end makes no difference.
  for (std::size_t i = 0; i < x.size(); i += 7001) {
    analyser.add(std::span<const float>(x).subspan(i, std::min<std::size_t>(7001, x.size() - i)));
  }
  analyser.finish();
  const noise::Spectrum sound = analyser.sound();
  const auto top = static_cast<std::size_t>(
      std::max_element(sound.power.begin(), sound.power.end()) - sound.power.begin());
  CHECK(top == static_cast<std::size_t>(29.25 * 64));
  for (std::size_t i = 64; i < sound.power.size(); ++i) {
    if (i + 4 < top || i > top + 4) {
      CHECK(sound.power[i] < 1e-4 * sound.power[top]);
    }
  }
  REQUIRE(analyser.rows().size() >= 8);
  CHECK(analyser.rows().front().load == static_cast<int>(Load::accelerating));
  CHECK(analyser.rows().back().load == static_cast<int>(Load::coasting));
  for (const OrderAnalyser::Row& row : analyser.rows()) {
    CHECK(OrderAnalyser::sound_db(row, top) > 30);
  }
}

TEST_CASE("a modulated hiss shows its order in the envelope, along a ramp") {
  constexpr double kRate = 24000;
  constexpr double kSeconds = 12;
  constexpr double kDepth = 0.6;
  const SpeedCurve ramp({{0, 1500}, {kSeconds, 4500}}, kSeconds);
  std::mt19937 draw(5);
  std::normal_distribution<float> hiss;
  std::vector<float> x(static_cast<std::size_t>(kRate * kSeconds));
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / kRate;
    const double turns = 25 * t + 50 / kSeconds * t * t / 2;
    x[i] = hiss(draw) *
           static_cast<float>(std::sqrt(1 + kDepth * std::cos(2 * std::numbers::pi * 3.6 * turns)));
  }
  OrderAnalyser analyser(kRate, ramp, 64, {});
  analyser.add(x);
  analyser.finish();
  for (const noise::BandEnvelope& band : analyser.envelopes()) {
    const auto line = static_cast<std::size_t>(std::lround(3.6 * 64));
    double top = 0;
    for (std::size_t i = line - 1; i <= line + 1; ++i) {
      top = std::max(top, std::sqrt(band.spectrum.power[i]));
    }
    // A line between two bins of a Hann window loses up to 15 %.
    CHECK(top == Approx(kDepth).epsilon(0.25));
  }
}

TEST_CASE("tones of a drive unit") {
  Machine m;
  m.pole_pairs = 2;
  m.stator_slots = 48;
  m.stages = {{13, 35}, {20, 80}};
  // By arithmetic: a 13-tooth pinion at 22.5 Hz meshes at 292.5 Hz and turns its 35-tooth gear at
  // 8.357143 Hz.
  const std::vector<double> shafts = noise::shaft_orders(m);
  REQUIRE(shafts.size() == 3);
  CHECK(22.5 * shafts[1] == Approx(8.357143).epsilon(1e-7));
  CHECK(1 / shafts[2] == Approx(m.ratio()).epsilon(1e-12));
  const std::vector<noise::Tone> tones = noise::tones_of(m);
  REQUIRE(tones.size() > 2);
  CHECK(tones[0].what == PartKind{"gear stage 1", NoiseKind::mesh});
  CHECK(22.5 * tones[0].order == Approx(292.5).epsilon(1e-12));
  CHECK(tones[1].order == Approx(20 * 13.0 / 35).epsilon(1e-12));
}

TEST_CASE("as many bars or slots as poles, or fewer, make no tone of order 0 or less") {
  for (const bool cage : {true, false}) {
    for (const int poles : {8, 16}) {  // two more bars than poles, as many, fewer
      for (const int count : {poles + 2, poles, poles - 2}) {
        Machine m;
        m.pole_pairs = poles / 2;
        m.stator_slots = cage ? 48 : count;
        m.rotor_bars = cage ? count : 0;
        std::vector<double> passing;
        for (const noise::Tone& tone : noise::tones_of(m)) {
          INFO(tone.what.part << " of " << count << " with " << poles << " poles");
          CHECK(tone.order > 0);
          CHECK(std::isfinite(tone.loose));
          CHECK(tone.loose >= 0);
          if (tone.what.part == (cage ? "motor, rotor bars" : "motor, stator slots")) {
            passing.push_back(tone.order);
          }
        }
        std::vector<double> wanted = {1.0 * count};
        if (count != poles) {
          wanted.push_back(2);
        }
        wanted.push_back(count + poles);
        CHECK(passing == wanted);
      }
    }
  }
}

// What is kept of a recording is bounded: every second frame is let go of when there are too many.
TEST_CASE("a speed is tracked in a recording of any length", "[long]") {
  constexpr double kRate = 2000;
  constexpr double kHz = 10;
  const std::vector<double> comb = {2, 4, 12, 29, 58};
  const SpeedCurve given({{0, kHz * 60}}, 1);
  const std::size_t frame = noise::fast_length(static_cast<std::size_t>(kRate * 0.17));
  std::vector<float> samples(frame);
  for (const bool near : {true, false}) {
    for (const std::size_t frames : {2048, 2049, 2050, 4097, 9000}) {
      INFO(frames << " frames" << (near ? ", near a given speed" : ""));
      noise::Tracker tracker(kRate, comb, near ? &given : nullptr, 0.1);
      std::mt19937 draw(5);
      std::normal_distribution<float> hiss(0, 0.2F);
      const std::size_t pieces = frames * (near ? 2 : 1);  // near one, half of them are looked at
      for (std::size_t i = 0; i < pieces; ++i) {
        for (std::size_t j = 0; j < frame; ++j) {
          const double turns = kHz * static_cast<double>(i * frame + j) / kRate;
          double x = 0;
          for (const double order : comb) {
            x += std::sin(2 * std::numbers::pi * order * turns);
          }
          samples[j] = static_cast<float>(x) + hiss(draw);
        }
        tracker.add(samples);
      }
      const noise::Track track = tracker.finish();
      CHECK(track.clear);
      CHECK(track.points.size() > 1024);
      CHECK(track.points.size() <= 2048 + 2);
      const double seconds = static_cast<double>(pieces * frame) / kRate;
      CHECK(track.points.front().seconds == Approx(0).margin(0.2));
      CHECK(track.points.back().seconds == Approx(seconds).epsilon(0.002));
      for (std::size_t i = 0; i < track.points.size(); ++i) {
        CHECK(track.points[i].rpm == Approx(kHz * 60).epsilon(0.02));
        CHECK((i == 0 || track.points[i].seconds > track.points[i - 1].seconds));
      }
    }
  }
}

DriveNoise drive(std::uint64_t seed, std::vector<synthetic::RoadSpeed> speed) {
  DriveNoise what;
  what.machine = family("plover-2");
  what.rate = 24000;
  what.seconds = 12;
  what.seed = seed;
  what.drive.speed = std::move(speed);
  return what;
}
const std::vector<synthetic::RoadSpeed> kConstant = {{0, 60}};
const std::vector<synthetic::RoadSpeed> kRamp = {{0, 35}, {12, 80}};

// The speed as an instrument shows it, a little high.
GivenSpeed marked(const DriveNoise& what) {
  GivenSpeed given{SpeedBasis::marks, {}};
  for (const synthetic::RoadSpeed& s : what.drive.speed) {
    given.points.push_back(
        {s.seconds, 1.02 * rotor_rpm(s.km_per_h, what.circumference_m, what.machine.ratio())});
  }
  return given;
}

NoiseReport heard(const DriveNoise& what, const GivenSpeed& given,
                  const NoiseOptions& options = {}) {
  const DriveRecording recording = synthetic::record(what);
  Result<NoiseReport> result = listen_to_machine(synthetic::channel(recording), what.machine, given,
                                                 what.drive.loads, options);
  REQUIRE(result.value);
  return std::move(*result.value);
}

std::vector<PartKind> bearings_named(const NoiseReport& report) {
  std::vector<PartKind> named;
  for (const Attribution& a : report.named) {
    if (of_bearing(a.kind)) {
      named.push_back(a);
    }
  }
  return named;
}

bool first_is(const NoiseReport& report, const PartKind& expected) {
  if (report.named.empty()) {
    return false;
  }
  const Attribution& first = report.named.front();
  return first == expected ||
         std::ranges::find(first.shared_with, expected) != first.shared_with.end();
}

TEST_CASE("without a fault no bearing is named, whatever is known of the speed") {
  for (const auto& speed : {kConstant, kRamp}) {
    const DriveNoise what = drive(21, speed);
    CHECK(bearings_named(heard(what, marked(what))).empty());
    CHECK(bearings_named(heard(what, {})).empty());
  }
}

TEST_CASE("the speed is found along a ramp, and borne out where it is given") {
  const DriveNoise what = drive(22, kRamp);
  const DriveRecording recording = synthetic::record(what);
  const double mean = recording.motion.rotor_turns(what.seconds) / what.seconds * 60;
  for (const GivenSpeed& given : {marked(what), GivenSpeed{}}) {
    const NoiseReport report = heard(what, given);
    CHECK(report.speed.used_rpm == Approx(mean).epsilon(0.005));
    CHECK(report.speed.shaft_lines >= 4);
    CHECK(report.speed.alternatives_rpm.empty());
    CHECK(report.speed.uncertainty > 0);
    for (const SpeedPoint& p : report.speed.track) {
      if (p.seconds > 1 && p.seconds < what.seconds - 1) {
        CHECK(p.rpm == Approx(recording.motion.rotor_hz(p.seconds) * 60).epsilon(0.01));
      }
    }
  }
}

TEST_CASE("a defect is named by its part, with what cannot be told from it") {
  for (const NoiseKind kind : {NoiseKind::outer_race, NoiseKind::inner_race, NoiseKind::element}) {
    DriveNoise what = drive(23, kRamp);
    Fault fault;
    fault.bearing = what.machine.gear_bearings[0];
    fault.kind = kind;
    fault.db = -6;
    what.faults = {fault};
    const NoiseReport report = heard(what, marked(what));
    REQUIRE_FALSE(bearings_named(report).empty());
    const Attribution& first = report.named.front();
    INFO(name(first.kind) << " of " << first.part);
    CHECK(first_is(report, {fault.bearing.name, kind}));
    CHECK(first.found_order == Approx(first.expected_order).epsilon(0.016));
    CHECK(first.p_value < 1e-3);
    REQUIRE(report.pattern);
    CHECK(report.pattern->pattern == DamagePattern::single_defect);
  }
}

TEST_CASE("a cage is told from a race and an element, whose lines lie among its multiples") {
  for (const NoiseKind kind : {NoiseKind::cage, NoiseKind::outer_race, NoiseKind::element}) {
    DriveNoise what = drive(26, kRamp);
    Fault fault;
    fault.bearing = what.machine.gear_bearings[0];
    fault.kind = kind;
    fault.load_zone = 0.6;  // heard once a turn of the cage, sharply
    fault.db = 0;
    what.faults = {fault};
    const NoiseReport report = heard(what, marked(what));
    INFO(name(kind) << " taken for "
                    << (report.named.empty() ? "nothing" : name(report.named.front().kind)));
    CHECK(first_is(report, {fault.bearing.name, kind}));
    for (const PartKind& p : bearings_named(report)) {
      CHECK((kind == NoiseKind::cage) == (p.kind == NoiseKind::cage));
    }
  }
}

TEST_CASE("one loud defect at one speed is not called a washboard") {
  for (const std::uint64_t seed : {1, 2, 3}) {
    DriveNoise what = drive(seed, kConstant);
    Fault fault;
    fault.bearing = what.machine.rotor_bearings[0];
    fault.jitter = 0.003;
    fault.db = 0;
    what.faults = {fault};
    const NoiseReport report = heard(what, marked(what));
    REQUIRE_FALSE(bearings_named(report).empty());
    REQUIRE(report.pattern);
    CHECK(report.pattern->pattern != DamagePattern::washboard);
  }
}

TEST_CASE("a loud fault does not hide the speed where none is given") {
  DriveNoise what = drive(27, kRamp);
  Fault fault;
  fault.bearing = what.machine.gear_bearings[0];
  fault.kind = NoiseKind::inner_race;
  fault.db = -5;
  what.faults = {fault};
  const NoiseReport report = heard(what, {});
  CHECK(report.speed.alternatives_rpm.empty());
  CHECK(first_is(report, {fault.bearing.name, NoiseKind::inner_race}));
}

TEST_CASE("a washboard is told from a single defect") {
  DriveNoise what = drive(24, kRamp);
  Fault fault;
  fault.bearing = what.machine.gear_bearings[0];
  fault.washboard = true;
  fault.db = -6;
  what.faults = {fault};
  const NoiseReport report = heard(what, marked(what));
  REQUIRE_FALSE(bearings_named(report).empty());
  CHECK(report.named.front() == PartKind{fault.bearing.name, NoiseKind::outer_race});
  REQUIRE(report.pattern);
  CHECK(report.pattern->pattern == DamagePattern::washboard);
}

TEST_CASE("bearings of one size on one shaft are not told apart") {
  DriveNoise what = drive(25, kConstant);
  what.machine = family("dunlin-1");
  Fault fault;
  fault.bearing = what.machine.rotor_bearings[0];
  fault.db = -6;
  what.faults = {fault};
  const NoiseReport report = heard(what, marked(what));
  REQUIRE_FALSE(bearings_named(report).empty());
  CHECK(report.named.front().kind == NoiseKind::outer_race);
  CHECK(report.named.front().shared_with.size() >= 2);
}

TEST_CASE("loads are compared") {
  DriveNoise what = drive(26, {{0, 40}, {6, 80}, {12, 40}});
  what.drive.loads = {{0, 6, Load::accelerating}, {6, 12, Load::coasting}};
  Fault fault;
  fault.bearing = what.machine.gear_bearings[0];
  fault.db = -6;
  what.faults = {fault};
  const NoiseReport report = heard(what, marked(what));
  REQUIRE_FALSE(report.loads.empty());
  const LoadLevels& first = report.loads.front();
  CHECK(first == static_cast<const PartKind&>(report.named.front()));
  REQUIRE(first.level_db[0]);
  CHECK_FALSE(first.level_db[1]);
  REQUIRE(first.level_db[2]);
  CHECK(*first.level_db[0] > *first.level_db[2] + 3);
}

TEST_CASE("what cannot be listened to, and a speed that does not fit") {
  const Machine& machine = family("plover-2");
  const auto listen = [&](std::vector<float> samples, double rate, const GivenSpeed& given) {
    std::size_t at = 0;
    const Recording recording{rate,
                              [&](std::span<float> out) {
                                const std::size_t n = std::min(out.size(), samples.size() - at);
                                std::copy_n(samples.begin() + static_cast<std::ptrdiff_t>(at), n,
                                            out.begin());
                                at += n;
                                return n;
                              },
                              [&] { at = 0; }};
    return listen_to_machine(recording, machine, given, {}, {});
  };
  std::mt19937 draw(7);
  std::normal_distribution<float> hiss(0, 0.1F);
  std::vector<float> noise(120000);
  std::ranges::generate(noise, [&] { return hiss(draw); });
  const GivenSpeed given{SpeedBasis::constant, {{0, 3000}}};
  const std::pair<Result<NoiseReport>, const char*> refused[] = {
      {listen(std::vector<float>(100000, 0.0F), 24000, given), "holds nothing but silence"},
      {listen(noise, 2000, given), "has 2000 samples a second; a drive unit needs 4000 or more"},
      {listen(std::vector<float>(noise.begin(), noise.begin() + 24000), 24000, given),
       "holds 50 turns of the rotor; at least 128 are needed"},
      {listen(noise, 4000, {SpeedBasis::constant, {{0, 120}}}),
       "holds 60 turns of the rotor; at least 128 are needed"},
  };
  for (const auto& [result, message] : refused) {
    CHECK_FALSE(result.value);
    REQUIRE(result.diagnostics.size() == 1);
    CHECK(result.diagnostics[0].message == message);
  }
  // Noise alone, speed not given: nothing is guessed.
  const Result<NoiseReport> unknown = listen(noise, 24000, {});
  REQUIRE(unknown.value);
  CHECK(unknown.value->speed.used_rpm == 0);
  CHECK(unknown.value->named.empty());
  REQUIRE(unknown.value->limits.size() == 1);
  CHECK(unknown.value->limits[0].starts_with("No lines have the ratios that this gearing fixes"));

  DriveNoise what = drive(27, kRamp);
  GivenSpeed wrong = marked(what);
  for (SpeedPoint& p : wrong.points) {
    p.rpm *= 1.5;
  }
  const NoiseReport report = heard(what, wrong);
  CHECK(bearings_named(report).empty());
  REQUIRE_FALSE(report.limits.empty());
  CHECK(report.limits[0].find("the speed may be wrong") != std::string::npos);
  CHECK(report.limits[0].find(", 0.65 times that given") != std::string::npos);
  // A constant speed is told once, for the whole of the recording: here the mean, three times over.
  const GivenSpeed constant{SpeedBasis::constant, {{0, 3 * report.speed.given_rpm / 1.53}}};
  const NoiseReport other = heard(what, constant);
  REQUIRE_FALSE(other.limits.empty());
  CHECK(other.limits[0].find(", 0.33 times that given") != std::string::npos);
}

Recording in_memory(const std::vector<float>& samples, double rate) {
  const auto at = std::make_shared<std::size_t>(0);
  return {rate,
          [at, &samples](std::span<float> out) {
            const std::size_t n = std::min(out.size(), samples.size() - *at);
            std::copy_n(samples.begin() + static_cast<std::ptrdiff_t>(*at), n, out.begin());
            *at += n;
            return n;
          },
          [at] { *at = 0; }};
}

// A recording that fits nearly everything says nothing of a bearing: neither a part, nor that there
// is none. It may say which rhythm it has.
void check_left_open(const std::vector<float>& samples, double rate, const GivenSpeed& speed) {
  const Machine& machine = family("plover-2");
  const Result<NoiseReport> r = listen_to_machine(in_memory(samples, rate), machine, speed, {}, {});
  REQUIRE(r.value);
  CHECK(std::ranges::all_of(r.value->named, is_rhythm));
  CHECK_FALSE(r.value->pattern);
  const bool speed_open = speed.points.empty() && r.value->speed.shaft_lines == 0;
  CHECK((speed_open || !r.value->speed.alternatives_rpm.empty() || !r.value->named.empty() ||
         r.value->left_open == LeftOpen::lines_everywhere));
  const RecordingFindings found = recording_findings(*r.value, machine);
  CHECK_FALSE((found.rotor_bearing || found.gear_bearing || found.pattern));
  CHECK(found.other.value_or("wheel") == "wheel");
}

TEST_CASE("lines that fit nearly everything name nothing") {
  constexpr double kRate = 16000;
  constexpr std::size_t kCount = 160000;
  const double ratio = family("plover-2").ratio();
  std::vector<GivenSpeed> speeds = {{SpeedBasis::none, {}}};
  for (const double km_per_h : {30.0, 60.0, 90.0}) {
    speeds.push_back({SpeedBasis::constant, {{0, rotor_rpm(km_per_h, 1.924, ratio)}}});
  }
  // A comb: lines 8 Hz apart, up to the highest.
  std::vector<float> comb(kCount);
  for (std::size_t i = 0; i < kCount; ++i) {
    comb[i] = static_cast<float>(static_cast<int>(i * 7919 % 2001) - 1000) / 32768;
  }
  for (const GivenSpeed& speed : speeds) {
    INFO("comb, " << (speed.points.empty() ? 0 : speed.points[0].rpm) << " rpm");
    check_left_open(comb, kRate, speed);
  }
  // Clicks that come about as often as a wheel turns, as a flat spot's, in noise.
  for (const double km_per_h : {30.0, 60.0}) {
    const double rpm = rotor_rpm(km_per_h, 1.924, ratio);
    std::mt19937 draw(3);
    std::normal_distribution<float> hiss(0, 0.05F);
    std::vector<float> clicks(kCount);
    std::ranges::generate(clicks, [&] { return hiss(draw); });
    const double every = ratio * 60 / rpm;
    for (double t = 0.01; t < kCount / kRate - 0.02; t += every * (1 + 0.02 * hiss(draw))) {
      for (std::size_t i = 0; i < 100; ++i) {
        const auto x = static_cast<double>(i);
        clicks[static_cast<std::size_t>(t * kRate) + i] +=
            static_cast<float>(0.8 * std::exp(-0.05 * x) * std::sin(1.2 * x));
      }
    }
    INFO("clicks at " << km_per_h << " km/h");
    check_left_open(clicks, kRate, {SpeedBasis::constant, {{0, rpm}}});
  }
}

// Bearings at the corners of what is accepted, as many as are: what has to be tried is bounded.
TEST_CASE("the places looked at are bounded by the limits of geometry") {
  std::vector<Bearing> corners;
  for (const int elements : {geometry::kLeastElements, geometry::kMostElements}) {
    for (const double pitch : {geometry::kLeastPitch, geometry::kMostPitch}) {
      for (const double contact : {0.0, 89.9}) {
        corners.push_back({"b" + std::to_string(corners.size()), elements, 1, pitch, contact});
        CHECK(complaint_about(corners.back()).empty());
        const DefectOrders orders = defect_orders(corners.back());
        for (const NoiseKind kind : noise::kBearingKinds) {
          CHECK(noise::order_of(orders, kind) >= 0.1 * (1 - 1e-9));
          CHECK(noise::order_of(orders, kind) <= 200);
        }
      }
    }
  }
  constexpr double kPerOrder = 128;
  constexpr std::size_t kBands = 10;
  std::mt19937 draw(9);
  std::gamma_distribution<double> power(8, 1.0 / 8);
  std::vector<noise::BandEnvelope> bands(kBands);
  for (noise::BandEnvelope& band : bands) {
    band.spectrum = {1 / kPerOrder, 8, {}};
    const auto lines = static_cast<std::size_t>(OrderAnalyser::kHighestEnvelope * kPerOrder);
    band.spectrum.power.resize(lines);
    std::ranges::generate(band.spectrum.power, [&] { return power(draw); });
    band.floor.assign(lines, 1);
  }
  const NoiseOptions options;
  // Four places for each line that the highest multiple of the highest order moves over.
  const double most_of_one = 2 * options.slip * OrderAnalyser::kHighestEnvelope * kPerOrder * 4 * 4;
  for (const std::size_t count : {std::size_t{1}, std::size_t{8}, geometry::kMostBearings}) {
    std::vector<const Bearing*> bearings;
    for (std::size_t i = 0; i < count; ++i) {
      bearings.push_back(&corners[i % corners.size()]);
    }
    const noise::BearingSearch search =
        noise::search_bearings(bands, kPerOrder, OrderAnalyser::kHighestEnvelope,
                               noise::Mask(bands[0].floor.size()), bearings, options);
    CHECK(search.named.empty());
    INFO(count << " bearings");
    CHECK(search.places > 0);
    CHECK(static_cast<double>(search.places) <=
          (most_of_one + 2) * static_cast<double>(count * kBands * noise::kBearingKinds.size()));
  }
  // Of gears, the tones: three of each mesh and shaft, and few more.
  Machine machine;
  machine.pole_pairs = 4;
  machine.stator_slots = 48;
  machine.stages.assign(geometry::kMostGearPairs, {10, 17});
  CHECK(complaint_about(machine).empty());
  CHECK(noise::tones_of(machine).size() <= 2 * geometry::kMostGearPairs + 8);
  for (const double order : noise::shaft_orders(machine)) {
    CHECK(order >= 1 / geometry::kMostRatio);
  }
}

// The stated chance is for one recording and all that is looked at; least depth aside.
TEST_CASE("noise alone is named no more often than stated", "[long]") {
  constexpr int kSignals = 400;
  constexpr double kStated = 0.05;
  NoiseOptions options;
  options.false_alarm = kStated;
  options.least_depth = 1e-9;
  int named = 0;
  std::mt19937 draw(99);
  std::normal_distribution<float> hiss;
  for (int i = 0; i < kSignals; ++i) {
    std::size_t left = 24000;
    const Recording recording{8000,
                              [&](std::span<float> out) {
                                const std::size_t n = std::min(out.size(), left);
                                std::generate_n(out.begin(), n, [&] { return hiss(draw); });
                                left -= n;
                                return n;
                              },
                              {}};
    const Result<NoiseReport> r =
        listen_to_bearings(recording, {{"b", 11, 6.2, 43.5, 0}}, 1500, options);
    REQUIRE(r.value);
    named += r.value->named.empty() ? 0 : 1;
  }
  // Three standard errors above the stated share.
  CHECK(named <= kSignals * kStated + 3 * std::sqrt(kSignals * kStated * (1 - kStated)));
}

}  // namespace
}  // namespace dryshaft
