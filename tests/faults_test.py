"""What can go wrong around the program: disks, pipes, files that are not what they should be.

Usage: faults_test.py PROGRAM

Each fault has its exit code and its message; what is good is still done, and no old file is damaged.
"""
import csv
import io
import json
import os
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
with open(PROGRAM, "rb") as program:
    SANITIZED = b"__asan_init" in program.read()  # needs memory and time of its own
NO_SPACE = "No space left on device"
MEBIBYTE = 1 << 20


def record(unit="HL-0147", **more):
    return {"format": "dryshaft-record/1", "unit": {"id": unit},
            "inspection": {"date": "2026-03-02", "port": {"checked": True, "fluid": "none"}}, **more}


def line(unit="HL-0147", **more):
    return json.dumps(record(unit, **more)) + "\n"


def run(*arguments, **options):
    options.setdefault("stdin", subprocess.DEVNULL) if "input" not in options else None
    return subprocess.run([PROGRAM, *arguments], capture_output=True, check=False, **options)


class Scratch(unittest.TestCase):
    def setUp(self):
        made = tempfile.TemporaryDirectory()
        self.addCleanup(made.cleanup)
        self.folder = made.name

    def at(self, name, content=None):
        path = os.path.join(self.folder, name)
        if content is not None:
            with open(path, "wb") as f:
                f.write(content if isinstance(content, bytes) else content.encode())
        return path

    def content(self, path):
        with open(path, "rb") as f:
            return f.read()

    def said(self, done, code, message):
        self.assertEqual((done.returncode, done.stderr.decode()), (code, message))


class Disks(Scratch):
    def test_standard_output_is_full(self):
        good = self.at("r.json", line())
        for arguments in (["assess", good], ["assess", "--format", "jsonl", good],
                          ["assess", "--format", "html", good], ["assess", "--format", "csv", good],
                          ["check", good], ["form", "blank"], ["guide"], ["rules", "list"],
                          ["help", "csv"], ["help", "--man"]):
            with open("/dev/full", "wb") as full:
                done = subprocess.run([PROGRAM, *arguments], stdout=full, stderr=subprocess.PIPE,
                                      check=False)
            self.said(done, 4, f"standard output: error[output]: cannot be written: {NO_SPACE}\n")

    @unittest.skipUnless(os.geteuid() == 0, "only root can mount a small disk")
    def test_a_full_disk_keeps_the_old_file(self):
        disk = os.path.join(self.folder, "disk")
        os.mkdir(disk)
        mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", disk],
                                 capture_output=True, check=False)
        if mounted.returncode != 0:
            self.skipTest("this machine lets nobody mount")
        self.addCleanup(subprocess.run, ["umount", disk], check=False)
        out = os.path.join(disk, "yard.html")
        with open(out, "w", encoding="utf-8") as f:
            f.write("the old page")
        done = run("assess", "--format", "html", "--out", out, "examples/intake.jsonl")
        self.said(done, 4, f"{out}: error[output]: cannot be written: {NO_SPACE}\n")
        self.assertEqual(self.content(out), b"the old page")
        self.assertEqual(os.listdir(disk), ["yard.html"])

    @unittest.skipUnless(os.geteuid() == 0, "needs root, to become somebody who may not write")
    def test_a_folder_that_may_not_be_written(self):
        nobody = 65534
        os.chmod(self.folder, 0o755)
        closed = os.path.join(self.folder, "closed")
        os.mkdir(closed, 0o755)
        out = os.path.join(closed, "r.txt")
        # An installation of its own, which everybody may read.
        os.makedirs(self.at("usr/bin"))
        program = shutil.copy(PROGRAM, self.at("usr/bin"))
        shutil.copytree("data", self.at("usr/share/dryshaft"), copy_function=shutil.copyfile)
        for place, _, files in os.walk(self.at("usr")):
            for path in [place, *(os.path.join(place, f) for f in files)]:
                os.chmod(path, 0o755)
        good = self.at("r.json", line())
        done = subprocess.run([program, "assess", "--out", out, good], capture_output=True,
                              check=False, user=nobody)
        self.said(done, 4, f"{out}: error[output]: cannot be written: Permission denied\n")
        self.assertEqual(os.listdir(closed), [])

    def test_a_file_may_not_become_so_large(self):
        good = self.at("r.json", "".join(line(f"HL-{i}") for i in range(300)))
        out = self.at("yard.html", "the old page")
        for form in ("html", "jsonl", "csv"):
            done = run("assess", "--format", form, "--out", out, good,
                       preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096)))
            self.said(done, 4, f"{out}: error[output]: cannot be written: File too large\n")
            self.assertEqual(self.content(out), b"the old page")
            self.assertEqual(sorted(os.listdir(self.folder)), ["r.json", "yard.html"])

    def test_out_where_nothing_can_be(self):
        good = self.at("r.json", line())
        os.symlink("loop", self.at("loop"))
        for out, why in ((self.at("no/such/folder"), "No such file or directory"),
                         (self.folder, "Is a directory"),
                         (self.at("loop"), "Too many levels of symbolic links")):
            self.said(run("assess", "--out", out, good), 4,
                      f"{out}: error[output]: cannot be written: {why}\n")
        self.assertEqual(sorted(os.listdir(self.folder)), ["loop", "r.json"])

    def test_out_through_a_link_writes_what_it_names(self):
        good = self.at("r.json", line())
        target = self.at("target", "old")
        os.symlink("target", self.at("link"))
        self.said(run("assess", "--out", self.at("link"), good), 0, "")
        self.assertTrue(os.path.islink(self.at("link")))
        self.assertIn(b"HL-0147", self.content(target))
        self.assertEqual(sorted(os.listdir(self.folder)), ["link", "r.json", "target"])

    def test_killed_at_any_moment_of_a_write(self):
        out = self.at("yard.csv", "old")
        arguments = [PROGRAM, "assess", "--format", "csv", "--out", out, "examples/intake.jsonl"]
        begun = time.monotonic()
        subprocess.run(arguments, check=True)
        took = time.monotonic() - begun
        new = self.content(out)
        seen = set()
        chance = random.Random(3)
        for attempt in range(12 if SANITIZED else 40):
            self.at("yard.csv", "old")
            with subprocess.Popen(arguments) as running:
                time.sleep(took * (0.9 + 0.2 * chance.random() if attempt % 2 else chance.random()))
                running.send_signal(signal.SIGKILL)
            seen.add(self.content(out))
            self.assertIn(self.content(out), (b"old", new))
        self.assertIn(b"old", seen)

    def test_ended_by_a_signal_leaves_nothing_behind(self):
        out = self.at("reports.jsonl", "old")
        for ending in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            with subprocess.Popen([PROGRAM, "assess", "--format", "jsonl", "--out", out],
                                  stdin=subprocess.PIPE) as running:
                while len(os.listdir(self.folder)) < 2:
                    time.sleep(0.01)
                running.send_signal(ending)
                self.assertEqual(running.wait(), -ending)
            self.assertEqual((os.listdir(self.folder), self.content(out)), (["reports.jsonl"], b"old"))

    def test_a_signal_that_is_not_to_end_it_does_not(self):
        out = self.at("reports.jsonl", "old")
        with subprocess.Popen(["nohup", PROGRAM, "assess", "--format", "jsonl", "--out", out],
                              stdin=subprocess.PIPE, stderr=subprocess.DEVNULL) as running:
            while len(os.listdir(self.folder)) < 2:
                time.sleep(0.01)
            running.send_signal(signal.SIGHUP)
            running.communicate(line().encode())
            self.assertEqual(running.returncode, 0)
        self.assertIn(b"HL-0147", self.content(out))


class Pipes(Scratch):
    def test_a_reader_that_had_enough(self):
        for form in ("jsonl", "json", "csv", "text", "html"):
            done = subprocess.run(
                ["bash", "-c", f"'{PROGRAM}' assess --full --format {form} examples/intake.jsonl | "
                               "head -c 10 > /dev/null; echo ${PIPESTATUS[0]}"],
                capture_output=True, text=True, check=False)
            self.assertEqual((done.stdout, done.stderr), ("0\n", ""), form)

    def test_no_standard_output_at_all(self):
        done = subprocess.run(["bash", "-c", f"'{PROGRAM}' assess '{self.at('r', line())}' >&-"],
                              capture_output=True, check=False)
        self.said(done, 4, "standard output: error[output]: cannot be written: Bad file descriptor\n")

    def test_no_standard_error_at_all(self):
        """What would be said goes nowhere, and never into the output."""
        bad = self.at("r.jsonl", line("HL-1") + "{\n" + line("HL-2"))
        for form in ("csv", "json", "text", "html"):
            wanted = run("assess", "--format", form, "--out", self.at("wanted"), bad)
            self.assertEqual((wanted.returncode, wanted.stdout), (3, b""))
            for closed in ("2>&-", "<&- 2>&-", "<&- >&- 2>&-"):
                done = subprocess.run(["bash", "-c", f'"$0" assess --format {form} --out "$1" "$2" {closed}', PROGRAM,
                                       self.at("out"), bad], capture_output=True, check=False)
                self.assertEqual((done.returncode, done.stdout), (3, b""))
                self.assertEqual(self.content(self.at("out")), self.content(self.at("wanted")), (form, closed))

    def test_no_standard_input_at_all(self):
        done = subprocess.run(["bash", "-c", f"'{PROGRAM}' assess <&-"], capture_output=True, check=False)
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stderr.decode(), "<stdin>: error[no-input]: cannot be read: Bad file descriptor\n")

    def test_a_named_pipe_is_read(self):
        pipe = self.at("pipe")
        os.mkfifo(pipe)
        feeder = threading.Thread(target=lambda: self.at("pipe", line()))
        feeder.start()
        done = run("assess", "--format", "csv", pipe)
        feeder.join()
        self.said(done, 0, "")
        self.assertIn(b"HL-0147", done.stdout)


class Inputs(Scratch):
    def refused(self, content, message, name="r.json"):
        """Alone, and beside a good file, which is graded all the same."""
        bad = self.at(name, content) if content is not None else self.at(name)
        good = self.at("good.json", line("HL-GOOD"))
        for form in ("json", "jsonl", "text"):
            done = run("assess", "--format", form, bad, good)
            self.said(done, 3, message.replace("FILE", bad))
            self.assertIn(b"HL-GOOD", done.stdout)
        done = run("check", bad, good)
        self.said(done, 3, message.replace("FILE", bad))

    def test_files_of_another_kind(self):
        text = line()
        self.refused(b"\x1f\x8b\x08\0\0\0\0\0\0\3" + bytes(range(256)),
                     "FILE:1:1: error[not-json]: looks like gzip-compressed data, not like a record\n"
                     "  hint: unpack it first\n")
        for encoding in ("utf-16", "utf-16-be"):
            mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
            self.refused(mark + text.encode(encoding),
                         "FILE:1:1: error[not-json]: looks like UTF-16 text, not like a record\n"
                         "  hint: save it as UTF-8\n")
        self.refused(text.encode("utf-16-le")[1:],
                     "FILE:1:1: error[not-json]: looks like binary data, not like a record\n"
                     "  hint: give a text file with JSON records\n")
        self.refused(b"PK\3\4" + bytes(100),
                     "FILE:1:1: error[not-json]: looks like a zip archive or a spreadsheet, not like a "
                     "record\n  hint: unpack an archive; save a spreadsheet's sheet as CSV\n")

    def test_nul_bytes_inside(self):
        done = run("assess", "--format", "jsonl",
                   self.at("r.jsonl", line("HL-1") + line("HL-2", note="aXb").replace("X", "\0")
                           + line("HL-3")))
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"r.jsonl:2:", done.stderr)
        self.assertIn(b"U+0000", done.stderr)
        self.assertEqual([json.loads(x)["unit_id"] for x in done.stdout.splitlines()],
                         ["HL-1", "HL-3"])

    def test_marks_and_line_ends_do_no_harm(self):
        wanted = run("assess", "--format", "csv", self.at("r", line("HL-1") + line("HL-2")))
        self.said(wanted, 0, "")
        for text in ("\ufeff" + line("HL-1") + line("HL-2"),
                     (line("HL-1") + line("HL-2")).replace("\n", "\r\n"),
                     "\ufeff[" + line("HL-1") + "," + line("HL-2") + "]"):
            done = run("assess", "--format", "csv", self.at("r", text))
            self.said(done, 0, "")
            self.assertEqual(re.sub(rb",\d+\r\n", b"\r\n", done.stdout),
                             re.sub(rb",\d+\r\n", b"\r\n", wanted.stdout))

    def test_what_cannot_be_opened(self):
        os.symlink("loop", self.at("loop"))
        os.symlink("nothing", self.at("dangling"))
        os.mkdir(self.at("folder"))
        for name, why in (("loop", "Too many levels of symbolic links"),
                          ("dangling", "No such file or directory"), ("none", "No such file or directory"),
                          ("folder", "Is a directory"), ("folder.csv", "No such file or directory")):
            self.refused(None, f"FILE: error[no-input]: cannot be read: {why}\n", name)

    @unittest.skipIf(SANITIZED, "sanitizers open files of their own")
    def test_no_file_handles_left(self):
        def limit(number):
            return lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (number, number))
        good = self.at("r.json", line())
        answers = set()
        for number in range(3, 9):
            done = run("assess", "--format", "json", good, preexec_fn=limit(number))
            answers.add(done.returncode)
            if done.returncode == 0:
                self.assertIn(b"HL-0147", done.stdout)
            elif done.returncode != 127:  # then the program itself could not be loaded
                self.assertIn(done.returncode, (2, 3, 4), done.stderr)
                self.assertIn(b"Too many open files", done.stderr)
        self.assertIn(0, answers)

    def test_cut_while_it_is_read(self):
        path = self.at("r.jsonl", "".join(line(f"HL-{i}") for i in range(40000)))
        size = os.path.getsize(path)
        for cut in (lambda: os.truncate(path, size // 3), lambda: self.at("r.jsonl", line("HL-NEW"))):
            self.at("r.jsonl", "".join(line(f"HL-{i}") for i in range(40000)))
            with open(self.at("err"), "wb") as err, subprocess.Popen(
                    [PROGRAM, "assess", "--format", "jsonl", path],
                    stdout=subprocess.PIPE, stderr=err) as running:
                out = running.stdout.read(1)  # it now waits for a reader, in the midst of the file
                cut()
                out += running.stdout.read()
            err = self.content(self.at("err"))
            self.assertIn(running.returncode, (0, 3), err)
            units = [json.loads(x)["unit_id"] for x in out.splitlines()]
            self.assertEqual(units, [f"HL-{i}" for i in range(len(units))])
            if running.returncode == 3:
                self.assertIn(b"error[", err)


class Amounts(Scratch):
    """Memory stays the same, however much there is to read."""

    LIMIT = 64 * MEBIBYTE

    def stream(self, pieces):
        """Feeds pieces to assess --format jsonl; gives exit code, reports, complaints, memory."""
        with open(self.at("out"), "wb") as out, open(self.at("err"), "wb") as err:
            running = subprocess.Popen([PROGRAM, "assess", "--format", "jsonl", "-"],
                                       stdin=subprocess.PIPE, stdout=out, stderr=err)
            try:
                for piece in pieces:
                    running.stdin.write(piece)
                running.stdin.close()
            except BrokenPipeError:  # it has seen enough
                pass
            _, status, used = os.wait4(running.pid, 0)
            running.returncode = os.waitstatus_to_exitcode(status)
        if not SANITIZED:
            self.assertLess(used.ru_maxrss * 1024, self.LIMIT)
        with open(self.at("out"), encoding="utf-8") as f:
            count = sum(1 for _ in f)
        return running.returncode, count, self.content(self.at("err")).decode()

    def test_many_records(self):
        blocks = 2 if SANITIZED else 60  # 9 MB
        self.assertEqual(self.stream("".join(line(f"HL-{b}-{i}") for i in range(1000)).encode()
                                     for b in range(blocks)), (0, 1000 * blocks, ""))

    def measured(self, *arguments):
        """Exit code, standard output, standard error and MiB of memory."""
        with open(self.at("out"), "wb") as out, open(self.at("err"), "wb") as err:
            running = subprocess.Popen([PROGRAM, *arguments], stdin=subprocess.DEVNULL, stdout=out, stderr=err)
            _, status, used = os.wait4(running.pid, 0)
            running.returncode = os.waitstatus_to_exitcode(status)
        return (running.returncode, self.content(self.at("out")), self.content(self.at("err")),
                used.ru_maxrss / 1024)

    def test_complaints_are_counted_beyond_a_hundred(self):
        many = 3000 if SANITIZED else 60000
        rows = self.at("r.csv", "unit.id,date\n" + "a,2026-01-01,\n" + "a,b,1\n" * many)
        for arguments in (["check"], ["assess"], ["assess", "--format", "html"], ["assess", "--format", "jsonl"],
                          ["fit", "onset"]):
            code, out, err, used = self.measured(*arguments, rows)
            self.assertEqual(code, 3, arguments)
            self.assertTrue(err.endswith(f"r.csv: error[ragged-row]: and {many - 100:,} more like these\n".encode()),
                            err[-300:])
            self.assertLess(len(err), 40000)
            self.assertLess(len(out), 100000)
            if not SANITIZED:
                self.assertLess(used, 40)
        self.assertIn(f"{many} rejected".encode(), self.measured("check", rows)[1])
        self.assertIn(f"{many - 100:,} more like these".encode(), self.measured("assess", rows)[1])
        # Below a quote that is not closed, each row is broken.
        quote = self.at("q.csv", "unit.id,date\na,\"2026-01-01\n" + "a,b,1\n" * many)
        self.assertLess(self.measured("check", quote)[3], 40 if not SANITIZED else 4096)

    def test_inputs_without_an_end(self):
        """Each kind of file says how much of it is read, and is read no further."""
        good = self.at("r.json", line())
        prices = "examples/prices.json"
        zero = "/dev/zero"
        self.assertTrue(os.path.exists(prices))
        for arguments, message in (
                (["plan", good, "--prices", zero], "16 MiB, the most that a price book may hold"),
                (["assess", good, "--columns", zero], "1 MiB, the most that a file for --columns may hold"),
                (["assess", good, "--onset", zero], "64 MiB, the most that what fit onset wrote may hold"),
                (["assess", good, "--rules", self.with_large("rules")],
                 "16 MiB, the most that a file of rules, families, guides or work data may hold"),
                (["assess", good, "--families", self.with_large("families")],
                 "16 MiB, the most that a file of rules, families, guides or work data may hold"),
                (["guide", "--guides", self.with_large("guides")],
                 "16 MiB, the most that a file of rules, families, guides or work data may hold"),
                (["form", "read", zero], "64 MiB, the most that a file of forms or mails may hold"),
                (["rules", "test", zero], "16 MiB, the most that a file of cases may hold"),
                (["fit", "onset", "--table", zero], "64 MiB, the most that a table of intervals may hold"),
                (["fit", "onset", "--prior", zero, good], "16 MiB, the most that a file of rules"),
                (["listen", "none.wav", "--into", zero, "--speed", "50"],
                 "64 MiB, the most that a file for --into may hold"),
                (["listen", "none.wav", "--family", "plover-2", "--vehicle", "Tarn", "--trace", zero],
                 "64 MiB, the most that a speed trace may hold"),
                (["assess", zero], "looks like binary data"), (["check", zero], "looks like binary data"),
                (["assess", "--format", "jsonl", zero], "looks like binary data"),
                (["fit", "outcomes", zero], "looks like binary data"),
                (["plan", zero, "--prices", prices], "looks like binary data")):
            with self.subTest(arguments=arguments):
                done = run(*arguments, timeout=120,
                           preexec_fn=None if SANITIZED else lambda: resource.setrlimit(
                               resource.RLIMIT_AS, (1 << 30, 1 << 30)))
                self.assertEqual(done.returncode, 3, done.stderr)
                self.assertIn(message, done.stderr.decode())

    def with_large(self, name):
        """A folder of data, one file of which is larger than any."""
        folder = self.at(name)
        os.mkdir(folder)
        for file in os.listdir(os.path.join("data", name)):
            shutil.copy(os.path.join("data", name, file), folder)
        with open(os.path.join(folder, "zz-more.json"), "wb") as large:
            large.truncate(1 << 40)
        return folder

    def test_a_line_of_two_gigabytes(self):
        piece = b"a" * MEBIBYTE
        length = 64 if SANITIZED else 2048
        start, end = line(note="X").split("X")
        huge = [start.encode(), *[piece] * length, end.encode()]
        code, count, said = self.stream([line("HL-1").encode(), *huge, line("HL-2").encode()])
        self.assertEqual((code, count), (3, 2))
        self.assertIn("<stdin>:2", said)
        self.assertIn("error[size]", said)
        # The first line, and one without any record.
        code, count, said = self.stream([*huge[:66], end.encode(), line("HL-2").encode()])
        self.assertEqual((code, count), (3, 1))
        self.assertIn("error[size]", said)
        code, count, said = self.stream([piece] * 80)
        self.assertEqual((code, count), (3, 0))
        code, count, said = self.stream([b"\x1f\x8b", *[bytes(MEBIBYTE)] * 80])
        self.assertEqual((code, count), (3, 0))
        self.assertIn("gzip", said)

    def test_an_array_on_one_long_line(self):
        several = "[" + ",".join(line(f"HL-{i}", note="n" * 1000).strip() for i in range(2000)) + "]"
        self.assertEqual(self.stream([several.encode()]), (0, 2000, ""))

    def test_one_id_for_everything(self):
        """A long list in which nobody wrote an id: the rest is graded, and the one id as well."""
        count = 2000 if SANITIZED else 20000
        lot = "".join(line("n/a", inspection={"date": f"20{10 + i % 16}-03-02", "odometer_km": i})
                      for i in range(count))
        bad = line("HL-2", inspection={"date": "2026-03-02", "port": {
            "checked": True, "fluid": "pooled", "fluid_kind": "coolant"}})
        text = (line("HL-1") + lot + bad).encode()
        for how in ("json", "jsonl", "text"):
            done = run("assess", "--format", how, input=text, timeout=1200)
            self.assertEqual(done.returncode, 3)
            if how != "text":
                grades = {r["unit_id"]: r["grade"] for r in map(json.loads, done.stdout.splitlines())}
                self.assertEqual(grades, {"HL-1": "B", "HL-2": "D", "n/a": "U"})
            self.assertIn(b"error[odometer-backwards]", done.stderr)

    @unittest.skipIf(SANITIZED, "sanitizers need address space of their own")
    def test_more_than_memory_holds(self):
        def limit():
            resource.setrlimit(resource.RLIMIT_AS, (128 * MEBIBYTE, 128 * MEBIBYTE))
        block = "".join(line(f"HL-{i}") for i in range(1000)).encode()
        done = subprocess.run([PROGRAM, "assess", "-"], input=block * 700, capture_output=True,
                              check=False, preexec_fn=limit)
        self.said(done, 3, "dryshaft: the input does not fit into memory; assess --format jsonl reads "
                           "it in pieces\n")


class Spreadsheets(Scratch):
    def test_no_cell_is_a_formula(self):
        chance = random.Random(9)
        starts = ["=", "+", "-", "@", "\t", "\r", "\n", "'", "\"", ",", ";", " ", "=cmd|' /C calc'!A0",
                  "\u00a0=", "\uff1d1", "|", "%"]
        units = starts + ["".join(chance.choice("=+-@\t\r\n\"',;a \u2028\x00\x1b") for _ in range(6))
                          for _ in range(200)]
        def shown(unit):  # an id holds nothing that nobody sees
            return "".join(c for c in unit if c.isprintable())
        text = "".join(json.dumps({"format": "dryshaft-record/1",
                                   "unit": {"id": shown(unit) + str(i), "vehicle": shown(unit)},
                                   "inspection": {"date": "2026-03-02"}, "note": unit}) + "\n"
                       for i, unit in enumerate(units))
        done = run("assess", "--format", "csv", self.at("=r.jsonl", text))
        self.said(done, 0, "")
        rows = list(csv.reader(io.StringIO(done.stdout.decode(), newline="")))
        self.assertEqual(len(rows), len(units) + 1)
        for row in rows:
            self.assertEqual(len(row), len(rows[0]))
            for cell in row:
                self.assertNotIn(cell[:1], ["=", "+", "-", "@", "\t", "\r", "\n"], cell)
                self.assertNotRegex(cell, "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u2028]")


@unittest.skipUnless(shutil.which("strace") and not SANITIZED, "strace is not here")
class Files(Scratch):
    """No file is looked at, and none written, but those that are named."""

    def files(self, *arguments, calls="%file"):
        trace = self.at("trace")
        done = subprocess.run(["strace", "-f", "-o", trace, "-e", f"trace={calls}", PROGRAM, *arguments],
                              capture_output=True, check=False)
        if b"ptrace" in done.stderr:
            self.skipTest("this machine lets nobody trace")
        self.assertEqual(done.returncode, 0, done.stderr)
        opened, changed = set(), set()
        for call in self.content(trace).decode().splitlines():
            found = re.search(r'(\w+)\([^"]*"([^"]*)"', call)
            if not found or not found[2] or " = -1 ENOENT" in call or found[1] == "execve":
                continue
            writes = re.search(r"O_(WRONLY|RDWR|CREAT|TRUNC)", call) or found[1] in (
                "rename", "renameat", "renameat2", "unlink", "unlinkat", "mkdir", "mkdirat", "chmod",
                "link", "symlink", "truncate")
            (changed if writes else opened).add(found[2])
        system = re.compile(r"/proc/filesystems$|/etc/ld\.so|(/usr)?/lib/|/usr/lib|/proc/self/exe|/sys/devices/system/cpu")
        return {f for f in opened if not system.match(f)}, changed

    def test_assess(self):
        data = os.path.abspath("data")
        good = self.at("r.json", line())
        out = self.at("report.html")
        opened, changed = self.files("assess", "--format", "html", "--out", out, good)
        for path in opened - {good, out}:
            self.assertTrue(os.path.abspath(path).startswith(data) or
                            os.path.dirname(PROGRAM).startswith(os.path.dirname(path)) or
                            path.endswith("share/dryshaft/rules/rules.json"), path)
        for path in changed:
            self.assertTrue(path == out or re.fullmatch(re.escape(out) + r"\.\w{6}", path), path)

    def test_help_reads_nothing(self):
        # It looks whether the examples that it names are here.
        self.assertEqual(self.files("help", "csv", calls="open,openat"), (set(), set()))


if __name__ == "__main__":
    unittest.main()
