// Orders, spectra and families of lines, against published tables and closed forms.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "dryshaft/machine.hpp"
#include "dryshaft/noise.hpp"
#include "noise/lines.hpp"
#include "noise/spectra.hpp"

namespace dryshaft {
namespace {

using noise::Analyser;
using noise::BandEnvelope;
using noise::fast_length;
using noise::fast_length_within;
using noise::noise_floor;
using noise::RealTransform;

constexpr double kTurn = 2 * std::numbers::pi;

struct Published {
  Bearing bearing;
  double outer, inner, cage, spin, element;  // 0: not printed
  double tolerance;
};

TEST_CASE("defect orders of published bearing tables") {
  const Published rows[] = {
      // Two bearings of the open bearing data of Case Western Reserve University, as quoted in
      // public code; their rounding is off by up to 3e-4, and the rolling element is 2 x BSF.
      {{"drive end", 9, 0.3126, 1.537, 0}, 3.5848, 5.4152, 0.39828, 0, 4.7135, 3e-4},
      {{"fan end", 8, 0.2656, 1.122, 0}, 3.0530, 4.9469, 0.3817, 0, 3.9874, 3e-4},
      // The open data of G. Forbes, Curtin University 2012, CC BY 4.0: they print 1 x BSF.
      {{"test rig", 9, 7.9375, 38.50, 0}, 3.572, 5.428, 0.3969, 2.32, 0, 3e-3},
  };
  for (const Published& p : rows) {
    INFO(p.bearing.name);
    const DefectOrders o = defect_orders(p.bearing);
    CHECK(o.outer_race == Approx(p.outer).margin(p.tolerance));
    CHECK(o.inner_race == Approx(p.inner).margin(p.tolerance));
    CHECK(o.cage == Approx(p.cage).margin(p.tolerance));
    if (p.spin > 0) {
      CHECK(o.spin == Approx(p.spin).margin(p.tolerance));
    }
    if (p.element > 0) {
      CHECK(o.element == Approx(p.element).margin(p.tolerance));
    }
    CHECK(o.outer_race + o.inner_race == Approx(p.bearing.elements).epsilon(1e-12));
    CHECK(o.outer_race == Approx(p.bearing.elements * o.cage).epsilon(1e-12));
    CHECK(o.element == 2 * o.spin);
  }
  // The bearing of an open run-to-failure data set (University of Cincinnati): 236.4 Hz at 2000 rpm
  // (from memory), with a contact angle.
  const DefectOrders angled = defect_orders({"angled", 16, 0.331, 2.815, 15.17});
  CHECK(angled.outer_race * 2000 / 60 == Approx(236.4).margin(0.05));
}

TEST_CASE("a bearing on the command line") {
  const Result<Bearing> b = parse_bearing("rear=11:6.2:43.5:0");
  REQUIRE(b.value);
  CHECK(b.value->name == "rear");
  CHECK(b.value->elements == 11);
  CHECK(b.value->element_diameter == 6.2);
  CHECK(b.value->pitch_diameter == 43.5);
  CHECK(b.value->contact_deg == 0);
  CHECK(parse_bearing("8:1:5:15.5").value->contact_deg == 15.5);
  const std::pair<const char*, const char*> bad[] = {
      {"11:6.2:43.5", "\"11:6.2:43.5\" is no bearing: it has 3 numbers, not 4"},
      {"11:x:43.5:0", "\"11:x:43.5:0\" is no bearing: \"x\" is no number"},
      {"11.5:6.2:43.5:0",
       "\"11.5:6.2:43.5:0\" is no bearing: n, the number of elements, is 11.5; it must be a whole "
       "number from 3 to 200"},
      {"201:6.2:43.5:0",
       "\"201:6.2:43.5:0\" is no bearing: n, the number of elements, is 201; it must be a whole "
       "number from 3 to 200"},
      {"2:6.2:43.5:0",
       "\"2:6.2:43.5:0\" is no bearing: n, the number of elements, is 2; it must be a whole "
       "number from 3 to 200"},
      {"9:1e-300:39:0",
       "\"9:1e-300:39:0\" is no bearing: the element diameter d is 1e-300 and the pitch diameter D "
       "39; both must be from 0.001 to 100000"},
      {"9:1:1e6:0",
       "\"9:1:1e6:0\" is no bearing: the element diameter d is 1 and the pitch diameter D 1000000; "
       "both must be from 0.001 to 100000"},
      {"9:1:101:0",
       "\"9:1:101:0\" is no bearing: the pitch diameter D is 101 times the element diameter d; it "
       "must be 1.25 to 100 times"},
      {"3:1:1.2:0",
       "\"3:1:1.2:0\" is no bearing: the pitch diameter D is 1.2 times the element diameter d; it "
       "must be 1.25 to 100 times"},
      {"11:43.5:6.2:0",
       "\"11:43.5:6.2:0\" is no bearing: the pitch diameter D must be greater than the element "
       "diameter d, and both greater than 0"},
      {"11:6.2:43.5:90",
       "\"11:6.2:43.5:90\" is no bearing: the contact angle must be from 0 to less than 90 "
       "degrees"},
      {"", "\"\" is no bearing: \"\" is no number"},
      {"9:nan:39:0", "\"9:nan:39:0\" is no bearing: \"nan\" is no number"},
  };
  for (const auto& [text, message] : bad) {
    const Result<Bearing> result = parse_bearing(text);
    CHECK_FALSE(result.value);
    REQUIRE(result.diagnostics.size() == 1);
    CHECK(result.diagnostics[0].message == message);
    CHECK(result.diagnostics[0].hint == "n:d:D:angle, as in 11:6.2:43.5:0");
  }
}

TEST_CASE("gears and bearings that are looked at") {
  Machine m;
  m.stages.assign(8, {10, 10});
  m.rotor_bearings.assign(10, {"b", 11, 6.2, 43.5, 0});
  m.gear_bearings.assign(6, {"c", 11, 6.2, 43.5, 0});
  CHECK(complaint_about(m).empty());
  m.gear_bearings.push_back(m.gear_bearings.front());
  CHECK(complaint_about(m) == "there are 17 bearings; at most 16 are looked at");
  m.gear_bearings = {{"c", 11, 0.0001, 43.5, 0}};
  CHECK(complaint_about(m) ==
        "c is no bearing: the element diameter d is 0.0001 and the pitch diameter D 43.5; both "
        "must be from 0.001 to 100000");
  const std::pair<std::vector<GearStage>, const char*> gears[] = {
      {std::vector<GearStage>(9, {10, 10}), "there are 9 gear pairs; at most 8 are looked at"},
      {{{10, 100}, {10, 100}}, ""},
      {{{100, 10}, {100, 10}}, ""},
      {{{10, 100}, {10, 101}},
       "one shaft turns 101 times as fast as another; at most 100 times "
       "are looked at"},
      {{{101, 10}, {100, 10}, {10, 100}},
       "one shaft turns 101 times as fast as another; at most "
       "100 times are looked at"},
      {{{0, 10}}, "a gear has 0 teeth; it must have 1 to 1000"},
      {{{10, 1001}}, "a gear has 1001 teeth; it must have 1 to 1000"},
  };
  for (const auto& [stages, what] : gears) {
    CHECK(complaint_about(stages) == what);
  }
}

TEST_CASE("Parseval: the transforms keep power") {
  std::mt19937 draw(7);
  std::normal_distribution<float> noise;
  for (const std::size_t n : {std::size_t{96}, std::size_t{1000}, std::size_t{4096}}) {
    std::vector<float> x(n);
    double power = 0;
    for (float& v : x) {
      v = noise(draw);
      power += double{v} * v;
    }
    std::vector<std::complex<float>> bins(n / 2 + 1);
    RealTransform(n).forward(x, bins);
    double sum = std::norm(bins.front()) + std::norm(bins.back());
    for (std::size_t k = 1; k + 1 < bins.size(); ++k) {
      sum += 2 * std::norm(bins[k]);
    }
    CHECK(sum / static_cast<double>(n) == Approx(power).epsilon(1e-5));
  }
  CHECK(fast_length(1001) == 1024);
  CHECK(fast_length_within(1001) == 1000);
}

// x = (1 + m cos a t) cos c t has the squared envelope (1 + m cos a t)^2: mean 1 + m^2/2, 2m at the
// modulation, m^2/2 at twice that (textbook identity).
TEST_CASE("the squared envelope of a modulated tone") {
  constexpr double kRate = 8000;
  constexpr std::size_t kLength = 8000;
  for (const double m : {0.1, 0.5, 1.0}) {
    std::vector<float> x(kLength);
    for (std::size_t i = 0; i < kLength; ++i) {
      const double t = static_cast<double>(i) / kRate;
      x[i] = static_cast<float>((1 + m * std::cos(kTurn * 37 * t)) * std::cos(kTurn * 2500 * t));
    }
    Analyser analyser(kRate, kLength, 500, 400);
    analyser.add(x);
    const double mean = 1 + m * m / 2;
    for (const BandEnvelope& band : analyser.envelopes()) {
      if (band.low > 2400 || band.high < 2600) {
        continue;
      }
      INFO(band.low << " to " << band.high);
      CHECK(band.spectrum.spacing == 1);
      CHECK(std::sqrt(band.spectrum.power[37]) == Approx(2 * m / mean).epsilon(1e-3));
      CHECK(std::sqrt(band.spectrum.power[74]) == Approx(m * m / 2 / mean).epsilon(1e-3));
      CHECK(band.spectrum.power[50] < 1e-8);
    }
  }
}

TEST_CASE("the envelope of Gaussian noise has kurtosis 2 and an even floor") {
  std::mt19937 draw(11);
  std::normal_distribution<float> noise;
  std::vector<float> x(100000);
  for (float& v : x) {
    v = noise(draw);
  }
  Analyser analyser(10000, x.size(), 500, 400);
  analyser.add(x);
  for (const BandEnvelope& band : analyser.envelopes()) {
    CHECK(band.kurtosis == Approx(2).margin(0.1));
    const std::vector<double> floor = noise_floor(band.spectrum, 200);
    double mean = 0;
    for (std::size_t i = 10; i < floor.size(); ++i) {
      mean += band.spectrum.power[i] / floor[i];
    }
    CHECK(mean / static_cast<double>(floor.size() - 10) == Approx(1).margin(0.1));
  }
}

// A shaft with its first five orders, noise, and clicks of a resonance, `slip` off the table.
std::vector<float> machine(double order, double strength, unsigned seed, double speed = 1,
                           double off = 0.01) {
  constexpr double kRate = 20000;
  constexpr double kSeconds = 5;
  const double shaft = 25 * speed;
  std::mt19937 draw(seed);
  std::normal_distribution<float> noise;
  std::uniform_real_distribution<double> jitter(-off, off);
  std::vector<float> x(static_cast<std::size_t>(kRate * kSeconds));
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / kRate;
    double tone = 0;
    for (int k = 1; k <= 5; ++k) {
      tone += 0.5 * std::cos(kTurn * k * shaft * t + k);
    }
    x[i] = static_cast<float>(tone) + noise(draw);
  }
  if (order > 0) {
    for (double turn = 0; turn < kSeconds * shaft; turn += (1 + jitter(draw)) / order) {
      const double start = turn / shaft;
      const auto first = static_cast<std::size_t>(start * kRate) + 1;
      for (std::size_t i = first; i < std::min(first + 200, x.size()); ++i) {
        const double t = static_cast<double>(i) / kRate - start;
        x[i] += static_cast<float>(strength * std::exp(-1500 * t) * std::sin(kTurn * 4200 * t));
      }
    }
  }
  return x;
}

Result<NoiseReport> heard(const std::vector<float>& samples, double rpm = 1500,
                          double rate = 20000) {
  std::size_t at = 0;
  const Recording recording{rate,
                            [&](std::span<float> out) {
                              const std::size_t n = std::min(out.size(), samples.size() - at);
                              std::copy_n(samples.begin() + static_cast<std::ptrdiff_t>(at), n,
                                          out.begin());
                              at += n;
                              return n;
                            },
                            {}};
  return listen_to_bearings(recording, {{"b", 11, 6.2, 43.5, 0}}, rpm, {});
}

TEST_CASE("clicks at a defect order, slipping, are named") {
  const DefectOrders orders = defect_orders({"b", 11, 6.2, 43.5, 0});
  const std::pair<double, NoiseKind> faults[] = {{orders.outer_race * 0.99, NoiseKind::outer_race},
                                                 {orders.inner_race * 1.01, NoiseKind::inner_race},
                                                 {orders.element * 0.995, NoiseKind::element}};
  for (const auto& [order, kind] : faults) {
    const Result<NoiseReport> r = heard(machine(order, 6, 3));
    REQUIRE(r.value);
    REQUIRE(r.value->named.size() == 1);
    CHECK(r.value->named[0].kind == kind);
    CHECK(r.value->named[0].found_order == Approx(order).epsilon(2e-3));
    CHECK(r.value->considered.size() == 3);
    CHECK(r.value->speed.shaft_lines == 5);
    CHECK(r.value->speed.used_rpm == Approx(1500).epsilon(1e-3));
  }
}

TEST_CASE("a speed that is off is put right by the shaft's own lines") {
  const DefectOrders orders = defect_orders({"b", 11, 6.2, 43.5, 0});
  const Result<NoiseReport> r = heard(machine(orders.outer_race, 6, 5, 1.07));
  REQUIRE(r.value);
  CHECK(r.value->speed.used_rpm == Approx(1500 * 1.07).epsilon(1e-3));
  REQUIRE_FALSE(r.value->named.empty());
  CHECK(r.value->named[0].kind == NoiseKind::outer_race);
}

// Clicks once in seven turns: many of their multiples lie near any order.
TEST_CASE("clicks far slower than any part's name nothing") {
  const Result<NoiseReport> r = heard(machine(1 / 7.0, 20, 3, 1, 1e-3));
  REQUIRE(r.value);
  CHECK(r.value->named.empty());
  CHECK(r.value->left_open == LeftOpen::lines_everywhere);
  CHECK(r.value->decoys > 0.5);
}

TEST_CASE("a healthy shaft, faint clicks and too few turns name nothing") {
  CHECK(heard(machine(0, 0, 9)).value->named.empty());
  CHECK(heard(machine(4.716, 0.5, 9)).value->named.empty());
  const Result<NoiseReport> brief = heard(std::vector<float>(10000, 0.1F));
  CHECK_FALSE(brief.value);
  REQUIRE(brief.diagnostics.size() == 1);
  CHECK(brief.diagnostics[0].message == "holds 12.5 turns of the shaft; at least 20 are needed");
}

// What an embedder hands over without having asked is refused as well.
TEST_CASE("bearings beyond the limits are not listened for") {
  const Recording recording{20000, [](std::span<float>) { return std::size_t{0}; }, [] {}};
  const std::vector<Bearing> tiny = {{"b", 9, 1e-300, 39, 0}};
  const char* const what =
      "b is no bearing: the element diameter d is 1e-300 and the pitch diameter D 39; both must be "
      "from 0.001 to 100000";
  Machine machine;
  machine.rotor_bearings = tiny;
  for (const Result<NoiseReport>& r : {listen_to_bearings(recording, tiny, 1500, {}),
                                       listen_to_machine(recording, machine, {}, {}, {})}) {
    CHECK_FALSE(r.value);
    REQUIRE(r.diagnostics.size() == 1);
    CHECK(r.diagnostics[0].code == "bad-geometry");
    CHECK(r.diagnostics[0].message == what);
  }
}

TEST_CASE("too few samples a second are refused, just enough are not") {
  const std::vector<float> sound = machine(0, 0, 9);
  for (const double rate : {0.0, 500.0, 1600.0, 1999.0, std::nan("")}) {
    INFO(rate);
    const Result<NoiseReport> r = heard(sound, 1500, rate);
    CHECK_FALSE(r.value);
    REQUIRE(r.diagnostics.size() == 1);
    CHECK(r.diagnostics[0].code == "bad-rate");
    CHECK(r.diagnostics[0].message ==
          fmt::format("has {:.0f} samples a second; a bearing needs 2000 or more", rate));
  }
  CHECK(heard(sound, 1500, 2000).value);
}

}  // namespace
}  // namespace dryshaft
