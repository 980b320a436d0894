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
        for end, (separator, indent) in zip((",]", "", "]}", "] {}", "}"), forms):
            written = lines(some, indent)
            written[3] = lines([record(3, "dropplets")], indent)[0]
            written[200] = written[200].replace("\"unit\": {", "\"unit\": ")
            written[280] += written.pop(281)  # no comma
            written[320] += ","
            self.same("a.json", "[" + separator.join(written) + end, 3,
                      [i for i in range(400) if i not in (3, 200)])

    def test_records_on_several_lines(self):
        some = lines([record(i) for i in range(200)], 2)
        said = self.same("a.json", "\n".join(some), 3, [0])
        self.assertIn("more text follows the record", said)
        self.same("a.json", "junk\n" + "\n".join(lines([record(i) for i in range(200)])), 3, range(200))

    def test_records_of_a_unit_are_its_history(self):
        some = [{**record(i // 3), "inspection": {"date": f"202{i % 3}-03-02", "odometer_km": 1 + i % 3}}
                for i in range(399)]
        self.same("a.json", "[" + ",\n".join(lines(some)) + "]", 0, range(133))
        rows = "".join(f"HL-{i // 3},202{i % 3}-03-02,,,{LONG}\n" for i in range(399))
        self.same("t.csv", HEAD + rows, 0, range(133))

    def test_much_through_a_pipe(self):
        os.mkfifo(self.at("t.csv"))
        os.mkfifo(self.at("a.json"))
        many = 2 if SANITIZED else 70
        for name, begin, piece, end in (
                ("t.csv", HEAD, "".join(row(i, note=LONG * 140) for i in range(2)), ""),
                ("t.csv", HEAD, row(1, note="\"" + LONG * 190), row(2, note="\"" + LONG)),
                ("t.csv", HEAD + row(1, note="\"" + LONG), (" " * 999 + "\n") * 1000, ""),
                ("t.csv", HEAD + "HL-1,", LONG * 170, "\n" + row(2)),
                ("t.csv", HEAD.replace("\n", ""), "," * 999999, "\n" + row(2)),
                ("a.json", "[" + json.dumps(record(1)), "".join(
                    "," + json.dumps(record(i, note="n" * 999999)) for i in range(2)), "]"),
                ("a.json", "[{\"a\": [0", "," + json.dumps(record(2, note="n" * 999999)), "]"),
                ("a.json", "[", "[" * 999999, ""),
                ("a.json", "[\"", "x" * 999999, "\"]"),
                ("a.json", "{\n\"a\": \"", "x" * 999999, "\"}"),
                ("a.json", "[", " \n" * 999999, ""),
                ("a.json", " ", " " * 999999, "{}"),
                ("a.json", "junk\n", "junk\n" * 199999, json.dumps(record(2)))):
            with self.subTest(begin=begin[:80], piece=piece[:40]):
                code, _, said = self.stream(self.at(name), [begin, *[piece] * many, end])
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
                os.write(writing, fourth + b"\n" + first[:100])  # nor is half a line
                self.assertEqual(unit(), "HL-2")
                os.write(writing, first[100:])
                os.close(writing)
                self.assertEqual([unit(), unit()], ["HL-3", "HL-0"])
                self.assertEqual((running.wait(), running.stdout.read(), running.stderr.read()), (0, b"", b""))

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
