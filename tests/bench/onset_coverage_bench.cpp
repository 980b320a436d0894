// How often 95 % intervals hold the truth, over seeded histories:
//
//     onset_coverage_bench [HISTORIES]
//
// Each history is of 60 seals with a Weibull onset (shape 2.5, scale 200), each looked at from a
// random place on, at random distances, until it is wet or the records end. Prints, for the profile
// intervals of shape, scale, the chance of a leak by 100 and the distance of the first tenth, and
// for the joined curve's, the share that holds the truth; and how many histories had no finite fit.
#include <fmt/core.h>

#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <span>
#include <vector>

#include "base/draw.hpp"
#include "dryshaft/onset.hpp"

namespace {

using dryshaft::Interval95;

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : run_(seed) {}
  double below_one() { return run_.inside(); }
  double between(double low, double high) { return low + (high - low) * below_one(); }

 private:
  dryshaft::draw::Run run_;
};

constexpr double kShape = 2.5;
constexpr double kScale = 200;
constexpr int kSeals = 60;

std::vector<dryshaft::OnsetInterval> history(Draw& draw) {
  std::vector<dryshaft::OnsetInterval> rows;
  for (int i = 0; i < kSeals; ++i) {
    const double life = kScale * std::pow(-std::log(draw.below_one()), 1 / kShape);
    const double end = draw.between(60, 320);
    dryshaft::OnsetInterval row;
    for (double at = draw.between(10, 120); at < end || row.left == 0; at += draw.between(10, 60)) {
      if (at >= life) {
        row.right = at;
        break;
      }
      row.left = at;
    }
    rows.push_back(row);
  }
  return rows;
}

bool holds(const Interval95& i, double truth) { return i.low <= truth && truth <= i.high; }

}  // namespace

int main(int argc, char** argv) {
  const std::span<char*> arguments(argv, static_cast<std::size_t>(argc));
  const int histories = argc > 1 ? std::atoi(arguments[1]) : 1000;
  const std::vector<double> at = {100};
  const std::vector<double> tenth = {0.1};
  const double by_100 = 1 - std::exp(-std::pow(100 / kScale, kShape));
  const double first_tenth = kScale * std::pow(-std::log1p(-0.1), 1 / kShape);
  int fitted = 0;
  int shape = 0;
  int scale = 0;
  int probability = 0;
  int quantile = 0;
  int joined_probability = 0;
  int joined_quantile = 0;
  for (int h = 0; h < histories; ++h) {
    Draw draw(static_cast<std::uint64_t>(h) * 1000003 + 17);
    const auto rows = history(draw);
    const auto joined = dryshaft::onset_posterior(rows, {kShape, kScale, 0.35, 0.5}).posterior;
    joined_probability += holds(joined.probability_at(100).range, by_100) ? 1 : 0;
    joined_quantile += holds(joined.quantile(0.1).range, first_tenth) ? 1 : 0;
    const auto fit = dryshaft::fit_curve(dryshaft::CurveKind::weibull, rows);
    if (fit.status != dryshaft::FitStatus::converged) {
      continue;
    }
    ++fitted;
    const auto ends = dryshaft::curve_intervals(fit, rows, at, tenth);
    shape += holds(ends.shape, kShape) ? 1 : 0;
    scale += holds(ends.scale, kScale) ? 1 : 0;
    probability += holds(ends.probability[0], by_100) ? 1 : 0;
    quantile += holds(ends.quantile[0], first_tenth) ? 1 : 0;
  }
  const auto percent = [](int n, int of) { return 100.0 * n / of; };
  fmt::print("{} histories of {} seals, {} without a finite fit\n", histories, kSeals,
             histories - fitted);
  fmt::print(
      "profile intervals: shape {:.1f} %, scale {:.1f} %, leak by 100 {:.1f} %, first tenth "
      "{:.1f} %\n",
      percent(shape, fitted), percent(scale, fitted), percent(probability, fitted),
      percent(quantile, fitted));
  fmt::print(
      "joined curve, judgement centred on the truth: leak by 100 {:.1f} %, first tenth "
      "{:.1f} %\n",
      percent(joined_probability, histories), percent(joined_quantile, histories));
  return 0;
}
