#include "noise/fourier.hpp"

#include <kissfft/kiss_fft.h>
#include <kissfft/kiss_fftr.h>

#include <stdexcept>

namespace dryshaft::noise {
namespace {

static_assert(sizeof(kiss_fft_cpx) == sizeof(std::complex<float>));

int size_of(std::size_t length) {
  constexpr std::size_t kMost = std::size_t{1} << 28U;
  if (length == 0 || length > kMost) {
    throw std::length_error("length of a transform");
  }
  return static_cast<int>(length);
}

}  // namespace

struct RealTransform::Plan {
  kiss_fftr_cfg forward = nullptr;
  std::size_t length = 0;
  Plan(const Plan&) = delete;
  Plan& operator=(const Plan&) = delete;
  Plan(Plan&&) = delete;
  Plan& operator=(Plan&&) = delete;
  explicit Plan(std::size_t n)
      : forward(kiss_fftr_alloc(size_of(n), 0, nullptr, nullptr)), length(n) {
    if (forward == nullptr) {
      throw std::bad_alloc();
    }
  }
  ~Plan() { kiss_fftr_free(forward); }
};

struct InverseTransform::Plan {
  kiss_fft_cfg inverse = nullptr;
  std::size_t length = 0;
  Plan(const Plan&) = delete;
  Plan& operator=(const Plan&) = delete;
  Plan(Plan&&) = delete;
  Plan& operator=(Plan&&) = delete;
  explicit Plan(std::size_t n)
      : inverse(kiss_fft_alloc(size_of(n), 1, nullptr, nullptr)), length(n) {
    if (inverse == nullptr) {
      throw std::bad_alloc();
    }
  }
  ~Plan() { kiss_fft_free(inverse); }
};

std::size_t fast_length(std::size_t at_least) {
  return static_cast<std::size_t>(kiss_fftr_next_fast_size_real(size_of(at_least)));
}

std::size_t fast_length_within(std::size_t at_most) {
  for (std::size_t n = at_most / 2 * 2; n > 2; n -= 2) {
    if (fast_length(n) == n) {
      return n;
    }
  }
  return 2;
}

RealTransform::RealTransform(std::size_t length) : plan_(std::make_unique<Plan>(length)) {}
RealTransform::RealTransform(RealTransform&&) noexcept = default;
RealTransform& RealTransform::operator=(RealTransform&&) noexcept = default;
RealTransform::~RealTransform() = default;

void RealTransform::forward(std::span<const float> in, std::span<std::complex<float>> out) const {
  if (in.size() != plan_->length || out.size() != plan_->length / 2 + 1) {
    throw std::length_error("spans of a transform");
  }
  // std::complex<float> is an array of two floats by its definition, as kiss_fft_cpx is.
  kiss_fftr(plan_->forward, in.data(), reinterpret_cast<kiss_fft_cpx*>(out.data()));
}

InverseTransform::InverseTransform(std::size_t length) : plan_(std::make_unique<Plan>(length)) {}
InverseTransform::InverseTransform(InverseTransform&&) noexcept = default;
InverseTransform& InverseTransform::operator=(InverseTransform&&) noexcept = default;
InverseTransform::~InverseTransform() = default;

void InverseTransform::inverse(std::span<const std::complex<float>> in,
                               std::span<std::complex<float>> out) const {
  if (in.size() != plan_->length || out.size() != plan_->length) {
    throw std::length_error("spans of a transform");
  }
  kiss_fft(plan_->inverse, reinterpret_cast<const kiss_fft_cpx*>(in.data()),
           reinterpret_cast<kiss_fft_cpx*>(out.data()));
}

}  // namespace dryshaft::noise
