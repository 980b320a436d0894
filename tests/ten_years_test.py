"""A year of a workshop with ten years of records: corrected, withdrawn, sold, given away, judged by other rules.

Usage: ten_years_test.py PROGRAM

Each step is a command as somebody would type it, in a folder of one file a year. What must hold: nothing is
lost, nothing counts twice, and what moves is what was touched.
"""
import collections
import csv
import hashlib
import io
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

from command_line import own_rules

PROGRAM = os.path.abspath(sys.argv.pop(1))
ROOT = pathlib.Path(__file__).resolve().parents[1]
DAY = "2026-06-30"  # of judgement, after all records
BAD = '{"format":"dryshaft-record/1","unit":{"id":"OLD-1"},"inspection":{"date":"2017-13-01"}}\n'
WET = {"checked": True, "fluid": "pooled", "fluid_kind": "coolant", "dried_residue": True, "corrosion": "heavy"}


def sha(text):
    return hashlib.sha256(text.encode()).hexdigest()


class TenYears(unittest.TestCase):
    maxDiff = None

    def setUp(self):
        made = tempfile.TemporaryDirectory()
        self.addCleanup(made.cleanup)
        self.folder = pathlib.Path(made.name)
        years = collections.defaultdict(list)
        self.lines = (ROOT / "examples/history-ten-years.jsonl").read_text().splitlines()
        for line in self.lines:
            years[json.loads(line)["inspection"]["date"][:4]].append(line)
        for year, lines in years.items():
            self.write(f"{year}.jsonl", *lines)
        self.last = self.folder / f"{max(years)}.jsonl"
        self.by_unit = collections.defaultdict(list)
        for line in self.lines:
            self.by_unit[json.loads(line)["unit"]["id"]].append(line)

    def write(self, name, *lines):
        (self.folder / name).write_text("".join(line + "\n" for line in lines))
        return name

    def files(self):
        return sorted(p.name for p in self.folder.glob("2*.jsonl"))

    def run_it(self, *arguments, code=0):
        done = subprocess.run([PROGRAM, *map(str, arguments)], cwd=self.folder, capture_output=True, text=True,
                              check=False)
        self.assertEqual(done.returncode, code, (arguments, done.stderr[:3000]))
        return done

    def grades(self, *arguments):
        table = self.run_it("assess", "--format", "csv", "--today", DAY, *(arguments or self.files())).stdout
        return {row["unit_id"]: (row["grade"], row["risk"]) for row in csv.DictReader(io.StringIO(table))}

    def moved(self, before, after):
        return sorted(u for u in before.keys() | after.keys() if before.get(u) != after.get(u))

    def reports(self, name):
        self.run_it("assess", "--format", "json", "--today", DAY, "--out", name, *self.files())
        return name

    def compared(self, old, new):
        return json.loads(self.run_it("compare", "--format", "json", old, new).stdout)

    def test_merging_and_tables_move_nothing(self):
        before = self.grades()
        self.assertEqual(set(before), set(self.by_unit))
        merged = self.run_it("records", "merge", *self.files(), *self.files())  # each given twice
        self.assertEqual(sorted(merged.stdout.splitlines()), sorted(self.lines))
        self.write("all.jsonl", *merged.stdout.splitlines())
        self.assertEqual(self.grades("all.jsonl"), before)
        # Sorted so that a stream has each unit's records together.
        stream = self.run_it("assess", "--format", "jsonl", "--today", DAY, "all.jsonl").stdout.splitlines()
        self.assertEqual({r["unit_id"]: r["grade"] for r in map(json.loads, stream)},
                         {u: grade for u, (grade, _) in before.items()})
        self.assertEqual(len(stream), len(before))
        self.run_it("records", "convert", "--to", "csv", "--out", "all.csv", "all.jsonl")
        self.assertEqual(self.grades("all.csv"), before)

    def test_what_is_put_right_moves_its_unit_alone(self):
        old = self.reports("old.json")
        before = self.grades()
        unit = next(u for u, lines in self.by_unit.items() if len(lines) > 1 and before[u][0] == "A")
        wet = json.loads(self.by_unit[unit][-1])
        wet["inspection"].update(date="2026-06-01", port=WET)
        wet["inspection"]["odometer_km"] += 100
        wrong = json.dumps(wet)
        with open(self.last, "a", encoding="utf-8") as file:  # of another car, as it turns out
            file.write(wrong + "\n")
        self.assertEqual(self.moved(before, self.grades()), [unit])
        said = self.compared(old, self.reports("new.json"))
        self.assertEqual([u["unit_id"] for u in said["units"] if u["worse"] > 0], [unit])
        self.run_it("records", "withdraw", sha(wrong)[:12], "--on", "2026-06-02", "--because", "another car's",
                    "--who", "desk", "--append", self.last.name, *self.files())
        after = self.grades()
        self.assertEqual({u: g for u, (g, _) in after.items()}, {u: g for u, (g, _) in before.items()})
        self.assertEqual(self.moved(before, after), [])
        report = self.run_it("assess", "--today", DAY, "--full", *self.files()).stdout
        self.assertIn("another car's", report)
        # A correction takes the place of what it corrects.
        right = self.by_unit[unit][-1]
        self.run_it("records", "correct", sha(right), "--set", "fluid=film", "--set", "fluid_kind=coolant", "--on",
                    "2026-06-03", "--because", "read from the photograph", "--who", "desk", "--append",
                    self.last.name, *self.files())
        corrected = self.grades()
        self.assertEqual(self.moved(before, corrected), [unit])
        self.assertGreater(corrected[unit][0], "B")

    def test_a_unit_that_was_sold_is_due_no_more(self):
        def due():
            table = self.run_it("assess", "--format", "csv", "--today", DAY, "--due", "2027-06-30",
                                *self.files()).stdout
            return {row["unit_id"] for row in csv.DictReader(io.StringIO(table))}
        before = due()
        unit = sorted(before)[0]
        self.run_it("records", "retire", unit, "--on", "2026-06-10", "--because", "sold", "--append",
                    self.last.name, *self.files())
        self.assertEqual(before - due(), {unit})
        back = json.loads(self.by_unit[unit][-1])
        back["inspection"]["date"] = "2026-06-20"
        with open(self.last, "a", encoding="utf-8") as file:
            file.write(json.dumps(back) + "\n")
        self.assertIn(unit, due())

    def test_known_bad_lines_hide_nothing_new(self):
        before = self.grades()
        with open(self.folder / self.files()[0], "a", encoding="utf-8") as file:
            file.write(BAD)
        self.run_it("assess", "--today", DAY, *self.files(), code=3)
        entry = json.loads(self.run_it("check", "--format", "jsonl", *self.files(), code=3).stdout)
        self.write("known", json.dumps({**entry, "reason": "the card is lost"}))
        accepted = ("assess", "--today", DAY, "--accepted", "known", "--summary", "summary.json")
        self.run_it(*accepted, *self.files())
        said = json.loads((self.folder / "summary.json").read_text())
        self.assertEqual(said["grades"], {g: sum(1 for one, _ in before.values() if one == g) for g in "ABCDU"})
        self.assertEqual((said["records"]["accepted"], said["exit"]["code"]), (1, 0))
        with open(self.last, "a", encoding="utf-8") as file:
            file.write(BAD.replace("OLD-1", "NEW-1"))
        self.run_it(*accepted, "--fail-on", "D", *self.files(), code=3)
        said = json.loads((self.folder / "summary.json").read_text())
        self.assertEqual([r["code"] for r in said["exit"]["reasons"]], [3, 1])

    def test_a_layer_of_own_rules_moves_what_compare_names(self):
        layer = self.folder / "layer"
        layer.mkdir()
        (layer / "rules.json").write_text(json.dumps({
            "format": "dryshaft-rules/1", "id": "harrow-lane", "version": "1", "over": "dryshaft-shipped",
            "settings": [{"id": "risk-raised", "value": 0.05, "unit": "probability",
                          "reason": "Customers far away.", "source": "own shop"}]}))
        before, after = self.grades(), self.grades("--rules", "layer", *self.files())
        named = {u: g for u, (g, _) in after.items() if before[u][0] != g}
        self.assertGreater(len(named), 0)
        # The same as a whole copy with that value changed.
        own_rules(self.folder / "copy", ("rules.json", '"value": 0.10,', '"value": 0.05,'))
        self.assertEqual(self.grades("--rules", "copy", *self.files()), after)
        said = json.loads(self.run_it("compare", "--format", "json", "--new-rules", "layer", "--today", DAY,
                                      *self.files()).stdout)
        moved = {u["unit_id"]: u for u in said["units"] if u["grade"]["before"] != u["grade"]["after"]}
        self.assertEqual({u: one["grade"]["after"] for u, one in moved.items()}, named)
        for one in moved.values():
            self.assertEqual([r["id"] for r in one["rules"]], ["risk-raised"])
        self.run_it("check", "--rules", "layer")

    def test_what_is_given_away_names_nobody(self):
        before = self.grades()
        unit = next(iter(self.by_unit))
        noted = json.loads(self.by_unit[unit][-1])
        noted["inspection"]["date"] = "2026-06-01"
        noted.update(note="Mr Dale, 12 Harbour Road", x_owner="Dale")
        self.write("2026b.jsonl", json.dumps(noted))
        told = self.run_it("records", "forget", unit, *self.files()).stdout
        self.assertNotIn("Dale", told)
        self.write("forgotten.jsonl", *told.splitlines())
        self.assertEqual(self.grades("forgotten.jsonl"), self.grades())
        (self.folder / "key").write_text("a secret of sixteen bytes or more")
        given = self.run_it("records", "anonymise", "--key", "key", *self.files()).stdout
        for name in [*self.by_unit, "Dale"]:
            self.assertNotIn(f'"{name}"', given)
        self.write("given.jsonl", *given.splitlines())
        self.assertEqual(sorted(self.grades("given.jsonl").values()), sorted(self.grades().values()))
        self.assertEqual(len(before), len(self.by_unit))

    @unittest.skipUnless(shutil.which("jq") and shutil.which("sqlite3") and shutil.which("parallel"),
                         "needs jq, sqlite3 and parallel")
    def test_other_programs_read_it(self):
        before = self.grades()
        self.write("all.jsonl", *self.run_it("records", "merge", *self.files()).stdout.splitlines())
        count = subprocess.run(f"{PROGRAM} assess --format jsonl --today {DAY} all.jsonl | jq -r .grade | sort | uniq -c",
                               shell=True, cwd=self.folder, capture_output=True, text=True, check=True).stdout
        self.assertEqual(dict(reversed(line.split()) for line in count.splitlines()),
                         {g: str(n) for g, n in collections.Counter(g for g, _ in before.values()).items()})
        self.run_it("assess", "--format", "csv", "--today", DAY, "--out", "all.csv", "all.jsonl")
        rows = subprocess.run(["sqlite3", ":memory:", "-cmd", ".mode csv", "-cmd", ".import all.csv t",
                               "select unit_id, grade from t order by unit_id"], cwd=self.folder,
                              capture_output=True, text=True, check=True).stdout
        self.assertEqual([tuple(row) for row in csv.reader(io.StringIO(rows))],
                         sorted((u, g) for u, (g, _) in before.items()))
        for number, unit in enumerate(self.by_unit):
            self.write(f"unit-{number % 3}.part", *(line for n, u in enumerate(self.by_unit) if n % 3 == number % 3
                                                  for line in self.by_unit[u]))
            if number == 2:
                break
        spread = subprocess.run(["parallel", "--will-cite", "-k", PROGRAM, "assess", "--format", "jsonl", "--today",
                                 DAY, "{}", ":::", "unit-0.part", "unit-1.part", "unit-2.part"], cwd=self.folder,
                                capture_output=True, text=True, check=True).stdout
        self.assertEqual({r["unit_id"]: r["grade"] for r in map(json.loads, spread.splitlines())},
                         {u: g for u, (g, _) in before.items()})


if __name__ == "__main__":
    unittest.main()
