// Speed over time, the angle turned, and samples at even steps of angle
// (computed order tracking).
#ifndef DRYSHAFT_NOISE_ANGLE_HPP
#define DRYSHAFT_NOISE_ANGLE_HPP

#include <cstddef>
#include <functional>
#include <map>
#include <span>
#include <vector>

#include "dryshaft/noise.hpp"

namespace dryshaft::noise {

// Angle theta(t) = b0 + b1 t + b2 t^2 through three pulses, `step` of angle apart.
// Source: Fyfe and Munck 1997, "Analysis of computed order tracking", MSSP 11(2) 187-205 (from
// memory).
struct ThreePulses {
  double b0 = 0;
  double b1 = 0;
  double b2 = 0;
  ThreePulses(double t1, double t2, double t3, double step);
  [[nodiscard]] double time_of(double angle) const;
};

// Rotor speed through given points, monotone between each two (piecewise cubic
// Hermite), constant outside; and the turns made since time 0.
class SpeedCurve {
 public:
  SpeedCurve(const std::vector<SpeedPoint>& points, double seconds);
  [[nodiscard]] double rps(double seconds) const;    // turns a second
  [[nodiscard]] double turns(double seconds) const;  // since time 0
  [[nodiscard]] double seconds_at(double turns) const;
  [[nodiscard]] double length() const { return static_cast<double>(rps_.size() - 1) * kStep; }

 private:
  static constexpr double kStep = 0.01;  // s
  std::vector<double> rps_;
  std::vector<double> turns_;
};

// Values of several channels at even steps of time, low-passed to what the new
// rate can hold, at any instants in ascending order.
class Resampler {
 public:
  // `channels`: 1, or a multiple of eight, which are summed side by side.
  Resampler(double rate, std::size_t channels) : rate_(rate), channels_(channels) {}
  static std::size_t padded(std::size_t channels) {
    return (channels + kSideBySide - 1) / kSideBySide * kSideBySide;
  }
  // `values`: one value for each channel, instant by instant.
  void add(std::span<const float> values) {
    held_.insert(held_.end(), values.begin(), values.end());
  }
  // Whether all that the value at this time needs is there, at `new_rate` samples a second.
  [[nodiscard]] bool reaches(double seconds, double new_rate) const;
  void at(double seconds, double new_rate, std::span<float> out);
  // Lets go of what lies before this time.
  void forget_before(double seconds);

 private:
  struct Kernel {
    std::size_t half = 0;  // taps on each side
    std::vector<float> taps;
  };
  void choose_kernel(double new_rate);
  [[nodiscard]] static double share_kept(double new_rate, double rate);

  static constexpr std::size_t kSideBySide = 8;

  double rate_;
  std::size_t channels_;
  std::size_t first_ = 0;  // index of the oldest instant held
  std::vector<float> held_;
  std::map<int, Kernel> kernels_;
  double chosen_rate_ = 0;
  const Kernel* chosen_ = nullptr;
};

}  // namespace dryshaft::noise

#endif
