#include "drawings/drawings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

namespace dryshaft {
namespace {

constexpr Field kWhere[] = {Field::port_checked};
constexpr Field kFluid[] = {Field::port_fluid};
constexpr Field kResidue[] = {Field::port_dried_residue};
constexpr Field kRust[] = {Field::port_corrosion};
constexpr Field kDebris[] = {Field::port_debris};
constexpr Field kCircuit[] = {Field::bypass_keeps_crossover};

constexpr std::array kDrawings = {
    Drawing{.name = kPortDrawing,
            .title = "Where the sensor port is",
            .text = "An axle from behind. Motor and gearbox sit between the two wheels in one "
                    "housing. The sensor sits in a small opening at the end of the motor, near a "
                    "wheel: in some cars it is reached from the wheel arch, in others from under "
                    "the floor.",
            .svg =
#include "drawings/where.svg.inc"
                , .fields = kWhere},
    Drawing{.name = "fluid",
            .title = "What liquid at the sensor looks like",
            .text = "Four pictures of a sensor tip. Dry: nothing on it. A film: a thin wet layer "
                    "around the tip. Droplets: single drops hang on it. Standing in the port: the "
                    "tip dips into liquid.",
            .svg =
#include "drawings/fluid.svg.inc"
                , .fields = kFluid, .columns = true},
    Drawing{.name = "residue",
            .title = "What dried residue looks like",
            .text =
                "Two pictures of a sensor tip. Clean: nothing on it. Dried residue: streaks run "
                "down its side, and a crust sits at its end.",
            .svg =
#include "drawings/residue.svg.inc"
                , .fields = kResidue, .columns = true},
    Drawing{.name = "rust",
            .title = "What rust on the tip looks like",
            .text = "Three pictures of a sensor tip. No rust. Light rust: a few brown specks. "
                    "Heavy rust: brown all over, with pits.",
            .svg =
#include "drawings/rust.svg.inc"
                , .fields = kRust, .columns = true},
    Drawing{.name = "debris",
            .title = "What debris on the tip looks like",
            .text = "Three pictures of a sensor tip. No debris. Fine iron fuzz: a fur of fine "
                    "hairs around its end. Metal chips: pieces that can be seen one by one.",
            .svg =
#include "drawings/debris.svg.inc"
                , .fields = kDebris, .columns = true},
    Drawing{.name = "port-wheel-arch",
            .title = "The sensor port in the wheel arch",
            .text = "A wheel arch from the side. The wheel is steered away. In the liner a flap is "
                    "folded back, and behind it sits the sensor.",
            .svg =
#include "drawings/port-wheel-arch.svg.inc"
                , .access = "wheel-arch"},
    Drawing{.name = "port-under-floor",
            .title = "The sensor port under the floor",
            .text = "A raised car from behind, with the under-tray taken off. The sensor sits at "
                    "the end of the motor, in the narrow gap beside the subframe, and is reached "
                    "from below.",
            .svg =
#include "drawings/port-under-floor.svg.inc"
                , .access = "under-floor"},
    Drawing{.name = kLeakDrawing,
            .title = "How coolant gets from the shaft seal to the sensor",
            .text = "A cut through the end of the motor. Coolant fills the hollow shaft of the "
                    "rotor and the space before it. Where the shaft enters the motor, a lip seal "
                    "holds the coolant back. The tip of the sensor stands right behind the seal, "
                    "so drops that pass it reach the tip, and then the bearing and the rotor.",
            .svg =
#include "drawings/leak-path.svg.inc"
    },
    Drawing{.name = "circuit",
            .title = "Where the coolant goes with and without a bypass",
            .text = "Three circuits. As built, coolant runs through the rotor shaft, then through "
                    "the crossover pipe to the cooler of the gearbox oil. With a bypass that keeps "
                    "the crossover pipe, it runs past the rotor shaft and still reaches the "
                    "cooler. With the crossover pipe taken out, it runs past the cooler as well, "
                    "and air can be trapped there.",
            .svg =
#include "drawings/circuit.svg.inc"
                , .fields = kCircuit},
    Drawing{
        .name = kGradesDrawing,
        .title = "What the grades mean",
        .text = "A: no sign of damage; drive, and look again in time. B: a finding that does "
                "no damage yet; drive, and look again sooner. C: damage is on its way; plan the "
                "work, and do not drive far until then. D: damage now, or a danger; do not "
                "drive. U: not known yet; have the sensor port looked at.",
        .svg =
#include "drawings/grades.svg.inc"
    },
};

template <typename Member, typename Value>
const Drawing* drawing_with(Member member, const Value& value) {
  const auto found = std::ranges::find(drawings(), value, member);
  return found == drawings().end() ? nullptr : &*found;
}

}  // namespace

std::span<const Drawing> drawings() { return kDrawings; }

const Drawing* drawing_named(std::string_view name) { return drawing_with(&Drawing::name, name); }

const Drawing* drawing_of_field(Field field) {
  const auto found = std::ranges::find_if(drawings(), [&](const Drawing& p) {
    return std::ranges::find(p.fields, field) != p.fields.end();
  });
  return found == drawings().end() ? nullptr : &*found;
}

const Drawing* drawing_of_access(std::string_view access) {
  return access.empty() ? nullptr : drawing_with(&Drawing::access, access);
}

// All in one scale, by the size of the letters around them.
std::string drawn(const Drawing& drawing) {
  constexpr std::string_view kOpening = "<svg viewBox=\"0 0 ";
  constexpr int kUnits = 16;  // in an em
  int width = 0;
  for (const char c : drawing.svg.substr(
           kOpening.size(), drawing.svg.find(' ', kOpening.size()) - kOpening.size())) {
    width = width * 10 + (c - '0');
  }
  return fmt::format("<svg role=\"img\" width=\"{}em\" aria-label=\"{}. {}\"{}",
                     static_cast<double>(width) / kUnits, drawing.title, drawing.text,
                     drawing.svg.substr(drawing.svg.find(' ')));
}

}  // namespace dryshaft
