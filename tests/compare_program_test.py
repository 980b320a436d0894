"""`compare`: two files of reports, and records judged twice.

Usage: compare_program_test.py PROGRAM
"""
import csv
import io
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

import command_line

PROGRAM = os.path.abspath(sys.argv.pop(1))
INTAKE = "examples/intake.jsonl"
DAY = "2026-03-20"


def run(*arguments, code=0):
    done = subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, check=False)
    assert done.returncode == code, (arguments, done.returncode, done.stderr.decode())
    return done


def grades(*arguments):
    """Unit to grade, by a CSV of `assess`."""
    text = run("assess", "--format", "csv", "--today", DAY, *arguments).stdout.decode()
    return {row["unit_id"]: row["grade"] for row in csv.DictReader(io.StringIO(text))}


class Compare(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)

    def reports(self, name, *arguments):
        path = self.folder / name
        form = {".csv": "csv", ".json": "json"}.get(path.suffix, "jsonl")
        run("assess", "--format", form, "--out", path, *arguments)
        return path

    def test_a_set_with_itself_is_empty(self):
        for name in ("a.jsonl", "a.json", "a.csv"):
            path = self.reports(name, INTAKE)
            done = run("compare", path, path, "--format", "json", "--fail-on-worse")
            said = json.loads(done.stdout)
            self.assertEqual(done.stderr, b"")
            self.assertEqual((said["units"], said["gone"], said["came"], said["little_moved"]), ([], [], [], 0))
            self.assertEqual(said["compared"], len(grades(INTAKE)))
        twice = json.loads(run("compare", "--old-today", DAY, "--new-today", DAY, INTAKE, "--format", "json").stdout)
        self.assertEqual((twice["units"], twice["rules"]), ([], []))

    def test_a_threshold_changed_by_hand(self):
        """Exactly the units whose grade differs by a plain diff of two tables, each with the rule."""
        own = command_line.own_rules(self.folder / "own",
                                     ("rules.json", '"value": 0.10,', '"value": 0.02,'))
        before, after = grades(INTAKE), grades("--rules", own, INTAKE)
        by_hand = {unit: (before[unit], after[unit]) for unit in before if before[unit] != after[unit]}
        self.assertGreaterEqual(len(by_hand), 3)
        said = json.loads(run("compare", "--today", DAY, "--new-rules", own, INTAKE, "--format", "json").stdout)
        moved = [u for u in said["units"] if u["grade"]["before"] != u["grade"]["after"]]
        self.assertEqual({u["unit_id"]: (u["grade"]["before"], u["grade"]["after"]) for u in moved}, by_hand)
        self.assertEqual(said["rules"], [{"kind": "setting", "id": "risk-raised", "change": "changed"}])
        for unit in moved:
            self.assertEqual([(r["id"], r["grade"]) for r in unit["rules"]], [("risk-raised", unit["grade"]["after"])])
        # The same of the reports themselves, and of tables.
        for ending in ("jsonl", "csv"):
            old = self.reports("old." + ending, "--today", DAY, INTAKE)
            new = self.reports("new." + ending, "--today", DAY, "--rules", own, INTAKE)
            kept = json.loads(run("compare", old, new, "--format", "json").stdout)
            self.assertEqual({u["unit_id"]: (u["grade"]["before"], u["grade"]["after"]) for u in kept["units"]
                              if u["grade"]["before"] != u["grade"]["after"]}, by_hand)
            self.assertEqual({tuple(u["basis"]) for u in kept["units"]}, {("rules",)})
            counted = sum(n for b, row in kept["grades"].items() for a, n in row.items() if a != b)
            self.assertEqual(counted, len(by_hand))

    def test_exit_codes(self):
        old = self.reports("old.jsonl", "examples/dry-and-quiet.json")
        bad = json.loads(old.read_text())
        bad["grade"] = "D"
        new = self.folder / "new.jsonl"
        new.write_text(json.dumps(bad) + "\n")
        run("compare", old, new)
        run("compare", old, new, "--fail-on-worse", code=1)
        run("compare", new, old, "--fail-on-worse")
        other = self.folder / "other.jsonl"
        other.write_text(json.dumps(dict(bad, unit_id="another")) + "\n")
        run("compare", old, other, "--fail-on-worse", code=1)  # a new unit, D
        broken = self.folder / "broken.jsonl"
        broken.write_text(old.read_text() + '{"format":"dryshaft-record/1"}\n')
        self.assertEqual(run("compare", old, broken, code=3).stderr.decode(),
                         f"{broken}:2:1: error[not-a-report]: is no report\n"
                         '  {"format":"dryshaft-record/1"}\n'
                         "  ^\n"
                         "  allowed: what assess --format json or jsonl writes (dryshaft-report/1)\n")
        for arguments, message in (
                ((old,), "compare takes two files of reports, or records with --old-... or --new-... options"),
                ((old, new, "--today", DAY), "reports are compared as they are: options for judging go with "
                 "records, and --old-... or --new-..."),
                ((old, self.reports("t.csv", INTAKE)), "a table of reports holds less than JSON: compare two "
                 "tables, or two files of JSON"),
                ((INTAKE, "--new-today", "soon"), '--new-today is "soon", not a date YYYY-MM-DD')):
            self.assertEqual(run("compare", *arguments, code=2).stderr.decode(), f"dryshaft: {message}\n")

    def test_a_day_moves_what_is_due(self):
        text = run("compare", "--new-today", "2027-06-30", "examples/dry-and-quiet.json").stdout.decode()
        self.assertIn("Day 2026-03-01 to 2027-06-30" if "2026-03-01" in text else "to 2027-06-30", text)
        self.assertIn("overdue", text)
        self.assertRegex(text, r"By day \S+ to 2027-06-30 \(changed\) alone: ")

    def test_with_and_without_an_overlay(self):
        overlay = self.folder / "own.json"
        run("fit", "outcomes", "--overlay", overlay, "--out", self.folder / "study.txt", "examples/teardowns.jsonl")
        said = json.loads(run("compare", "--new-rules", overlay, "--today", DAY, INTAKE, "--format", "json").stdout)
        self.assertIsNone(said["before"]["overlay_sha256"])
        self.assertRegex(said["after"]["overlay_sha256"], "^[0-9a-f]{64}$")
        self.assertLessEqual({r["kind"] for r in said["rules"]}, {"link", "background"})
        self.assertTrue(said["rules"])
        before, after = grades(INTAKE), grades("--rules", overlay, INTAKE)
        self.assertEqual({u["unit_id"] for u in said["units"] if u["grade"]["before"] != u["grade"]["after"]},
                         {unit for unit in before if before[unit] != after[unit]})

    def test_every_format(self):
        old = self.reports("old.jsonl", "--today", DAY, INTAKE)
        new = self.reports("new.jsonl", "--today", "2027-03-20", INTAKE)
        seen = {}
        for form in ("text", "markdown", "html", "json", "csv"):
            seen[form] = run("compare", old, new, "--format", form).stdout.decode()
            self.assertEqual(run("compare", old, new, "--format", form).stdout.decode(), seen[form])
        units = json.loads(seen["json"])["units"]
        self.assertEqual([row["unit_id"] for row in csv.DictReader(io.StringIO(seen["csv"]))],
                         [u["unit_id"] for u in units])
        for form in ("text", "markdown", "html"):
            for unit in units:
                self.assertIn(unit["unit_id"], seen[form])
        self.assertTrue(all(len(line) <= 80 for line in seen["text"].splitlines()))
        self.assertIn("as of 2026-03-20", seen["text"])
        self.assertIn("as of 2027-03-20", seen["text"])


if __name__ == "__main__":
    unittest.main()
