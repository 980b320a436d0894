// Discrete Fourier transforms of any fast length (KissFFT, single precision).
#ifndef DRYSHAFT_NOISE_FOURIER_HPP
#define DRYSHAFT_NOISE_FOURIER_HPP

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace dryshaft::noise {

// The nearest whole number; `value` is not negative. Unlike std::lround, no call.
inline std::size_t nearest_whole(double value) {
  constexpr double kHalf = 0.5;
  return static_cast<std::size_t>(value + kHalf);
}

// The next length that is even and a product of 2, 3 and 5.
std::size_t fast_length(std::size_t at_least);
// The last such length that is not greater.
std::size_t fast_length_within(std::size_t at_most);

// X[k] = sum x[n] exp(-2 pi i k n / N), for k from 0 to N/2. N even.
class RealTransform {
 public:
  explicit RealTransform(std::size_t length);
  RealTransform(RealTransform&&) noexcept;
  RealTransform& operator=(RealTransform&&) noexcept;
  RealTransform(const RealTransform&) = delete;
  RealTransform& operator=(const RealTransform&) = delete;
  ~RealTransform();
  // `in` holds N samples, `out` N/2 + 1 values.
  void forward(std::span<const float> in, std::span<std::complex<float>> out) const;

 private:
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

// x[n] = sum X[k] exp(2 pi i k n / N), not divided by N.
class InverseTransform {
 public:
  explicit InverseTransform(std::size_t length);
  InverseTransform(InverseTransform&&) noexcept;
  InverseTransform& operator=(InverseTransform&&) noexcept;
  InverseTransform(const InverseTransform&) = delete;
  InverseTransform& operator=(const InverseTransform&) = delete;
  ~InverseTransform();
  void inverse(std::span<const std::complex<float>> in, std::span<std::complex<float>> out) const;

 private:
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

}  // namespace dryshaft::noise

#endif
