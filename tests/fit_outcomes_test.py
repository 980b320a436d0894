"""Verdicts against teardowns at the command line, and overlays for --rules.

Usage: fit_outcomes_test.py PROGRAM
"""
import json
import os
import subprocess
import sys
import tempfile
import unittest

from command_line import own_rules

PROGRAM = os.path.abspath(sys.argv.pop(1))
TEARDOWNS = os.path.abspath("examples/teardowns.jsonl")
FILM = os.path.abspath("examples/film-caught-early.json")
RULES = os.path.abspath("data/rules")


def run(*arguments, text=""):
    return subprocess.run([PROGRAM, *arguments], input=text.encode(), capture_output=True,
                          check=False)


def fit(*arguments, text=""):
    return run("fit", "outcomes", *arguments, text=text)


class Outcomes(unittest.TestCase):
    def setUp(self):
        scratch = tempfile.TemporaryDirectory()
        self.addCleanup(scratch.cleanup)
        self.folder = scratch.name

    def path(self, name):
        return os.path.join(self.folder, name)

    plain = None  # what no arguments give: the proofs take long

    def overlay(self, *arguments):
        path = self.path("own.json")
        if arguments or Outcomes.plain is None:
            done = fit(TEARDOWNS, "--folds", "2", "--overlay", path, *arguments)
            self.assertEqual(done.returncode, 0, done.stderr)
            if not arguments:
                with open(path, encoding="utf-8") as file:
                    Outcomes.plain = file.read()
        else:
            with open(path, "w", encoding="utf-8") as file:
                file.write(Outcomes.plain)
        return path

    def test_every_format(self):
        text = fit(TEARDOWNS)
        self.assertEqual((text.returncode, text.stderr), (0, b""))
        self.assertTrue(text.stdout.startswith(b"These teardowns cannot show how good"))
        self.assertLessEqual(max(map(len, text.stdout.decode().splitlines())), 80)
        study = json.loads(fit("--format", "json", TEARDOWNS).stdout)
        self.assertEqual(study["format"], "dryshaft-outcomes/1")
        self.assertEqual((study["teardowns"], study["units"]), (52, 52))
        self.assertEqual(study["scores"][0]["id"], "risk")
        for score in study["scores"]:
            parts = score["brier"]
            self.assertAlmostEqual(
                parts["reliability"] - parts["resolution"] + parts["uncertainty"]
                + parts["within_variance"] - parts["within_covariance"], parts["score"], places=5)
            self.assertEqual(sum(b["teardowns"] for b in score["reliability"]),
                             score["teardowns"])
        self.assertIsNone(study["overlay_file"])
        self.assertTrue(fit("--folds", "2", "--format", "markdown", TEARDOWNS).stdout.startswith(b"# These teardowns"))
        out = self.path("study.html")
        self.assertEqual(fit("--folds", "2", "--format", "html", "--out", out,
                             TEARDOWNS).stdout, b"")
        with open(out, encoding="utf-8") as page:
            self.assertIn("Reliability diagram, damage", page.read())

    def test_the_same_bytes_whatever_the_threads_and_the_order(self):
        one = fit("--folds", "9", "--jobs", "1", TEARDOWNS).stdout
        self.assertEqual(fit("--folds", "9", "--jobs", "5", TEARDOWNS).stdout, one)
        with open(TEARDOWNS, encoding="utf-8") as lines:
            turned = "".join(reversed(lines.readlines()))
        self.assertEqual(fit("--folds", "9", text=turned).stdout, one)

    def test_no_teardown(self):
        with open(FILM, encoding="utf-8") as record:
            done = fit(text=record.read())
        self.assertEqual(done.returncode, 0)
        self.assertIn(b"No record holds a teardown of a unit", done.stdout)
        path = self.path("own.json")
        done = fit(FILM, "--overlay", path)
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stderr.decode(), f"{path}: error[no-overlay]: was not written: no "
                                               "teardown bears on any rule\n")
        self.assertFalse(os.path.exists(path))

    def test_a_bad_record_loses_no_good_one(self):
        with open(TEARDOWNS, encoding="utf-8") as lines:
            done = fit("--folds", "2", "--format", "json", text=lines.read() + '{"format":"dryshaft-record/2"}\n')
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"error[", done.stderr)
        self.assertEqual(json.loads(done.stdout)["teardowns"], 52)
        self.assertEqual(fit("no-such-file").returncode, 3)

    def test_an_overlay_adapts_every_command_that_takes_rules(self):
        path = self.overlay()
        text = fit(TEARDOWNS, "--folds", "2", "--overlay", path).stdout.decode()
        self.assertIn("The proofs hold with it.", " ".join(text.split()))
        with open(path, encoding="utf-8") as overlay:
            own = json.load(overlay)
        self.assertEqual(own["format"], "dryshaft-overlay/1")
        self.assertEqual(own["teardowns"], 52)
        link = next(item for item in own["links"] if item["id"] == "rust-from-seal-leak")
        report = run("assess", "--full", "--rules", path, FILM).stdout.decode()
        self.assertIn("adapted to 52 own teardowns", report)
        both = run("assess", "--format", "json", "--rules", RULES, "--rules", path, FILM)
        self.assertEqual(json.loads(both.stdout)["rules"]["overlay"]["teardowns"], 52)
        self.assertNotIn("overlay", json.loads(
            run("assess", "--format", "json", FILM).stdout)["rules"])
        shown = run("rules", "show", "rust-from-seal-leak", "--rules", path).stdout.decode()
        self.assertIn(f"light or worse {link['shows']['light']:.6g}", shown)
        self.assertIn("own teardowns", shown)
        self.assertEqual(run("check", "--rules", path, FILM).returncode, 0)
        verified = run("rules", "verify", "--rules", path)
        self.assertEqual(verified.returncode, 0)
        self.assertIn(b"adapted to 52 own teardowns", verified.stdout)
        self.assertEqual(run("guide", "--rules", path).returncode, 0)
        # New teardowns can be held against the adapted rules; these were fitted to them.
        again = json.loads(fit("--folds", "2", "--format", "json", "--rules", path, TEARDOWNS).stdout)
        first = json.loads(fit("--folds", "2", "--format", "json", TEARDOWNS).stdout)
        self.assertEqual(again["rules"]["overlay"]["teardowns"], 52)
        self.assertLess(again["cross_validation"]["log_bits"]["before"],
                        first["cross_validation"]["log_bits"]["before"])

    def test_strengths_that_nearly_forget_the_judgement_still_pass_the_proofs(self):
        path = self.overlay("--prior-weight", "0.5")
        self.assertEqual(run("rules", "verify", "--rules", path).returncode, 0)

    def test_an_overlay_for_other_rules_is_refused(self):
        path = self.overlay()
        other = own_rules(self.path("rules"))
        done = run("assess", "--rules", other, "--rules", path, FILM)
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stdout, b"")
        self.assertIn(b"own.json:6:15: error[other-rules]: /rules/sha256 is ", done.stderr)
        # Families are no part of the rules that it was made for.
        families = self.path("families")
        os.mkdir(families)
        with open("data/families/dunlin-1.json", encoding="utf-8") as file:
            text = file.read()
        with open(os.path.join(families, "own.json"), "w", encoding="utf-8") as file:
            file.write(text.replace('"dunlin-1"', '"own"'))
        done = run("assess", "--families", families, "--rules", path, FILM)
        self.assertEqual(done.returncode, 0, done.stderr)

    def test_no_overlay_for_rules_that_break_their_proofs(self):
        other = own_rules(self.path("rules"),  # pooled speaks less for a leak than a film
                          ("links.json", '"droplets": 0.55, "pooled": 0.15',
                           '"droplets": 0.55, "pooled": 0.0001'))
        path = self.path("own.json")
        done = fit(TEARDOWNS, "--folds", "2", "--rules", other, "--overlay", path)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"the rules in use break their own proofs (", done.stderr)
        self.assertFalse(os.path.exists(path))
        self.assertTrue(done.stdout.startswith(b"These teardowns"))

    def test_wrong_usage(self):
        path = self.overlay()
        for arguments, told in [
                ((TEARDOWNS, "--rules", path, "--overlay", self.path("new.json")),
                 b"would count its teardowns twice"),
                ((TEARDOWNS, "--rules", path, "--rules", path), b"takes one folder and one overlay"),
                ((TEARDOWNS, "--rules", RULES, "--rules", RULES), b"are both folders"),
                ((TEARDOWNS, "--rules", self.path("nothing")), b"is not a folder"),
                ((TEARDOWNS, "--overlay", path, "--out", path), b"name the same file"),
                ((TEARDOWNS, "--prior-weight", "0"), b"prior-weight"),
                ((TEARDOWNS, "--folds", "1"), b"folds"),
                ((TEARDOWNS, "--format", "csv"), b"csv")]:
            done = fit(*arguments)
            self.assertEqual(done.returncode, 2, arguments)
            self.assertIn(told, done.stderr)
            self.assertEqual(done.stdout, b"")

    def test_the_overlay_is_not_lost_to_the_report(self):
        path = self.path("new.json")
        for same in (path, os.path.join(os.path.dirname(path), ".", "new.json")):
            done = fit(TEARDOWNS, "--overlay", path, "--out", same)
            self.assertEqual((done.returncode, done.stderr),
                             (2, b"dryshaft: --out and --overlay name the same file\n"))
        link = self.path("link")  # to what is not there yet
        os.symlink(path, link)
        done = fit(TEARDOWNS, "--folds", "2", "--overlay", path, "--out", link)
        self.assertEqual((done.returncode, done.stdout), (4, b""))
        self.assertEqual(done.stderr.decode(), f"{link}: error[output]: cannot be written: it has just been "
                                               "written, and would be lost\n")
        with open(path, encoding="utf-8") as file:
            self.assertTrue(json.load(file)["format"].startswith("dryshaft-overlay/"))

    def test_an_overlay_that_cannot_be_written(self):
        done = fit(TEARDOWNS, "--folds", "2", "--overlay", self.path("no/such/folder.json"))
        self.assertEqual(done.returncode, 4)
        self.assertNotIn(b"give it to --rules", done.stdout)


if __name__ == "__main__":
    unittest.main()
