// 100,000 units fitted here and by R's survreg, on the same data in one run:
//
//     onset_speed_bench [UNITS]
//
// Prints the seconds that each fit takes, reading left out on both sides, the best of seven, and
// the ratio. R has its own default tolerance. Needs Rscript and the R package survival.
#include <fmt/core.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <span>
#include <string>
#include <vector>

#include "base/draw.hpp"
#include "dryshaft/onset.hpp"

namespace {

constexpr const char* kScript = R"(
suppressMessages(library(survival))
a <- commandArgs(trailingOnly = TRUE)
d <- read.csv(a[1])
left <- ifelse(d$left == 0, NA, d$left)
right <- ifelse(is.infinite(d$right), NA, d$right)
y <- Surv(left, right, type = "interval2")
for (dist in c("weibull", "lognormal", "loglogistic")) {
  best <- Inf
  for (i in 1:7) best <- min(best, system.time(f <- survreg(y ~ 1, dist = dist))[["elapsed"]])
  cat(dist, best, format(f$loglik[2], digits = 15), "\n")
}
)";

}  // namespace

int main(int argc, char** argv) {
  const std::span<char*> arguments(argv, static_cast<std::size_t>(argc));
  const int units = argc > 1 ? std::atoi(arguments[1]) : 100000;
  std::vector<dryshaft::OnsetInterval> rows;
  dryshaft::draw::Run draw(5);
  std::string folder = "/tmp/onset-speed-XXXXXX";
  if (mkdtemp(folder.data()) == nullptr) {
    return 1;
  }
  const std::string table = folder + "/rows.csv";
  const std::string script = folder + "/fit.R";
  std::FILE* out = std::fopen(table.c_str(), "we");
  fmt::print(out, "left,right\n");
  for (int i = 0; i < units; ++i) {
    const double life = 200000 * std::pow(-std::log(draw.inside()), 1 / 2.5);
    dryshaft::OnsetInterval row;
    const double end = 350000 * draw.inside();
    for (double at = 120000 * draw.inside(); at < end || row.left == 0;
         at += 10000 + 50000 * draw.inside()) {
      if (at >= life) {
        row.right = at;
        break;
      }
      row.left = at;
    }
    fmt::print(out, "{},{}\n", row.left,
               std::isfinite(row.right) ? fmt::format("{}", row.right) : "Inf");
    rows.push_back(row);
  }
  std::fclose(out);
  out = std::fopen(script.c_str(), "we");
  std::fputs(kScript, out);
  std::fclose(out);

  using Clock = std::chrono::steady_clock;
  std::vector<double> ours;
  for (const auto kind : {dryshaft::CurveKind::weibull, dryshaft::CurveKind::lognormal,
                          dryshaft::CurveKind::log_logistic}) {
    double best = 1e9;
    for (int i = 0; i < 7; ++i) {
      const auto begin = Clock::now();
      const auto fit = dryshaft::fit_curve(kind, rows);
      best = std::min(best, std::chrono::duration<double>(Clock::now() - begin).count());
      if (i == 6) {
        fmt::print("{:<12} {:.4f} s, log likelihood {:.4f}\n", name(kind), best,
                   fit.log_likelihood);
      }
    }
    ours.push_back(best);
  }
  std::fflush(stdout);
  std::FILE* r = popen(fmt::format("Rscript --vanilla {} {}", script, table).c_str(), "re");
  char dist[32];
  double seconds = 0;
  double value = 0;
  for (std::size_t i = 0;
       i < ours.size() && std::fscanf(r, "%31s %lf %lf", dist, &seconds, &value) == 3; ++i) {
    fmt::print("survreg {:<12} {:.4f} s, log likelihood {:.4f}: ours takes {:.3f} of that\n", dist,
               seconds, value, ours[i] / seconds);
  }
  pclose(r);
  std::remove(table.c_str());
  std::remove(script.c_str());
  rmdir(folder.c_str());
  return 0;
}
