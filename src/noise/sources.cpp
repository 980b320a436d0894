#include "noise/sources.hpp"

#include <fmt/format.h>

#include <cmath>

namespace dryshaft::noise {
namespace {

// An asynchronous motor under load runs up to this much off its field (common practice, no source).
constexpr double kMotorSlip = 0.03;

}  // namespace

std::vector<double> shaft_orders(const Machine& machine) {
  std::vector<double> orders = {1};
  for (const GearStage& stage : machine.stages) {
    orders.push_back(orders.back() * stage.driving / stage.driven);
  }
  return orders;
}

std::vector<Tone> tones_of(const Machine& machine) {
  std::vector<Tone> tones;
  const std::vector<double> shafts = shaft_orders(machine);
  for (std::size_t i = 0; i < machine.stages.size(); ++i) {
    tones.push_back({{fmt::format("gear stage {}", i + 1), NoiseKind::mesh},
                     shafts[i] * machine.stages[i].driving,
                     3,
                     0,
                     true});
  }
  if (machine.pole_pairs > 0) {
    // Forces pull twice in each period of the field (2 x pole pairs) and ripple with the sixth
    // harmonic of the current (6 x pole pairs). Slots and bars pass with sidebands of the first.
    const double loose = machine.rotor_bars > 0 ? kMotorSlip : 0;
    const double poles = 2.0 * machine.pole_pairs;
    const auto add = [&](std::string part, double order, std::size_t multiples, double off) {
      tones.push_back({{std::move(part), NoiseKind::electrical}, order, multiples, off, off == 0});
    };
    add("motor, poles", poles, 2, loose);
    add("motor, torque ripple", 3 * poles, 2, loose);
    const auto passing = [&](const std::string& part, double count) {
      add(part, count, 1, 0);
      for (const double order : {std::abs(count - poles), count + poles}) {
        if (order > 0) {  // as many as poles: nothing turns, nothing sounds
          add(part, order, 1, loose * poles / order);  // the field's part alone is loose
        }
      }
    };
    if (machine.rotor_bars > 0) {
      passing("motor, rotor bars", machine.rotor_bars);
    } else if (machine.stator_slots > 0) {
      passing("motor, stator slots", machine.stator_slots);
    }
  }
  if (!machine.stages.empty()) {
    tones.push_back({{"wheel and tyre", NoiseKind::wheel}, shafts.back(), 4, 0, false});
    for (std::size_t i = 1; i + 1 < shafts.size(); ++i) {
      tones.push_back(
          {{fmt::format("gear shaft {}", i + 1), NoiseKind::shaft}, shafts[i], 3, 0, false});
    }
  }
  tones.push_back({{"rotor", NoiseKind::shaft}, 1, 3, 0, true});
  return tones;
}

}  // namespace dryshaft::noise
