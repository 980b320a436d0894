#include "noise/angle.hpp"

#include <math.h>  // NOLINT: before Boost 1.74, which calls isnan without its namespace

#include <algorithm>
#include <boost/math/interpolators/pchip.hpp>
#include <boost/math/special_functions/bessel.hpp>
#include <cmath>
#include <numbers>

#include "noise/fourier.hpp"

namespace dryshaft::noise {
namespace {

// Points nearer than this, in seconds, are one: a slope between them may have no number.
constexpr double kOneMoment = 1e-6;
constexpr double kSlowest = 1e-3;  // turns a second; the angle must not stand still

// Kernels: a sinc in a Kaiser window, in steps of pass band and of phase.
constexpr double kPass = 0.92;       // of what the lower of both rates holds
constexpr double kZeros = 8;         // zero crossings on each side
constexpr double kKaiser = 7;        // side lobes 70 dB down
constexpr int kPhases = 128;         // of one sample
constexpr double kStepsOfPass = 12;  // for each factor of 2

}  // namespace

ThreePulses::ThreePulses(double t1, double t2, double t3, double step) {
  // Newton's divided differences through (t1, 0), (t2, step), (t3, 2 step).
  const double first = step / (t2 - t1);
  const double second = step / (t3 - t2);
  b2 = (second - first) / (t3 - t1);
  b1 = first - b2 * (t1 + t2);
  b0 = -t1 * (first - b2 * t2);
}

double ThreePulses::time_of(double angle) const {
  const double left = angle - b0;
  const double root = std::sqrt(std::max(4 * b2 * left + b1 * b1, 0.0));
  // The same as (root - b1) / (2 b2), and right where b2 is 0.
  return 2 * left / (root + b1);
}

SpeedCurve::SpeedCurve(const std::vector<SpeedPoint>& points, double seconds) {
  std::vector<double> x;
  std::vector<double> y;
  for (const SpeedPoint& p : points) {
    if (x.empty() || p.seconds >= x.back() + kOneMoment) {
      x.push_back(p.seconds);
      y.push_back(p.rpm / 60);
    }
  }
  const double from = x.front();
  const double to = x.back();
  // Between two or three points, points on the straight line make up the four that are needed.
  while (x.size() > 1 && x.size() < 4) {
    const double half = (x[0] + x[1]) / 2;
    const double value = (y[0] + y[1]) / 2;
    x.insert(x.begin() + 1, half);
    y.insert(y.begin() + 1, value);
  }
  const auto count = static_cast<std::size_t>(std::ceil(std::max(seconds, kStep) / kStep)) + 1;
  rps_.assign(count, std::max(y.front(), kSlowest));
  if (x.size() > 1) {
    const double last = y.back();
    const boost::math::interpolators::pchip<std::vector<double>> smooth(std::move(x), std::move(y));
    for (std::size_t i = 0; i < count; ++i) {
      const double t = static_cast<double>(i) * kStep;
      const double value = t >= to ? last : smooth(std::max(t, from));
      rps_[i] = std::max(value, kSlowest);
    }
  }
  turns_.assign(count, 0);
  for (std::size_t i = 1; i < count; ++i) {
    turns_[i] = turns_[i - 1] + (rps_[i - 1] + rps_[i]) / 2 * kStep;
  }
}

double SpeedCurve::rps(double seconds) const {
  const double place = std::clamp(seconds / kStep, 0.0, static_cast<double>(rps_.size() - 1));
  const std::size_t i = std::min(static_cast<std::size_t>(place), rps_.size() - 2);
  const double part = place - static_cast<double>(i);
  return rps_[i] + part * (rps_[i + 1] - rps_[i]);
}

double SpeedCurve::turns(double seconds) const {
  const double place = std::clamp(seconds / kStep, 0.0, static_cast<double>(rps_.size() - 1));
  const std::size_t i = std::min(static_cast<std::size_t>(place), rps_.size() - 2);
  const double t = (place - static_cast<double>(i)) * kStep;
  // The integral of a speed that changes evenly over the step.
  return turns_[i] + rps_[i] * t + (rps_[i + 1] - rps_[i]) / kStep * t * t / 2;
}

double SpeedCurve::seconds_at(double turns) const {
  const auto next = std::upper_bound(turns_.begin() + 1, turns_.end() - 1, turns);
  const auto i = static_cast<std::size_t>(next - turns_.begin()) - 1;
  const double left = turns - turns_[i];
  const double slope = (rps_[i + 1] - rps_[i]) / kStep;
  const double root = std::sqrt(std::max(rps_[i] * rps_[i] + 2 * slope * left, 0.0));
  return static_cast<double>(i) * kStep + 2 * left / (rps_[i] + root);
}

double Resampler::share_kept(double new_rate, double rate) {
  return kPass * std::min(1.0, new_rate / rate);
}

void Resampler::choose_kernel(double new_rate) {
  chosen_rate_ = new_rate;
  const auto step =
      static_cast<int>(std::floor(std::log2(share_kept(new_rate, rate_)) * kStepsOfPass));
  Kernel& k = kernels_[step];
  if (k.half == 0) {
    const double pass = std::exp2(static_cast<double>(step) / kStepsOfPass);
    // A multiple of 4 on each side, so that eight sums run side by side.
    k.half = (static_cast<std::size_t>(std::ceil(kZeros / pass)) + 3) / 4 * 4;
    const double reach = static_cast<double>(k.half);
    const std::size_t width = 2 * k.half;
    k.taps.resize(width * (kPhases + 1));
    const double scale = boost::math::cyl_bessel_i(0, kKaiser);
    for (int phase = 0; phase <= kPhases; ++phase) {
      double sum = 0;
      std::vector<double> taps(width);
      for (std::size_t i = 0; i < width; ++i) {
        // Distance of the tap from the wanted instant.
        const double d = static_cast<double>(i) - reach + 1 - static_cast<double>(phase) / kPhases;
        const double inside = 1 - (d / reach) * (d / reach);
        const double angle = std::numbers::pi * pass * d;
        const double sinc = std::abs(angle) < 1e-9 ? 1 : std::sin(angle) / angle;
        taps[i] = inside > 0
                      ? sinc * boost::math::cyl_bessel_i(0, kKaiser * std::sqrt(inside)) / scale
                      : 0;
        sum += taps[i];
      }
      for (std::size_t i = 0; i < width; ++i) {
        k.taps[static_cast<std::size_t>(phase) * width + i] = static_cast<float>(taps[i] / sum);
      }
    }
  }
  chosen_ = &k;
}

bool Resampler::reaches(double seconds, double new_rate) const {
  constexpr double kSpare = 8;
  const double need = kZeros / share_kept(new_rate, rate_) * 1.1 + kSpare;
  return seconds * rate_ + need < static_cast<double>(first_) + static_cast<double>(held_.size()) /
                                                                    static_cast<double>(channels_);
}

void Resampler::at(double seconds, double new_rate, std::span<float> out) {
  if (new_rate != chosen_rate_) {
    choose_kernel(new_rate);
  }
  const Kernel& k = *chosen_;
  const double place = seconds * rate_;
  const double whole = std::floor(place);
  const auto phase = nearest_whole((place - whole) * kPhases);
  const float* taps = k.taps.data() + phase * 2 * k.half;
  // The first tap's instant; before what is held, its first value stands in.
  const auto begin = static_cast<std::ptrdiff_t>(whole) - static_cast<std::ptrdiff_t>(k.half) + 1 -
                     static_cast<std::ptrdiff_t>(first_);
  const auto instants = static_cast<std::ptrdiff_t>(held_.size() / channels_);
  const auto width = static_cast<std::ptrdiff_t>(2 * k.half);
  std::fill(out.begin(), out.end(), 0.0F);
  if (begin < 0 || begin + width > instants) {
    for (std::ptrdiff_t i = 0; i < width; ++i) {
      const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(begin + i, 0, instants - 1);
      for (std::size_t c = 0; c < channels_; ++c) {
        out[c] += taps[i] * held_[static_cast<std::size_t>(from) * channels_ + c];
      }
    }
    return;
  }
  const float* values = held_.data() + static_cast<std::size_t>(begin) * channels_;
  if (channels_ == 1) {
    std::array<float, kSideBySide> sums{};
    for (std::size_t i = 0; i < 2 * k.half; i += kSideBySide) {
      for (std::size_t j = 0; j < kSideBySide; ++j) {
        sums[j] += taps[i + j] * values[i + j];
      }
    }
    for (const float s : sums) {
      out[0] += s;
    }
    return;
  }
  for (std::size_t group = 0; group < channels_; group += kSideBySide) {
    std::array<float, kSideBySide> sums{};
    const float* value = values + group;
    for (std::ptrdiff_t i = 0; i < width; ++i) {
      for (std::size_t j = 0; j < kSideBySide; ++j) {
        sums[j] += taps[i] * value[j];
      }
      value += channels_;
    }
    std::copy(sums.begin(), sums.end(), out.begin() + static_cast<std::ptrdiff_t>(group));
  }
}

void Resampler::forget_before(double seconds) {
  constexpr std::size_t kReserve = 4096;  // instants that a kernel may still reach back to
  const auto now = static_cast<std::size_t>(std::max(seconds, 0.0) * rate_);
  if (now > first_ + 4 * kReserve) {
    const std::size_t gone = now - kReserve - first_;
    held_.erase(held_.begin(), held_.begin() + static_cast<std::ptrdiff_t>(gone * channels_));
    first_ += gone;
  }
}

}  // namespace dryshaft::noise
