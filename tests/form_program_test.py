"""The owner's form at the command line: blank, read, and asked at a terminal or through a pipe.

Usage: form_program_test.py PROGRAM
"""
import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import tempfile
import time
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
TODAY = "2026-03-18"
# Enter alone: past all that is asked before the units, and before the car's name.
BEFORE_UNITS = [""] * 8
BEFORE_NAME = [*BEFORE_UNITS, "", ""]


def run(*arguments, text="", **options):
    return subprocess.run([PROGRAM, "form", *arguments], input=text.encode(), capture_output=True,
                          check=False, **options)


def filled(**answers):
    text = run("blank").stdout.decode()
    for key, answer in {"unit-id": "HL-0147", "date": TODAY, **answers}.items():
        line = text.index("Answer:", text.index(f"\n[{key}]"))
        text = text[:line] + "Answer: " + answer + text[text.index("\n", line):]
    return text


class Files(unittest.TestCase):
    def setUp(self):
        scratch = tempfile.TemporaryDirectory()
        self.addCleanup(scratch.cleanup)
        self.folder = scratch.name

    def path(self, name, text=None):
        path = os.path.join(self.folder, name)
        if text is not None:
            with open(path, "w", encoding="utf-8", newline="") as file:
                file.write(text)
        return path

    def ask(self, *lines, options=()):
        """What somebody typed, through a pipe; the exit code, and the record that was saved."""
        out = self.path("record.jsonl")
        if os.path.exists(out):
            os.unlink(out)
        done = run("ask", "--today", TODAY, "--save", out, *options, text="".join(f"{l}\n" for l in lines))
        records = []
        if os.path.exists(out):
            with open(out, encoding="utf-8") as file:
                records = [json.loads(line) for line in file]
        return done, records


class Blank(Files):
    def test_a_text_that_holds_no_record_is_rejected_input(self):
        for text in ("", "see dryshaft-record/1 for more\n", "{}", "[]"):
            done = run("read", text=text)
            self.assertEqual((done.returncode, done.stdout), (3, b""), text)
            self.assertIn(b"error[", done.stderr)

    def test_records_on_one_line_all_count(self):
        with open("examples/intake.jsonl", encoding="utf-8") as file:
            records = [json.loads(line) for line in file][:60]
        done = run("read", text=json.dumps(records))
        self.assertEqual((done.returncode, done.stderr), (0, b""))
        self.assertEqual([json.loads(line) for line in done.stdout.splitlines()], records)

    def test_shapes(self):
        text = run("blank")
        self.assertEqual((text.returncode, text.stderr), (0, b""))
        self.assertTrue(text.stdout.startswith(b"DRYSHAFT FORM 1\n"))
        page = run("blank", "--format", "html")
        self.assertTrue(page.stdout.startswith(b"<!DOCTYPE html>"))
        self.assertEqual(page.stdout, run("blank", "--format", "html").stdout)
        out = self.path("form.html")
        self.assertEqual(run("blank", "--format", "html", "--buying", "--out", out).stdout, b"")
        with open(out, "rb") as file:
            self.assertIn(b"you may buy", file.read())

    def test_wrong_usage_and_full_disks(self):
        self.assertEqual(run("blank", "--format", "pdf").returncode, 2)
        self.assertEqual(run("blank", "--families", "no-such-folder").returncode, 2)
        self.assertEqual(run().returncode, 2)
        self.assertEqual(run("ask", "--today", "yesterday").returncode, 2)
        report = json.loads(subprocess.run([PROGRAM, "assess", "--format", "json", "examples/dry-and-quiet.json"],
                                           capture_output=True, check=True).stdout)
        overlay = self.path("own.json", json.dumps({
            "format": "dryshaft-overlay/1", "rules": report["rules"], "teardowns": 1, "backgrounds": [], "links": []}))
        done = run("blank", "--format", "html", "--rules", overlay)
        self.assertEqual((done.returncode, done.stdout, done.stderr),
                         (2, b"", b"dryshaft: a page grades by rules and families, and by no overlay\n"))
        if os.path.exists("/dev/full"):
            with open("/dev/full", "wb") as full:
                done = subprocess.run([PROGRAM, "form", "blank"], stdout=full, stderr=subprocess.PIPE, check=False)
            self.assertEqual(done.returncode, 4)
        self.assertEqual(run("blank", "--out", "/no/such/folder/x").returncode, 4)

    def test_families_of_ones_own(self):
        with open("data/families/plover-2.json", encoding="utf-8") as file:
            family = json.load(file)
        family.update(id="plover-9", title="plover nine", vehicles=[{"id": "Skerry", "port_access": "under-floor"}])
        self.path("plover-9.json", json.dumps(family))
        text = run("blank", "--families", self.folder).stdout.decode()
        self.assertIn("[ ] Skerry (drive unit plover nine)", text)
        before, car, after = filled().partition("\n[unit-vehicle]")
        read = run("read", "--families", self.folder, text=before + car + after.replace(
            "[ ] I do not know", "[x] Skerry", 1))
        self.assertEqual(read.returncode, 0, read.stderr)
        self.assertEqual(json.loads(read.stdout)["unit"],
                         {"id": "HL-0147", "family": "plover-9", "vehicle": "Skerry"})


class Read(Files):
    def test_good_and_bad_files(self):
        good = self.path("good.txt", filled().replace("\n", "\r\n"))
        lots = filled(odometer="lots")
        bad = self.path("bad.txt", lots)
        done = run("read", good, bad, self.path("none.txt"), good)
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stdout.count(b"\n"), 2)
        line = lots.split("Answer: lots")[0].count("\n") + 1
        self.assertIn(f"bad.txt:{line}:11: error[bad-value]: [odometer] is \"lots\"\n".encode(), done.stderr)
        self.assertIn(b"none.txt: error[no-input]: cannot be read", done.stderr)
        self.assertEqual(run("read", good).returncode, 0)

    def test_a_record_goes_on_to_be_graded(self):
        done = run("read", text=filled(odometer="109000 km"))
        graded = subprocess.run([PROGRAM, "assess", "--for", "owner"], input=done.stdout, capture_output=True,
                                check=True)
        self.assertIn(b"109,000 km", graded.stdout)

    def test_an_answer_counts_or_is_refused(self):
        """A mark beside its brackets makes the car a D; what nobody can place ends with exit code 3."""
        for line in ("[ ]x it is showing now", "[ ] it is showing now!!!", "x it is showing now"):
            done = run("read", text=filled().replace("[ ] it is showing now", line))
            self.assertEqual((done.returncode, done.stderr), (0, b""), line)
            graded = subprocess.run([PROGRAM, "assess", "--for", "owner"], input=done.stdout, capture_output=True,
                                    check=True)
            self.assertIn(b"Grade D", graded.stdout, line)
        good = self.path("good.txt", filled())
        for line in ("[ ] it is showing now since Monday", "[isolation]"):
            text = filled().replace("[ ] it is showing now", line)
            bad = self.path("bad.txt", text)
            done = run("read", bad, good)
            self.assertEqual((done.returncode, done.stdout.count(b"\n")), (3, 1), line)
            at = text.split(line)[0].count("\n") + 1
            self.assertIn(f"bad.txt:{at}:3: error[".encode(), done.stderr, line)

    def test_standard_input_and_out(self):
        out = self.path("records.jsonl")
        self.assertEqual(run("read", "-", "--out", out, text=filled()).returncode, 0)
        with open(out, encoding="utf-8") as file:
            self.assertEqual(json.loads(file.read())["unit"]["id"], "HL-0147")


class Ask(Files):
    def test_end_of_input_keeps_what_was_answered(self):
        done, records = self.ask(*BEFORE_NAME, "HL-0147", "2", "2018")
        self.assertEqual(done.returncode, 0)
        self.assertEqual(done.stderr, b"<stdin>: the input ended; what was answered so far is kept\n")
        self.assertEqual(records, [{"format": "dryshaft-record/1",
                                    "unit": {"id": "HL-0147", "family": "plover-2", "vehicle": "Tarn",
                                             "built": "2018"},
                                    "inspection": {"date": TODAY, "by": "owner"}}])
        self.assertIn(b"HL-0147, Tarn (plover-2), 2026-03-18", done.stdout)
        self.assertIn(b"Ask a workshop", done.stdout)

    def test_a_line_without_its_end_counts(self):
        done = run("ask", "--today", TODAY, text="\n" * len(BEFORE_NAME) + "HL-0147")
        self.assertIn(b"HL-0147, family not given, 2026-03-18", done.stdout)

    def test_nothing_answered(self):
        for lines in ([], ["", "", ""], ["quit"]):
            done, records = self.ask(*lines)
            self.assertEqual((done.returncode, records), (3, []))
            self.assertIn(b"error[no-answers]", done.stderr)

    def test_back_skip_help_and_do_not_know(self):
        done, records = self.ask(*BEFORE_UNITS, "", "HL-0147", "back", "HL-0148", "skip", "help", "don't know", "1",
                                 "0", "back", "90000", "quit", options=["--units", "mi"])
        self.assertEqual(done.returncode, 0)
        self.assertEqual(records[0]["unit"], {"id": "HL-0148", "fitted_odometer_mi": 1, "seal_renewed_odometer_mi": 90000})
        self.assertIn(b"quit, which ends", done.stdout)

    def test_wrong_answers_are_asked_again(self):
        done, records = self.ask(*BEFORE_NAME, "x" * 65, "HL-0147", "9", "Tarn", "05/17", "2017-13", "05/2017", "1 2", "q")
        self.assertEqual(records[0]["unit"], {"id": "HL-0147", "family": "plover-2", "vehicle": "Tarn",
                                              "built": "2017-05"})
        out = done.stdout.decode()
        self.assertIn("That answer is 65 characters long.\n       Possible: 1 to 64 characters", out)
        self.assertIn('That answer is "9".', out)
        self.assertIn('That answer is "2017-13".', out)
        self.assertIn("write the year first", out)

    def test_a_distance_without_a_unit_asks_for_it(self):
        _, records = self.ask(*BEFORE_UNITS, "", "68,000", "2", "HL-0147", "", "", "0", "q")
        self.assertEqual(records[0]["inspection"]["odometer_mi"], 68000)
        self.assertEqual(records[0]["unit"]["fitted_odometer_mi"], 0)
        _, records = self.ask(*BEFORE_UNITS, "2", "12 km", "HL-0147", "", "", "5", "q")
        self.assertEqual(records[0]["inspection"]["odometer_km"], 12)
        self.assertEqual(records[0]["unit"]["fitted_odometer_km"], 5)

    def test_the_question_for_units_can_be_left(self):
        # The first time it is passed over; the number without a unit brings it back.
        done, records = self.ask("1", *BEFORE_UNITS[1:], "", "500", "quit")
        self.assertEqual(done.returncode, 0)
        self.assertEqual(records[0]["inspection"], {"date": TODAY, "by": "owner", "faults": {"isolation": "none"}})
        self.assertNotIn(b"write km or miles", done.stdout)

    def test_a_check_after_today_is_asked_again(self):
        done, records = self.ask("", "", "", "", "", "", "y", "2026-03-19", "2026-03-01", "q")
        self.assertIn(b"That answer is 2026-03-19, after [date], which is 2026-03-18.", done.stdout)
        self.assertEqual([r["inspection"]["date"] for r in records], ["2026-03-01", TODAY])

    def test_an_answer_that_means_danger_says_so_at_once(self):
        done, _ = self.ask("it is showing now", "q")
        out = done.stdout.decode()
        self.assertIn("     !", out)
        self.assertIn("Do not drive", out[out.index("     !"):out.index("Has the car ever stopped")])

    def stop_lines(self, *lines, options=()):
        """What is said at once, each with the question that it is said before."""
        out = self.ask(*lines, options=options)[0].stdout.decode().split("\ncar-")[0]
        out = re.sub(r"\n {7}(?=\S)", " ", out[out.index("Also: back"):])
        return re.findall(r"\n +! +(.*)\n(?:\n[^!]*?)*?\n(\d+/\d+ .*?\?)", out)

    DO_NOT_DRIVE = ("Do not drive the car and do not charge it. Have it carried away on a flatbed, with all wheels off "
                    "the road, by a workshop licensed for high-voltage work. A towed axle turns the motor.")

    def test_answers_that_together_mean_danger_say_so_at_once(self):
        said = self.stop_lines("2", "1", "", "", "", "", "1", "", "", "", "", "2", "1", "", "3", "q")
        insulation = ("Before any further driving and within 7 days: Ask a workshop that is licensed for high-voltage "
                      "work to check the drive unit's electrical insulation.")
        # Said again where something else comes to it: that the fault memory is to be read.
        self.assertEqual([text for text, _ in said], [insulation, insulation, self.DO_NOT_DRIVE])
        self.assertIn("Has the car ever stopped driving by itself", said[0][1])
        self.assertIn("What kind of liquid was it?", said[2][1])

    def test_what_other_answers_undo_is_said_anew_when_it_holds_again(self):
        said = self.stop_lines("3", "back", "1", "back", "3", "q")
        self.assertEqual([text for text, _ in said], [self.DO_NOT_DRIVE, self.DO_NOT_DRIVE])

    def test_buying(self):
        done, _ = self.ask("q", options=["--buying"])
        self.assertIn(b"1/11 ", done.stdout)

    def test_a_record_that_cannot_be_saved_is_shown(self):
        done = run("ask", "--today", TODAY, "--save", "/no/such/folder/x", text="\n" * len(BEFORE_NAME) + "HL-0147\nq\n")
        self.assertEqual(done.returncode, 4)
        self.assertIn(b'\n{"format":"dryshaft-record/1","unit":{"id":"HL-0147"},', done.stdout)
        self.assertIn(b"Ask a workshop", done.stdout)

    def test_who_names_no_car_gets_a_name_that_no_other_has(self):
        names = set()
        for _ in range(3):
            done, records = self.ask(*BEFORE_NAME, "", "Tarn", "q")
            name = records[0]["unit"]["id"]
            self.assertRegex(name, r"\Acar-[2-9a-z]{5}-[2-9a-z]{5}\Z")
            self.assertIn(f"[{name}]".encode(), done.stdout)
            names.add(name)
        self.assertEqual(len(names), 3)

    def test_what_cannot_be_is_asked_again(self):
        done, records = self.ask("", "", "", "", "", "1", "2", "", "90000 km", "", "", "", "", "", "2030-01-01", "",
                                 "400", "109000", "HL-0147", "", "2031", "2017", "900000", "500", "q")
        out = done.stdout.decode()
        self.assertEqual(re.findall(r"That answer [^.]*\.", re.sub(r"\n {7}", " ", out)), [
            "That answer is 2030-01-01, after today, 2026-03-18.",
            'That answer does not go with your answer to "What did the odometer say when the noise began?", '
            'which is 90000 km, after [odometer], which is 400 km.',
            "That answer is 2031, after [date], which is 2026-03-18.",
            "That answer is 900000 km, after [odometer], which is 109000 km."])
        self.assertEqual(records[0]["unit"], {"id": "HL-0147", "built": "2017", "fitted_odometer_km": 500})
        self.assertEqual(records[0]["inspection"]["noise"],
                         {"present": True, "onset": "sudden", "onset_odometer_km": 90000})

    def test_hostile_answers_are_text(self):
        done, records = self.ask(*BEFORE_NAME, '"},{"', "q")
        self.assertEqual(records[0]["unit"]["id"], '"},{"')
        done, records = self.ask(*BEFORE_NAME, "HL-\x1b[31m0147\x07", "q")
        self.assertEqual(records[0]["unit"]["id"], "HL-0147")
        self.assertNotIn(b"\x1b", done.stdout)

    def test_at_a_terminal(self):
        """One question at a time: the next comes only after an answer."""
        child, terminal = pty.fork()
        if child == 0:
            os.execv(PROGRAM, [PROGRAM, "form", "ask", "--today", TODAY, "--save", self.path("t.jsonl")])
        seen = b""

        def wait_for(text):
            nonlocal seen
            until = time.monotonic() + 60
            while text not in seen:
                self.assertLess(time.monotonic(), until, seen)
                if select.select([terminal], [], [], 1)[0]:
                    seen += os.read(terminal, 65536)

        wait_for(b"Does the dashboard warn")
        self.assertNotIn(b"Has the car ever stopped", seen)
        os.write(terminal, b"no such warning\n")
        wait_for(b"Has the car ever stopped")
        self.assertNotIn(b"its power is", seen)
        os.write(terminal, b"quit\n")
        wait_for(b"For the workshop")
        self.assertEqual(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), 0)
        os.close(terminal)
        with open(self.path("t.jsonl"), encoding="utf-8") as file:
            self.assertEqual(json.loads(file.read())["inspection"]["faults"], {"isolation": "none"})

    def interrupted(self, lines, *options, by=signal.SIGINT):
        """Asked at a terminal, and stopped at the question after these; how it ended, and its output."""
        child, terminal = pty.fork()
        if child == 0:
            os.execv(PROGRAM, [PROGRAM, "form", "ask", "--today", TODAY, *options])
        seen = b""

        def take(until):
            nonlocal seen
            end = time.monotonic() + 60
            while not until():
                self.assertLess(time.monotonic(), end, seen)
                if select.select([terminal], [], [], 1)[0]:
                    try:
                        seen += os.read(terminal, 65536)
                    except OSError:  # the other side has gone
                        return

        for asked, line in enumerate(lines, 1):
            take(lambda: seen.count(b"\n> ") >= asked)
            os.write(terminal, line.encode() + b"\n")
        take(lambda: seen.count(b"\n> ") > len(lines))
        if by == signal.SIGINT:
            os.write(terminal, b"\x03")  # as the key does
        else:
            os.kill(child, by)
        take(lambda: False)
        os.close(terminal)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), seen.decode().replace("\r\n", "\n")

    RECORD = ('{"format":"dryshaft-record/1","unit":{"id":"HL-0147","family":"plover-2","vehicle":"Tarn"},'
              '"inspection":{"date":"2026-03-18","by":"owner"}}\n')

    def test_ctrl_c_keeps_the_answers_in_the_file(self):
        for by in (signal.SIGINT, signal.SIGTERM):
            out = self.path("kept.jsonl", "an earlier one\n")
            code, said = self.interrupted([*BEFORE_NAME, "HL-0147", "Tarn"], "--save", out, by=by)
            self.assertEqual(code, -by)
            self.assertIn(f"<stdin>: interrupted; what was answered so far is kept in {out}\n", said)
            with open(out, encoding="utf-8") as file:
                self.assertEqual(file.read(), self.RECORD)
            self.assertEqual(os.listdir(self.folder), ["kept.jsonl"])

    def test_ctrl_c_without_a_file_shows_the_record(self):
        code, said = self.interrupted([*BEFORE_NAME, "HL-0147", "Tarn"])
        self.assertEqual(code, -signal.SIGINT)
        self.assertTrue(said.endswith("<stdin>: interrupted; what was answered so far is kept in this record:\n" +
                                      self.RECORD), said)

    def test_ctrl_c_and_a_file_that_cannot_be_written_shows_the_record(self):
        code, said = self.interrupted([*BEFORE_NAME, "HL-0147", "Tarn"], "--save", "/no/such/folder/x")
        self.assertEqual(code, -signal.SIGINT)
        self.assertIn("error[output]: cannot be written", said)
        self.assertTrue(said.endswith(self.RECORD), said)

    def test_ctrl_c_before_the_first_answer_leaves_an_earlier_record_alone(self):
        out = self.path("kept.jsonl", "an earlier one\n")
        code, said = self.interrupted([], "--save", out)
        self.assertEqual(code, -signal.SIGINT)
        self.assertNotIn("interrupted", said)
        with open(out, encoding="utf-8") as file:
            self.assertEqual(file.read(), "an earlier one\n")


if __name__ == "__main__":
    unittest.main()
