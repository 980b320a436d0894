#include "noise/mains.hpp"

#include <algorithm>
#include <cmath>

namespace dryshaft::noise {
namespace {

constexpr int kMultiples = 6;
constexpr double kStrays = 0.1;  // Hz at 50 Hz: what a grid strays (common practice, no source)

double width(double mains_hz, int multiple, double spacing) {
  return std::max(kStrays * mains_hz / 50 * multiple, 1.5 * spacing);
}

}  // namespace

std::optional<double> find_mains(const Spectrum& amplitude, double shaft_hz) {
  const std::vector<double> floor = noise_floor(amplitude, 200);
  const double stands = standing_level(amplitude.blocks);
  for (const double mains : {50.0, 60.0}) {
    int standing = 0;
    for (int k = 1; k <= kMultiples; ++k) {
      const double hz = mains * k;
      const double near = width(mains, k, amplitude.spacing);
      const double off = std::abs(hz - shaft_hz * std::round(hz / shaft_hz));
      if (off < 2 * near) {
        continue;  // the shaft's own
      }
      const auto from = static_cast<std::size_t>(std::ceil((hz - near) / amplitude.spacing));
      for (std::size_t i = from;
           i < amplitude.power.size() && static_cast<double>(i) * amplitude.spacing <= hz + near;
           ++i) {
        if (amplitude.power[i] > stands * floor[i]) {
          ++standing;
          break;
        }
      }
    }
    if (standing >= kMultiples / 2) {
      return mains;
    }
  }
  return std::nullopt;
}

void leave_out_mains(Mask& mask, double mains_hz, double spacing_hz) {
  for (int k = 1; k <= kMultiples; ++k) {
    mask.leave_out(mains_hz * k / spacing_hz, width(mains_hz, k, spacing_hz) / spacing_hz,
                   LeftOut::mains);
  }
}

}  // namespace dryshaft::noise
