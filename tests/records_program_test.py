"""`dryshaft records`: merge, convert, correct, withdraw, retire, forget, anonymise.

Usage: records_program_test.py PROGRAM
"""
import csv
import hashlib
import hmac
import io
import itertools
import json
import os
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
AMEND = ("--on", "2026-03-20", "--because", "tag misread", "--who", "desk")


def run(*arguments, **options):
    return subprocess.run([PROGRAM, *arguments], capture_output=True, check=False, text=True,
                          **options)


def sha(text):
    return hashlib.sha256(text.encode()).hexdigest()


def look(unit, date, fluid="none", **more):
    return json.dumps({"format": "dryshaft-record/1", "unit": {"id": unit},
                       "inspection": {"date": date, "port": {"checked": True, "fluid": fluid}},
                       **more}, separators=(",", ":"))


class RecordsCommand(unittest.TestCase):
    maxDiff = None

    def setUp(self):
        made = tempfile.TemporaryDirectory()
        self.addCleanup(made.cleanup)
        self.folder = made.name

    def path(self, name):
        return os.path.join(self.folder, name)

    def file(self, name, *lines, end="\n"):
        with open(self.path(name), "w", encoding="utf-8", newline="") as f:
            f.write("".join(line + end for line in lines))
        return self.path(name)

    def read(self, name):
        with open(self.path(name), encoding="utf-8", newline="") as f:
            return f.read()

    def records(self, *arguments):
        return run("records", *arguments, cwd=self.folder)

    # ------------------------------------------------------------ merge, sort

    def test_merged_in_one_way_whatever_the_order_of_files(self):
        names = {"a": look("HL-2", "2026-03-01"), "b": look("HL-1", "2026-03-02"),
                 "c": look("HL-1", "2026-03-01", "film")}
        for name, text in names.items():
            self.file(name, text)
        self.file("d", names["a"])  # once more
        wanted = "".join(names[name] + "\n" for name in "cba")
        for order in itertools.permutations("abcd"):
            done = self.records("merge", *order)
            self.assertEqual((done.returncode, done.stdout, done.stderr), (
                0, wanted, "dryshaft: 3 records written; 1 record left out, as the text stands here "
                           "already\n"))
        self.file("merged", wanted, end="")
        for command in ("merge", "sort"):
            done = self.records(command, "merged")
            self.assertEqual((done.stdout, done.stderr), (wanted, "dryshaft: 3 records written\n"))

    def test_records_over_several_lines_are_put_on_one(self):
        text = json.dumps(json.loads(look("HL-1", "2026-03-01")), indent=2)
        self.file("a", text)
        self.file("b", self.records("withdraw", sha(text), *AMEND, "a").stdout, end="")
        done = self.records("merge", "b", "a")
        line = text.replace("\n", "")
        self.assertEqual(done.stdout.splitlines()[0], line)
        self.assertIn(sha(line), done.stdout.splitlines()[1])
        self.assertEqual(done.stderr, "dryshaft: 2 records written; 2 rewritten, so with another "
                                      "hash (1 to name one of these by its new one)\n")

    def test_a_broken_line_is_reported_and_the_rest_is_written(self):
        good = look("HL-1", "2026-03-01")
        self.file("a", look("HL-1", "2026-03-01", "dropplets"), good)
        done = self.records("merge", "--out", "out", "a", "missing")
        self.assertEqual(done.returncode, 3)
        self.assertEqual(self.read("out"), good + "\n")
        self.assertIn('a:1:117: error[bad-value]: /inspection/port/fluid is "dropplets"', done.stderr)
        self.assertIn("missing: error[no-input]: cannot be read: No such file or directory\n",
                      done.stderr)

    def test_no_input_is_replaced_and_nothing_is_half_written(self):
        a = self.file("a", look("HL-1", "2026-03-01"))
        done = self.records("merge", "--out", "a", "a")
        self.assertEqual((done.returncode, self.read("a")), (4, look("HL-1", "2026-03-01") + "\n"))
        self.assertIn("a: error[output]: cannot be written: it is an input, and would be lost",
                      done.stderr)
        done = self.records("convert", "--to", "jsonl", "--out", "/dev/full", "a")
        self.assertEqual(done.returncode, 4)
        self.assertEqual(sorted(os.listdir(self.folder)), [os.path.basename(a)])

    # ----------------------------------------------------------------- convert

    def test_to_a_table_and_back(self):
        path = os.path.abspath("examples/intake.jsonl")
        done = self.records("convert", "--to", "csv", "--out", "t.csv", path)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        with open(self.path("t.csv"), encoding="utf-8", newline="") as f:
            self.assertEqual(len(list(csv.reader(f))), 301)
        done = self.records("convert", "--to", "jsonl", "--out", "back.jsonl", "t.csv")
        self.assertEqual(done.stderr, "dryshaft: 300 records written\n")

        def graded(name):
            reports = [json.loads(line) for line in
                       run("assess", "--format", "json", name, cwd=self.folder).stdout.splitlines()]
            for report in reports:
                for basis in ("record", "records", "records_sha256"):
                    del report[basis]
            return sorted(reports, key=lambda report: report["unit_id"])
        self.assertEqual(graded("back.jsonl"), graded(path))

    def test_what_no_table_holds_is_said_and_left_out(self):
        self.file("a", look("HL-1", "2026-03-01"),
                  look("HL-2", "2026-03-01", work=[{"did": "port-cleaned", "date": "2026-02-01"}]))
        done = self.records("convert", "--to", "csv", "a")
        self.assertEqual((done.returncode, done.stdout, done.stderr), (
            3, "id,date,checked,fluid,work\nHL-1,2026-03-01,yes,none,\n",
            "a:2: error[not-in-a-table]: /work says more than the words that a cell holds: the "
            "record is left out\n"
            "  hint: keep this record as JSON\n"
            "dryshaft: 1 of 2 records left out of the table, as said above\n"))

    def test_own_columns_of_a_spreadsheet_are_groups(self):
        self.file("t.csv", "No.,Day,Customer,checked,fluid,odometer_km,rotor_cooling",
                  *(f"HL-{i},2026-03-01,{'AB'[i % 2]},yes,{('none', 'film')[i % 3 == 0]},"
                    f"{20000 + 9000 * i},wet" for i in range(12)))
        self.file("c.json", json.dumps({"format": "dryshaft-columns/1", "columns": {
            "No.": "unit.id", "Day": "date", "Customer": "x_owner"}}))
        done = run("fit", "onset", "--columns", "c.json", "--by", "x_owner", "--format", "json",
                   "t.csv", cwd=self.folder)
        self.assertEqual(done.returncode, 0, done.stderr)
        groups = json.loads(done.stdout)["regressions"][0]["groups"]
        self.assertEqual([group["name"] for group in groups], ["A", "B"])

    # --------------------------------------------------- correct and withdraw

    def test_a_withdrawn_record_counts_for_nothing_and_is_told_of(self):
        good, wrong = look("HL-1", "2025-03-01"), look("HL-1", "2026-03-01", "pooled")
        self.file("a", good, wrong)
        done = self.records("withdraw", sha(wrong)[:8].upper(), *AMEND, "--append", "a", "a")
        self.assertEqual((done.returncode, done.stdout, done.stderr), (0, "", ""))
        notice = (
            '{"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-20"},'
            f'"withdrawn":[{{"sha256":"{sha(wrong)}","date":"2026-03-20","because":"tag misread",'
            '"by":"desk"}]}\n')
        self.assertEqual(self.read("a"), good + "\n" + wrong + "\n" + notice)
        said = ("Record of 2026-03-01 withdrawn on 2026-03-20 by desk: tag misread; it counts for "
                "nothing. It had shown: ")
        alone = json.loads(run("assess", "--format", "json", self.file("b", good)).stdout)
        report = json.loads(run("assess", "--format", "json", self.path("a")).stdout)
        taken = report["history"].pop("taken_out")
        self.assertEqual([(t["did"], t["date"], t["sha256"], t["on"], t["because"], t["by"])
                          for t in taken],
                         [("withdrawn", "2026-03-01", sha(wrong), "2026-03-20", "tag misread",
                           "desk")])
        self.assertTrue(taken[0]["text"].startswith(said))
        self.assertEqual(report["warnings"], [*alone["warnings"], taken[0]["text"]])
        report["warnings"].pop()
        for one in (report, alone):
            for used in [one["record"], *one["records"]]:
                del used["source"]
        self.assertEqual(report, alone)
        text = run("assess", self.path("a")).stdout
        self.assertIn("withdrawn on 2026-03-20 by desk", text)
        # Not a second time.
        done = self.records("withdraw", sha(wrong), *AMEND, "a")
        self.assertEqual((done.returncode, done.stdout, done.stderr),
                         (3, "", "a:2: error[counts-for-nothing]: was withdrawn already\n"))

    def test_a_corrected_record_takes_the_place_of_the_wrong_one(self):
        wrong = look("HL-1", "2026-03-01", "film")
        self.file("a", wrong)
        done = self.records("correct", sha(wrong), "--set", "fluid=none", "--set",
                            "odometer_km=99000", *AMEND, "a")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertEqual(done.stdout, (
            '{"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-01",'
            '"port":{"checked":true,"fluid":"none"},"odometer_km":99000},'
            f'"replaces":"{sha(wrong)}","withdrawn":[{{"sha256":"{sha(wrong)}",'
            '"date":"2026-03-20","because":"tag misread","by":"desk"}]}\n'))
        self.file("b", done.stdout, end="")
        text = run("assess", "--full", "a", "b", cwd=self.folder)
        self.assertEqual(text.stderr, "")
        self.assertIn("replaced by a corrected one on 2026-03-20", text.stdout)
        # By itself it counts, and a warning says what is missing.
        alone = run("assess", "b", cwd=self.folder)
        self.assertEqual(alone.returncode, 0)
        self.assertIn(f"warning[no-such-record]: /withdrawn/0/sha256 is {sha(wrong)[:12]}..., and no "
                      "record that was read with this one has that hash: it takes nothing out\n",
                      alone.stderr)
        again = self.records("correct", sha(wrong), "--set", "fluid=film", *AMEND, "a", "b")
        self.assertEqual((again.returncode, again.stdout), (3, ""))
        self.assertEqual(again.stderr, "a:1: error[counts-for-nothing]: was replaced already\n"
                                       "  hint: correct or withdraw the record that took its place\n")

    def test_corrected_by_a_record_of_a_file(self):
        wrong = look("HL-1", "2026-03-01", "film")
        self.file("a", wrong)
        self.file("new", json.dumps(json.loads(look("HL-2", "2026-03-01", "film")), indent=1))
        done = self.records("correct", sha(wrong), "--with", "new", *AMEND, "--append", "a", "a")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        done = run("assess", "--format", "json", "a", cwd=self.folder)
        reports = [json.loads(line) for line in done.stdout.splitlines()]
        self.assertEqual([report["unit_id"] for report in reports], ["HL-2"])
        self.assertEqual(done.stderr, 'a:1: warning[unit-moved]: no record of the unit "HL-1" is '
                                      'left, as one of "HL-2" took its place: it has no report\n')

    def test_what_cannot_be_put_right_is_said(self):
        wrong = look("HL-1", "2026-03-01", "film")
        self.file("a", wrong)
        for code, said, arguments in (
                (2, 'dryshaft: "abc" is no hash of a record, nor the first 8 digits of one\n',
                 ("withdraw", "abc", *AMEND, "a")),
                (2, "dryshaft: correct takes --set, or --with: one of the two\n",
                 ("correct", sha(wrong), *AMEND, "a")),
                (2, 'dryshaft: --set is "fluid", not NAME=VALUE\n',
                 ("correct", sha(wrong), "--set", "fluid", *AMEND, "a")),
                (3, '--set: error[bad-value]: /inspection/port/fluid is "dropplets"\n'
                    "  allowed: none, film, droplets, pooled\n"
                    '  hint: did you mean "droplets"?\n',
                 ("correct", sha(wrong), "--set", "fluid=dropplets", *AMEND, "a")),
                (3, "error[no-such-record]: no record has a hash that begins with 00000000\n"
                    "  hint: reports and warnings name the hash of a record; name the file that "
                    "holds it\n",
                 ("withdraw", "00000000", *AMEND, "a"))):
            done = self.records(*arguments)
            self.assertEqual((done.returncode, done.stdout, done.stderr), (code, "", said))
        for missing in ("--on", "--because", "--who"):
            at = AMEND.index(missing)
            done = self.records("withdraw", sha(wrong), *AMEND[:at], *AMEND[at + 2:], "a")
            self.assertEqual((done.returncode, done.stderr),
                             (2, f"dryshaft: {missing} is required\n"))

    def test_nothing_is_put_behind_what_is_no_record(self):
        wrong = look("HL-1", "2026-03-01", "film")
        self.file("a", wrong)
        self.file("t.csv", "unit.id,date", "HL-1,2026-03-01")
        done = self.records("withdraw", sha(wrong), *AMEND, "--append", "t.csv", "a")
        self.assertEqual((done.returncode, done.stderr, self.read("t.csv")), (
            2, "dryshaft: --append takes a file of JSON, not a table\n",
            "unit.id,date\nHL-1,2026-03-01\n"))
        self.file("zip", "PK\x03\x04")
        done = self.records("withdraw", sha(wrong), *AMEND, "--append", "zip", "a")
        self.assertEqual((done.returncode, done.stderr, self.read("zip")), (
            3, "zip: error[not-records]: is not written so that a record can stand at its end\n"
               "  hint: name a file of JSON, or write to a new one with --out\n", "PK\x03\x04\n"))

    # ------------------------------------------------------------------ retire

    def test_a_unit_that_left_is_on_no_list_of_what_is_due(self):
        self.file("a", look("HL-1", "2026-03-01", "film"), look("HL-2", "2026-03-01", "film"))
        due = ("assess", "--due", "2030-01-01", "--format", "csv", "a")

        def units():
            return [row["unit_id"] for row in
                    csv.DictReader(io.StringIO(run(*due, cwd=self.folder).stdout))]
        self.assertEqual(sorted(units()), ["HL-1", "HL-2"])
        done = self.records("retire", "HL-1", "--on", "2026-03-20", "--because", "sold", "--note",
                            "to a dealer", "--append", "a", "a")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertEqual(self.read("a").splitlines()[-1], (
            '{"format":"dryshaft-record/1","unit":{"id":"HL-1"},"inspection":{"date":"2026-03-20"},'
            '"work":[{"did":"unit-sold","note":"to a dealer"}]}'))
        self.assertEqual(units(), ["HL-2"])
        text = run("assess", "--full", "a", cwd=self.folder).stdout
        self.assertIn("Drive unit sold on 2026-03-20 (to a dealer). Nothing is listed as due until "
                      "it is", " ".join(text.split()))
        plan = ("plan", "--prices", os.path.abspath("examples/prices.json"), "--intake", "a")
        self.assertIn("\n1 unit left the workshop's care and is not listed.\n",
                      run(*plan, cwd=self.folder).stdout)
        yard = json.loads(run(*plan, "--format", "json", cwd=self.folder).stdout)
        self.assertEqual((yard["units_left"], [unit["unit_id"] for unit in yard["units"]]),
                         (1, ["HL-2"]))
        self.file("b", look("HL-1", "2026-03-21", "film"))
        due += ("b",)
        self.assertEqual(sorted(units()), ["HL-1", "HL-2"])

    def test_who_left_and_when_is_checked(self):
        self.file("a", look("HL-1", "2026-03-01", "film"))
        done = self.records("retire", "HL-2", "--on", "2026-03-20", "--because", "sold", "a")
        self.assertEqual((done.returncode, done.stdout), (3, ""))
        self.assertIn('no inspection of the unit "HL-2" is among the records', done.stderr)
        done = self.records("retire", "HL-1", "--on", "2026-02-20", "--because", "sold", "a")
        self.assertEqual((done.returncode, done.stdout), (3, ""))
        self.assertIn("a:1:73: error[looked-at-since]: /inspection/date is 2026-03-01, after "
                      "2026-02-20: the unit was looked at after it left\n", done.stderr)
        done = self.records("retire", "HL-1", "--on", "2026-03-20", "--because", "stolen", "a")
        self.assertEqual((done.returncode, done.stderr), (
            2, 'dryshaft: --because: "stolen" is not sold, scrapped or returned\n'))

    # ------------------------------------------------------- forget, anonymise

    def test_forgotten(self):
        mine = look("HL-1", "2026-03-01", "film", note="J. Q. called", x_owner="J. Q.")
        other = look("HL-2", "2026-03-01", note="n", x_owner="A. B.")
        self.file("a", mine, other)
        self.records("withdraw", sha(mine), *AMEND, "--append", "a", "a")
        done = self.records("forget", "HL-1", "--out", "new", "a")
        self.assertEqual((done.returncode, done.stderr), (
            0, "dryshaft: 3 records written; 2 rewritten, so with another hash (1 to name one of "
               "these by its new one)\n"))
        bare = look("HL-1", "2026-03-01", "film")
        lines = self.read("new").splitlines()
        self.assertEqual(lines[:2], [bare, other])
        self.assertEqual(json.loads(lines[2])["withdrawn"], [
            {"sha256": sha(bare), "date": "2026-03-20", "because": "tag misread"}])
        done = self.records("forget", "HL-3", "--out", "none", "a")
        self.assertEqual((done.returncode, os.path.exists(self.path("none"))), (3, False))

    def test_anonymous(self):
        secret = "a key of this test alone"
        self.file("key", secret)
        self.file("a", look("HL-1", "2026-03-01", "film", note="J. Q.", x_owner="J. Q."),
                  look("HL-1", "2026-03-02"))
        done = self.records("anonymise", "--key", "key", "a")
        self.assertEqual((done.returncode, done.stderr),
                         (0, "dryshaft: 2 records written; 2 rewritten, so with another hash\n"))
        unit = hmac.new(secret.encode(), b"HL-1", hashlib.sha256).hexdigest()[:16]
        self.assertEqual(done.stdout.splitlines(),
                         [look(unit, "2026-03-01", "film"), look(unit, "2026-03-02")])
        self.file("short", "secret")
        done = self.records("anonymise", "--key", "short", "a")
        self.assertEqual((done.returncode, done.stdout, done.stderr), (
            2, "", "dryshaft: the key in short has 6 bytes; it takes 16 at least, and none that "
                   "anybody would guess\n"))

    def test_onset_statistics_to_be_given_away_name_no_unit_or_file(self):
        path = os.path.abspath("examples/history-ten-years.jsonl")
        with open(path, encoding="utf-8") as f:
            unit = json.loads(f.readline())["unit"]["id"]
        forms = {form: run("fit", "onset", "--anonymous", "--format", form, path)
                 for form in ("json", "text", "html")}
        for form, done in forms.items():
            self.assertEqual(done.returncode, 0, done.stderr)
            self.assertNotIn("history-ten-years", done.stdout, form)
            self.assertNotIn(unit[:3], done.stdout, form)
        mine = json.loads(run("fit", "onset", "--format", "json", path).stdout)
        given = json.loads(forms["json"].stdout)
        self.assertEqual(len(given["left_out"]), len(mine["left_out"]))
        for name in ("used", "left_out", "sources"):
            del mine[name], given[name]
        self.assertEqual(given, mine)
        self.file("onset.json", forms["json"].stdout, end="")
        self.assertEqual(run("assess", "--onset", self.path("onset.json"),
                             "examples/film-caught-early.json").returncode, 0)
        done = run("fit", "onset", "--anonymous", "--by", "x_owner", path)
        self.assertEqual((done.returncode, done.stderr), (
            2, "dryshaft: --anonymous goes without --by x_...: groups of your own have names\n"))


if __name__ == "__main__":
    unittest.main()
