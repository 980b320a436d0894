// Curves and steps against published data, by hand, and by what must hold;
// tables. Histories, the joined curve and rechecks are in onset_records_test.cpp.
#include "dryshaft/onset.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "base/draw.hpp"
#include "onset/curve.hpp"
#include "support.hpp"

using dryshaft::CurveFit;
using dryshaft::CurveKind;
using dryshaft::FitStatus;
using dryshaft::kNoEnd;
using dryshaft::OnsetAxis;
using dryshaft::OnsetData;
using dryshaft::OnsetInterval;

namespace {

using OnsetRows = std::vector<OnsetInterval>;

constexpr CurveKind kKinds[] = {CurveKind::weibull, CurveKind::lognormal, CurveKind::log_logistic};

OnsetInterval onset_row(double left, double right, double count = 1, std::string group = {}) {
  OnsetInterval r;
  r.left = left;
  r.right = right;
  r.count = count;
  r.group = std::move(group);
  return r;
}

// Nelson, Applied Life Data Analysis, 1982, p. 415, as in the SAS QC documentation.
OnsetRows turbine_parts() {
  const std::vector<double> ends = {0,     6.12,  19.92, 29.64, 35.4,
                                    39.72, 45.24, 52.32, 63.48, kNoEnd};
  const std::vector<double> counts = {5, 16, 12, 18, 18, 2, 6, 17, 73};
  OnsetRows rows;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    rows.push_back(onset_row(ends[i], ends[i + 1], counts[i]));
  }
  return rows;
}

// Nelson 1982, p. 409: each wheel was looked at once.
OnsetRows turbine_wheels() {
  const std::vector<double> at = {4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46};
  const std::vector<double> cracked = {0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21};
  const std::vector<double> sound = {39, 49, 31, 66, 25, 30, 33, 7, 12, 19, 15};
  OnsetRows rows;
  for (std::size_t i = 0; i < at.size(); ++i) {
    if (cracked[i] > 0) {
      rows.push_back(onset_row(0, at[i], cracked[i]));
    }
    rows.push_back(onset_row(at[i], kNoEnd, sound[i]));
  }
  return rows;
}

OnsetRows exchanger_tubes() {  // Meeker and Escobar, counts from memory
  return {onset_row(0, 1, 4),       onset_row(1, 2, 5),       onset_row(2, 3, 2),
          onset_row(3, kNoEnd, 95), onset_row(2, kNoEnd, 95), onset_row(1, kNoEnd, 99)};
}

// Finkelstein and Wolfe 1985, Biometrics 41, 731-740: data of the R package interval.
OnsetRows cosmesis(bool chemo) {
  constexpr double o = kNoEnd;
  const std::vector<std::pair<double, double>> alone = {
      {45, o},  {6, 10}, {0, 7},   {46, o}, {46, o},  {7, 16},  {17, o},  {7, 14},
      {37, 44}, {0, 8},  {4, 11},  {15, o}, {11, 15}, {22, o},  {46, o},  {46, o},
      {25, 37}, {46, o}, {26, 40}, {46, o}, {27, 34}, {36, 44}, {46, o},  {36, 48},
      {37, o},  {40, o}, {17, 25}, {46, o}, {11, 18}, {38, o},  {5, 12},  {37, o},
      {0, 5},   {18, o}, {24, o},  {36, o}, {5, 11},  {19, 35}, {17, 25}, {24, o},
      {32, o},  {33, o}, {19, 26}, {37, o}, {34, o},  {36, o}};
  const std::vector<std::pair<double, double>> both = {
      {8, 12},  {0, 22},  {24, 31}, {17, 27}, {17, 23}, {24, 30}, {16, 24}, {13, o},
      {11, 13}, {16, 20}, {18, 25}, {17, 26}, {32, o},  {23, o},  {44, 48}, {14, 17},
      {0, 5},   {5, 8},   {12, 20}, {11, o},  {33, 40}, {31, o},  {13, 39}, {19, 32},
      {34, o},  {13, o},  {16, 24}, {35, o},  {15, 22}, {11, 17}, {22, 32}, {10, 35},
      {30, 34}, {13, o},  {10, 17}, {8, 21},  {4, 9},   {11, o},  {14, 19}, {4, 8},
      {34, o},  {30, 36}, {18, 24}, {16, 60}, {35, 39}, {21, o},  {11, 20}, {48, o}};
  OnsetRows rows;
  for (const auto& [left, right] : chemo ? both : alone) {
    rows.push_back(onset_row(left, right, 1, chemo ? "RadChem" : "Rad"));
  }
  return rows;
}

double half_last_digit(double digits) { return 0.5001 * std::pow(10, -digits); }

OnsetRows onset_rows(const std::string& name) {
  const std::string text =
      dryshaft::test::read_file(std::filesystem::path(DRYSHAFT_TESTS_DIR) / "onset_data" / name);
  auto read = dryshaft::read_onset_table(text, name, OnsetAxis::plain, "");
  REQUIRE(read.value);
  return read.value->intervals;
}

}  // namespace

TEST_CASE("Weibull curve of the turbine parts") {
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, turbine_parts());
  REQUIRE(fit.status == FitStatus::converged);
  // Published shape 1.485, scale 71.69 (Nelson 1982, from memory); digits by R's survreg.
  CHECK(fit.shape == Approx(1.485367).margin(half_last_digit(6)));
  CHECK(fit.scale == Approx(71.69041).margin(half_last_digit(5)));
  CHECK(fit.log_likelihood == Approx(-309.6684).margin(half_last_digit(4)));
  CHECK(fit.se_shape == Approx(0.146541).margin(half_last_digit(6)));
  CHECK(fit.se_scale == Approx(5.333489).margin(half_last_digit(6)));
  CHECK(fit.mu == Approx(4.27236).margin(half_last_digit(5)));
  CHECK(fit.var_mu == Approx(0.0055347850).margin(half_last_digit(10)));
  CHECK(fit.cov_mu_log_sigma == Approx(0.0026228591).margin(half_last_digit(10)));
  CHECK(fit.var_log_sigma == Approx(0.0097330853).margin(half_last_digit(10)));
  const CurveFit log = dryshaft::fit_curve(CurveKind::lognormal, turbine_parts());
  CHECK(log.mu == Approx(4.02685).margin(half_last_digit(5)));
  CHECK(std::sqrt(log.var_mu) == Approx(0.08998).margin(half_last_digit(5)));
  CHECK(std::log(log.sigma) == Approx(-0.00148).margin(half_last_digit(5)));
  CHECK(std::sqrt(log.var_log_sigma) == Approx(0.08731).margin(half_last_digit(5)));
  CHECK(log.log_likelihood == Approx(-311.9).margin(half_last_digit(1)));
}

TEST_CASE("Turbine parts with a misprinted end, as some pages have it") {
  OnsetRows rows = turbine_parts();
  rows[5].right = rows[6].left = 45.32;
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, rows);
  CHECK(fit.shape == Approx(1.485457).margin(half_last_digit(6)));
  CHECK(fit.scale == Approx(71.69203).margin(half_last_digit(5)));
  CHECK(fit.log_likelihood == Approx(-309.7099).margin(half_last_digit(4)));
}

TEST_CASE("Turbine wheels, each looked at once") {
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, turbine_wheels());
  CHECK(fit.shape == Approx(2.17578).margin(half_last_digit(5)));
  CHECK(fit.se_shape == Approx(0.270819).margin(half_last_digit(6)));
  CHECK(fit.scale == Approx(46.77723).margin(half_last_digit(5)));
  CHECK(fit.se_scale == Approx(2.990775).margin(half_last_digit(6)));
  CHECK(fit.log_likelihood == Approx(-189.2872).margin(half_last_digit(4)));
  const CurveFit log = dryshaft::fit_curve(CurveKind::lognormal, turbine_wheels());
  CHECK(log.mu == Approx(3.6999).margin(half_last_digit(4)));
  CHECK(std::sqrt(log.var_mu) == Approx(0.0708).margin(half_last_digit(4)));
  CHECK(log.shape == Approx(0.7199).margin(half_last_digit(4)));
  CHECK(log.scale == Approx(40.4436).margin(half_last_digit(4)));
  CHECK(log.log_likelihood == Approx(-190.7315).margin(half_last_digit(4)));
  // Pool adjacent violators, the closed form for one look a unit.
  const dryshaft::StepEstimate steps = dryshaft::step_estimate(turbine_wheels(), 0);
  CHECK(steps.converged);
  const std::vector<std::pair<double, double>> pooled = {
      {4, 0},      {10, .0698}, {14, .0698}, {18, .0959}, {22, .1667}, {26, .2222},
      {30, .2222}, {34, .4615}, {38, .5811}, {42, .5811}, {46, .5833}};
  for (const auto& [at, f] : pooled) {
    INFO(at);
    CHECK(dryshaft::step_probability(steps, at).first == Approx(f).margin(half_last_digit(4)));
  }
}

TEST_CASE("Heat-exchanger tubes") {
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, exchanger_tubes());
  CHECK(fit.shape == Approx(1.3455).margin(half_last_digit(4)));
  CHECK(fit.se_shape == Approx(0.4404).margin(half_last_digit(4)));
  CHECK(fit.scale == Approx(23.62).margin(half_last_digit(2)));
  CHECK(fit.se_scale == Approx(18.86).margin(half_last_digit(2)));
  CHECK(fit.log_likelihood == Approx(-54.4147).margin(half_last_digit(4)));
  const dryshaft::StepEstimate steps = dryshaft::step_estimate(exchanger_tubes(), 0);
  CHECK(dryshaft::step_probability(steps, 1).first == Approx(0.013333).margin(half_last_digit(6)));
  CHECK(dryshaft::step_probability(steps, 2).first == Approx(0.038376).margin(half_last_digit(6)));
  CHECK(dryshaft::step_probability(steps, 3).first == Approx(0.058203).margin(half_last_digit(6)));
}

TEST_CASE("Of thousands of exact and open distances, the steps are the product limit") {
  // Kaplan and Meier (1958, from memory): of those under observation, a share leaks each time.
  constexpr int kUnits = 20000;
  dryshaft::draw::Run draws(7);
  OnsetRows rows;
  for (int i = 0; i < kUnits; ++i) {
    const double life = std::sqrt(-std::log1p(-draws.next()));
    const double looked = 2 * draws.next();
    rows.push_back(life < looked ? onset_row(life, life) : onset_row(looked, kNoEnd));
  }
  std::ranges::sort(rows, {}, &dryshaft::OnsetInterval::left);
  const dryshaft::StepEstimate steps = dryshaft::step_estimate(rows, 0);
  CHECK(steps.converged);
  CHECK(steps.gap < 1e-8);
  std::size_t step = 0;
  double dry = 1;
  for (int i = 0; i < kUnits; ++i) {
    const dryshaft::OnsetInterval& r = rows[static_cast<std::size_t>(i)];
    if (r.right == r.left) {
      dry *= 1 - 1.0 / (kUnits - i);
      REQUIRE(step < steps.steps.size());
      REQUIRE(steps.steps[step].right == r.right);
      REQUIRE(steps.steps[step++].below == Approx(1 - dry).margin(1e-8));
    }
  }
  CHECK(step > 2500);
}

TEST_CASE("Breast cosmesis: steps, curves and groups") {
  struct Expected {
    bool chemo;
    std::vector<std::array<double, 3>> steps;
    double steps_value;
    double shape, scale, value;
    int shape_digits, scale_digits;
  };
  const Expected all[] = {{false,
                           {{4, 5, .046347},
                            {6, 7, .033363},
                            {7, 8, .088667},
                            {11, 12, .070753},
                            {24, 25, .092646},
                            {33, 34, .081786},
                            {38, 40, .120880},
                            {46, 48, .465558}},
                           -58.06002,
                           1.121613,
                           57.5131,
                           -64.73147,
                           6,
                           4},
                          {true,
                           {{4, 5, .043283},
                            {5, 8, .043283},
                            {11, 12, .069206},
                            {16, 17, .145398},
                            {18, 19, .141095},
                            {19, 20, .115746},
                            {24, 25, .099865},
                            {30, 31, .070881},
                            {35, 36, .160831},
                            {44, 48, .055206},
                            {48, 60, .055206}},
                           -65.63696,
                           2.030238,
                           28.04247,
                           -75.71507,
                           6,
                           5}};
  for (const Expected& e : all) {
    const OnsetRows rows = cosmesis(e.chemo);
    const dryshaft::StepEstimate s = dryshaft::step_estimate(rows, 0);
    CHECK(s.converged);
    CHECK(s.gap < 1e-8);
    CHECK(s.log_likelihood == Approx(e.steps_value).margin(half_last_digit(5)));
    REQUIRE(s.steps.size() == e.steps.size());
    for (std::size_t i = 0; i < s.steps.size(); ++i) {
      CHECK(s.steps[i].left == e.steps[i][0]);
      CHECK(s.steps[i].right == e.steps[i][1]);
      CHECK(s.steps[i].probability == Approx(e.steps[i][2]).margin(half_last_digit(6)));
    }
    const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, rows);
    CHECK(fit.shape == Approx(e.shape).margin(half_last_digit(e.shape_digits)));
    CHECK(fit.scale == Approx(e.scale).margin(half_last_digit(e.scale_digits)));
    CHECK(fit.log_likelihood == Approx(e.value).margin(half_last_digit(5)));
  }
  OnsetRows rows = cosmesis(false);
  for (const OnsetInterval& r : cosmesis(true)) {
    rows.push_back(r);
  }
  const dryshaft::OnsetRegression g = dryshaft::fit_regression(CurveKind::weibull, rows);
  REQUIRE(g.status == FitStatus::converged);
  CHECK(g.mu == Approx(3.899).margin(half_last_digit(3)));
  CHECK(g.se_mu == Approx(.141).margin(half_last_digit(3)));
  REQUIRE(g.groups.size() == 2);
  CHECK(g.groups[1].name == "RadChem");
  CHECK(g.groups[1].log_factor == Approx(-.568).margin(half_last_digit(3)));
  CHECK(g.groups[1].se_log_factor == Approx(.176).margin(half_last_digit(3)));
  CHECK(g.log_sigma == Approx(-.479).margin(half_last_digit(3)));
  CHECK(g.se_log_sigma == Approx(.120).margin(half_last_digit(3)));
  CHECK(g.log_likelihood == Approx(-143.3).margin(half_last_digit(1)));
  CHECK(g.ratio == Approx(10.94).margin(half_last_digit(2)));
  CHECK(g.degrees == 1);
  CHECK(g.p_value == Approx(.00094).margin(half_last_digit(5)));
}

TEST_CASE("Exact distances and right-censored ones") {
  // NIST/SEMATECH e-Handbook 8.4.1.2 (data and published 1.7208, 606.5280 from memory).
  OnsetRows rows;
  for (const double h : {54., 187., 216., 240., 244., 335., 361., 373., 375., 386.}) {
    rows.push_back(onset_row(h, h));
  }
  rows.push_back(onset_row(500, kNoEnd, 10));
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, rows);
  CHECK(fit.shape == Approx(1.720797).margin(half_last_digit(6)));
  CHECK(fit.se_shape == Approx(0.502151).margin(half_last_digit(6)));
  CHECK(fit.scale == Approx(606.5276).margin(half_last_digit(4)));
  CHECK(fit.se_scale == Approx(124.911).margin(half_last_digit(3)));
  CHECK(fit.log_likelihood == Approx(-75.13462).margin(half_last_digit(5)));
  // Here the steps are Kaplan and Meier's: the same share for each exact distance.
  const dryshaft::StepEstimate steps = dryshaft::step_estimate(rows, 0);
  REQUIRE(steps.steps.size() == 11);
  for (std::size_t i = 0; i < 10; ++i) {
    CHECK(steps.steps[i].probability == Approx(0.05).epsilon(1e-9));
  }
  CHECK(steps.steps[10].right == kNoEnd);
}

TEST_CASE("Diesel fans") {
  // Nelson 1982, p. 318, as in the SAS QC documentation; thousand hours; digits by R's survreg.
  OnsetRows rows;
  for (const double t : {.45, 1.15, 1.15, 1.6, 2.07, 2.07, 2.08, 3.1, 3.45, 4.6, 6.1, 8.75}) {
    rows.push_back(onset_row(t, t));
  }
  const std::vector<std::pair<double, double>> sound = {
      {.46, 1}, {1.56, 1}, {1.66, 1}, {1.85, 5}, {2.03, 3}, {2.2, 1}, {3., 4},
      {3.2, 1}, {3.75, 2}, {4.15, 4}, {4.3, 4},  {4.85, 4}, {5., 3},  {6.1, 3},
      {6.3, 1}, {6.45, 2}, {6.7, 1},  {7.45, 1}, {7.8, 2},  {8.1, 2}, {8.2, 1},
      {8.5, 3}, {8.75, 2}, {9.4, 1},  {9.9, 1},  {10.1, 3}, {11.5, 1}};
  double all = 12;
  for (const auto& [t, n] : sound) {
    rows.push_back(onset_row(t, kNoEnd, n));
    all += n;
  }
  REQUIRE(all == 70);
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, rows);
  CHECK(fit.shape == Approx(1.058446).margin(half_last_digit(6)));
  CHECK(fit.se_shape == Approx(0.268251).margin(half_last_digit(6)));
  CHECK(fit.scale == Approx(26.29685).margin(half_last_digit(5)));
  CHECK(fit.se_scale == Approx(12.25143).margin(half_last_digit(5)));
  CHECK(fit.log_likelihood == Approx(-52.25966).margin(half_last_digit(5)));
}

TEST_CASE("Three cells, two parameters: the curve meets the shares exactly") {
  // With one shared cut the likelihood is greatest where F(a) = 4/10 and F(b) = 7/10.
  const OnsetRows rows = {onset_row(0, 100, 4), onset_row(100, 200, 3), onset_row(200, kNoEnd, 3)};
  for (const CurveKind kind : kKinds) {
    INFO(dryshaft::name(kind));
    const CurveFit fit = dryshaft::fit_curve(kind, rows);
    REQUIRE(fit.status == FitStatus::converged);
    CHECK(dryshaft::curve_probability(kind, fit.shape, fit.scale, 100) ==
          Approx(0.4).epsilon(1e-12));
    CHECK(dryshaft::curve_probability(kind, fit.shape, fit.scale, 200) ==
          Approx(0.7).epsilon(1e-12));
    CHECK(fit.log_likelihood == Approx(4 * std::log(.4) + 6 * std::log(.3)).epsilon(1e-13));
  }
  // By hand: k = log(log(.3)/log(.6))/log 2, eta = 100/(-log .6)^(1/k).
  const CurveFit w = dryshaft::fit_curve(CurveKind::weibull, rows);
  const double k = std::log(std::log(.3) / std::log(.6)) / std::log(2.0);
  CHECK(w.shape == Approx(k).epsilon(1e-12));
  CHECK(w.scale == Approx(100 / std::pow(-std::log(.6), 1 / k)).epsilon(1e-12));
}

TEST_CASE("At the fit the likelihood has no slope, and bends as the variances say") {
  for (const OnsetRows& rows : {turbine_parts(), turbine_wheels(), cosmesis(true)}) {
    for (const CurveKind kind : kKinds) {
      INFO(dryshaft::name(kind));
      const CurveFit fit = dryshaft::fit_curve(kind, rows);
      // Along (mu, log sigma).
      const auto value = [&](double mu, double log_sigma) {
        const double sigma = std::exp(log_sigma);
        return dryshaft::curve_log_likelihood(
            kind, rows, kind == CurveKind::lognormal ? sigma : 1 / sigma, std::exp(mu));
      };
      const double s = std::log(fit.sigma);
      CHECK(value(fit.mu, s) == Approx(fit.log_likelihood).epsilon(1e-13));
      const double h = 1e-4;
      // In steps of a standard error, so that the number does not depend on the unit.
      CHECK(std::abs(value(fit.mu + h, s) - value(fit.mu - h, s)) / (2 * h) *
                std::sqrt(fit.var_mu) <
            1e-6);
      CHECK(std::abs(value(fit.mu, s + h) - value(fit.mu, s - h)) / (2 * h) *
                std::sqrt(fit.var_log_sigma) <
            1e-6);
      const double aa =
          -(value(fit.mu + h, s) - 2 * value(fit.mu, s) + value(fit.mu - h, s)) / h / h;
      const double bb =
          -(value(fit.mu, s + h) - 2 * value(fit.mu, s) + value(fit.mu, s - h)) / h / h;
      const double ab = -(value(fit.mu + h, s + h) - value(fit.mu + h, s - h) -
                          value(fit.mu - h, s + h) + value(fit.mu - h, s - h)) /
                        (4 * h * h);
      const double det = aa * bb - ab * ab;
      CHECK(fit.var_mu == Approx(bb / det).epsilon(1e-4));
      CHECK(fit.var_log_sigma == Approx(aa / det).epsilon(1e-4));
      CHECK(fit.cov_mu_log_sigma == Approx(-ab / det).epsilon(1e-3).margin(1e-7));
    }
  }
}

TEST_CASE("Another unit scales, counts are repeats, and order does not matter") {
  const OnsetRows rows = turbine_wheels();
  OnsetRows other;
  for (auto r = rows.rbegin(); r != rows.rend(); ++r) {
    for (int i = 0; i < static_cast<int>(r->count); ++i) {
      other.push_back(onset_row(r->left * 1.609344e5, r->right * 1.609344e5));
    }
  }
  for (const CurveKind kind : kKinds) {
    const CurveFit a = dryshaft::fit_curve(kind, rows);
    const CurveFit b = dryshaft::fit_curve(kind, other);
    CHECK(b.shape == Approx(a.shape).epsilon(1e-11));
    CHECK(b.scale == Approx(a.scale * 1.609344e5).epsilon(1e-11));
    CHECK(b.log_likelihood == Approx(a.log_likelihood).epsilon(1e-12));
    const std::vector<double> p = {0.1};
    const std::vector<double> at_a = {30};
    const std::vector<double> at_b = {30 * 1.609344e5};
    const auto ea = dryshaft::curve_intervals(a, rows, at_a, p);
    const auto eb = dryshaft::curve_intervals(b, other, at_b, p);
    CHECK(eb.shape.low == Approx(ea.shape.low).epsilon(1e-6));
    CHECK(eb.probability[0].high == Approx(ea.probability[0].high).epsilon(1e-6));
    CHECK(eb.quantile[0].low == Approx(ea.quantile[0].low * 1.609344e5).epsilon(1e-6));
  }
  CHECK(dryshaft::step_estimate(other, 0).log_likelihood ==
        Approx(dryshaft::step_estimate(rows, 0).log_likelihood).epsilon(1e-9));
}

TEST_CASE("At the ends of a profile interval the likelihood has dropped by half the quantile") {
  const OnsetRows rows = turbine_parts();
  const CurveFit fit = dryshaft::fit_curve(CurveKind::weibull, rows);
  const auto ends = dryshaft::curve_intervals(fit, rows, {}, {});
  for (const double shape : {ends.shape.low, ends.shape.high}) {
    double best = -kNoEnd;  // over the scale, by brute force
    for (double scale = 30; scale < 200; scale *= 1.0005) {
      best = std::max(best, dryshaft::curve_log_likelihood(CurveKind::weibull, rows, shape, scale));
    }
    CHECK(2 * (fit.log_likelihood - best) == Approx(3.841459).margin(1e-4));
  }
}

TEST_CASE("Hard data: whether a finite maximum exists, and why not") {
  struct Expected {
    const char* file;
    FitStatus status;
  };
  const Expected all[] = {{"all-left-censored.csv", FitStatus::all_left_censored},
                          {"all-right-censored.csv", FitStatus::all_right_censored},
                          {"one-unit.csv", FitStatus::one_distance},
                          {"one-distance.csv", FitStatus::one_distance},
                          {"not-rising.csv", FitStatus::not_rising},
                          {"ties.csv", FitStatus::converged},
                          {"nine-decades.csv", FitStatus::converged},
                          {"huge-counts.csv", FitStatus::converged},
                          {"hardly-rising.csv", FitStatus::not_rising},
                          {"narrow.csv", FitStatus::converged}};
  for (const Expected& e : all) {
    const OnsetRows rows = onset_rows(e.file);
    for (const CurveKind kind : kKinds) {
      INFO(e.file << " " << dryshaft::name(kind));
      const CurveFit fit = dryshaft::fit_curve(kind, rows);
      CHECK(dryshaft::name(fit.status) == dryshaft::name(e.status));
      CHECK_FALSE(dryshaft::explain(fit.status).empty());
      if (fit.status == FitStatus::converged) {
        CHECK(std::isfinite(fit.log_likelihood));
        CHECK(fit.se_shape > 0);
        CHECK(fit.iterations < 40);
        // No neighbour does better.
        for (const double factor : {1 - 1e-4, 1 + 1e-4}) {
          CHECK(dryshaft::curve_log_likelihood(kind, rows, fit.shape * factor, fit.scale) <=
                fit.log_likelihood + 1e-9 * std::abs(fit.log_likelihood));
          CHECK(dryshaft::curve_log_likelihood(kind, rows, fit.shape, fit.scale * factor) <=
                fit.log_likelihood + 1e-9 * std::abs(fit.log_likelihood));
        }
      }
    }
    const dryshaft::StepEstimate steps = dryshaft::step_estimate(rows, 0);
    CHECK(steps.converged);
    double sum = 0;
    for (const auto& s : steps.steps) {
      sum += s.probability;
    }
    CHECK(sum == Approx(1).epsilon(1e-9));
  }
  CHECK(dryshaft::fit_curve(CurveKind::weibull, {}).status == FitStatus::no_data);
  CHECK(dryshaft::fit_curve(CurveKind::weibull, OnsetRows{onset_row(0, kNoEnd)}).status ==
        FitStatus::no_data);
}

TEST_CASE("Narrow intervals are as good as exact distances") {
  OnsetRows narrow;
  OnsetRows exact;
  double widths = 0;
  for (const double t : {40., 70., 90., 95., 140., 200.}) {
    const double wide = t * 1e-11;
    narrow.push_back(onset_row(t, t + wide));
    exact.push_back(onset_row(t, t));
    widths += std::log(narrow.back().right - t);
  }
  for (const CurveKind kind : kKinds) {
    const CurveFit a = dryshaft::fit_curve(kind, narrow);
    const CurveFit b = dryshaft::fit_curve(kind, exact);
    CHECK(a.shape == Approx(b.shape).epsilon(1e-9));
    CHECK(a.scale == Approx(b.scale).epsilon(1e-9));
    CHECK(a.se_shape == Approx(b.se_shape).epsilon(1e-7));
    CHECK(a.log_likelihood - widths == Approx(b.log_likelihood).epsilon(1e-9));
  }
}

TEST_CASE("Far tails keep their digits") {
  // log F and log(1 - F) of each curve at ends that are many decades away.
  using dryshaft::curve_log_likelihood;
  const OnsetRows late = {onset_row(1e9, kNoEnd)};
  const OnsetRows early = {onset_row(0, 1e-3)};
  CHECK(curve_log_likelihood(CurveKind::weibull, early, 2, 1e5) ==
        Approx(-16 * std::log(10.0)).epsilon(1e-12));
  CHECK(curve_log_likelihood(CurveKind::weibull, late, 1, 1e6) == Approx(-1000).epsilon(1e-12));
  CHECK(curve_log_likelihood(CurveKind::log_logistic, late, 2, 1) ==
        Approx(-18 * std::log(10.0)).epsilon(1e-12));
  // log of the normal upper tail at 30: -454.3212439955 (Abramowitz and Stegun table 26.2 gives
  // -log10 Q(30) = 197.30921).
  const double z30 = std::exp(30.0);
  CHECK(curve_log_likelihood(CurveKind::lognormal, OnsetRows{onset_row(z30, kNoEnd)}, 1, 1) /
            -std::log(10.0) ==
        Approx(197.30921).margin(half_last_digit(5)));
  // Both ends in a tail: the chance between 2 and 3 units of 1e-9.
  const OnsetRows between = {onset_row(2e-9, 3e-9)};
  CHECK(curve_log_likelihood(CurveKind::weibull, between, 1, 1) ==
        Approx(std::log(1e-9)).epsilon(1e-8));
}

TEST_CASE("Groups without a bound, a number in place of groups, unknown groups") {
  OnsetRows rows = {onset_row(10, 20, 3, "a"), onset_row(15, 40, 2, "a"),
                    onset_row(30, kNoEnd, 2, "a"), onset_row(30, kNoEnd, 4, "b")};
  const auto g = dryshaft::fit_regression(CurveKind::weibull, rows);
  CHECK(g.status == FitStatus::group_without_bound);
  CHECK(g.unbounded == "b");
  rows.back() = onset_row(5, 12, 4, "");
  const auto one = dryshaft::fit_regression(CurveKind::weibull, rows);
  CHECK(one.status == FitStatus::no_data);
  CHECK(one.count_without_group == 4);
  // Log distance rises by exactly 0.1 for one more: exact data around 12 values.
  OnsetRows line;
  for (int i = 0; i < 12; ++i) {
    for (const double off : {-.4, -.1, .05, .2, .3}) {
      const double t = std::exp(3 + 0.1 * i + off);
      line.push_back(onset_row(t, t, 1, std::to_string(i)));
    }
  }
  const auto slope = dryshaft::fit_regression(CurveKind::lognormal, line);
  REQUIRE(slope.status == FitStatus::converged);
  CHECK(slope.numeric);
  CHECK(slope.groups[0].log_factor == Approx(0.1).epsilon(1e-9));
  CHECK(slope.mu == Approx(3.01).epsilon(1e-9));
  CHECK(slope.degrees == 1);
}

TEST_CASE("Spellings of one number are one group") {
  const auto rows = [](const std::vector<std::string>& words) {
    OnsetRows out;
    for (std::size_t i = 0; i < words.size(); ++i) {
      const double t = 10 + 3 * static_cast<double>(i % 5);
      out.push_back(onset_row(t, t + 9, 2, words[i]));
      out.push_back(onset_row(t + 7, kNoEnd, 1, words[i]));
    }
    return out;
  };
  const auto g = dryshaft::fit_regression(
      CurveKind::weibull, rows({"2.0", "1.0", "1", "2e0", "01", "2", "10e-1", "2.00", "old", "-"}));
  const auto same = dryshaft::fit_regression(
      CurveKind::weibull, rows({"2", "1", "1", "2", "1", "2", "1", "2", "old", "-"}));
  REQUIRE(g.groups.size() == 4);
  CHECK(g.status == FitStatus::converged);
  for (std::size_t i = 0; i < g.groups.size(); ++i) {
    CHECK(g.groups[i].name == same.groups[i].name);
    CHECK(g.groups[i].count == same.groups[i].count);
    CHECK(g.groups[i].factor == same.groups[i].factor);
  }
  CHECK(g.groups[1].name == "1");
  CHECK(g.groups[1].count == 12);
  // Nine spellings of one number are one group, not a number that varies.
  const auto one = dryshaft::fit_regression(
      CurveKind::weibull,
      rows({"1", "1.0", "1.00", "1.000", "1e0", "1.0e0", "10e-1", "100e-2", "0.1e1"}));
  CHECK_FALSE(one.numeric);
  CHECK(one.status == FitStatus::no_data);
  REQUIRE(one.groups.size() == 1);
  CHECK(one.groups[0].count == 27);
}

// -------------------------------------------------------------------- table

TEST_CASE("A table's errors are located") {
  const auto errors = [](std::string_view text, std::string_view by = "") {
    const auto read = dryshaft::read_onset_table(text, "t.csv", OnsetAxis::plain, by);
    CHECK_FALSE(read.value);
    std::string all;
    for (const auto& d : read.diagnostics) {
      all += dryshaft::to_text(d);
    }
    return all;
  };
  CHECK(errors("left,right,count\n10,5,1\n") ==
        "t.csv:2:1: error[bad-interval]: left is 10, above right, 5\n"
        "  10,5,1\n"
        "  ^\n"
        "  hint: a leak began after left and not after right\n");
  CHECK(errors("left,right,count\n1,2,x\n3,4x,1\n") ==
        "t.csv:2:5: error[bad-number]: the count is \"x\"\n"
        "  1,2,x\n"
        "      ^\n"
        "  allowed: a number from 0 to 1000000000000000\n"
        "t.csv:3:3: error[bad-number]: \"4x\" is no number\n"
        "  3,4x,1\n"
        "    ^\n"
        "  allowed: a number from 0, inf, or nothing\n");
  CHECK(dryshaft::read_onset_table("left,right,count\n1,2,999999999999999\n2,3,1\n", "t.csv",
                                   OnsetAxis::plain, "")
            .value);
  CHECK(errors("left,right,count\n1,2,1e15\n2,3,1\n3,4,1\n") ==
        "t.csv:3:1: error[too-long]: holds more than 1000000000000000 units up to here\n"
        "  2,3,1\n"
        "  ^\n");
  CHECK(errors("left,right,count\n1,2,1000000000000001\n").find("the count is") !=
        std::string::npos);
  CHECK(
      errors("lefft,right\n1,2\n") ==
      "t.csv:1:1: error[missing-column]: there is no column \"left\"\n"
      "  lefft,right\n"
      "  ^\n"
      "  allowed: columns named left, right and count (count may be missing), separated by commas\n"
      "  hint: did you mean \"lefft\"?\n");
  CHECK(errors("left;right\n1;2\n").find("columns are separated by commas") != std::string::npos);
  CHECK(errors("").find("error[no-table]: holds no header") != std::string::npos);
  CHECK(errors("left,right\n").find("no rows follow the header") != std::string::npos);
  CHECK(errors("left,right\n1,2,3\n").find("the row has 3 cells, the header 2") !=
        std::string::npos);
  CHECK(errors("left,right\ninf,inf\n").find("cannot begin at infinity") != std::string::npos);
  CHECK(errors("left,right\n0,0\n").find("a leak at 0 has no logarithm") != std::string::npos);
  CHECK(errors("left,right\n-1,5\n").find("-1 is below 0") != std::string::npos);
  CHECK(errors("left,right\n1,2\n", "plant").find("there is no column \"plant\"") !=
        std::string::npos);
  CHECK(errors("left,left,right\n1,1,2\n").find("column \"left\" stands twice") !=
        std::string::npos);
}

TEST_CASE("What a table may look like") {
  const auto read = dryshaft::read_onset_table(
      "\xEF\xBB\xBFplant, right ,count,\"left\"\r\n\"a, "
      "b\",inf,3,10\r\n\r\nc,,2,4\r\nc,5,1,\r\nd,9,0,8\n",
      "t.csv", OnsetAxis::km, "plant");
  REQUIRE(read.value);
  const OnsetRows& rows = read.value->intervals;
  REQUIRE(rows.size() == 3);
  CHECK(rows[0].group == "a, b");
  CHECK(rows[0].left == 10);
  CHECK(rows[0].right == kNoEnd);
  CHECK(rows[0].count == 3);
  CHECK(rows[1].right == kNoEnd);
  CHECK(rows[2].left == 0);
  CHECK(rows[2].right == 5);
  CHECK(rows[2].line == 5);
  CHECK(read.value->units == 6);
}

TEST_CASE("A variance that rounding left below 0 changes no interval") {
  const OnsetRows rows = dryshaft::read_onset_table("left,right\n0,9\n5,20\n8,inf\n3,12\n20,inf\n",
                                                    "t.csv", OnsetAxis::plain, "")
                             .value->intervals;
  dryshaft::CurveFit fit = dryshaft::fit_curve(dryshaft::CurveKind::weibull, rows);
  REQUIRE(fit.status == dryshaft::FitStatus::converged);
  const double half[] = {0.5};
  const dryshaft::Interval95 good = dryshaft::curve_intervals(fit, rows, {}, half).quantile[0];
  fit.var_mu = 0;
  fit.cov_mu_log_sigma = 1e-3;
  fit.var_log_sigma = 1e-9;
  const dryshaft::Interval95 same = dryshaft::curve_intervals(fit, rows, {}, half).quantile[0];
  CHECK(same.low == Approx(good.low).epsilon(1e-6));
  CHECK(same.high == Approx(good.high).epsilon(1e-6));
}

// ------------------------------------------------------------------------ cost

namespace {

enum class Width { narrow, looks, any };

// Distinct intervals, most of which no other one equals.
OnsetRows distinct_rows(Width width, std::size_t count) {
  OnsetRows rows;
  dryshaft::draw::Run draws(7);
  for (std::size_t i = 0; i < count; ++i) {
    const double life = 1e5 * std::sqrt(-std::log(1 - draws.next()));
    if (width == Width::narrow) {
      rows.push_back(onset_row(life, draws.next() < 0.3 ? kNoEnd : life + 1));
    } else if (width == Width::any) {
      const double a = 1 + 1e5 * draws.next();
      const double b = 1 + 1e5 * draws.next();
      rows.push_back(onset_row(std::min(a, b), std::max(a, b)));
    } else {
      double left = 0;
      double at = 1e5 * draws.next();
      while (at < life) {
        left = at;
        at += 1e4 + 9e4 * draws.next();
      }
      rows.push_back(onset_row(left, at));
    }
  }
  return rows;
}

}  // namespace

TEST_CASE("The work of the steps grows with the intervals, and little faster") {
  // Ten times the intervals. Narrow ones tie neighbours alone: in proportion. Where all overlap the
  // steps are few, about the root of their number, and each system goes by the cube of these.
  const std::pair<Width, double> most[] = {
      {Width::narrow, 15}, {Width::looks, 45}, {Width::any, 75}};
  for (const auto& [width, factor] : most) {
    CAPTURE(static_cast<int>(width));
    const auto few = dryshaft::step_estimate(distinct_rows(width, 2000), 0);
    const auto many = dryshaft::step_estimate(distinct_rows(width, 20000), 0);
    CHECK(few.converged);
    CHECK(many.converged);
    CHECK(many.gap < 1e-8);
    CHECK(many.work > 5 * few.work);
    CHECK(many.work < factor * few.work);
    CHECK(many.iterations < 60);
  }
}

TEST_CASE("Many narrow intervals are brought to their optimum, and so are resamples of them") {
  const auto many = dryshaft::step_estimate(distinct_rows(Width::narrow, 200000), 0);
  CHECK(many.converged);
  CHECK(many.gap < 1e-7);
  const OnsetRows rows = distinct_rows(Width::narrow, 4000);
  const auto one = dryshaft::step_estimate(rows, 0);
  std::size_t told = 0;
  const auto resampled =
      dryshaft::step_estimate(rows, 5, [&](std::size_t done) { CHECK(done == ++told); });
  CHECK(told == 5);
  CHECK(resampled.resamples == 5);
  CHECK(resampled.work < 20 * one.work);
}

TEST_CASE("What groups share is solved for apart from them") {
  using dryshaft::onset::Arrow;
  Arrow arrow{Eigen::Vector3d(2, 3, 5), Eigen::MatrixXd(3, 2), Eigen::Matrix2d()};
  arrow.joint << 0.1, 0.2, 0.3, -0.4, 0.5, 0.6;
  arrow.shared << 4, 0.7, 0.7, 6;
  Eigen::MatrixXd whole = Eigen::MatrixXd::Zero(5, 5);
  whole.diagonal().head(3) = arrow.own;
  whole.topRightCorner(3, 2) = arrow.joint;
  whole.bottomLeftCorner(2, 3) = arrow.joint.transpose();
  whole.bottomRightCorner(2, 2) = arrow.shared;
  Eigen::VectorXd right(5);
  right << 1, -2, 3, -4, 5;
  CHECK(arrow.along(right) == Approx(right.dot(whole * right)).epsilon(1e-13));
  REQUIRE(arrow.solve(right));
  CHECK((whole * *arrow.solve(right) - right).norm() < 1e-13);
  const Eigen::MatrixXd inverse = whole.inverse();
  const dryshaft::onset::ArrowInverse by_parts(arrow);
  for (Eigen::Index i = 0; i < 5; ++i) {
    for (Eigen::Index j = 0; j < 5; ++j) {
      CHECK(by_parts.at(i, j) == Approx(inverse(i, j)).margin(1e-14));
    }
  }
  CHECK(by_parts.along({{1, 2.0}, {4, -1.0}}) ==
        Approx(4 * inverse(1, 1) - 4 * inverse(1, 4) + inverse(4, 4)).epsilon(1e-12));
  arrow.own[1] = 0;
  CHECK_FALSE(arrow.solve(right));
}

TEST_CASE("Many groups hold what they take, and no more") {
  // Groups alike: no factor, the shape of all, and each factor's error from two groups.
  OnsetRows rows;
  constexpr std::size_t kGroups = 3000;
  const OnsetRows each = {onset_row(0, 100, 4), onset_row(100, 200, 3), onset_row(200, kNoEnd, 3)};
  for (std::size_t g = 0; g < kGroups; ++g) {
    for (OnsetInterval r : each) {
      r.group = "g" + std::to_string(g);
      rows.push_back(r);
    }
  }
  const CurveFit alone = dryshaft::fit_curve(CurveKind::weibull, each);
  const auto grouped = dryshaft::fit_regression(CurveKind::weibull, rows);
  REQUIRE(grouped.status == FitStatus::converged);
  REQUIRE(grouped.groups.size() == kGroups);
  CHECK(grouped.shape == Approx(alone.shape).epsilon(1e-9));
  for (const auto& g : {grouped.groups[1], grouped.groups.back()}) {
    CHECK(g.log_factor == Approx(0).margin(1e-9));
    CHECK(g.scale == Approx(alone.scale).epsilon(1e-9));
    CHECK(g.se_log_factor == Approx(grouped.groups[1].se_log_factor).epsilon(1e-9));
  }
  CHECK(grouped.p_value == Approx(1));
  CHECK(grouped.degrees == static_cast<int>(kGroups) - 1);
  // What the search works on grows with the groups, not with their square.
  const auto numbers = [](std::size_t groups) {
    const dryshaft::onset::Shape shape{.groups = groups};
    const Eigen::VectorXd at = Eigen::VectorXd::Ones(shape.size());
    const auto slopes = dryshaft::onset::slopes_at(shape, {}, at);
    return slopes.gradient.size() + slopes.bend.own.size() + slopes.bend.joint.size() +
           slopes.bend.shared.size();
  };
  CHECK(numbers(1000) < 110 * numbers(10));
}
