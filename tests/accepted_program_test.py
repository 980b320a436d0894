"""Known bad inputs (`--accepted`), and what a run came to (`--summary`).

Usage: accepted_program_test.py PROGRAM
"""
import hashlib
import json
import os
import pathlib
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
GOOD = '{"format":"dryshaft-record/1","unit":{"id":"%s"},"inspection":{"date":"%s","odometer_km":%d}}'
BAD = '{"format":"dryshaft-record/1","unit":{"id":"OLD-1"},"inspection":{"date":"2026-13-01"}}'


def run(*arguments, code=0, text=None):
    done = subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, check=False,
                          input=text.encode() if text is not None else None)
    assert done.returncode == code, (arguments, done.returncode, done.stderr.decode())
    return done


class Accepted(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)
        self.known = self.folder / "known.jsonl"

    def file(self, name, *lines):
        path = self.folder / name
        path.write_text("".join(line + "\n" for line in lines))
        return path

    def accept(self, *files, reason="typed wrong in 2019, the card is lost"):
        lines = run("check", "--format", "jsonl", *files, code=3).stdout.decode().splitlines()
        entries = [dict(json.loads(line), reason=reason) for line in lines]
        self.known.write_text("".join(json.dumps(e) + "\n" for e in entries))
        return entries

    def test_a_known_bad_line_gives_no_code(self):
        old = self.file("old.jsonl", GOOD % ("A-1", "2026-03-01", 90000), BAD)
        entries = self.accept(old)
        self.assertEqual(entries, [{
            "format": "dryshaft-accepted/1", "sha256": hashlib.sha256(BAD.encode()).hexdigest(),
            "reason": "typed wrong in 2019, the card is lost", "source": str(old), "line": 2,
            "error": 'bad-date: /inspection/date is "2026-13-01"'}])
        said = f"dryshaft: 1 rejected input is accepted by {self.known}\n"
        for command in (("assess",), ("assess", "--format", "jsonl"), ("check",), ("fit", "onset"),
                        ("fit", "outcomes"), ("plan", "--prices", "examples/prices.json"),
                        ("compare", "--new-today", "2026-04-01")):
            run(*command, old, code=3)
            self.assertEqual(run(*command, "--accepted", self.known, old).stderr.decode(), said, command)
        self.assertIn("records: 1 good, 0 rejected, 1 accepted; 1 unit\n",
                      run("check", "--accepted", self.known, old).stdout.decode())
        # Once more, and from a pipe.
        twice = run("assess", "--format", "jsonl", "--accepted", self.known,
                    text=f"{BAD}\n{BAD}\n{GOOD % ('A-1', '2026-03-01', 90000)}\n")
        self.assertIn("dryshaft: 2 rejected inputs are accepted by ", twice.stderr.decode())
        self.assertEqual(len(twice.stdout.decode().splitlines()), 1)

    def test_an_unknown_bad_line_still_does(self):
        old = self.file("old.jsonl", BAD)
        self.accept(old)
        new = self.file("new.jsonl", BAD.replace("OLD-1", "OLD-2"), BAD)
        done = run("check", "--accepted", self.known, new, code=3)
        self.assertIn("new.jsonl:1:", done.stderr.decode())
        self.assertNotIn("new.jsonl:2:", done.stderr.decode())
        # Only what is new is written.
        lines = run("check", "--format", "jsonl", "--accepted", self.known, new, code=3).stdout.decode()
        self.assertEqual([json.loads(line)["line"] for line in lines.splitlines()], [1])

    def test_more_than_are_listed(self):
        old = self.file("old.jsonl", *[BAD.replace("OLD-1", f"OLD-{i}") for i in range(250)])
        self.assertEqual(len(self.accept(old)), 250)
        self.assertEqual(run("check", "--accepted", self.known, old).stderr.decode(),
                         f"dryshaft: 250 rejected inputs are accepted by {self.known}\n")

    def test_a_date_and_a_reading_that_are_refused(self):
        slip = self.file("slip.jsonl", GOOD % ("A-1", "2026-01-01", 90000), GOOD % ("A-1", "2026-02-01", 990000),
                         GOOD % ("A-1", "2026-03-01", 91000), GOOD % ("A-2", "2062-03-01", 5000))
        entries = self.accept(slip)
        self.assertEqual(sorted(e["error"].split(":")[0] for e in entries), ["date-alone", "odometer-backwards"])
        for form in ("json", "jsonl"):
            without = run("assess", "--format", form, slip, code=3)
            accepted = run("assess", "--format", form, "--accepted", self.known, slip)
            self.assertEqual(accepted.stdout, without.stdout)  # it is refused all the same
            self.assertEqual(accepted.stderr.decode(), f"dryshaft: 2 rejected inputs are accepted by {self.known}\n")

    def test_a_row_of_a_table(self):
        table = self.file("old.csv", "unit_id,date,fluid", "A-1,2026-03-01,none", "A-2,2026-03-01,wettish")
        self.accept(table)
        self.assertEqual(json.loads(self.known.read_text())["sha256"],
                         hashlib.sha256(b"A-2,2026-03-01,wettish").hexdigest())
        run("assess", "--accepted", self.known, table)

    def test_an_entry_that_no_input_needs(self):
        old = self.file("old.jsonl", BAD)
        self.accept(old)
        good = self.file("good.jsonl", GOOD % ("A-1", "2026-03-01", 90000))
        said = run("check", "--accepted", self.known, good).stderr.decode()
        self.assertTrue(said.startswith(f"{self.known}:1:"), said)
        self.assertIn("warning[not-met]: /sha256 is of no rejected input\n", said)
        self.assertIn("  hint: take the line out where the input was put right\n", said)

    def test_bad_entries(self):
        good = self.file("good.jsonl", GOOD % ("A-1", "2026-03-01", 90000))
        for entry, message in (
                ('{"format":"dryshaft-accepted/1","sha256":"ab","reason":"x"}', "error[bad-value]: /sha256 is \"ab\"\n"),
                ('{"format":"dryshaft-accepted/1","sha256":"%s","reason":""}' % ("0" * 64),
                 "error[no-reason]: /reason is empty\n"),
                ('{"format":"dryshaft-accepted/1","sha256":"%s"}' % ("0" * 64), 'error[missing]: has no "reason"\n'),
                ('{"format":"dryshaft-record/1"}', "error[bad-value]: /format is"),
                ("[]", "error[wrong-type]: is an array\n"), ("{", "error[syntax]: ")):
            self.known.write_text(entry + "\n")
            for command in ("assess", "check"):
                done = run(command, "--accepted", self.known, good, code=3)
                self.assertIn(message, done.stderr.decode())
                self.assertEqual(done.stdout, b"")

    def test_layout_is_not_accepted(self):
        broken = self.file("old.jsonl", "[" + GOOD % ("A-1", "2026-03-01", 90000) + ",]")
        self.assertEqual(run("check", "--format", "jsonl", broken, code=3).stdout, b"")


class Summary(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)

    def summary(self, *arguments, code=0):
        path = self.folder / "run.json"
        run(*arguments, "--summary", path, code=code)
        return json.loads(path.read_text())

    def test_both_reasons_are_told(self):
        intake = self.folder / "intake.jsonl"
        pooled = ('{"format":"dryshaft-record/1","unit":{"id":"D-1"},"inspection":{"date":"2026-03-01",'
                  '"port":{"checked":true,"fluid":"pooled","fluid_kind":"coolant"}}}')
        intake.write_text("\n".join([GOOD % ("A-1", "2026-03-01", 90000), pooled, BAD]) + "\n")
        for form in ("text", "json", "jsonl", "csv", "html", "markdown"):
            said = self.summary("assess", "--format", form, "--fail-on", "D", intake, code=3)
            self.assertEqual(said["exit"], {"code": 3, "reasons": [
                {"code": 3, "text": "some input was rejected"},
                {"code": 1, "text": "1 unit was graded D or worse"}]})
            self.assertEqual(said["records"], {"read": 2, "rejected": 1, "rejected_at_least": False, "accepted": 0})
            self.assertEqual((said["format"], said["command"], said["as_of"], said["units"], said["overdue"]),
                             ("dryshaft-summary/1", "assess", "2026-03-01", 2, 0))
            self.assertEqual(said["grades"], {"A": 0, "B": 0, "C": 0, "D": 1, "U": 1})
        self.assertEqual(self.summary("check", intake, code=3)["exit"],
                         {"code": 3, "reasons": [{"code": 3, "text": "some input was rejected"}]})

    def test_a_run_without_reasons(self):
        said = self.summary("assess", "examples/dry-and-quiet.json")
        self.assertEqual(said["exit"], {"code": 0, "reasons": []})
        self.assertEqual(sum(said["grades"].values()), 1)
        self.assertNotIn("grades", self.summary("check", "examples/dry-and-quiet.json"))

    def test_what_could_not_be_written(self):
        said = self.summary("assess", "--format", "json", "--out", "/dev/full", "examples/dry-and-quiet.json", code=4)
        self.assertEqual(said["exit"], {"code": 4, "reasons": [{"code": 4, "text": "output could not be written"}]})
        run("assess", "--summary", "/dev/full", "examples/dry-and-quiet.json", code=4)

    def test_it_takes_no_other_place(self):
        out = self.folder / "one"
        done = run("assess", "--out", out, "--summary", out, "examples/dry-and-quiet.json", code=2)
        self.assertEqual(done.stderr.decode(), "dryshaft: --out and --summary name the same file\n")

    def test_refused_data(self):
        rules = self.folder / "rules"
        rules.mkdir()
        (rules / "rules.json").write_text("{}")
        said = self.summary("assess", "--rules", rules, "examples/dry-and-quiet.json", code=3)
        self.assertEqual(said["exit"]["reasons"],
                         [{"code": 3, "text": "rules, families or another file of data are refused"}])


if __name__ == "__main__":
    unittest.main()
