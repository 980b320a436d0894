// One step along the road: the exponential of the stages' rates.
#include <algorithm>
#include <cmath>

#include "plan/decision.hpp"

namespace dryshaft::plan {
namespace {

constexpr std::size_t kSide = kMostStages + 1;  // and the breakdown
using Square = std::array<std::array<double, kSide>, kSide>;

Square product(const Square& a, const Square& b, std::size_t n) {
  Square c{};
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t k = i; k < n; ++k) {  // nothing goes back
      for (std::size_t j = k; j < n; ++j) {
        c[i][j] += a[i][k] * b[k][j];
      }
    }
  }
  return c;
}

// Scaling and squaring on a Taylor series: the matrices are small and triangular.
Square exponential(Square a, std::size_t n) {
  double norm = 0;
  for (std::size_t i = 0; i < n; ++i) {
    norm = std::max(norm, -2 * a[i][i]);
  }
  const int halvings =
      std::max(0, static_cast<int>(std::ceil(std::log2(std::max(norm, 1e-9)))) + 2);
  const double scale = std::ldexp(1.0, -halvings);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) {
      a[i][j] *= scale;
    }
  }
  Square sum{};
  Square term{};
  for (std::size_t i = 0; i < n; ++i) {
    sum[i][i] = 1;
    term[i][i] = 1;
  }
  constexpr int kTerms = 12;  // of a norm below a quarter: beyond double's digits
  for (int k = 1; k <= kTerms; ++k) {
    term = product(term, a, n);
    for (std::size_t i = 0; i < n; ++i) {
      for (std::size_t j = 0; j < n; ++j) {
        term[i][j] /= k;
        sum[i][j] += term[i][j];
      }
    }
  }
  for (int h = 0; h < halvings; ++h) {
    sum = product(sum, sum, n);
  }
  return sum;
}

}  // namespace

Motion motion(const Problem& p, double onset) {
  const std::size_t stages = p.stages();
  const std::size_t damage = p.leak_stages + 1;  // or the breakdown, where that comes at once
  Square rates{};
  const auto rate = [&](std::size_t from, std::size_t to, double hazard) {
    rates[from][from] -= hazard;
    rates[from][to] += hazard;
  };
  rate(0, 1, onset);
  for (std::size_t s = 0; s <= p.leak_stages; ++s) {
    rate(s, s + 1, p.step_km * p.next[s]);
    rate(s, damage, p.step_km * p.harm[s]);
  }
  if (p.breakdown_km > 0) {
    rate(damage, stages, p.step_km / p.breakdown_km);
  }
  const Square after = exponential(rates, stages + 1);
  Motion m;
  m.to.resize(stages);
  for (std::size_t from = 0; from < stages; ++from) {
    for (std::size_t to = 0; to < stages; ++to) {
      m.to[from][to] = after[from][to];
    }
    m.breaks[from] = after[from][stages];
  }
  return m;
}

}  // namespace dryshaft::plan
