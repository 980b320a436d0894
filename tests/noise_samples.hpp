// Reports on recordings, made up, for the tests of what is written of them.
#ifndef DRYSHAFT_TESTS_NOISE_SAMPLES_HPP
#define DRYSHAFT_TESTS_NOISE_SAMPLES_HPP

#include <cmath>

#include "dryshaft/noise_report.hpp"

namespace dryshaft::test {

inline Attribution attribution(std::string part, NoiseKind kind, double expected, double found) {
  Attribution a;
  a.part = std::move(part);
  a.kind = kind;
  a.expected_order = expected;
  a.found_order = found;
  a.level_db = 14.25;
  a.p_value = 3e-9;
  a.confidence = 0.93;
  a.lines = 5;
  a.standing = 4;
  return a;
}

// One clear line of a plain bearing.
inline NoiseSheet plain_sheet() {
  NoiseSheet sheet;
  sheet.source = "rig.wav";
  sheet.held_against = "rear (11:6.2:43.5:0)";
  sheet.cautions = {{"not-a-certificate", "Not a certificate: this is a screening aid."}};
  NoiseReport& r = sheet.report;
  r.rate = 12000;
  r.seconds = 10;
  r.plain_bearings = true;
  r.speed.given_rpm = 1620;
  r.speed.used_rpm = 1620.2;
  r.speed.basis = SpeedBasis::constant;
  r.speed.shaft_lines = 5;
  r.false_alarm = 0.001;
  Attribution a = attribution("rear", NoiseKind::inner_race, 6.2839, 6.2815);
  a.depth = 1.2;
  a.band_low_hz = 2000;
  a.band_high_hz = 4000;
  a.excluded = {{3, LeftOut::shaft_order}};
  r.named = {a};
  Attribution b = attribution("rear", NoiseKind::outer_race, 4.7161, 4.71);
  b.level_db = 2.04;
  b.p_value = 0.35;
  b.confidence = 0;
  b.standing = 1;
  r.considered = {b};
  return sheet;
}

// Everything that a report can hold, of a drive unit.
inline NoiseSheet rich_sheet() {
  NoiseSheet sheet;
  sheet.source = "HL-0147.wav";
  sheet.channel = 2;
  sheet.channels = 2;
  sheet.held_against = "family plover-2, vehicle Tarn, tyre 225/50R16 (1.924 m a turn)";
  sheet.cautions = {{"moving-parts", "Moving parts: keep hands and clothes away."},
                    {"not-a-certificate", "Not a certificate: this is a screening aid."}};
  NoiseReport& r = sheet.report;
  r.rate = 48000;
  r.seconds = 62.4;
  r.speed.basis = SpeedBasis::marks;
  r.speed.given_rpm = 4280;
  r.speed.used_rpm = 4301.4;
  r.speed.lowest_rpm = 1650.2;
  r.speed.highest_rpm = 7204.9;
  r.speed.uncertainty = 0.0012;
  r.speed.shaft_lines = 6;
  for (int i = 0; i <= 20; ++i) {
    r.speed.track.push_back({3.0 * i, 1650 + 270.0 * i});
  }
  r.false_alarm = 0.001;
  Attribution a =
      attribution("gear input bearing, motor end", NoiseKind::outer_race, 3.617, 3.5921);
  a.band_low_hz = 3000;
  a.band_high_hz = 6000;
  a.share = 0.82;
  a.depth = 2.4;
  a.excluded = {{2, LeftOut::mains}, {5, LeftOut::named_already}};
  a.shared_with = {{"rotor bearing, gear end", NoiseKind::outer_race}};
  Attribution b = attribution("gear stage 1", NoiseKind::mesh, 29, 29);
  b.confidence = 0.78;
  b.level_db = 21.4;
  b.lines = 2;
  b.standing = 2;
  b.share = 0.995;
  r.named = {a, b};
  Attribution c = attribution("rotor bearing, sensor end", NoiseKind::cage, 0.396, 0.399);
  c.p_value = 0.021;
  c.standing = 2;
  c.level_db = 4.4;
  r.considered = {c};
  r.pattern = PatternFound{DamagePattern::washboard,
                           "the lines at 3, 6 and 9 times stand as high as the first"};
  r.lines = {{false, 29, 2079.1, 21.4, 1e-12, 0.995, "gear mesh of gear stage 1"},
             {true, 3.5921, 257.5, 16.1, 2e-8, 0.82, "outer race of gear input bearing, motor end"},
             {false, 12.38, 887.4, 9.9, 4e-4, 0.31, ""},
             {false, 8.701, 623.8, 8.2, 0.002, 0.28, "gear mesh of gear stage 2"}};
  r.loads = {
      {{"gear input bearing, motor end", NoiseKind::outer_race}, {16.2, 12.1, std::nullopt}}};
  r.envelope_low_hz = 3000;
  r.envelope_high_hz = 6000;
  r.limits = {"Channel 1 of 2 is silent; channel 2 was used.", "no mains line could be looked for"};
  // Curves and a map with lines where the parts have theirs, over a floor that wobbles.
  const auto level = [](double order, double at, double height) {
    const double d = (order - at) / 0.06;
    return height * std::exp(-d * d);
  };
  const auto wobble = [](int i) { return 2 + 1.5 * std::sin(i * 12.9898) * std::sin(i * 4.1414); };
  r.order_spectrum.order_spacing = r.envelope_spectrum.order_spacing = 0.02;
  for (int i = 0; i < 2000; ++i) {
    const double order = 0.02 * i;
    r.order_spectrum.level_db.push_back(static_cast<float>(
        wobble(i) + level(order, 29, 19) + level(order, 8.701, 7) + level(order, 12.38, 8)));
    double e = wobble(i + 7);
    for (int k = 1; k <= 5; ++k) {
      e += level(order, 3.5921 * k, 15 - k);
    }
    r.envelope_spectrum.level_db.push_back(static_cast<float>(e));
  }
  r.map.order_spacing = 0.1;
  for (int row = 0; row < 120; ++row) {
    r.map.seconds.push_back(0.26 + 0.52 * row);
    std::vector<float> levels;
    for (int i = 0; i < 400; ++i) {
      const double order = 0.1 * i;
      levels.push_back(static_cast<float>(wobble(i * 131 + row * 17) + level(order, 29, 17) +
                                          level(order, 8.7, 7) +
                                          level(order, 600.0 / (20 + row), 12)));
    }
    r.map.level_db.push_back(std::move(levels));
  }
  return sheet;
}

}  // namespace dryshaft::test

#endif
