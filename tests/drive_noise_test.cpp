// The generator of synthetic recordings: that it makes what it says.
#include "support/drive_noise.hpp"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <numeric>

#include "support.hpp"

namespace dryshaft {
namespace {

using synthetic::DriveNoise;
using synthetic::DriveRecording;
using synthetic::Fault;
using synthetic::kSilent;

const Machine& plover() { return *test::shipped().family("plover-2").machine; }

// A drive in which nothing sounds: what is wanted is turned up.
DriveNoise hushed() {
  DriveNoise what;
  what.machine = plover();
  what.levels = {kSilent, kSilent, kSilent, kSilent, kSilent, kSilent, kSilent, kSilent};
  what.microphone.sixteen_bits = false;
  what.rate = 16000;
  what.seconds = 8;
  return what;
}

Fault fault_of(NoiseKind kind, double db = 40) {
  Fault fault;
  fault.bearing = plover().rotor_bearings[1];
  fault.kind = kind;
  fault.db = db;
  return fault;
}

// Orders by a DFT over the rotor's angle, sampled where the samples are. The angle is exact, so
// nothing is interpolated; a Hann window over it keeps neighbours apart.
class Orders {
 public:
  explicit Orders(const DriveRecording& r) : samples_(r.samples) {
    turns_.reserve(samples_.size() + 1);
    for (std::size_t i = 0; i <= samples_.size(); ++i) {
      turns_.push_back(r.motion.rotor_turns(static_cast<double>(i) / r.rate));
    }
    weight_.reserve(samples_.size());
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      weight_.push_back((1 - std::cos(2 * std::numbers::pi * turns_[i] / turns())) *
                        (turns_[i + 1] - turns_[i]) * 2 / turns());
    }
  }
  [[nodiscard]] double turns() const { return turns_.back(); }
  // Squared amplitude at an order.
  [[nodiscard]] double tone(double order) const {
    return line(order, [](double v) { return v; });
  }
  // The same of the rectified signal.
  [[nodiscard]] double envelope(double order) const {
    return line(order, [](double v) { return std::abs(v); });
  }
  // A tone's height over the ground a few lines to either side, in dB.
  [[nodiscard]] double stands(double order) const {
    const double off = 6.5 / turns();
    return 10 * std::log10(tone(order) / std::max(tone(order - off), tone(order + off)));
  }
  // Where the envelope's line is highest within 2 % of an order.
  [[nodiscard]] double found(double order) const {
    double best = 0;
    double height = 0;
    for (double o = order * 0.98; o < order * 1.02; o += 0.5 / turns()) {
      if (const double p = envelope(o); p > height) {
        height = p;
        best = o;
      }
    }
    return best;
  }

 private:
  template <typename Of>
  [[nodiscard]] double line(double order, const Of& of) const {
    double re = 0;
    double im = 0;
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const double v = of(samples_[i]) * weight_[i];
      const double angle = 2 * std::numbers::pi * order * turns_[i];
      re += v * std::cos(angle);
      im += v * std::sin(angle);
    }
    return re * re + im * im;
  }
  std::vector<float> samples_;
  std::vector<double> turns_;
  std::vector<double> weight_;
};
double db(double ratio) { return 10 * std::log10(ratio); }

double mean_square(const std::vector<float>& x) {
  return std::transform_reduce(x.begin(), x.end(), 0.0, std::plus<>(),
                               [](float v) { return double{v} * v; }) /
         static_cast<double>(x.size());
}
double kurtosis(const std::vector<float>& x) {
  const double fourth = std::transform_reduce(x.begin(), x.end(), 0.0, std::plus<>(),
                                              [](float v) { return std::pow(double{v}, 4); }) /
                        static_cast<double>(x.size());
  return fourth / std::pow(mean_square(x), 2);
}

TEST_CASE("a seed gives the same recording each time, another seed another") {
  DriveNoise what;
  what.machine = plover();
  what.seconds = 1;
  what.faults = {fault_of(NoiseKind::inner_race, -5)};
  const DriveRecording once = record(what);
  CHECK(once.samples.size() == 48000);
  CHECK(once.samples == record(what).samples);
  CHECK(std::sqrt(mean_square(once.samples)) == Approx(std::pow(10, -22.0 / 20)).epsilon(1e-3));
  DriveNoise other = what;
  other.seed = 2;
  CHECK(once.samples != record(other).samples);
  // What else sounds does not depend on the faults.
  other = what;
  other.faults.clear();
  CHECK(record(other).background_rms == once.background_rms);
}

TEST_CASE("the rotor's turns are the integral of its speed") {
  synthetic::Drive drive;
  drive.speed = {{2, 30}, {7, 100}, {9, 100}, {15, 0}};
  drive.wander = 0.01;
  const synthetic::Motion motion(drive, 1.97, 9, 3);
  CHECK(motion.rotor_turns(0) == 0);
  double sum = 0;
  constexpr double kStep = 1e-3;
  for (double t = 0; t < 16; t += kStep) {  // Simpson's rule
    sum += kStep / 6 *
           (motion.rotor_hz(t) + 4 * motion.rotor_hz(t + kStep / 2) + motion.rotor_hz(t + kStep));
    REQUIRE(motion.rotor_turns(t + kStep) == Approx(sum).margin(1e-4));
  }
  drive = {{{0, 60}}, 0, {}};
  const synthetic::Motion even(drive, 1.97, 9, 3);
  CHECK(even.rotor_turns(1000) == Approx(1000 * 9 * 60 / 3.6 / 1.97).epsilon(1e-14));
  CHECK(even.rotor_hz(5) * 60 == Approx(rotor_rpm(60, 1.97, 9)));
}

TEST_CASE("a microphone's own noise is white and Gaussian") {
  DriveNoise what = hushed();
  what.levels.microphone = 0;
  const DriveRecording r = record(what);
  CHECK(r.background_rms == Approx(1).epsilon(0.01));
  CHECK(kurtosis(r.samples) == Approx(3).margin(0.05));
  double next = 0;
  for (std::size_t i = 1; i < r.samples.size(); ++i) {
    next += double{r.samples[i]} * r.samples[i - 1];
  }
  CHECK(next / mean_square(r.samples) / static_cast<double>(r.samples.size()) ==
        Approx(0).margin(0.01));
}

TEST_CASE("tones stand at their orders, at constant speed and along a ramp") {
  const bool ramp = GENERATE(false, true);
  INFO((ramp ? "ramp" : "constant"));
  DriveNoise what = hushed();
  what.levels.microphone = -80;
  if (ramp) {
    what.drive.speed = {{0, 40}, {4, 80}, {8, 60}};
  }
  const double second = 29.0 / 76;
  SECTION("shafts") {
    what.levels.rotor = 0;
    what.levels.wheel = 0;
    const Orders o(record(what));
    const double ratio = 76.0 / 29 * 79 / 23;
    for (const double order : {1.0, 2.0, 3.0, 1 / ratio, 2 / ratio, 3 / ratio}) {
      INFO(order);
      CHECK(o.stands(order) > 20);
    }
    CHECK(o.stands(4) < 10);
  }
  SECTION("meshes") {
    what.levels.mesh = 0;
    const Orders o(record(what));
    for (const double mesh : {29.0, 2 * 29.0, 23 * second, 3 * 23 * second}) {
      INFO(mesh);
      CHECK(o.stands(mesh) > 25);
    }
    for (const double side : {28.0, 30.0, 29 - second, 29 + second, 24 * second, 22 * second,
                              23 * second - second * 23 / 79, 23 * second + second * 23 / 79}) {
      INFO(side);
      CHECK(o.stands(side) > 15);
    }
    CHECK(o.stands(29.5) < 10);
  }
  SECTION("motor") {
    what.levels.electrical = 0;
    what.gains.field_slip = {0.01, 0.01, 0.01};
    const Orders o(record(what));
    for (const double order : {4 * 1.01, 12 * 1.01, 62.0, 62 - 4.04, 62 + 4.04}) {
      INFO(order);
      CHECK(o.stands(order) > 25);
    }
    CHECK(o.stands(4) < 10);
    what.machine.rotor_bars = 0;  // turns with the field, passes the stator's slots
    const DriveRecording synchronous = record(what);
    for (const double order : {4.0, 12.0, 72.0, 68.0, 76.0}) {
      INFO(order);
      CHECK(Orders(synchronous).stands(order) > 25);
    }
  }
}

TEST_CASE("mains stay where they are") {
  DriveNoise what = hushed();
  what.levels.mains = 0;
  what.levels.microphone = -60;
  what.drive.wander = 0;
  const DriveRecording r = record(what);
  const Orders o(r);
  for (const double hz : {50.0, 100.0, 150.0}) {
    CHECK(o.stands(hz / r.motion.rotor_hz(0)) > 30);
  }
}

TEST_CASE("a fault is as loud as asked") {
  DriveNoise what;
  what.machine = plover();
  what.seconds = 3;
  what.rate = 16000;
  what.microphone.sixteen_bits = false;
  what.drive.speed = {{0, 30}, {3, 70}};
  what.drive.loads = {{1, 2, Load::accelerating}, {2, 3, Load::coasting}};
  const DriveRecording without = record(what);
  for (const double asked : {-30.0, -10.0, 6.0}) {
    for (const bool washboard : {false, true}) {
      what.faults = {fault_of(NoiseKind::outer_race, asked)};
      what.faults[0].washboard = washboard;
      const DriveRecording with = record(what);
      std::vector<float> alone(with.samples.size());
      for (std::size_t i = 0; i < alone.size(); ++i) {
        alone[i] =
            static_cast<float>(with.samples[i] / with.gain - without.samples[i] / without.gain);
      }
      CHECK(db(mean_square(alone) / std::pow(with.background_rms, 2)) ==
            Approx(asked).margin(0.01));
      // Loudest where the car accelerates, nearly gone where it coasts.
      const auto part = [&](std::size_t second) {
        const auto from = alone.begin() + static_cast<std::ptrdiff_t>(second * 16000 + 8000);
        return mean_square({from, from + 8000});
      };
      CHECK(db(part(1) / part(0)) > 6);
      CHECK(db(part(2) / part(1)) < -10);
    }
  }
}

TEST_CASE("defects repeat at their orders, slip and all") {
  const bool ramp = GENERATE(false, true);
  const double slip = GENERATE(0.0, 0.012);
  const NoiseKind kind = GENERATE(NoiseKind::outer_race, NoiseKind::inner_race, NoiseKind::element);
  DriveNoise what = hushed();
  what.levels.microphone = -60;
  what.seconds = 4;
  if (ramp) {
    what.drive.speed = {{0, 40}, {4, 80}};
  }
  what.faults = {fault_of(kind)};
  what.faults[0].slip = slip;
  what.faults[0].jitter = 0.002;
  const DriveRecording r = record(what);
  const Orders o(r);
  const Bearing& bearing = what.faults[0].bearing;
  const DefectOrders pure = defect_orders(bearing);
  const DefectOrders due = synthetic::slipped_orders(bearing, slip);
  CHECK(due.outer_race == Approx(pure.outer_race * (1 - slip)));
  CHECK(due.inner_race + due.outer_race == Approx(bearing.elements));
  CHECK(due.cage == Approx(pure.cage * (1 - slip)));
  const double fine = 0.75 / o.turns();
  const double power = mean_square(r.samples);
  INFO(name(kind) << ", slip " << slip << (ramp ? ", ramp" : ""));
  switch (kind) {
    case NoiseKind::outer_race:
      CHECK(o.found(pure.outer_race) == Approx(due.outer_race).margin(fine));
      // Always in the load zone: no modulation by the shaft.
      CHECK(db(o.envelope(due.outer_race + 1) / o.envelope(due.outer_race)) < -15);
      break;
    case NoiseKind::inner_race:
      CHECK(o.found(pure.inner_race) == Approx(due.inner_race).margin(fine));
      CHECK(db(o.envelope(due.inner_race + 1) / o.envelope(due.inner_race)) > -12);
      CHECK(db(o.envelope(1) / power) > -12);
      break;
    default:
      CHECK(o.found(pure.element) == Approx(due.element).margin(fine));
      CHECK(db(o.envelope(due.element + due.cage) / o.envelope(due.element)) > -12);
      CHECK(db(o.envelope(due.cage) / power) > -12);
      // Its two blows a turn differ.
      CHECK(o.envelope(due.spin) > 4 * o.envelope(due.spin * 1.02));
  }
}

TEST_CASE("a cage strikes once a turn of its own") {
  DriveNoise what = hushed();
  what.levels.microphone = -60;
  what.faults = {fault_of(NoiseKind::cage)};
  what.faults[0].jitter = 0.001;
  const Orders o(record(what));
  const double order = synthetic::slipped_orders(what.faults[0].bearing, 0.005).cage;
  for (const int k : {1, 2, 3}) {
    CHECK(db(o.envelope(k * order) / o.envelope((k + 0.5) * order)) > 15);
  }
}

TEST_CASE("spacing errors of blows add up, as slipping elements' do") {
  DriveNoise what = hushed();
  what.levels.microphone = -60;
  what.faults = {fault_of(NoiseKind::outer_race)};
  const double order = synthetic::slipped_orders(what.faults[0].bearing, 0.005).outer_race;
  what.faults[0].jitter = 0;
  const double sharp = Orders(record(what)).envelope(8 * order);
  what.faults[0].jitter = 0.03;
  CHECK(db(Orders(record(what)).envelope(8 * order) / sharp) < -10);
}

TEST_CASE("a washboard sings at multiples of the race's order and is less impulsive") {
  DriveNoise what = hushed();
  what.levels.microphone = -60;
  const NoiseKind kind = GENERATE(NoiseKind::outer_race, NoiseKind::inner_race);
  what.faults = {fault_of(kind, 20)};
  what.faults[0].jitter = 0;
  const double single = kurtosis(record(what).samples);
  what.faults[0].washboard = true;
  what.faults[0].flutes = 92;
  const DriveRecording r = record(what);
  const Orders o(r);
  const double washboard = kurtosis(r.samples);
  INFO(name(kind) << ": " << single << ", " << washboard);
  CHECK(washboard < 5);
  CHECK(single > 2 * washboard);
  const DefectOrders due = synthetic::slipped_orders(what.faults[0].bearing, 0.005);
  const double order = kind == NoiseKind::outer_race ? due.outer_race : due.inner_race;
  const bool inner = kind == NoiseKind::inner_race;
  // 92 flutes, 9 elements: between the tenth and the eleventh multiple. The load zone stands still;
  // an inner race turns through it, which sets the lines apart by the shaft's order.
  double family = 0;
  for (const int k : {9, 10, 11}) {
    for (const int side : {-3, -2, -1, 0, 1, 2, 3}) {
      family += o.tone(k * order + side) / 2;
    }
  }
  CHECK(db(family / mean_square(r.samples)) > -3);
  CHECK(o.stands(10 * order) > 20);
  CHECK((o.stands(10 * order + 2) > 20) == inner);
  CHECK(o.stands(10.5 * order) < 10);
  CHECK(o.tone(4 * order) < family / 30);
}

TEST_CASE("a recorder that is too loud flattens") {
  DriveNoise what;
  what.machine = plover();
  what.seconds = 2;
  what.rate = 16000;
  what.microphone.clip_at = 0.5;
  const DriveRecording free = record(what);
  CHECK(free.clipped == 0);
  what.microphone.level_db = -3;
  const DriveRecording r = record(what);
  const auto at_limit = std::ranges::count_if(r.samples, [](float v) { return v == 0.5F; });
  const auto below = std::ranges::count_if(r.samples, [](float v) { return v == -0.5F; });
  CHECK(*std::ranges::max_element(r.samples) == 0.5F);
  CHECK(*std::ranges::min_element(r.samples) == -0.5F);
  CHECK(r.clipped > 0.2);
  CHECK(static_cast<double>(at_limit + below) / 32000 == Approx(r.clipped).margin(0.001));
  CHECK(kurtosis(r.samples) < 0.7 * kurtosis(free.samples));
  // Steps of 16 bits.
  CHECK(std::ranges::all_of(free.samples,
                            [](float v) { return v * 32768 == std::floor(v * 32768); }));
}

TEST_CASE("a stereo recorder with a dead side") {
  DriveNoise what;
  what.machine = plover();
  what.seconds = 0.5;
  what.rate = 8000;
  what.microphone.channels = 2;
  what.microphone.dead_channel = 0;
  const DriveRecording r = record(what);
  REQUIRE(r.samples.size() == 8000);
  std::vector<float> side(5000);
  const Recording dead = synthetic::channel(r, 0);
  CHECK(dead.rate == 8000);
  CHECK(dead.read(side) == 4000);
  CHECK(std::ranges::count(side, 0.0F) == 5000);
  const Recording live = synthetic::channel(r, 1);
  std::vector<float> half(2500);
  CHECK(live.read(half) == 2500);
  CHECK(live.read(half) == 1500);
  CHECK(live.read(half) == 0);
  live.rewind();
  CHECK(live.read(half) == 2500);
  CHECK(half[7] == r.samples[15]);
  CHECK(std::ranges::count(half, 0.0F) < 100);
}

}  // namespace
}  // namespace dryshaft
