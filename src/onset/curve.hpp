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
#include <optional>
#include <span>
#include <string>
#include <utility>
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

// A symmetric matrix over an intercept a group, and then what all rows share: a slope where there
// is one, and t. No row is of two groups, so intercepts meet in the shared parameters alone, and
// what is done with it takes time in proportion to the groups.
struct Arrow {
  Eigen::VectorXd own;     // of each intercept with itself
  Eigen::MatrixXd joint;   // of each with each shared parameter
  Eigen::MatrixXd shared;  // of these with each other
  [[nodiscard]] double along(const Eigen::VectorXd& line) const;  // line' * this * line
  // x with this * x = `right`; nothing where this is not positive definite.
  [[nodiscard]] std::optional<Eigen::VectorXd> solve(const Eigen::VectorXd& right) const;
};

// Entries of the inverse of one that is positive definite.
class ArrowInverse {
 public:
  explicit ArrowInverse(const Arrow& arrow);
  [[nodiscard]] double at(Eigen::Index i, Eigen::Index j) const;
  // row' * this * row, of a row that is 0 but for a few places.
  using FewPlaces = std::vector<std::pair<Eigen::Index, double>>;
  [[nodiscard]] double along(const FewPlaces& row) const;

 private:
  Eigen::VectorXd own_;  // 1/own
  Eigen::MatrixXd joint_;
  Eigen::MatrixXd shared_;
};

// Log likelihood along (a, t), and its derivatives. `a` is linear in the first
// parameters: one intercept a group and, where `numeric`, a slope after them.
struct Slopes {
  double value = 0;
  Eigen::VectorXd gradient;
  Arrow bend;  // the second derivatives, with their sign turned
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

// The greatest value, or the greatest along at = from + x * line, where the last
// parameter of `at` stays positive.
struct Peak {
  Eigen::VectorXd at;
  double value = 0;
  double decrement = 0;
  int iterations = 0;
  bool converged = false;
  Slopes slopes;
};
Peak climb(const Shape& shape, const Cells& cells, const Eigen::VectorXd& from);
Peak climb_along(const Shape& shape, const Cells& cells, const Eigen::VectorXd& from,
                 const Eigen::VectorXd& line);

// Whether a finite maximum exists; `group`: the one that has none.
FitStatus status_of(CurveKind kind, const Cells& cells, std::size_t groups, std::size_t* group);

// Log of the distribution function and of its complement, at z; and z at a probability.
double log_below(CurveKind kind, double z);
double log_above(CurveKind kind, double z);
double log_density(CurveKind kind, double z);
double z_at(CurveKind kind, double probability);

}  // namespace dryshaft::onset

#endif
