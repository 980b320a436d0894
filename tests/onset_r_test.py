"""The same intervals through `fit onset` and through R's survival: curves, errors, steps, groups.

Usage: onset_r_test.py PROGRAM

survreg prints about seven digits of its estimates, and stops when the log likelihood changes by less
than 1e-9 of itself; so its own digits, not ours, set the tolerance. Skipped only where there is no R.
"""
import json
import math
import os
import random
import shutil
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
DATA = os.path.join(os.path.dirname(os.path.abspath(__file__)), "onset_data")

# Reads tables, prints a line a fit: file, curve, intercept, log(sigma), logLik, their variances.
SCRIPT = r"""
suppressMessages(library(survival))
options(digits = 17)
for (file in commandArgs(trailingOnly = TRUE)) {
  d <- read.csv(file, colClasses = c(left = "numeric", right = "numeric"))
  if (is.null(d$count)) d$count <- 1
  right <- ifelse(is.na(d$right) | is.infinite(d$right), NA, d$right)
  left <- ifelse(d$left == 0 & !is.na(right), NA, d$left)
  y <- Surv(left, right, type = "interval2")
  form <- if (is.null(d$group)) y ~ 1 else y ~ factor(d$group)
  for (dist in c("weibull", "lognormal", "loglogistic")) {
    f <- survreg(form, weights = d$count, dist = dist,
                 control = survreg.control(maxiter = 200, rel.tolerance = 1e-11))
    k <- length(coef(f)) + 1
    one <- survreg(y ~ 1, weights = d$count, dist = dist,
                 control = survreg.control(maxiter = 200, rel.tolerance = 1e-11))
    cat(file, dist, coef(f)[1], log(f$scale), f$loglik[2], f$var[1, 1], f$var[k, k],
        if (k > 2) coef(f)[2] else 0, if (k > 2) f$var[2, 2] else 0, one$loglik[2], "\n")
  }
}
"""
NAMES = {"weibull": "weibull", "lognormal": "lognormal", "loglogistic": "log-logistic"}


def write_table(folder, name, rows, head="left,right,count"):
    path = os.path.join(folder, name)
    with open(path, "w", encoding="utf-8") as out:
        out.write(head + "\n")
        for row in rows:
            out.write(",".join("inf" if x == math.inf else repr(x) if isinstance(x, float) else str(x)
                               for x in row) + "\n")
    return path


def looked_at(draw, life, first, between):
    """A unit that begins to leak at `life`, looked at from time to time."""
    left, at = 0.0, draw.uniform(*first)
    while at < life:
        left = at
        if draw.random() < 0.2:
            return left, math.inf
        at += draw.uniform(*between)
    return left, at


def random_tables(folder):
    draw = random.Random(415)
    tables = []
    for number in range(12):
        size = draw.choice([15, 60, 400])
        scale = 10 ** draw.uniform(-2, 6)
        sigma = draw.choice([0.15, 0.5, 1.3])
        rows = []
        for _ in range(size):
            life = scale * math.exp(sigma * math.log(draw.expovariate(1)))
            left, right = looked_at(draw, life, (0, scale), (0.1 * scale, scale))
            if number % 4 == 3 and right != math.inf and draw.random() < 0.3:
                left = right = life
            rows.append((left, right, draw.choice([1, 1, 1, 2, 5])))
        tables.append(write_table(folder, f"random-{number}.csv", rows))
    return tables


@unittest.skipUnless(shutil.which("Rscript"), "R is not installed")
class AgainstR(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.tables = random_tables(cls.folder.name)
        cls.tables += [os.path.join(DATA, name) for name in
                       ("ties.csv", "nine-decades.csv", "huge-counts.csv")]
        draw = random.Random(7)
        rows = []
        for group, scale in (("a", 100.0), ("b", 160.0)):
            for _ in range(80):
                life = scale * draw.expovariate(1) ** 0.5
                rows.append((*looked_at(draw, life, (0, 80), (10, 90)), 1, group))
        cls.grouped = write_table(cls.folder.name, "grouped.csv", rows, "left,right,count,group")
        script = os.path.join(cls.folder.name, "fit.R")
        with open(script, "w", encoding="utf-8") as out:
            out.write(SCRIPT)
        done = subprocess.run(["Rscript", "--vanilla", script, *cls.tables, cls.grouped],
                              capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(done.stderr)
        cls.by_r = {}
        for line in done.stdout.splitlines():
            file, dist, *numbers = line.split()
            # NA: survreg itself went astray, as it must where there is no finite maximum.
            cls.by_r[file, NAMES[dist]] = None if "NA" in numbers else [float(x) for x in numbers]

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def fit(self, table, *more):
        done = subprocess.run([PROGRAM, "fit", "onset", "--table", table, "--format", "json", *more],
                              capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 0, done.stderr)
        return json.loads(done.stdout)

    def close(self, ours, theirs, relative, what):
        self.assertLessEqual(abs(ours - theirs), relative * max(abs(theirs), 1e-3), what)

    def test_curves(self):
        compared = 0
        for table in self.tables:
            curves = self.fit(table)["curves"]
            for kind in NAMES.values():
                what = f"{os.path.basename(table)} {kind}"
                if self.by_r[table, kind] is None or curves[kind]["status"] == "one-distance":
                    # No finite maximum: R runs off towards a step, as far as it gets.
                    self.assertEqual(curves[kind]["status"], "one-distance", what)
                    self.assertTrue(self.by_r[table, kind] is None or
                                    self.by_r[table, kind][1] < -4, what)
                    continue
                compared += 1
                mu, log_sigma, value, var_mu, var_log_sigma = self.by_r[table, kind][:5]
                ours = curves[kind]
                self.assertEqual(ours["status"], "converged", what)
                self.close(ours["log_likelihood"], value, 1e-9, what)
                self.close(ours["mu"], mu, 2e-6, what)
                self.close(ours["log_sigma"], log_sigma, 2e-6, what)
                sigma = math.exp(log_sigma)
                self.close(ours["shape"], sigma if kind == "lognormal" else 1 / sigma, 2e-6, what)
                self.close(ours["scale"], math.exp(mu), 1e-5, what)
                self.close(ours["covariance"]["mu"], var_mu, 1e-4, what)
                self.close(ours["covariance"]["log_sigma"], var_log_sigma, 1e-4, what)
        self.assertGreaterEqual(compared, 36)  # of 45

    def test_groups(self):
        for ours in self.fit(self.grouped, "--by", "group")["regressions"]:
            kind = ours["curve"]
            mu, log_sigma, value, var_mu, var_log_sigma, factor, var_factor, without = \
                self.by_r[self.grouped, kind]
            self.close(ours["mu"], mu, 2e-6, kind)
            self.close(ours["log_sigma"], log_sigma, 2e-6, kind)
            self.close(ours["log_likelihood"], value, 1e-9, kind)
            self.close(ours["log_likelihood_without"], without, 1e-9, kind)
            self.close(ours["se_mu"] ** 2, var_mu, 1e-4, kind)
            self.close(ours["se_log_sigma"] ** 2, var_log_sigma, 1e-4, kind)
            self.close(ours["groups"][1]["log_factor"], factor, 2e-6, kind)
            self.close(ours["groups"][1]["se_log_factor"] ** 2, var_factor, 1e-4, kind)
            self.close(ours["ratio"], 2 * (value - without), 1e-5, kind)

    def test_no_curve_does_better_than_the_steps(self):
        for table in self.tables[:8]:
            fit = self.fit(table)
            self.assertTrue(fit["steps"]["converged"])
            self.assertLess(fit["steps"]["fenchel_gap"], 1e-6)
            if fit["intervals"]["exact"] == 0:  # a density and a chance cannot be compared
                for curve in fit["curves"].values():
                    if curve["status"] == "converged":
                        self.assertGreaterEqual(fit["steps"]["log_likelihood"],
                                                curve["log_likelihood"])


if __name__ == "__main__":
    unittest.main()
