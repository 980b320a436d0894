"""Tables (.csv) as input of the commands that take records.

Usage: csv_import_test.py PROGRAM
"""
import csv
import json
import os
import re
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))

ROWS = [["HL-1", "2026-03-02", "yes", "none", "120000"],
        ["HL-2", "2026-03-03", "yes", "film", "90000"],
        ["HL-2", "2025-03-03", "yes", "none", "80000"]]
HEAD = ["unit.id", "inspection.date", "inspection.port.checked", "fluid", "odometer_km"]


def run(*arguments, **options):
    return subprocess.run([PROGRAM, *arguments], capture_output=True, check=False, **options)


class Tables(unittest.TestCase):
    def setUp(self):
        made = tempfile.TemporaryDirectory()
        self.addCleanup(made.cleanup)
        self.folder = made.name

    def file(self, name, text):
        path = os.path.join(self.folder, name)
        with open(path, "w", encoding="utf-8", newline="") as f:
            f.write(text)
        return path

    def table(self, name, rows, separator=",", end="\n", head=HEAD):
        return self.file(name, "".join(separator.join(row) + end for row in [head, *rows]))

    def test_graded_as_the_same_records_are(self):
        lines = self.file("t.jsonl", "".join(json.dumps(
            {"format": "dryshaft-record/1", "unit": {"id": unit},
             "inspection": {"date": date, "port": {"checked": True, "fluid": fluid},
                            "odometer_km": int(km)}}, separators=(",", ":")) + "\n"
            for unit, date, _, fluid, km in ROWS))
        table = self.table("t.csv", ROWS)
        for form in ("json", "jsonl"):
            reports = []
            for path in (table, lines):
                done = run("assess", "--format", form, path)
                self.assertEqual((done.returncode, done.stderr), (0, b""))
                reports.append([json.loads(line) for line in done.stdout.splitlines()])
                for report in reports[-1]:
                    for key in ("record", "records", "history"):
                        del report[key]
            self.assertEqual(*reports)
            self.assertEqual(len(reports[0]), 2)

    def test_every_command_reads_them(self):
        rows = []
        with open("examples/teardowns.jsonl", encoding="utf-8") as f:
            for line in f:
                row = {}
                for part, members in json.loads(line).items():
                    for key, value in members.items() if isinstance(members, dict) else []:
                        inner = value if isinstance(value, dict) else {None: value}
                        row.update({".".join(filter(None, (part, key, last))):
                                    "/".join(v) if isinstance(v, list) else json.dumps(v).strip('"')
                                    for last, v in inner.items()})
                rows.append(row)
        table = os.path.join(self.folder, "t.csv")
        with open(table, "w", encoding="utf-8", newline="") as f:
            writer = csv.DictWriter(f, sorted({key for row in rows for key in row}))
            writer.writeheader()
            writer.writerows(rows)
        with open(table, encoding="utf-8") as f:
            titled = self.file("own.csv", f.read().replace("unit.id", "No.", 1))
        columns = self.file("columns", json.dumps(
            {"format": "dryshaft-columns/1", "columns": {"No.": "unit.id"}}))
        prices = ("--prices", "examples/prices.json")

        def said(*arguments):
            done = run(*arguments, "--format", "json")
            self.assertEqual((done.returncode, done.stderr), (0, b""), arguments)
            # Names, lines and hashes of what was read differ.
            return re.sub(rb'"(source|sources|line|records_sha256|sha256)":("[^"]*"|\d+|\[[^]]*\])', b"",
                          done.stdout)

        for command in (("plan", *prices, "--intake"), ("fit", "onset"), ("fit", "outcomes")):
            wanted = said(*command, "examples/teardowns.jsonl")
            self.assertEqual(said(*command, table), wanted, command)
            self.assertEqual(said(*command, titled, "--columns", columns), wanted, command)
        few = self.table("few.csv", ROWS)
        self.assertEqual(said("plan", few, *prices).count(b'"format":"dryshaft-plan/1"'), 2)
        done = run("fit", "onset", "--table", few, "--columns", columns)
        self.assertEqual((done.returncode, done.stderr), (
            2, b"dryshaft: --columns goes with records; a --table has columns of its own\n"))
        for command in (("plan", *prices), ("fit", "onset"), ("fit", "outcomes")):
            done = run(*command, few, "--columns", os.path.join(self.folder, "none"))
            self.assertEqual((done.returncode, done.stdout), (3, b""))
            self.assertIn(b"/none: error[no-input]: cannot be read", done.stderr)

    def test_line_ends_marks_and_separators_do_not_count(self):
        wanted = run("assess", "--format", "csv", self.table("a.csv", ROWS)).stdout
        for separator, end, mark in ((";", "\r\n", "\ufeff"), ("\t", "\n", ""), (",", "\r\n", "")):
            path = self.table("a.csv", ROWS, separator, end, [mark + HEAD[0], *HEAD[1:]])
            self.assertEqual(run("assess", "--format", "csv", path).stdout, wanted)
        shouting = os.path.join(self.folder, "A.CSV")
        os.rename(path, shouting)
        self.assertEqual(run("assess", "--format", "csv", shouting).stdout,
                         wanted.replace(b"a.csv", b"A.CSV"))

    def test_a_bad_row_loses_no_good_one(self):
        path = self.table("t.csv", [*ROWS, ["HL-3", "2026-03-04", "yes", "dropplets", "1"]])
        wanted = (f"{path}:5:21: error[bad-value]: /inspection/port/fluid is \"dropplets\"\n"
                  "  HL-3,2026-03-04,yes,dropplets,1\n"
                  "                      ^\n"
                  "  allowed: none, film, droplets, pooled\n"
                  "  hint: did you mean \"droplets\"?\n")
        for form in ("text", "json", "jsonl", "csv", "html", "markdown"):
            done = run("assess", "--format", form, path)
            self.assertEqual((done.returncode, done.stderr.decode()), (3, wanted), form)
            self.assertIn(b"HL-2", done.stdout)
        done = run("check", path)
        self.assertEqual((done.returncode, done.stderr.decode()), (3, wanted))
        self.assertIn(b"records: 3 good, 1 rejected; 2 units\n", done.stdout)

    def test_titles_of_the_shop_s_own(self):
        columns = self.file("columns", json.dumps({
            "format": "dryshaft-columns/1",
            "columns": {"Unit": "unit.id", "Day": {"field": "date", "dates": "day-month-year"},
                        "Tip": {"field": "fluid", "values": {"wet": "film"}}, "Who": None}}))
        path = self.file("t.csv", "Unit;Day;Tip;Who;port.checked\nHL-1;2.3.2026;wet;=1+1;yes\n")
        done = run("assess", "--format", "json", "--columns", columns, path)
        self.assertEqual((done.returncode, done.stderr), (0, b""))
        report = json.loads(done.stdout)
        self.assertEqual((report["unit_id"], report["date"], report["at_least"]),
                         ("HL-1", "2026-03-02", "C"))
        done = run("check", "--columns", os.path.join(self.folder, "none"), path)
        self.assertEqual((done.returncode, done.stderr.decode()), (
            3, f"{self.folder}/none: error[no-input]: cannot be read: No such file or directory\n"))
        done = run("assess", path)
        self.assertEqual((done.returncode, done.stdout), (3, done.stdout))
        self.assertIn(b"error[unknown-column]: the column \"Tip\" is not a field", done.stderr)

    def test_one_word_said_to_mean_two_things(self):
        columns = self.file("columns", json.dumps({
            "format": "dryshaft-columns/1",
            "columns": {"Tip": {"field": "fluid", "values": {"Wet": "none", "wet": "pooled"}}}}))
        done = run("check", "--columns", columns, self.file("t.csv", "unit.id,date,Tip\nHL-1,2026-03-02,wet\n"))
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"error[duplicate-key]: /columns/Tip/values/wet is given twice: capitals, blanks and "
                      b"hyphens do not count\n", done.stderr)

    def test_what_a_teardown_did_not_look_at(self):
        columns = self.file("columns", json.dumps({
            "format": "dryshaft-columns/1",
            "columns": {"Seal": {"field": "seal-leak", "values": {"-": "not-examined", "y": "present"}}}}))
        path = self.file("t.csv", "unit.id,date,teardown.date,Seal\n"
                                  "HL-1,2026-03-02,2026-03-03,-\nHL-2,2026-03-02,2026-03-03,y\n")
        done = run("assess", "--format", "json", "--columns", columns, path)
        self.assertEqual((done.returncode, done.stderr), (0, b""))
        columns = self.file("columns", json.dumps({
            "format": "dryshaft-columns/1",
            "columns": {"Seal": {"field": "seal-leak", "values": {"-": "not-examind"}},
                        "Tip": {"field": "fluid", "values": {"-": "not-examined"}}}}))
        done = run("check", "--columns", columns, path)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"allowed: absent, present, not-examined", done.stderr)
        self.assertIn(b"hint: did you mean \"not-examined\"?", done.stderr)
        self.assertIn(b"allowed: none, film, droplets, pooled\n", done.stderr)

    def test_at_standard_input_it_is_told_how(self):
        done = run("assess", input=b"unit.id,date,fluid\nHL-1,2026-03-01,none\n")
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"hint: it is read as one where its file name ends in .csv\n", done.stderr)


if __name__ == "__main__":
    unittest.main()
