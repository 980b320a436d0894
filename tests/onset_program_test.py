"""`fit onset` and `assess --onset` as people and scripts meet them.

Usage: onset_program_test.py PROGRAM
"""
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
HISTORY = "examples/history-ten-years.jsonl"
DATA = "tests/onset_data"


def run(*arguments, text=""):
    return subprocess.run([PROGRAM, *arguments], input=text.encode(), capture_output=True, check=False)


def record(unit, date, km, port, **more):
    return json.dumps({"format": "dryshaft-record/1", "unit": {"id": unit, "family": "plover-2"},
                       "inspection": {"date": date, "odometer_km": km, "port": port}, **more}) + "\n"


DRY = {"checked": True, "fluid": "none", "dried_residue": False}
WET = {"checked": True, "fluid": "film", "fluid_kind": "coolant"}


class FitOnset(unittest.TestCase):
    def good(self, *arguments, text=""):
        done = run("fit", "onset", *arguments, text=text)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(done.stderr, b"")
        return done.stdout.decode()

    def refused(self, code, *arguments, text=""):
        done = run("fit", "onset", *arguments, text=text)
        self.assertEqual(done.returncode, code, done.stderr)
        self.assertEqual(done.stdout, b"")
        return done.stderr.decode()

    def test_finds_the_truth_of_the_invented_history(self):
        fit = json.loads(self.good(HISTORY, "--format", "json", "--by", "family"))
        self.assertEqual(fit["format"], "dryshaft-onset/1")
        self.assertEqual(fit["axis"], "km")
        weibull = fit["curves"]["weibull"]
        low, high = weibull["shape_95"]
        self.assertTrue(low < 3 < high, weibull)
        regression = fit["regressions"][0]
        plover = {g["name"]: g for g in regression["groups"]}["plover-2"]
        # 230,000 km, and 1/1.3 of what a seal of dunlin-1 lasts
        self.assertLess(abs(plover["scale"] / 230000 - 1), 0.1)
        far = 1.96 * plover["se_log_factor"]
        self.assertLess(abs(plover["log_factor"] + 0.262), far)
        self.assertTrue(fit["steps"]["converged"])
        self.assertTrue(fit["posterior"]["checked"])
        sharp = [fit[which]["shape"]["range_95"] for which in ("prior", "posterior")]
        self.assertGreater(sharp[0][1] - sharp[0][0], 2 * (sharp[1][1] - sharp[1][0]))
        # Not the coolant, which makes no difference there.
        coolant = json.loads(self.good(HISTORY, "--format", "json", "--by", "x_coolant"))
        self.assertGreater(coolant["regressions"][0]["p_value"], 0.01)

    def test_same_bytes_in_any_place(self):
        with open(HISTORY, encoding="utf-8") as lines:
            records = lines.readlines()
        forward = self.good("--format", "json", text="".join(records))
        for env in ({"LC_ALL": "C", "TZ": "Asia/Tokyo"}, {"LC_ALL": "de_DE.UTF-8"}):
            again = subprocess.run([PROGRAM, "fit", "onset", "--format", "json"], check=True,
                                   input="".join(records).encode(), capture_output=True,
                                   env={**os.environ, **env}).stdout.decode()
            self.assertEqual(again, forward)

    def test_formats_say_the_answer_first(self):
        text = self.good(HISTORY)
        self.assertLess(max(map(len, text.splitlines())), 81)
        self.assertTrue(text.startswith("When leaks begin, and how often to check\n"))
        self.assertIn("Answer    On your units a leak begins by", text)
        self.assertLess(text.index("Answer"), text.index("Estimate, data"))
        self.assertIn("What these numbers cannot show", text)
        self.assertIn("# When leaks begin", self.good(HISTORY, "--format", "markdown"))
        page = self.good(HISTORY, "--format", "html")
        self.assertIn("<svg viewBox", page)
        self.assertNotIn("<script", page)
        for bad in ("nan", "inf,", "NaN", "Infinity"):
            self.assertNotIn(bad, page)

    def test_hard_tables_in_every_format(self):
        for name in sorted(os.listdir(DATA)):
            if not name.endswith(".csv"):
                continue
            for unit in ("plain", "km", "years"):
                table = os.path.join(DATA, name)
                fit = json.loads(self.good("--table", table, "--over", unit, "--format", "json"),
                                 parse_constant=self.fail)
                for curve in fit["curves"].values():
                    self.assertEqual(curve["shape"] is None, curve["status"] != "converged", name)
                if unit == "years":
                    continue
                for form in ("text", "html"):
                    out = self.good("--table", table, "--over", unit, "--format", form)
                    self.assertNotIn("nan", out)
                    self.assertNotIn("-inf", out)
                if unit == "plain":
                    self.assertIsNone(fit["posterior"])
                    self.assertIsNone(fit["grader"])

    def test_a_shop_of_twelve_units(self):
        lines = "".join(record(f"u{i}", "2024-01-01", 60000 + 9000 * i, WET if i > 8 else DRY)
                        for i in range(12))
        fit = json.loads(self.good("--format", "json", text=lines))
        at_150 = [p for p in fit["posterior"]["probability"] if p["at"] == 150000][0]
        low, high = at_150["range_95"]
        self.assertGreater(high - low, 0.2)
        self.assertEqual(len(fit["used"]), 12)

    def test_nothing_seen_leak_says_so(self):
        text = self.good(text=record("u1", "2024-01-01", 90000, DRY))
        self.assertIn("no leak was seen: nothing shows how far away the first one is", text)
        said = " ".join(text.split())
        self.assertIn("Answer None of your units has leaked yet, so this is an estimate, not your data:", said)
        self.assertIn("The longest interval of the rules", said)
        self.assertNotIn("On your units", said)

    def test_wrong_usage(self):
        self.assertEqual(self.refused(2, HISTORY, "--table", "t.csv"),
                         "dryshaft: --table takes the place of records: give one of the two\n")
        self.assertEqual(self.refused(2, HISTORY, "--over", "plain"),
                         "dryshaft: --over plain goes with --table: records tell km and years\n")
        self.assertEqual(self.refused(2, HISTORY, "--by", "familly"),
                         'dryshaft: there is no field to compare by "familly", did you mean "family"?; '
                         "fields, besides those of your own (x_...): family, gear_bearings, "
                         "rotor_bearings, vehicle\n")
        self.refused(2, HISTORY, "--format", "pdf")
        self.refused(2, HISTORY, "--at", "-5")
        self.assertIn("cannot be read", self.refused(3, HISTORY, "--prior", "no-such.json"))

    def test_refused_input(self):
        self.assertIn("no-such.csv", self.refused(3, "--table", "no-such.csv"))
        self.assertIn("error[bad-interval]", self.refused(3, "--table", "-", text="left,right\n5,2\n"))
        self.assertIn("<stdin>:1:1: error[empty]: holds no record\n", self.refused(3, text=""))
        done = run("fit", "onset", "--format", "json",
                   text=record("u1", "2024-01-01", 90000, DRY) + '{"format":"dryshaft-record/1"}\n')
        self.assertEqual(done.returncode, 3)  # the bad record is said, the good one is used
        self.assertEqual(json.loads(done.stdout)["units"], 1)

    def test_the_widths_of_the_judgement_are_data(self):
        with tempfile.TemporaryDirectory() as folder:
            prior = os.path.join(folder, "prior.json")
            with open("data/onset/prior.json", encoding="utf-8") as shipped:
                widths = json.load(shipped)
            widths["sd_log_scale"] = 0.05
            with open(prior, "w", encoding="utf-8") as out:
                json.dump(widths, out)
            text = record("u1", "2024-01-01", 90000, DRY)
            wide = json.loads(self.good("--format", "json", text=text))
            narrow = json.loads(self.good("--format", "json", "--prior", prior, text=text))
            self.assertLess(narrow["posterior"]["scale"]["range_95"][1],
                            wide["posterior"]["scale"]["range_95"][1] / 1.5)


class AssessByOnset(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.onset = os.path.join(self.folder.name, "onset.json")
        self.assertEqual(run("fit", "onset", HISTORY, "--format", "json", "--out", self.onset).returncode, 0)

    def tearDown(self):
        self.folder.cleanup()

    def test_replaces_the_wear_and_says_so(self):
        text = record("u1", "2024-01-01", 230000, {**DRY, "corrosion": "none"})
        before = run("assess", "-", "--format", "json", text=text)
        after = run("assess", "-", "--format", "json", "--onset", self.onset, text=text)
        self.assertEqual(after.returncode, 0, after.stderr)
        before, after = json.loads(before.stdout), json.loads(after.stdout)
        self.assertNotIn("onset", before)
        with open(self.onset, "rb") as file:
            sha = hashlib.sha256(file.read()).hexdigest()
        self.assertEqual(after["onset"]["sha256"], sha)
        self.assertEqual(after["onset"]["source"], self.onset)
        self.assertGreater(after["onset"]["units"], 100)
        self.assertEqual(after["rules"], before["rules"])
        # This shop's seals last less long than the rules think.
        leak = [{c["id"]: c["probability"] for c in r["causes"]}["seal-leak"] for r in (before, after)]
        self.assertGreater(leak[1], leak[0])
        self.assertIn("the workshop's own records", after["recheck"]["because"])
        for form in ("text", "markdown", "html"):
            out = run("assess", "-", "--full", "--format", form, "--onset", self.onset, text=text).stdout.decode()
            self.assertIn(sha[:8], out)

    def test_a_fit_by_age_keeps_the_part_by_distance(self):
        done = run("fit", "onset", HISTORY, "--over", "years", "--format", "json", "--out", self.onset)
        self.assertEqual(done.returncode, 0, done.stderr)
        text = record("u1", "2024-01-01", 230000, {**DRY, "corrosion": "none"})
        after = json.loads(run("assess", "-", "--format", "json", "--onset", self.onset, text=text).stdout)
        self.assertEqual(after["onset"]["by"], "years")

    def test_a_bad_file_is_refused(self):
        with open(self.onset, "w", encoding="utf-8") as out:
            out.write('{"format":"dryshaft-onset/1","units":2,\n "grader":{"axis":"km","hazard":[[1,2],[3,1]]}}')
        done = run("assess", "-", "--onset", self.onset, text=record("u1", "2024-01-01", 9, DRY))
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stdout, b"")
        self.assertIn(":2:43: error[not-rising]: /grader/hazard/1/1 is 1\n", done.stderr.decode())
        self.assertEqual(run("assess", "-", "--onset", "no-such.json", text="").returncode, 3)


if __name__ == "__main__":
    unittest.main()
