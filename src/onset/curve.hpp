// The likelihood of interval-censored log distances, and where it is greatest.
//
// With t = 1/sigma and a = mu/sigma a row's ends stand at z = t*y - a, which is
// linear in (a, t): for log-concave densities, as all three are, the log
// likelihood is concave in them (Burridge 1981, from memory). So Newton steps
// that do not overshoot lead to the one maximum, if there is one.
#ifndef DRYSHAFT_ONSET_CURVE_HPP
#define DRYSHAFT_ONSET_CURVE_HPP

#include <Eigen/Dense>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "dryshaft/onset.hpp"

namespace dryshaft::onset {

// Equal rows as one, in log distance from a centre.
struct Cell {
  enum class Kind : std::uint8_t { left, right, between, exact };
  Kind kind = Kind::between;
  double low = 0;   // right: the only end
  double high = 0;  // left, exact: the only end
  double span = 0;  // high - low, without the rounding of a difference
  double weight = 0;
  std::size_t group = 0;
  double x = 0;  // value of a numeric covariate
};

struct Cells {
  std::vector<Cell> cells;
  double centre = 0;  // log distance that the ends are counted from
  double weight = 0;
  double exact_log = 0;  // sum of weight * log distance over exact rows: density by distance
};
// Rows that say nothing (0 to no end) are left out. `group[i]` belongs to row i; empty: all 0.
Cells cells_of(std::span<const OnsetInterval> rows, std::span<const std::size_t> group,
               std::span<const double> x);

// Log likelihood along (a, t), and its derivatives. `a` is linear in the first
// parameters: one intercept a group and, where `numeric`, a slope after them.
struct Slopes {
  double value = 0;
  Eigen::VectorXd gradient;
  Eigen::MatrixXd hessian;
};
struct Shape {
  CurveKind kind = CurveKind::weibull;
  std::size_t groups = 1;
  bool numeric = false;
  [[nodiscard]] Eigen::Index size() const {
    return static_cast<Eigen::Index>(groups) + (numeric ? 2 : 1);
  }
};
double value_at(const Shape& shape, const Cells& cells, const Eigen::VectorXd& at);
Slopes slopes_at(const Shape& shape, const Cells& cells, const Eigen::VectorXd& at);

// The greatest value along at = from + free * x, where the last parameter of
// `at` stays positive.
struct Peak {
  Eigen::VectorXd at;
  double value = 0;
  double decrement = 0;
  int iterations = 0;
  bool converged = false;
  Slopes slopes;
};
Peak climb(const Shape& shape, const Cells& cells, const Eigen::VectorXd& from,
           const Eigen::MatrixXd& free);

// Whether a finite maximum exists; `group`: the one that has none.
FitStatus status_of(CurveKind kind, const Cells& cells, std::size_t groups, std::size_t* group);

// Log of the distribution function and of its complement, at z; and z at a probability.
double log_below(CurveKind kind, double z);
double log_above(CurveKind kind, double z);
double log_density(CurveKind kind, double z);
double z_at(CurveKind kind, double probability);

}  // namespace dryshaft::onset

#endif
