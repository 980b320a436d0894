"""Tables and arrays longer than a piece: `--format jsonl` says what reading them whole says.

Usage: stream_program_test.py PROGRAM
"""
import itertools
import json
import os
import select
import subprocess
import sys
import tempfile
import threading
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
with open(PROGRAM, "rb") as program:
    SANITIZED = b"__asan_init" in program.read()  # needs memory of its own
LIMIT = 64 << 20
TODAY = "2026-03-02"
LONG = "n" * 6000  # the more a record holds, the fewer are graded
HEAD = "unit.id,date,port.checked,fluid,x_note\n"

# A program counts what the process had in memory that started it, so a small one does: its arguments are
# a file for the KiB used, and a command.
MEASURED = """
import os, subprocess, sys
running = subprocess.Popen(sys.argv[2:])
_, status, used = os.wait4(running.pid, 0)
with open(sys.argv[1], "w") as f:
    f.write(str(used.ru_maxrss))
os._exit(os.waitstatus_to_exitcode(status))
"""


def row(i, fluid="none", note=LONG):
    return f"HL-{i},{TODAY},yes,{fluid},{note}\n"


def record(i, fluid="none", **more):
    return {"format": "dryshaft-record/1", "unit": {"id": f"HL-{i}"}, "x_note": LONG,
            "inspection": {"date": TODAY, "port": {"checked": True, "fluid": fluid}}, **more}


def lines(records, indent=None):
    return [json.dumps(r, indent=indent) for r in records]


def feeding(path, pieces):
    """A thread that writes them into a pipe for as long as somebody reads."""
    def feed():
        try:
            with open(path, "wb") as pipe:
                for piece in pieces:
                    pipe.write(piece.encode())
        except BrokenPipeError:
            pass
    feeder = threading.Thread(target=feed, daemon=True)
    feeder.start()
    return feeder


def nobody_reads(path, feeder):
    """Waits for the feeder, which may not even have found a reader."""
    os.close(os.open(path, os.O_RDONLY | os.O_NONBLOCK))
    feeder.join()


class BothWays(unittest.TestCase):
    def setUp(self):
        made = tempfile.TemporaryDirectory()
        self.addCleanup(made.cleanup)
        self.folder = made.name

    def at(self, name):
        return os.path.join(self.folder, name)

    def stream(self, path, pieces=()):
        """Exit code, standard output and standard error of reading in pieces, in little memory."""
        with open(self.at("out"), "wb") as out, open(self.at("err"), "wb") as err:
            running = subprocess.Popen([sys.executable, "-c", MEASURED, self.at("used"), PROGRAM, "assess",
                                        "--format", "jsonl", "--today", TODAY, path],
                                       stdout=out, stderr=err)
            if pieces:
                feeder = feeding(path, pieces)
            running.wait()
            if pieces:
                nobody_reads(path, feeder)
        with open(self.at("used"), encoding="ascii") as f:
            used = int(f.read()) * 1024
        if not SANITIZED:
            self.assertLess(used, LIMIT)
        with open(self.at("out"), "rb") as out, open(self.at("err"), "rb") as err:
            return running.returncode, out.read(), err.read()

    def same(self, name, text, code, reports):
        path = self.at(name)
        with open(path, "w", encoding="utf-8", newline="") as f:
            f.write(text)
        whole = subprocess.run([PROGRAM, "assess", "--format", "json", "--today", TODAY, path],
                               capture_output=True, check=False)
        got, out, err = self.stream(path)
        self.assertEqual(err, whole.stderr)
        self.assertEqual((got, whole.returncode), (code, code), err)
        self.assertEqual(sorted(out.splitlines()), sorted(whole.stdout.splitlines()))
        units = [json.loads(line)["unit_id"] for line in out.splitlines()]
        self.assertEqual(units, [f"HL-{i}" for i in reports])
        # A pipe is not read ahead, and says the same where records of a unit stand together.
        folder = self.at("pipes")
        os.makedirs(folder, exist_ok=True)
        pipe = os.path.join(folder, name)
        os.mkfifo(pipe)
        there, here = path.encode(), pipe.encode()
        self.assertEqual(self.stream(pipe, [text]), (got, out.replace(there, here), err.replace(there, here)))
        os.remove(pipe)
        return err.decode()

    def test_tables(self):
        good = [row(i) for i in range(400)]
        self.same("t.csv", HEAD + "".join(good), 0, range(400))
        bad = list(good)
        bad[3] = row(3, "dropplets")
        bad[250] = row(250, note="\"" + LONG)  # a quote too many
        bad[251] = row(251, note="\"a\n\nb\"")
        bad[300] = row(300, note="a,b")
        bad[350] = row(350, "dropplets")
        said = self.same("t.csv", HEAD + "".join(bad), 3,
                         [i for i in range(400) if i not in (3, 250, 300, 350)])
        self.assertIn("t.csv:5:", said)
        self.assertIn("t.csv:252:", said)
        self.assertIn("t.csv:354:", said)
        self.same("t.csv", "\ufeff" + (HEAD + "".join(good[:250])).replace("\n", "\r\n"), 0, range(250))
        self.same("t.csv", HEAD.replace("fluid", "flood") + "".join(good), 3, [])

    def test_arrays(self):
        some = [record(i) for i in range(400)]
        self.same("a.json", "[" + ",".join(lines(some)) + "]", 0, range(400))
        self.same("a.json", "[\n" + ",\n".join(lines(some, 2)) + "\n]\n", 0, range(400))
        forms = itertools.cycle(((",", None), (",\n", None), (",\n", 2)))
        for end, (separator, indent) in zip((",]", "", "]}", "] {}", "}", "]" + lines([record(400)])[0]), forms):
            written = lines(some, indent)
            written[3] = lines([record(3, "dropplets")], indent)[0]
            written[200] = written[200].replace("\"unit\": {", "\"unit\": ")
            written[280] += written.pop(281)  # no comma
            written[320] += ","
            self.same("a.json", "[" + separator.join(written) + end, 3,
                      [i for i in range(401 if "HL-400" in end else 400) if i not in (3, 200)])

    def test_records_on_several_lines(self):
        some = lines([record(i) for i in range(200)], 2)
        self.same("a.json", "\n".join(some), 0, range(200))
        self.same("a.json", "".join(some), 0, range(200))
        short = lines([record(i) for i in range(200)])
        mixed = [(some if i % 50 < 10 else short)[i] for i in range(200)]
        mixed[120:123] = ["[" + ",".join(mixed[120:123]) + "]"]
        self.same("a.json", "\n".join(mixed), 0, range(200))
        broken = list(mixed)
        broken[5] = broken[5][:3000] + "\""
        broken[30] = broken[30][:3000]
        broken[60] += " more"
        said = self.same("a.json", "\n".join(broken), 3, [i for i in range(200) if i not in (5, 30)])
        self.assertIn("more text follows the record", said)
        self.same("a.json", "junk\n" + "\n".join(lines([record(i) for i in range(200)])), 3, range(200))

    def test_records_of_a_unit_are_its_history(self):
        some = [{**record(i // 3), "inspection": {"date": f"202{i % 3}-03-02", "odometer_km": 1 + i % 3}}
                for i in range(399)]
        self.same("a.json", "[" + ",\n".join(lines(some)) + "]", 0, range(133))
        rows = "".join(f"HL-{i // 3},202{i % 3}-03-02,,,{LONG}\n" for i in range(399))
        self.same("t.csv", HEAD + rows, 0, range(133))

    def test_a_record_that_comes_late_is_refused(self):
        def dated(i, year):
            return {**record(i), "inspection": {"date": f"{year}-03-02"}}
        text = "".join(line + "\n" for line in lines([dated(0, 2024), dated(1, 2024), dated(0, 2025),
                                                     dated(0, 2026), dated(2, 2024)]))
        os.mkfifo(self.at("a.jsonl"))
        code, out, err = self.stream(self.at("a.jsonl"), [text])
        said = "".join(
            f"""{self.at("a.jsonl")}:{line}: error[late-record]: /unit/id is "HL-0" once more, after other """
            "units: the report on it lacks this record\n  hint: sort the input by unit id; or name files of at "
            "most 8 MiB and 18,000 records in all, which are read together\n" for line in (3, 4))
        self.assertEqual((code, err.decode()), (3, said))
        self.assertEqual([json.loads(line)["unit_id"] for line in out.splitlines()], ["HL-0", "HL-1", "HL-2"])

    def test_files_are_read_together_up_to_a_size(self):
        """A unit's records in two files are its history; and larger files say what they cannot do."""
        def dated(i, year, **more):
            return {"format": "dryshaft-record/1", "unit": {"id": f"HL-{i}"}, "inspection": {
                "date": f"{year}-03-02", "port": {"checked": True, "fluid": "film" if year == 2024 else "none"}},
                **more}
        many = 120
        # The same record again and again is read, and counts once.
        for copies, note in ((0, 0), (18000 - 2 * many, 0), (18001 - 2 * many, 0), (0, 36000)):
            with self.subTest(copies=copies, note=note):
                large = copies + 2 * many > 18000 or note > 0
                more = {"x_note": "n" * note} if note else {}
                for year in (2024, 2025):
                    with open(self.at(f"{year}.jsonl"), "w", encoding="ascii") as f:
                        written = lines(dated(i, year, **more) for i in range(many))
                        for i, one in enumerate(written):
                            more_often = copies // many + (i < copies % many) if year == 2024 else 0
                            f.write((one + "\n") * (1 + more_often))
                files = [self.at("2024.jsonl"), self.at("2025.jsonl")]
                whole = subprocess.run([PROGRAM, "assess", "--format", "json", *files], capture_output=True,
                                       check=False)
                with open(self.at("out"), "wb") as out, open(self.at("err"), "wb") as err:
                    running = subprocess.Popen([PROGRAM, "assess", "--format", "jsonl", *files], stdout=out,
                                               stderr=err)
                    _, status, used = os.wait4(running.pid, 0)
                    running.returncode = os.waitstatus_to_exitcode(status)
                if not SANITIZED:
                    self.assertLess(used.ru_maxrss * 1024, LIMIT)
                with open(self.at("out"), "rb") as out, open(self.at("err"), encoding="ascii") as err:
                    got, said = out.read().splitlines(), err.read()
                units = [json.loads(line)["unit_id"] for line in got]
                self.assertEqual(units, [f"HL-{i}" for i in range(many)])
                if large:
                    self.assertEqual(running.returncode, 3)
                    self.assertTrue(said.startswith(
                        "dryshaft: this input is too long to read ahead, so each unit is judged as of its own newest "
                        "date;\nuse --today to judge all as of one day\n"), said[:300])
                    self.assertEqual(said.count("error[late-record]"), 101)
                    self.assertIn(f"error[late-record]: and {many - 101:,} more like these\n", said)
                else:
                    self.assertEqual((running.returncode, said), (whole.returncode, whole.stderr.decode()))
                    self.assertEqual(running.returncode, 0)
                    self.assertEqual(sorted(got), sorted(whole.stdout.splitlines()))

    def test_much_through_a_pipe(self):
        os.mkfifo(self.at("t.csv"))
        os.mkfifo(self.at("a.json"))
        many = 2 if SANITIZED else 70

        def rows(number):  # of other units each time: a unit's own records are held together
            return "".join(row(i, note=LONG * 140) for i in (2 * number, 2 * number + 1))

        def elements(number):
            return "".join("," + json.dumps(record(i, note="n" * 999999))
                           for i in (2 * number + 2, 2 * number + 3))
        for name, begin, piece, end in (
                ("t.csv", HEAD, rows, ""),
                ("t.csv", HEAD, row(1, note="\"" + LONG * 190), row(2, note="\"" + LONG)),
                ("t.csv", HEAD + row(1, note="\"" + LONG), (" " * 999 + "\n") * 1000, ""),
                ("t.csv", HEAD + "HL-1,", LONG * 170, "\n" + row(2)),
                ("t.csv", HEAD.replace("\n", ""), "," * 999999, "\n" + row(2)),
                ("a.json", "[" + json.dumps(record(1)), elements, "]"),
                ("a.json", "[{\"a\": [0", "," + json.dumps(record(2, note="n" * 999999)), "]"),
                ("a.json", "[", "[" * 999999, ""),
                ("a.json", "[\"", "x" * 999999, "\"]"),
                ("a.json", "{\n\"a\": \"", "x" * 999999, "\"}"),
                ("a.json", "[", " \n" * 999999, ""),
                ("a.json", " ", " " * 999999, "{}"),
                ("a.json", "junk\n", "junk\n" * 199999, json.dumps(record(2)))):
            pieces = (piece(i) if callable(piece) else piece for i in range(many))
            with self.subTest(begin=begin[:80], piece=piece if callable(piece) else piece[:40]):
                code, _, said = self.stream(self.at(name), itertools.chain([begin], pieces, [end]))
                self.assertIn(code, (0, 3))
                self.assertEqual(code == 3, said != b"")
                self.assertLess(len(said), 1000 * (many + 1))

    def test_a_reader_that_has_enough(self):
        os.mkfifo(self.at("t.csv"))
        with subprocess.Popen([PROGRAM, "assess", "--format", "jsonl", self.at("t.csv")],
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
            feeder = feeding(self.at("t.csv"), itertools.chain([HEAD], map(row, itertools.count())))
            self.assertIn(b"HL-0", running.stdout.readline())
            running.stdout.close()
            nobody_reads(self.at("t.csv"), feeder)
            self.assertEqual((running.wait(), running.stderr.read()), (0, b""))

    def slowly(self, blocking):
        """The program, and ways to write to it and to wait for a line of it."""
        into, writing = os.pipe()
        os.set_blocking(into, blocking)
        running = subprocess.Popen([PROGRAM, "assess", "--format", "jsonl"], stdin=into,
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        os.close(into)
        self.addCleanup(running.stderr.close)
        self.addCleanup(running.stdout.close)
        self.addCleanup(running.kill)

        def unit():
            # As long as a slow machine may take, and without an end where nothing is written.
            self.assertTrue(select.select([running.stdout], [], [], 60)[0], "nothing was written")
            return json.loads(running.stdout.readline())["unit_id"]
        return running, writing, unit

    def test_a_slow_writer_gets_what_can_be_said(self):
        for blocking in (True, False):
            with self.subTest(blocking=blocking):
                running, writing, unit = self.slowly(blocking)
                first, second, third, fourth = (line.encode() for line in lines(map(record, range(4))))
                os.write(writing, first + b"\n" + second + b"\n")
                self.assertEqual(unit(), "HL-0")
                os.write(writing, third + b"\n\n")  # a blank line is no reason to wait
                self.assertEqual(unit(), "HL-1")
                last = json.dumps(record(9)).encode()
                os.write(writing, fourth + b"\n" + last[:100])  # nor is half a line
                self.assertEqual(unit(), "HL-2")
                os.write(writing, last[100:])
                os.write(writing, b"\n" + second[:50] + b"\n")  # nor is what is broken
                self.assertEqual(unit(), "HL-3")
                os.write(writing, json.dumps(record(4)).encode() + b"\n" + json.dumps(record(5)).encode() + b"\n")
                self.assertEqual([unit(), unit()], ["HL-9", "HL-4"])
                os.close(writing)
                self.assertEqual((unit(), running.wait(), running.stdout.read()), ("HL-5", 3, b""))
                self.assertEqual(running.stderr.read().count(b"error["), 1)

    def test_a_history_written_slowly_stays_one(self):
        running, writing, unit = self.slowly(True)
        for year in (2024, 2025, 2026):
            one = {**record(0), "inspection": {"date": f"{year}-03-02"}}
            os.write(writing, json.dumps(one).encode() + b"\n")
            self.assertFalse(select.select([running.stdout], [], [], 0.3)[0])
        os.close(writing)
        self.assertEqual(unit(), "HL-0")
        self.assertEqual((running.wait(), running.stdout.read()), (0, b""))


if __name__ == "__main__":
    unittest.main()
