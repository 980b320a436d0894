"""A unit's life reckoned a second time: drawn histories through `assess`, and through R.

Usage: life_r_test.py PROGRAM [HISTORIES]

R reads the shipped rule data and steps the hidden chain on an even grid of working kilometres by
Heun's rule: no tables, no doubling, no closed form but for what etches and what hums. Nothing of it
comes from the program. Skipped only where there is no R.
"""
import datetime
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import unittest

HISTORIES = int(sys.argv.pop(2)) if len(sys.argv) > 2 and sys.argv[2].isdigit() else 700
PROGRAM = os.path.abspath(sys.argv.pop(1))
RULES = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "data", "rules")
TODAY = datetime.date(2026, 6, 15)
TOLERANCE = 0.002
SPARED = 1e-9
STEP_KM = 250  # half of it moves R's own answer by a fraction of the tolerance

# Arguments: the rule data as "path<TAB>value" lines, the histories, the step. Prints for each unit
# the chance that nothing is harmed yet, its causes, the risk, and damage and breakdown ahead.
SCRIPT = r"""
args <- commandArgs(trailingOnly = TRUE)
step <- as.numeric(args[3])
flat <- read.delim(args[1], header = FALSE, quote = "", stringsAsFactors = FALSE)
rule <- setNames(flat$V2, flat$V1)
num <- function(...) as.numeric(rule[[paste(..., sep = "/")]])
has <- function(...) paste(..., sep = "/") %in% names(rule)
below <- function(...) {  # numbers under a path, in the order of the data
  path <- paste0(paste(..., sep = "/"), "/")
  at <- startsWith(names(rule), path)
  setNames(as.numeric(rule[at]), substring(names(rule)[at], nchar(path) + 1))
}
ids <- function(list) unique(sub("/.*", "", substring(
  names(rule)[startsWith(names(rule), paste0(list, "/"))], nchar(list) + 2)))
setting <- function(id) num("settings", id, "value")

# ---- the chain: columns seal (tight, damp, wet, dripping) x rotor bearings x insulation (whole,
# harmed, broken down); rows etched rotor bearings x etched gearbox bearings x noise from outside.
seal <- rep(0:3, each = 9); corr <- rep(rep(0:2, each = 3), 4); insu <- rep(0:2, 12)
rests <- expand.grid(rotor = 0:1, gear = 0:1, outside = 0:1)
rest_km <- setting("rest-km-per-day") * 365.25           # a year at rest, in working km
usual <- setting("base-km")
usual_working <- usual + rest_km * usual / setting("km-per-year")
share_to_hazard <- function(share) -log(1 - share)
stages <- ids("stages"); harms <- ids("harms")
leaves <- c(0, sapply(stages, function(s) if (has("stages", s, "lasts_km")) 1 / num("stages", s, "lasts_km") else 0))
reaches <- c(0, sapply(stages, function(s) num("stages", s, "reaches")))
onset <- lapply(harms, function(h) share_to_hazard(num("causes", rule[[paste0("harms/", h, "/cause")]], "base")) /
  usual_working + c(0, 1 / below("harms", h, "after_km")))
breaks <- sapply(harms, function(h) 1 / num("harms", h, "breakdown_km"))
chain <- matrix(0, 36, 36)
for (from in 1:36) for (to in 1:36) {
  moved <- c(seal[to] - seal[from], corr[to] - corr[from], insu[to] - insu[from])
  if (identical(moved, c(1L, 0L, 0L))) chain[from, to] <- leaves[seal[from] + 1]
  if (identical(moved, c(0L, 1L, 0L))) chain[from, to] <- if (corr[from] == 0) onset[[1]][seal[from] + 1] else breaks[1]
  if (identical(moved, c(0L, 0L, 1L))) chain[from, to] <- if (insu[from] == 0) onset[[2]][seal[from] + 1] else breaks[2]
}
diag(chain) <- -rowSums(chain)
tight <- 1:9; damp <- 10:18
new_leaks <- num("causes/seal-leak/base")
wear <- function(km, years) {
  (km / num("causes/seal-leak/wear/scale_km"))^num("causes/seal-leak/wear/shape") +
    (years / num("causes/seal-leak/wear/scale_years"))^num("causes/seal-leak/wear/shape")
}
wearing <- rule[startsWith(names(rule), "causes/seal-leak/wear/rotor_cooling/")]

renew <- function(x) {
  x[, tight] <- x[, tight] + x[, 10:18] + x[, 19:27] + x[, 28:36]
  x[, 10:36] <- 0
  x[, damp] <- x[, tight] * new_leaks
  x[, tight] <- x[, tight] * (1 - new_leaks)
  x
}
fold <- function(x, gone, where) {  # whatever `gone` counts is whole again
  for (k in which(gone > 0)) { x[, where[k]] <- x[, where[k]] + x[, k]; x[, k] <- 0 }
  x
}
end_leak <- function(x) fold(x, seal, (1:36) - 9 * seal)
end_rows <- function(x, bit, place) {
  for (k in which(bit > 0)) { x[k - place, ] <- x[k - place, ] + x[k, ]; x[k, ] <- 0 }
  x
}

# One way driven. `undated`: on it the rotor circuit was bypassed, any moment as likely as any other.
drive <- function(unit, km, years, undated = FALSE) {
  way <- km + rest_km * years
  n <- max(1, ceiling(way / step)); dt <- way / n
  wears <- unit$cooling %in% wearing
  part <- (0:n) / n
  gone <- if (wears) diff(wear(unit$km + km * part, unit$years + years * part)) else rep(0, n)
  leak <- matrix(0, 36, 36)
  leak[cbind(tight, tight)] <- -1; leak[cbind(tight, damp)] <- 1
  x <- unit$x; bypassed <- x * 0
  if (way > 0) for (k in 1:n) {
    if (undated) {  # half of the step's share at its beginning, half at its end
      share <- 0.5 / (n - k + 1)
      bypassed <- bypassed + end_leak(x * share)
      x <- x * (1 - share)
    }
    pace <- chain * dt
    pace[tight, ] <- pace[tight, ] + leak[tight, ] * gone[k]
    one <- x %*% pace
    x <- x + one + 0.5 * (one %*% pace)
    if (undated) {
      dry <- chain * dt
      one <- bypassed %*% dry
      bypassed <- bypassed + one + 0.5 * (one %*% dry)
      bypassed <- bypassed + end_leak(x * share / (1 - share))
      x <- x * (1 - share / (1 - share))
    }
  }
  if (undated) { x <- x + bypassed; unit$cooling <- "bypassed" }
  # Etching and outside noise owe nothing to the rest, and have their closed form.
  etch <- function(cause, by, material, from, to) {
    base <- if (has("causes", cause, "base", material)) num("causes", cause, "base", material) else num("causes", cause, "base", "unknown")
    turned <- function(at) (at / usual)^setting("erosion-shape")
    p <- 1 - exp(-share_to_hazard(base) * (turned(to) - turned(from)))
    matrix(c(1 - p, 0, p, 1), 2)
  }
  settled <- 1 - exp(-km / setting("outside-noise-km"))
  hum <- num("causes/outside-noise/base")
  outside <- matrix(c(1 - settled * hum, settled * (1 - hum), settled * hum, 1 - settled * (1 - hum)), 2)
  rotor <- etch("rotor-bearing-erosion", "rotor_bearings", unit$rotor, unit$rotor_km, unit$rotor_km + km)
  gear <- etch("gear-bearing-erosion", "gear_bearings", unit$gear, unit$gear_km, unit$gear_km + km)
  unit$x <- t(kronecker(outside, kronecker(gear, rotor))) %*% x
  unit$km <- unit$km + km; unit$years <- unit$years + years
  unit$rotor_km <- unit$rotor_km + km; unit$gear_km <- unit$gear_km + km
  unit
}

# ---- what a look shows. A level is the worst that anything there brings about.
links <- ids("links"); broken <- ids("broken"); backgrounds <- ids("backgrounds")
of <- function(list, ids, key) sapply(ids, function(i) rule[[paste(list, i, key, sep = "/")]])
link_finding <- of("links", links, "finding"); link_cause <- of("links", links, "cause")
broken_finding <- of("broken", broken, "finding"); broken_cause <- of("broken", broken, "cause")
background <- setNames(backgrounds, of("backgrounds", backgrounds, "finding"))
grid <- function(v) matrix(rep(v, each = 8), 8)
there <- function(reached) list(
  "seal-leak" = reached, "rotor-bearing-corrosion" = grid(corr > 0), "insulation-loss" = grid(insu > 0),
  "rotor-bearing-erosion" = matrix(rests$rotor > 0, 8, 36), "gear-bearing-erosion" = matrix(rests$gear > 0, 8, 36),
  "outside-noise" = matrix(rests$outside > 0, 8, 36))
broken_down <- list("rotor-bearing-corrosion" = grid(corr == 2), "insulation-loss" = grid(insu == 2))

chance_of <- function(finding, level, present) {
  anyway <- below("backgrounds", background[[finding]], "anyway")
  or_worse <- function(l) {
    if (l == 0) return(matrix(1, 8, 36))
    if (l > length(anyway)) return(matrix(0, 8, 36))
    spared <- matrix(1 - anyway[[l]], 8, 36)
    for (i in which(link_finding == finding)) {
      spared <- spared * ifelse(present[[link_cause[i]]], 1 - below("links", links[i], "shows")[[l]], 1)
    }
    g <- 1 - spared
    for (i in which(broken_finding == finding)) {  # a unit that has broken down so shows it so
      g <- ifelse(broken_down[[broken_cause[i]]], below("broken", broken[i], "shows")[[l]], g)
    }
    g
  }
  l <- if (level %in% names(anyway)) match(level, names(anyway)) else 0
  or_worse(l) - or_worse(l + 1)
}
causes <- c("seal-leak", "rotor-bearing-corrosion", "rotor-bearing-erosion", "gear-bearing-erosion",
            "insulation-loss", "outside-noise")
only_explains <- c("noise-load", "noise-pitch", "noise-outside", "noise-onset", "noise-level")
kept <- new.env()
likelihood <- function(seen, newest) {
  if (!newest) seen <- seen[!(names(seen) %in% only_explains)]
  key <- paste(newest, paste(names(seen), seen, collapse = ","))
  stands <- seen[names(seen) == "stands"]  # a finding of an earlier look that nobody has read again
  seen <- seen[names(seen) != "stands"]
  if (!is.null(kept[[key]])) return(kept[[key]])
  at_tip <- function(reached) {
    p <- matrix(1, 8, 36)
    for (f in setdiff(names(seen), "opened-seal-leak")) {
      p <- p * chance_of(f, seen[[f]], there(matrix(reached, 8, 36)))
    }
    p
  }
  reach <- grid(reaches[seal + 1])
  p <- reach * at_tip(TRUE) + (1 - reach) * at_tip(FALSE)
  if ("opened-seal-leak" %in% names(seen)) {
    p <- p * chance_of("opened-seal-leak", seen[["opened-seal-leak"]], there(grid(seal > 0)))
  }
  for (cause in names(broken_down)) {  # who looks at one that has broken down says so
    said <- FALSE
    for (i in which(broken_cause == cause)) {
      worst <- tail(names(below("broken", broken[i], "shows")), 1)
      said <- said || (broken_finding[i] %in% names(seen) && seen[[broken_finding[i]]] == worst) ||
        paste0(broken_finding[i], ":", worst) %in% stands
    }
    if (!said) p <- p * ifelse(broken_down[[cause]], setting("broken-unsaid"), 1)
  }
  kept[[key]] <- p
  p
}

# ---- the histories
report <- function(unit) {
  x <- unit$x
  harmed <- corr > 0 | insu > 0; down <- corr == 2 | insu == 2
  found <- c(sum(x[, seal > 0]), sum(x[, corr > 0]), sum(x[rests$rotor > 0, ]), sum(x[rests$gear > 0, ]),
             sum(x[, insu > 0]), sum(x[rests$outside > 0, ]), sum(x[, seal > 0 | harmed]))
  ahead <- c()
  spared <- function(x) c(sum(x[, !harmed]), sum(x[, !down]))
  now <- spared(x); at <- 0
  for (km in unit$ahead) {
    unit <- drive(unit, km - at, (km - at) / setting("km-per-year")); at <- km
    ahead <- c(ahead, 1 - spared(unit$x) / now)
  }
  cat(unit$id, format(c(min(now), found, ahead), digits = 8), "\n")
}
for (line in strsplit(readLines(args[2]), " ")) {
  pairs <- strsplit(line[-1], "=", fixed = TRUE)
  a <- setNames(sapply(pairs, `[`, 2), sapply(pairs, `[`, 1))
  n <- function(key) as.numeric(a[[key]])
  switch(line[1],
    unit = {
      x <- matrix(0, 8, 36); x[1, 1] <- 1
      unit <- list(id = a[["id"]], x = renew(x), km = 0, years = 0, rotor_km = 0, gear_km = 0,
                   cooling = a[["cooling"]], rotor = a[["rotor"]], gear = a[["gear"]],
                   ahead = as.numeric(strsplit(a[["ahead"]], ",")[[1]]))
    },
    drive = unit <- drive(unit, n("km"), n("years"), "undated" %in% names(a)),
    look = {
      last <- a[["newest"]] == "yes"
      x <- unit$x * likelihood(a[names(a) != "newest"], last)
      unit$x <- x / sum(x)
      if (last) report(unit)
    },
    "seal-renewed" = { unit$x <- renew(unit$x); unit$km <- 0; unit$years <- 0 },
    "rotor-bearings-renewed" = {
      unit$x <- end_rows(fold(unit$x, corr, (1:36) - 3 * corr), rests$rotor, 1)
      unit$rotor_km <- 0; unit$rotor <- a[["material"]]
    },
    "gear-bearings-renewed" = {
      unit$x <- end_rows(unit$x, rests$gear, 2); unit$gear_km <- 0; unit$gear <- a[["material"]]
    },
    "winding-dried" = unit$x <- fold(unit$x, insu, (1:36) - insu),
    "noise-repaired-elsewhere" = unit$x <- end_rows(unit$x, rests$outside, 4),
    "rotor-circuit-bypassed" = { unit$x <- end_leak(unit$x); unit$cooling <- "bypassed" },
    stop(line[1]))
}
"""

CAUSES = ("seal-leak", "rotor-bearing-corrosion", "rotor-bearing-erosion", "gear-bearing-erosion",
          "insulation-loss", "outside-noise")
WORK = ("seal-renewed", "rotor-bearings-renewed", "gear-bearings-renewed", "winding-dried",
        "noise-repaired-elsewhere", "rotor-circuit-bypassed")
AHEAD = [f"{what} ahead, {n}" for n in (1, 2, 3) for what in ("damage", "breakdown")]
MEGOHM = {"sound": 200.0, "below-ieee43": 2.0, "below-500": 0.1, "below-100": 0.02}  # 400 V, 40 deg C


def flat(value, path=""):
    """Lines "path<TAB>value"; a list's items go by their id, else by number."""
    if isinstance(value, dict):
        for key, member in value.items():
            yield from flat(member, f"{path}/{key}")
    elif isinstance(value, list):
        for number, item in enumerate(value):
            name = item["id"] if isinstance(item, dict) else number
            yield from flat(item, f"{path}/{name}")
    else:
        yield f"{path[1:]}\t{value}\n"


def months_before(date, months):
    count = date.year * 12 + date.month - 1 - months
    return datetime.date(count // 12, count % 12 + 1, 15)


class History:
    """One unit: its records, and the same for R, an event a line."""

    def __init__(self, draw, number):
        self.draw = draw
        self.id = f"L-{number}"
        self.cooling = draw.choices(["wet", "unknown", "factory-dry"], [8, 1, 1])[0]
        self.rotor = draw.choice(["steel", "hybrid", "unknown"])
        self.gear = draw.choice(["steel", "hybrid", "unknown"])
        self.material = {"rotor": self.rotor, "gear": self.gear}
        self.records = []
        self.events = []
        self.clouded = draw.random() < 0.4  # bad news is likelier
        self.renewed_otherwise = False
        self.undated = False
        self.dry = self.cooling == "factory-dry"
        self.insulation = "sound"  # as last read, since the winding was last dried
        self.run()

    def run(self):
        draw = self.draw
        count = draw.choice([1, 1, 2, 3, 4, 5, 6, 8])
        gaps = [draw.randint(2, 30) for _ in range(count - 1)]
        date = months_before(TODAY, sum(gaps))
        fitted = draw.choice([0, 0, 0, draw.uniform(5000, 60000)])
        odometer = fitted + draw.uniform(3000, draw.choice([60000, 200000, 450000]))
        unit = {"rotor_cooling": self.cooling, "rotor_bearings": self.rotor,
                "gear_bearings": self.gear, "system_voltage_v": 400}
        if fitted > 0:
            unit["fitted_odometer_km"] = round(fitted)
        odometer, fitted = round(odometer), round(fitted)
        if draw.random() < 0.6:
            age = draw.randint(3, 180)
            unit["built"] = months_before(date, age).strftime("%Y-%m")
            years = age / 12
        else:
            years = (odometer - fitted) / 20000
        undated_at = draw.randint(0, count - 1) if not self.dry and draw.random() < 0.12 else None
        self.drive(odometer - fitted, years, undated_at == 0)
        for look in range(count):
            record = {"format": "dryshaft-record/1", "unit": {"id": self.id}, "inspection": {}}
            undated = look == undated_at
            if look > 0:
                further = round(draw.uniform(500, 3500) * gaps[look - 1])
                further = max(10, min(further, 600000 - odometer))
                then = months_before(date, -gaps[look - 1])
                works = [] if undated else self.work(undated_at is not None)
                if works:
                    self.with_work(works, record, date, then, odometer, further, "built" in unit)
                else:
                    self.drive(further, self.years(date, then, "built" in unit), undated)
                odometer, date = odometer + further, then
            else:
                record["unit"].update({k: v for k, v in unit.items() if v != "unknown"})
            if undated_at is not None and look >= undated_at:
                record["unit"]["rotor_cooling"] = "bypassed"
                self.dry = True
            record["inspection"].update(date=date.isoformat(), odometer_km=odometer)
            self.look(record, look + 1 == count)
            self.records.append(record)

    @staticmethod
    def years(start, end, by_months):
        months = (end.year - start.year) * 12 + end.month - start.month
        return months / 12 if by_months else (end - start).days / 365.25

    def drive(self, km, years, undated=False):
        self.undated |= undated
        self.events.append(f"drive km={km!r} years={years!r}" + (" undated=yes" if undated else ""))

    def work(self, undated):
        if self.draw.random() > 0.35:
            return []
        did = self.draw.sample(WORK, self.draw.choice([1, 1, 2]))
        if self.cooling != "wet" or undated or self.dry:
            did = [w for w in did if w != "rotor-circuit-bypassed"]
        return did

    def with_work(self, works, record, date, then, odometer, further, by_months):
        days = (then - date).days
        done = date + datetime.timedelta(days=self.draw.randint(5, days - 5))
        at = odometer + round(further * (done - date).days / days)
        years = self.years(date, then, by_months)
        rest = (then - done).days / 365.25
        self.drive(at - odometer, max(0.0, years - rest))
        record["work"] = []
        material = self.material
        for did in works:
            entry = {"did": did, "date": done.isoformat(), "odometer_km": at}
            event = did
            if did.endswith("bearings-renewed"):
                entry["material"] = self.draw.choice(["steel", "hybrid"])
                bearings = did.split("-")[0]
                self.renewed_otherwise |= entry["material"] != material[bearings]
                material[bearings] = entry["material"]
                event += f" material={entry['material']}"
            if did == "rotor-circuit-bypassed":
                self.dry = True
            if did == "winding-dried":
                self.insulation = "sound"
            record["work"].append(entry)
            self.events.append(event)
        self.drive(odometer + further - at, min(years, rest))

    def pick(self, *levels):
        """The first level mostly; under a cloud the others more often."""
        bad = 0.35 if self.clouded else 0.06
        return levels[0] if self.draw.random() > bad else self.draw.choice(levels[1:])

    def look(self, record, newest):
        draw = self.draw
        inspection = record["inspection"]
        seen = {}
        if newest or draw.random() < 0.9:
            seen["port-fluid"] = self.pick("none", "film", "droplets", "pooled")
            port = inspection["port"] = {"checked": True, "fluid": seen["port-fluid"]}
            if seen["port-fluid"] != "none" and (self.dry or draw.random() < 0.9):
                kinds = ["gear-oil", "water", "emulsion", "coolant"]
                seen["port-fluid-kind"] = draw.choice(kinds[:2] if self.dry else kinds)
                port["fluid_kind"] = seen["port-fluid-kind"]
                if seen["port-fluid-kind"] == "water":
                    port["glycol_percent"] = 0
            if newest or draw.random() < 0.8:
                seen["port-residue"] = self.pick("absent", "present")
                port["dried_residue"] = seen["port-residue"] == "present"
                seen["port-rust"] = self.pick("none", "light", "heavy")
                port["corrosion"] = seen["port-rust"]
                seen["port-debris"] = self.pick("none", "fine", "chips")
                port["debris"] = seen["port-debris"]
        if newest or draw.random() < 0.7:
            seen["noise"] = self.pick("absent", "present")
            noise = inspection["noise"] = {"present": seen["noise"] == "present"}
            if noise["present"] and draw.random() < 0.7:
                seen["noise-load"] = draw.choice(["otherwise", "under-load"])
                noise["when"] = ["accelerating"] if seen["noise-load"] == "under-load" else ["coasting"]
                seen["noise-outside"] = draw.choice(["no", "yes"])
                noise["changes_with_steering_or_surface"] = seen["noise-outside"] == "yes"
                seen["noise-level"] = draw.choice(["faint", "clear", "loud"])
                noise["level"] = seen["noise-level"]
                seen["noise-pitch"] = draw.choice(["no", "yes"])
                noise["pitch_follows_speed"] = seen["noise-pitch"] == "yes"
        if newest or draw.random() < 0.7:
            seen["rotation"] = self.pick("free", "stiff", "seized")
            inspection["rotation"] = seen["rotation"]
        if newest or draw.random() < 0.7:
            seen["isolation-fault"] = self.pick("none", "stored", "active")
            seen["shutdown"] = self.pick("no", "yes")
            seen["reduced-power"] = self.pick("no", "yes")
            inspection["faults"] = {"isolation": seen["isolation-fault"],
                                    "shutdown": seen["shutdown"] == "yes",
                                    "reduced_power": seen["reduced-power"] == "yes"}
        if draw.random() < 0.3:
            seen["insulation"] = self.pick("sound", "below-ieee43", "below-500", "below-100")
            self.insulation = seen["insulation"]
            inspection["insulation"] = {"resistance_mohm": MEGOHM[seen["insulation"]],
                                        "test_voltage_v": 500, "winding_temp_c": 40}
        if draw.random() < 0.2:
            loss = self.pick("none", "some", "marked")
            seen["coolant-loss"] = loss
            inspection["coolant"] = {"loss_ml_per_1000km": {"none": 0, "some": 40, "marked": 150}[loss]}
        if not newest and draw.random() < 0.05:
            for cause in ("seal-leak", "rotor-bearing-corrosion", "insulation-loss"):
                seen[f"opened-{cause}"] = self.pick("absent", "present")
                record.setdefault("teardown", {})[cause] = seen[f"opened-{cause}"]
        if newest and "insulation" not in seen:
            seen["stands"] = f"insulation:{self.insulation}"
        if seen:
            self.events.append(f"look newest={'yes' if newest else 'no'} " +
                               " ".join(f"{k}={v}" for k, v in seen.items()))


@unittest.skipUnless(shutil.which("Rscript"), "R is not installed")
class AgainstR(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        draw = random.Random(2611)
        cls.units = [History(draw, n) for n in range(HISTORIES)]
        cls.folder = tempfile.TemporaryDirectory()
        cls.records = os.path.join(cls.folder.name, "records.jsonl")
        with open(cls.records, "w", encoding="utf-8") as out:
            for unit in cls.units:
                out.writelines(json.dumps(r) + "\n" for r in unit.records)
        done = subprocess.run([PROGRAM, "assess", "--format", "jsonl", "--today", TODAY.isoformat(),
                               cls.records], capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(done.stderr)
        cls.reports = {r["unit_id"]: r for r in map(json.loads, done.stdout.splitlines())}
        cls.rules = os.path.join(cls.folder.name, "rules.txt")
        with open(cls.rules, "w", encoding="utf-8") as out:
            for name in ("causes", "life", "links", "rules"):
                with open(os.path.join(RULES, name + ".json"), encoding="utf-8") as file:
                    out.writelines(flat(json.load(file)))
        cls.script = os.path.join(cls.folder.name, "life.R")
        with open(cls.script, "w", encoding="utf-8") as out:
            out.write(SCRIPT)
        cls.by_r = cls.run_r(cls.units, STEP_KM)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    @classmethod
    def run_r(cls, units, step):
        told = os.path.join(cls.folder.name, "histories.txt")
        with open(told, "w", encoding="utf-8") as out:
            for unit in units:
                ahead = ",".join(str(p["km"]) for p in cls.reports[unit.id]["prognosis"])
                out.write(f"unit id={unit.id} cooling={unit.cooling} rotor={unit.rotor} "
                          f"gear={unit.gear} ahead={ahead or 0}\n")
                out.writelines(e + "\n" for e in unit.events)
        done = subprocess.run(["Rscript", "--vanilla", cls.script, cls.rules, told, str(step)],
                              capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(done.stderr)
        return {line.split()[0]: [float(x) for x in line.split()[1:]]
                for line in done.stdout.splitlines()}

    def printed(self, unit):
        report = self.reports[unit.id]
        by_id = {c["id"]: c["probability"] for c in report["causes"]}
        return [by_id[c] for c in CAUSES] + [report["risk"]]

    def ahead(self, unit):
        return [p[what]["probability"] for p in self.reports[unit.id]["prognosis"]
                for what in ("damage", "breakdown")]

    def agree(self, units, least):
        """Causes and risk; what is to come, unless hardly a unit is spared so far."""
        apart = []
        for unit in units:
            unharmed, *theirs = self.by_r[unit.id]
            names, ours = [*CAUSES, "risk"], self.printed(unit)
            if unharmed > SPARED and self.ahead(unit):
                names, ours = names + AHEAD, ours + self.ahead(unit)
                self.assertEqual(len(ours), len(theirs), unit.id)
            apart += [(abs(a - b), n, unit.id) for n, a, b in zip(names, ours, theirs)
                      if not abs(a - b) <= TOLERANCE]
        self.assertGreaterEqual(len(units), least)
        self.assertEqual(apart, [])

    def test_probabilities(self):
        self.agree([u for u in self.units if not u.renewed_otherwise and not u.undated], 500)

    def test_bearings_renewed_in_another_material(self):
        self.agree([u for u in self.units if u.renewed_otherwise and not u.undated],
                   30)

    def test_a_bypass_that_nobody_dates(self):
        self.agree([u for u in self.units if u.undated and not u.renewed_otherwise],
                   30)

    def test_what_is_to_come_of_units_that_are_hardly_spared(self):
        apart = []
        for unit in self.units:
            unharmed, *theirs = self.by_r[unit.id]
            if unharmed <= SPARED:
                apart += [(unit.id, unharmed, a, b) for a, b in zip(self.ahead(unit), theirs[7:])
                          if not abs(a - b) <= TOLERANCE]
        self.assertEqual(apart, [])

    def test_r_has_a_small_error_of_its_own(self):
        some = self.units[::25]
        finer = self.run_r(some, STEP_KM / 2)
        moved = max(abs(a - b) for u in some for a, b in zip(finer[u.id], self.by_r[u.id]))
        self.assertLessEqual(moved, TOLERANCE / 10)

    def test_the_histories_are_not_all_alike(self):
        works = [w["did"] for u in self.units for r in u.records for w in r.get("work", [])]
        self.assertEqual(set(works), set(WORK))
        self.assertTrue(all(works.count(w) >= 20 for w in WORK))
        risks = [self.reports[u.id]["risk"] for u in self.units]
        self.assertGreaterEqual(sum(r < 0.05 for r in risks), 50)
        self.assertGreaterEqual(sum(0.05 <= r < 0.95 for r in risks), 100)
        self.assertGreaterEqual(sum(r >= 0.95 for r in risks), 50)


if __name__ == "__main__":
    unittest.main()
