"""The program as people and scripts meet it: exit codes, streams, files, order, bytes.

Usage: program_test.py PROGRAM [--part I/N]     every Nth test, the Ith first
"""
import contextlib
import csv
import io
import json
import os
import pty
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
import unittest

from command_line import commands, families, own_rules

PROGRAM = os.path.abspath(sys.argv.pop(1))
with open(PROGRAM, "rb") as program:
    SANITIZED = b"__asan_init" in program.read()
PART, PARTS = 1, 1
if sys.argv[1:2] == ["--part"]:
    PART, PARTS = map(int, sys.argv.pop(2).split("/"))
    del sys.argv[1]
EXAMPLES = "examples"
TOP = [path[0] for path in commands(PROGRAM) if len(path) == 1]
DRY = {"checked": True, "fluid": "none", "dried_residue": False, "corrosion": "none"}


def record(unit="HL-0147", date="2026-03-02", **inspection):
    return {"format": "dryshaft-record/1", "unit": {"id": unit},
            "inspection": {"date": date, **inspection}}


def lines(*records):
    return "".join(json.dumps(r) + "\n" for r in records)


def run(*arguments, text="", env=None, **options):
    return subprocess.run([PROGRAM, *arguments], input=text.encode(), capture_output=True,
                          env={**os.environ, **(env or {})}, check=False, **options)


def example(name):
    return os.path.join(EXAMPLES, name)


class OddFiles(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)

    def path(self, name, text):
        path = os.path.join(self.folder.name, name)
        with open(path, "w", encoding="utf-8") as f:
            f.write(text)
        return path

    def test_no_output_takes_the_place_of_an_input(self):
        text = lines(record())
        path = self.path("a.jsonl", text)
        link = os.path.join(self.folder.name, "link")
        os.symlink(path, link)
        table = self.path("a.csv", "id,date\nHL-1,2026-03-01\n")
        for out, arguments in (
                (path, ["assess", path]), (path, ["assess", "--format", "jsonl", path]),
                (link, ["assess", path]), (table, ["assess", "--format", "csv", table]),
                (path, ["form", "read", path]), (path, ["fit", "onset", path]),
                (path, ["fit", "outcomes", path]),
                (path, ["plan", "--prices", example("prices.json"), path])):
            done = run(*arguments, "--out", out)
            self.assertEqual(done.returncode, 4, arguments)
            self.assertTrue(done.stderr.decode().endswith(
                f"{out}: error[output]: cannot be written: it is an input, and would be lost\n"))
            with open(path, encoding="utf-8") as f:
                self.assertEqual(f.read(), text)
        self.assertEqual(sorted(os.listdir(self.folder.name)), ["a.csv", "a.jsonl", "link"])
        with open(path, "rb") as f:  # by way of standard input, too
            done = subprocess.run([PROGRAM, "assess", "--out", path], stdin=f, capture_output=True,
                                  check=False)
        self.assertEqual(done.returncode, 4, done.stderr)
        with open(path, encoding="utf-8") as f:
            self.assertEqual(f.read(), text)

    def test_out_to_standard_output(self):
        done = run("assess", "--out", "-", example("dry-and-quiet.json"))
        self.assertEqual(done.stdout, run("assess", example("dry-and-quiet.json")).stdout)
        self.assertFalse(os.path.exists("-"))

    def test_a_name_that_is_empty(self):
        self.assertEqual(run("assess", "").stderr,
                         b'"": error[no-input]: cannot be read: No such file or directory\n')
        done = run("assess", "--out", "", example("dry-and-quiet.json"))
        self.assertEqual((done.returncode, done.stderr),
                         (4, b'"": error[output]: cannot be written: No such file or directory\n'))

    def test_standard_input_twice(self):
        done = run("assess", "-", "-", text=lines(record()))
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stderr, b"<stdin>: error[no-input]: cannot be read: it was named before, "
                                      b"and can be read once\n")
        self.assertIn(b"HL-0147", done.stdout)
        done = run("plan", "-", "--prices", "-", text=lines(record()))
        self.assertEqual(done.returncode, 3)

    def test_a_terminal_is_told_what_is_waited_for(self):
        main, end = pty.openpty()
        os.write(main, lines(record()).encode() + b"\x04")
        done = subprocess.run([PROGRAM, "assess"], stdin=end, capture_output=True, check=False)
        os.close(end)
        os.close(main)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(done.stderr, b"dryshaft: reading from the terminal: Ctrl-D ends the input, "
                                      b"--help tells more\n")

    def test_long_work_says_how_far_it_is(self):
        some, others = ("".join(lines(record(unit=f"HL-{i}")) for i in range(n, n + 600)).encode()
                        for n in (0, 600))
        bad = b'{"format":"dryshaft-record/1"}\n'
        out = self.path("reports.jsonl", "")

        def heard(more):
            main, end = pty.openpty()
            with open(out, "wb") as f:
                child = subprocess.Popen([PROGRAM, "assess", "--format", "jsonl"],
                                         stdin=subprocess.PIPE, stdout=f, stderr=end)
            os.close(end)
            child.stdin.write(some)
            child.stdin.flush()
            time.sleep(3)  # as if those had taken long; a sanitized program takes a while to start
            child.stdin.write(others + more)
            child.stdin.close()
            said = b""
            with contextlib.suppress(OSError):  # the other end is closed
                while part := os.read(main, 4096):
                    said += part
            os.close(main)
            self.assertEqual(child.wait(), 3 if more else 0)
            return said

        self.assertRegex(heard(b""), rb"\A(\r\x1b\[K\d+ records)+\r\x1b\[K\Z")
        # A complaint begins a line of its own.
        self.assertRegex(heard(bad), rb"\A(\r\x1b\[K\d+ records)+\r\x1b\[K<stdin>:1201:1: error")
        # On no terminal nothing is said.
        self.assertEqual(run("assess", "--format", "jsonl", text=some.decode()).stderr, b"")

    def test_a_file_without_a_record(self):
        path = self.path("empty.json", "")
        done = run("assess", path)
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stdout.decode(), "0 units assessed\n\nProblems in the input\n"
                                               f"{path}:1:1: error[empty]: holds no record\n")
        done = run("check", "-", text=lines(record()))
        self.assertTrue(done.stdout.endswith(b"\nrecords: 1 good, 0 rejected; 1 unit\n"), done.stdout)

    def test_tags_reach_nobody(self):
        for unseen in ("\U000e0041", "\U000e0100"):  # a tag, a variation selector
            text = json.dumps({**record(), "note": f"HL{unseen}-1"}, ensure_ascii=False)
            for arguments in (["--full"], ["--format", "html"], ["--full", "--format", "markdown"]):
                done = run("assess", *arguments, text=text)
                self.assertIn("HL\ufffd-1", done.stdout.decode())
                self.assertNotIn(unseen, done.stdout.decode())


class Harmless(OddFiles):
    """What steers a terminal or reorders a line reaches nobody, in any format of any command."""
    EVIL = "\u009b\u202e"

    def test_every_command_and_format(self):
        evil = self.EVIL
        folder = self.folder.name
        # Ids, the shop's own keys, notes, and names of files and of what a family holds.
        wet = {"checked": True, "fluid": "pooled", "fluid_kind": "coolant"}
        history = [{**record(f"HL{evil}{i}", date, odometer_km=km, port=port), "note": f"n{evil}",
                    "x_group": f"g{evil}{i % 2}"}
                   for i in range(14)
                   for date, km, port in (("2024-01-02", 60000 + 3000 * i, DRY),
                                          ("2026-01-02", 90000 + 3000 * i, wet if i % 3 else DRY))]
        opened = [{**r, "teardown": {"date": "2026-02-01", "seal-leak": "present" if i % 3 else "absent"}}
                  for i, r in enumerate(history[1::2])]
        records = self.path(f"r{evil}.jsonl", lines(*history))
        one = self.path(f"one{evil}.json", lines(history[0]))
        teardowns = self.path(f"t{evil}.jsonl", lines(*history, *opened))
        bad = self.path(f"bad{evil}.jsonl", f'{{"format":"{evil}"}}\n{{"{evil}":1}}\n{evil}\n' + lines(history[0]))
        table = self.path(f"t{evil}.csv", f"unit.id,date,x_{evil}\nHL{evil},2026-01-02,{evil}\n{evil},{evil},\n")
        intervals = self.path(f"i{evil}.csv", "left,right,count,group\n" + f"1000,{evil},1,a\n50000,90000,9,g{evil}\n"
                              f"60000,,9,h{evil}\n")
        with open(example("prices.json"), encoding="utf-8") as f:
            prices = self.path(f"p{evil}.json", f.read().replace('"currency": "', '"currency": "' + evil))
        form = run("form", "blank").stdout.decode()
        form = self.path(f"f{evil}.txt", re.sub(r"(\[unit[^\n]*\n)", rf"\1{evil}\n", form))
        families = os.path.join(folder, f"families{evil}")
        shutil.copytree("data/families", families)
        for name in os.listdir(families):
            path = os.path.join(families, name)
            with open(path, encoding="utf-8") as f:
                text = f.read()
            with open(path, "w", encoding="utf-8") as f:
                f.write(text.replace('"title": "', '"title": "' + evil))
        wave = self.path(f"w{evil}.wav", "no sound")
        four = ("text", "json", "markdown", "html")
        tried = [["assess", *more, "--format", form, path]
                 for form in ("text", "json", "jsonl", "markdown", "html", "csv")
                 for more in ([], ["--full"], ["--since", "2025-01-01"], ["--for", "owner"])
                 for path in (records, one, bad, table)]
        tried += [["assess", "--explain", one], ["check", records, bad, table], ["rules", "list", "--families", families],
                  ["guide", "--families", families], ["form", "blank", "--families", families],
                  ["form", "blank", "--format", "html", "--families", families], ["form", "read", form],
                  ["form", "read", bad], ["assess", "--families", families, one],
                  ["fit", "outcomes", "--overlay", "-", teardowns], ["rules", "test", bad], [evil],
                  ["assess", "--columns", prices, records], ["listen", wave, "--into", one, "--unit", evil]]
        tried += [[*command, "--format", form] for form in four for command in (
            ["plan", one, "--prices", prices], ["plan", "--intake", records, "--prices", prices],
            ["plan", one, "--job-sheet", "open-and-rebuild"], ["fit", "onset", records],
            ["fit", "onset", "--by", "x_group", records], ["fit", "onset", "--table", intervals],
            ["fit", "outcomes", teardowns], ["listen", wave, "--bearing", f"{evil}=11:6.2:43.5:0", "--rotor-rpm", "1"])]
        tried += [["plan", "--intake", records, "--prices", prices, "--format", "csv"]]
        seen = 0
        for arguments in tried:
            with self.subTest(arguments=arguments):
                done = run(*arguments)
                self.assertNotEqual(done.returncode, 70, done.stderr)
                said = done.stdout.decode() + done.stderr.decode()
                self.assertNotRegex(said, "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]")
                seen += "\ufffd" in said or "\\u202e" in said
        self.assertGreater(seen, len(tried) / 2)


class Usage(unittest.TestCase):
    def refused(self, *arguments):
        done = run(*arguments)
        self.assertEqual(done.returncode, 2, done.stderr)
        self.assertEqual(done.stdout, b"")
        return done.stderr.decode()

    def test_mistyped_command_gets_a_suggestion(self):
        self.assertEqual(
            self.refused("asess", "x.json"),
            'dryshaft: there is no command "asess", did you mean "assess"?; '
            f"commands: {', '.join(TOP)}\n")
        self.assertIn('did you mean "list"?', self.refused("rules", "lst"))

    def test_wrong_options(self):
        self.assertEqual(self.refused("fit"), "dryshaft: fit needs one of its commands: onset or outcomes; "
                         "fit --help tells more\n")
        self.assertEqual(self.refused(), f"dryshaft: name a command: {', '.join(TOP[:-1])} or {TOP[-1]}; "
                                         "--help tells more\n")
        self.assertEqual(self.refused("assess", "--no-such"),
                         "dryshaft: assess has no option --no-such; assess --help tells more\n")
        self.refused("assess", "--format", "pdf")
        self.refused("assess", "--fail-on", "E")
        self.refused("assess", "--jobs", "0")
        self.refused("assess", "--for", "nobody")
        self.assertEqual(self.refused("assess", "--today", "2026-02-30"),
                         'dryshaft: --today is "2026-02-30", not a date YYYY-MM-DD\n')
        self.assertIn("is not a folder", self.refused("assess", "--rules", "no-such-folder"))
        self.assertEqual(self.refused("rules", "show", "floor-cholant"),
                         'dryshaft: the rules hold no "floor-cholant", did you mean '
                         '"floor-coolant"?\n')

    def test_unknown_options_are_named_whatever_else_is_missing(self):
        for path in commands(PROGRAM):
            words = " ".join(path)
            self.assertEqual(
                self.refused(*path, "--bogus"),
                f"dryshaft: {words} has no option --bogus; {words} --help tells more\n")
        self.assertEqual(self.refused("--bogus"),
                         "dryshaft: there is no option --bogus before a command; --help tells more\n")
        for arguments, said in (
                (["rules", "--bogus", "list"], "rules has no option --bogus; rules --help tells more"),
                (["rules", "-x"], "rules has no option -x; rules --help tells more"),
                (["assess", "--frmat=json"],
                 "assess has no option --frmat, did you mean --format?; assess --help tells more"),
                (["form", "--format", "html"],
                 "form has no option --format; it stands after form blank; form --help tells more"),
                (["fit", "--over", "km"],
                 "fit has no option --over; it stands after fit onset; fit --help tells more"),
                (["--onset", "x.json", "assess"],
                 "there is no option --onset before a command; it stands after assess or compare or "
                 "plan; --help tells more"),
                (["rules", "list", "seals"], 'rules list takes no "seals"; rules list --help tells more'),
                (["rules", "list", "--n\x1b[31m\u202e"],
                 "rules list has no option --n\ufffd[31m\ufffd; rules list --help tells more")):
            self.assertEqual(self.refused(*arguments), f"dryshaft: {said}\n")

    def test_what_is_quoted_steers_no_terminal(self):
        self.assertEqual(self.refused("guide", "--family", "\x1b[2J"),
                         'dryshaft: there is no family "\ufffd[2J"; families: '
                         f"{families()}\n")

    def test_numbers_out_of_range(self):
        for arguments, said in (
                (["assess", "x", "--due-at", "nan"],
                 '--due-at: "nan" is no number of at least 0 and at most 2000000'),
                (["plan", "--intake", "x", "--hours", "nan"],
                 '--hours: "nan" is no number of at least 0 and at most 1000000'),
                (["plan", "--intake", "x", "--budget", "-1"],
                 '--budget: "-1" is no number of at least 0 and at most 1000000000'),
                (["fit", "onset", "--at", "-5"], '--at: "-5" is no number above 0'),
                (["fit", "onset", "--at", "0"], '--at: "0" is no number above 0'),
                (["fit", "onset", "--at", "1e400"], '--at: "1e400" is no number above 0'),
                (["fit", "outcomes", "--prior-weight", "nan"],
                 '--prior-weight: "nan" is no number of at least 0.1 and at most 1000000'),
                (["listen", "x.wav", "--channel", "0"],
                 '--channel: "0" is no number of at least 1 and at most 1024'),
                (["rules", "test", "x", "--coverage", "nan"],
                 '--coverage: "nan" is no number of at least 0 and at most 100')):
            self.assertEqual(self.refused(*arguments), f"dryshaft: {said}\n")
        self.assertEqual(
            self.refused("plan", "--prices", example("prices.json"), "--horizon", "-5y",
                         example("dry-and-quiet.json")),
            'dryshaft: --horizon is "-5y", -100000 km: not between 1000 and 200000\n')

    def test_folders_that_hold_nothing(self):
        with tempfile.TemporaryDirectory() as folder:
            for arguments in (["assess", "--families", folder], ["guide", "--guides", folder],
                              ["assess", "--rules", folder]):
                self.assertEqual(self.refused(*arguments),
                                 f"dryshaft: {folder} holds no .json file\n")

    def test_help_on_a_path_in_quotes_and_for_installers(self):
        self.assertEqual(run("help", "fit onset").stdout, run("help", "fit", "onset").stdout)
        self.assertIn(b"Usage: dryshaft fit onset", run("help", "fit onset").stdout)
        self.assertEqual(self.refused("help", "--completion", "tcsh"),
                         'dryshaft: --completion is "tcsh", not bash, zsh or fish\n')
        self.assertEqual(self.refused("help", "--man", "csv"),
                         "dryshaft: help takes one of a topic, --schema, --man and --completion\n")

    def test_help_and_version(self):
        for arguments in (["--help"], ["assess", "--help"], ["rules", "--help"],
                          ["rules", "show", "--help"], ["check", "--help"], ["guide", "--help"],
                          ["--version"]):
            done = run(*arguments)
            self.assertEqual(done.returncode, 0, arguments)
            self.assertTrue(done.stdout)

    def test_guide_for_what_does_not_exist(self):
        self.assertEqual(
            self.refused("guide", "--family", "plover-3"),
            'dryshaft: there is no family "plover-3", did you mean "plover-2"?; '
            f"families: {families()}\n")
        self.assertEqual(
            self.refused("guide", "--family", "plover-2", "--vehicle", "Heron"),
            'dryshaft: there is no vehicle "Heron"; vehicles of plover-2: Corrie, Tarn\n')
        self.assertEqual(self.refused("guide", "--family", "dunlin-1", "--vehicle", "Tarn"),
                         "dryshaft: the profile of family dunlin-1 names no vehicle\n")
        self.assertEqual(self.refused("guide", "--vehicle", "Tarn"),
                         "dryshaft: --vehicle goes with --family, the family of that vehicle\n")
        self.assertEqual(
            self.refused("guide", "--check", "check-prot"),
            'dryshaft: there is no check "check-prot", did you mean "check-port"?; checks: '
            "check-port, identify-fluid, measure-insulation, record-noise, road-test\n")
        self.assertIn("is not a folder", self.refused("guide", "--guides", "no-such-folder"))


class Guide(unittest.TestCase):
    """Guides of a shop's own: steps without a compiler, with the shipped rules and with others."""

    FAMILY = {
        "format": "dryshaft-family/1", "id": "heron-1", "title": "heron-1", "rotor_magnets": "no",
        "periods": [{"rotor_cooling": "wet", "rotor_bearings": "steel", "gear_bearings": "steel"}],
        "vehicles": [{"id": "Heron", "port_access": "boot-floor"}],
        "reason": "Made for this test.", "source": "from memory",
        "guide": {
            "access": [{"id": "boot-floor", "title": "below the boot floor", "find": "Lift the mat.",
                        "reason": "Made for this test.", "source": "from memory"}],
            "steps": [{"procedure": "port-check", "before": "unplug", "id": "mat",
                       "access": "boot-floor", "text": "Roll up the mat."}],
            "reason": "Made for this test.", "source": "from memory"}}

    def folder(self, **files):
        made = tempfile.TemporaryDirectory()
        self.addCleanup(made.cleanup)
        for name, content in files.items():
            with open(os.path.join(made.name, name + ".json"), "w", encoding="utf-8") as f:
                f.write(content if isinstance(content, str) else json.dumps(content))
        return made.name

    def test_steps_of_another_family(self):
        families = self.folder(heron=self.FAMILY)
        done = run("guide", "--families", families, "--family", "heron-1", "--vehicle", "Heron")
        self.assertEqual((done.returncode, done.stderr), (0, b""))
        self.assertIn(b"Roll up the mat.", done.stdout)
        self.assertEqual(run("check", "--families", families).returncode, 0)
        # The grade, and the hash of the rules, do not hang on it.
        plain = {k: v for k, v in self.FAMILY.items() if k != "guide"}
        plain["vehicles"] = [{"id": "Heron", "port_access": "wheel-arch"}]
        without = run("check", "--families", self.folder(heron=plain))
        self.assertEqual(without.returncode, 0, without.stderr)

    def test_a_port_that_no_steps_reach_is_rejected(self):
        family = {k: v for k, v in self.FAMILY.items() if k != "guide"}
        families = self.folder(heron=family)
        for command in ("check", "guide"):
            done = run(command, "--families", families)
            self.assertEqual(done.returncode, 3)
            self.assertIn(b'/vehicles/0/port_access is "boot-floor", for which no guide has steps',
                          done.stderr)
        self.assertEqual(run("assess", "--families", families, example("dry-and-quiet.json"))
                         .returncode, 0)

    def test_own_guides_replace_shipped_ones_of_the_same_name(self):
        with open("data/guides/20-identify-fluid.json", encoding="utf-8") as f:
            text = f.read()
        name = "20-identify-fluid"
        guides = self.folder(**{name: text.replace("White paper.", "Blotting paper.")})
        done = run("guide", "--guides", guides)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn(b"Blotting paper.", done.stdout)
        self.assertIn(b"1. Check the sensor port", done.stdout)
        bad = self.folder(**{name: text.replace("dryshaft-guide/1", "dryshaft-guide/9")})
        for command in ("check", "guide"):
            done = run(command, "--guides", bad)
            self.assertEqual(done.returncode, 3)
            self.assertIn(name.encode() + b".json:2:13: error[bad-value]: /format", done.stderr)

    def test_a_guides_folder_beside_named_rules_is_used(self):
        with tempfile.TemporaryDirectory() as shop:
            shutil.copytree("data/rules", os.path.join(shop, "rules"))
            done = run("guide", "--rules", os.path.join(shop, "rules"))
            self.assertEqual((done.returncode, done.stderr), (0, b""))
            shutil.copytree("data/guides", os.path.join(shop, "guides"))
            path = os.path.join(shop, "guides", "20-identify-fluid.json")
            with open(path, encoding="utf-8") as f:
                text = f.read()
            with open(path, "w", encoding="utf-8") as f:
                f.write(text.replace("White paper.", "Blotting paper."))
            done = run("guide", "--rules", os.path.join(shop, "rules") + "/")
            self.assertIn(b"Blotting paper.", done.stdout)

    def test_to_a_file(self):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "guide.md")
            done = run("guide", "--for", "owner", "--format", "markdown", "--out", path)
            self.assertEqual((done.returncode, done.stdout), (0, b""))
            with open(path, "rb") as f:
                self.assertTrue(f.read().startswith(b"# What you can check yourself\n"))
        self.assertEqual(run("guide", "--out", "no-such-folder/guide.txt").returncode, 4)


class Assess(unittest.TestCase):
    def test_one_unit_gives_a_report_and_several_a_table(self):
        one = run("assess", text=lines(record(port=DRY, odometer_km=90000)))
        self.assertEqual(one.returncode, 0)
        self.assertIn(b"Grade A", one.stdout)
        two = run("assess", "-", text=lines(record("HL-1", port=DRY), record("HL-2")))
        self.assertEqual(two.returncode, 0)
        self.assertIn(b"2 units", two.stdout)
        full = run("assess", "--full", text=lines(record("HL-1", port=DRY), record("HL-2")))
        self.assertIn(b"Grade U", full.stdout)

    def test_exit_codes(self):
        grades = {"A": record(port=DRY, odometer_km=10000), "U": record(odometer_km=10000),
                  "B": record(port={**DRY, "dried_residue": True}, odometer_km=10000),
                  "C": record(port={"checked": True, "fluid": "film"}, odometer_km=10000),
                  "D": record(rotation="seized")}
        worse = {"A": "ABCDU", "B": "BCDU", "C": "CDU", "D": "D"}
        for grade, r in grades.items():
            got = json.loads(run("assess", "--format", "json", text=lines(r)).stdout)
            self.assertEqual(got["grade"], grade)
            for zone, failing in worse.items():
                done = run("assess", "--fail-on", zone, text=lines(r))
                self.assertEqual(done.returncode, 1 if grade in failing else 0, (grade, zone))

    def test_bad_records_lose_nothing(self):
        text = lines(record("HL-1", port=DRY)) + '{"format":"dryshaft-record/1",\n' + lines(
            record("HL-3", port={**DRY, "fluid": "dropplets"})) + lines(record("HL-4"))
        for form in ("text", "json", "jsonl", "csv", "markdown"):
            done = run("assess", "--format", form, text=text)
            self.assertEqual(done.returncode, 3, form)
            self.assertIn(b"HL-1", done.stdout)
            self.assertIn(b"HL-4", done.stdout)
            self.assertIn(b"<stdin>:2:", done.stderr)
            self.assertIn(b'<stdin>:3:', done.stderr)
            self.assertIn(b'hint: did you mean "droplets"?', done.stderr)
        self.assertIn(b"dropplets", run("assess", text=text).stdout)
        # 3 stands even where --fail-on would say 1
        self.assertEqual(run("assess", "--fail-on", "A", text=text).returncode, 3)

    def test_files_that_cannot_be_read(self):
        with tempfile.TemporaryDirectory() as folder:
            done = run("assess", os.path.join(folder, "none.json"), example("dry-and-quiet.json"))
            self.assertEqual(done.returncode, 3)
            self.assertIn(b"Grade A", done.stdout)
            self.assertIn(b"error[no-input]: cannot be read: No such file or directory",
                          done.stderr)
            for form in ("text", "jsonl"):
                done = run("assess", "--format", form, folder, example("dry-and-quiet.json"))
                self.assertEqual(done.returncode, 3)
                self.assertIn(b"cannot be read: Is a directory", done.stderr)
                self.assertTrue(done.stdout)

    def test_odometer_backwards_is_reported_and_not_used(self):
        text = lines(record(date="2025-03-02", odometer_km=90000, port=DRY),
                     record(date="2026-03-02", odometer_km=81200, port=DRY))
        done = run("assess", "--format", "json", text=text)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"error[odometer-backwards]", done.stderr)
        report = json.loads(done.stdout)
        self.assertEqual([c["id"] for c in report["contradictions"]], ["odometer-backwards"])
        self.assertIsNone(report["unit"]["odometer_km"])
        self.assertEqual(run("check", text=text).returncode, 3)

    def test_order_of_input_changes_nothing(self):
        with open(example("intake.jsonl"), encoding="utf-8") as f:
            records = f.readlines()
        random.Random(1).shuffle(records)
        plain = run("assess", "--format", "csv", example("intake.jsonl")).stdout
        shuffled = run("assess", "--format", "csv", text="".join(records)).stdout

        def rows(text):  # all but the source and line of a row
            rows = list(csv.DictReader(io.StringIO(text.decode())))
            return [{**row, "source": "", "line": ""} for row in rows]
        self.assertEqual(rows(plain), rows(shuffled))
        parts = sorted(records)
        with tempfile.TemporaryDirectory() as folder:
            names = []
            for i in range(3):
                names.append(os.path.join(folder, f"{i}.jsonl"))
                with open(names[-1], "w", encoding="utf-8") as f:
                    f.writelines(parts[i::3])
            self.assertEqual(rows(run("assess", "--format", "csv", *names).stdout), rows(plain))

    def test_same_bytes_whatever_the_environment(self):
        base = run("assess", "--full", example("intake.jsonl")).stdout
        for env in ({"TZ": "Pacific/Chatham"}, {"LC_ALL": "de_DE.UTF-8"}, {"LANG": "tr_TR"},
                    {"COLUMNS": "200"}):
            self.assertEqual(run("assess", "--full", example("intake.jsonl"), env=env).stdout,
                             base)
        self.assertEqual(run("assess", "--full", "--jobs", "4", example("intake.jsonl")).stdout,
                         base)

    def test_same_bytes_from_every_processor(self):
        # The C library picks its exp and log by what the processor has; they differ in the last bit.
        def bytes_with(env):
            return run("assess", "--format", "json", example("intake.jsonl"), env=env).stdout
        self.assertEqual(bytes_with({"GLIBC_TUNABLES": "glibc.cpu.hwcaps=-FMA,-FMA4,-AVX2"}),
                         bytes_with({}))

    def test_streaming_keeps_the_order_of_the_input(self):
        with open(example("intake.jsonl"), encoding="utf-8") as f:
            units = [json.loads(line)["unit"]["id"] for line in f]
        for jobs in ("1", "3"):
            done = run("assess", "--format", "jsonl", "--jobs", jobs, example("intake.jsonl"))
            got = [json.loads(line)["unit_id"] for line in done.stdout.splitlines()]
            self.assertEqual(got, units)

    def test_streaming_grades_a_history_that_stands_together(self):
        text = lines(record("HL-1", "2025-01-01", port={"checked": True, "fluid": "film"}),
                     record("HL-1", "2026-01-01", port=DRY), record("HL-2", port=DRY))
        reports = [json.loads(line) for line in
                   run("assess", "--format", "jsonl", text=text).stdout.splitlines()]
        self.assertEqual([r["unit_id"] for r in reports], ["HL-1", "HL-2"])
        self.assertEqual([e["grade"] for e in reports[0]["history"]["earlier"]], ["C"])

    def test_streaming_and_batch_say_the_same(self):
        with open(example("intake.jsonl"), encoding="utf-8") as f:
            newest = max(json.loads(line)["inspection"]["date"] for line in f)
        batch = run("assess", "--format", "json", "--today", newest, example("intake.jsonl"))
        stream = run("assess", "--format", "jsonl", "--today", newest, example("intake.jsonl"))
        self.assertEqual(sorted(batch.stdout.splitlines()), sorted(stream.stdout.splitlines()))

    def test_what_is_new_and_bad_is_among_what_got_worse(self):
        wet = {"checked": True, "fluid": "pooled", "fluid_kind": "coolant"}
        text = lines(record("HL-1", "2026-11-27", port=wet), record("HL-2", "2026-11-26", port=DRY),
                     record("HL-3", "2026-11-25"), record("HL-4", "2026-11-01", port=DRY),
                     record("HL-4", "2026-11-26", port=wet), record("HL-5", "2026-11-01", port=wet))
        since = ("assess", "--since", "2026-11-20", "--today", "2026-11-28")
        done = run(*since, text=text)
        self.assertIn(b"""3 units with a worse grade than on 2026-11-20, or new since then and not A or B;\n"""
                      b"""2 without. Of these, 1 is new.""", done.stdout)
        rows = [row.split() for row in done.stdout.decode().splitlines() if re.match(r" *\d+ +HL-", row)]
        self.assertEqual([row[1:4] for row in rows],
                         [["HL-1", "D", "new"], ["HL-4", "D", "A"], ["HL-3", "U", "new"]])
        for form in ("json", "jsonl"):
            reports = [json.loads(line) for line in run(*since, "--format", form, text=text).stdout.splitlines()]
            self.assertEqual({r["unit_id"]: r["was"] for r in reports},
                             {"HL-1": "new", "HL-3": "new", "HL-4": "A"})
        rows = run(*since, "--format", "csv", text=text).stdout.decode().splitlines()
        self.assertEqual([rows[0].split(",")[-1]] + [row.split(",")[0] + row.split(",")[-1] for row in rows[1:]],
                         ["was", "HL-1new", "HL-4A", "HL-3new"])
        for form in ("html", "markdown"):
            self.assertIn(b"new since then and not A or B", run(*since, "--format", form, text=text).stdout)
        new = lines(record("HL-1", "2026-11-27", port=wet))
        for form in ("text", "json", "jsonl", "csv"):
            self.assertEqual(run(*since, "--fail-on", "D", "--format", form, text=new).returncode, 1)
        self.assertNotIn(b'"was"', run("assess", "--format", "json", text=text).stdout)
        self.assertNotIn(b"was", run("assess", "--format", "csv", text=text).stdout.splitlines()[0])

    def test_layouts_say_the_same(self):
        records = [record("HL-1", port=DRY), record("HL-2")]
        for form in ("json", "jsonl"):
            def grades(text):
                done = run("assess", "--format", form, text=text)
                return sorted((r["unit_id"], r["grade"])
                              for r in map(json.loads, done.stdout.splitlines()))
            expected = [("HL-1", "A"), ("HL-2", "U")]
            self.assertEqual(grades(lines(*records)), expected)
            self.assertEqual(grades(json.dumps(records)), expected)
            self.assertEqual(grades(json.dumps(records, indent=2)), expected)
            self.assertEqual(grades("\ufeff" + lines(*records).replace("\n", "\r\n")), expected)
            self.assertEqual(grades(json.dumps(records[0], indent=2)), expected[:1])

    def test_every_report_is_within_80_columns(self):
        for name in sorted(os.listdir(EXAMPLES)):
            if name.endswith((".json", ".jsonl")) and name != "prices.json":
                for who in ("technician", "owner"):
                    text = run("assess", "--for", who, "--full", example(name)).stdout.decode()
                    for line in text.splitlines():
                        self.assertLessEqual(len(line), 80, (name, line))

    def test_an_owner_is_never_told_to_measure(self):
        for name in sorted(os.listdir(EXAMPLES)):
            if name.endswith(".json") and name != "prices.json":
                for form in ("text", "markdown"):
                    text = run("assess", "--for", "owner", "--format", form, "--full",
                               example(name)).stdout.decode().lower()
                    for word in ("measure", "megohm", "multimeter", "unplug", "deciban"):
                        self.assertFalse(word in text, (name, word))

    def test_a_buyer_is_told_what_to_do_before(self):
        buyer = run("assess", "--for", "owner", "--buying", example("used-car-buyer.json"))
        self.assertIn(b"\nBuying    ", buyer.stdout)
        owner = run("assess", "--for", "owner", example("used-car-buyer.json"))
        self.assertNotIn(b"buy, ", owner.stdout)
        done = run("assess", "--buying", example("used-car-buyer.json"))
        self.assertEqual((done.returncode, done.stdout, done.stderr),
                         (2, b"", b"dryshaft: --buying goes with --for owner\n"))

    def test_colour_only_where_wanted(self):
        text = lines(record(rotation="seized"))
        self.assertNotIn(b"\x1b", run("assess", text=text).stdout)
        self.assertIn(b"\x1b", run("assess", "--color", "always", text=text).stdout)

    def test_explain_names_files_and_lines(self):
        text = run("assess", "--explain", example("film-caught-early.json")).stdout.decode()
        text = "".join(text.split())  # a long path wraps lines elsewhere, and is broken itself
        self.assertRegex(text, r"floor-coolant\([^()]*floors\.json:\d+\):atleastC")
        self.assertRegex(text, r"fluid-from-seal-leak\([^()]*links\.json:\d+\)")


class Dates(unittest.TestCase):
    """A date typed wrong moves no verdict for the better, and none of another unit."""

    WET = {"checked": True, "fluid": "pooled", "fluid_kind": "coolant"}

    def grades(self, *arguments, **options):
        done = run("assess", "--format", "json", *arguments, **options)
        return done, {r["unit_id"]: r["grade"] for r in map(json.loads, done.stdout.splitlines())}

    def test_no_record_moves_the_grade_of_another_unit(self):
        with open(example("intake.jsonl"), encoding="utf-8") as f:
            yard = f.read()
        plain, before = self.grades(text=yard)
        self.assertEqual((plain.returncode, plain.stderr), (0, b""))
        for day in ("2062-03-02", "2027-12-02"):
            done, after = self.grades(text=yard + lines(record("HL-X", day, port=DRY)))
            self.assertEqual(done.returncode, 3)
            self.assertIn(f"<stdin>:301:".encode(), done.stderr)
            self.assertIn(f"error[date-alone]: /inspection/date is {day}, ".encode(), done.stderr)
            self.assertEqual(after.pop("HL-X"), "U")
            self.assertEqual(after, before)
            checked = run("check", text=yard + lines(record("HL-X", day, port=DRY)))
            self.assertEqual((checked.returncode, checked.stderr), (3, done.stderr))
            covered, _ = self.grades("--today", day, text=yard + lines(record("HL-X", day, port=DRY)))
            self.assertEqual((covered.returncode, covered.stderr), (0, b""))

    def test_what_is_dated_after_today_is_no_news(self):
        text = lines(record(date="2026-06-01", port=self.WET),
                     record(date="2027-03-02", port=DRY))
        said = ("<stdin>:2:83: error[date-after-today]: /inspection/date is 2027-03-02, after the "
                "day of judgement, 2026-06-02: the record is set aside, and only what it says for "
                "the worse counts\n  hint: look for a slip of the pen, or name a later --today\n")
        done, grades = self.grades("--today", "2026-06-02", text=text)
        self.assertEqual((done.returncode, done.stderr.decode()), (3, said))
        self.assertEqual(grades, {"HL-0147": "D"})
        for command in (["check"], ["fit", "onset"], ["fit", "outcomes"],
                        ["plan", "--prices", example("prices.json")],
                        ["assess", "--format", "text"]):
            done = run(*command, "--today", "2026-06-02", text=text)
            self.assertEqual((done.returncode, done.stderr.decode()), (3, said), command)
        streamed = run("assess", "--format", "jsonl", "--today", "2026-06-02", text=text)
        self.assertEqual((streamed.returncode, json.loads(streamed.stdout)["grade"]), (3, "D"))
        self.assertIn(b"error[date-after-today]", streamed.stderr)
        # The other way round: the bad look is the one with the wrong year.
        text = lines(record(date="2027-06-01", port=self.WET),
                     record(date="2026-03-02", port=DRY))
        self.assertEqual(self.grades("--today", "2026-06-02", text=text)[1], {"HL-0147": "D"})

    def test_a_slip_that_a_record_shows_by_itself(self):
        built = record(port=self.WET)
        built["unit"]["built"] = "2031"
        for one, code in ((built, "built-after-inspection"),
                          (record(odometer_km=109000, port=self.WET,
                                  noise={"onset_odometer_km": 900000}), "noise-before-it-began")):
            done, grades = self.grades(text=lines(one))
            self.assertEqual((done.returncode, grades), (3, {"HL-0147": "D"}))
            self.assertIn(f"error[{code}]".encode(), done.stderr)
            report = json.loads(done.stdout)
            self.assertEqual([c["id"] for c in report["contradictions"]], [code])


class Identity(unittest.TestCase):
    """Units that share an id, and units whose ids look alike."""

    def test_nobody_gets_the_dry_port_of_another_car(self):
        one = record("my car", "2026-03-01", port=DRY)
        one["unit"]["built"] = "2019"
        other = record("my car", "2026-03-02")
        other["unit"]["built"] = "2021"
        for text in (lines(one, other), lines(other, one)):
            done = run("assess", "--format", "json", text=text)
            report = json.loads(done.stdout)
            self.assertEqual((done.returncode, report["grade"]), (0, "U"))
            self.assertEqual([c["id"] for c in report["contradictions"]], ["not-one-unit"])
            self.assertIn(b"warning[not-one-unit]", done.stderr)
        owner = run("assess", "--for", "owner", text=lines(one, other)).stdout.decode()
        self.assertIn("two different cars", owner)

    def test_ids_that_look_alike(self):
        done = run("assess", text=lines(record("AB-12", port=DRY), record("ab-12")))
        self.assertEqual(done.returncode, 0)
        self.assertEqual(done.stderr.decode(), '''<stdin>:2: warning[ids-look-alike]: /unit/id is "ab-12" and looks like "AB-12" of <stdin>:1: they count as two units
  hint: where it is one unit, write its id in one way; the first difference is U+0061 and U+0041
''')
        done = run("check", text=lines(record("HL-\U000e01000147")))
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"error[unseen-character]: /unit/id holds U+E0100, which nobody sees",
                      done.stderr)

    def test_a_slip_upwards_of_the_odometer(self):
        days = [f"2025-0{m}-01" for m in range(1, 6)]
        clean = {**DRY, "debris": "none"}
        text = lines(*(record(date=day, odometer_km=km, port=clean) for day, km in
                       zip(days, (90000, 990000, 100000, 110000, 120000))))
        done = run("assess", "--format", "json", text=text)
        self.assertEqual(done.returncode, 3)
        self.assertEqual(done.stderr.count(b"error["), 1)
        self.assertIn(b"<stdin>:2:", done.stderr)
        self.assertEqual(json.loads(done.stdout)["unit"]["odometer_km"], 120000)


class Writing(unittest.TestCase):
    def test_help_on_a_full_disk(self):
        for words in (["--version"], ["--help"], ["assess", "--help"]):
            with open("/dev/full", "wb") as full:
                done = subprocess.run([PROGRAM, *words], stdout=full, stderr=subprocess.PIPE, check=False)
            self.assertEqual((done.returncode, done.stderr), (
                4, b"standard output: error[output]: cannot be written: No space left on device\n"), words)

    def test_a_full_disk_is_told(self):
        for form in ("text", "json", "jsonl", "csv", "markdown"):
            with open("/dev/full", "wb") as full:
                done = subprocess.run([PROGRAM, "assess", "--format", form,
                                       example("intake.jsonl")],
                                      stdout=full, stderr=subprocess.PIPE, check=False)
            self.assertEqual(done.returncode, 4, form)
            self.assertIn(b"cannot be written: No space left on device", done.stderr)
        self.assertEqual(run("assess", "--out", "/dev/full", example("intake.jsonl")).returncode,
                         4)

    def test_a_reader_that_had_enough_is_no_failure(self):
        with subprocess.Popen([PROGRAM, "assess", "--format", "jsonl", example("intake.jsonl")],
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE) as program:
            program.stdout.readline()
            program.stdout.close()
            self.assertEqual(program.stderr.read(), b"")
            program.stderr.close()
            self.assertEqual(program.wait(), 0)

    def test_a_closed_output_is_told(self):
        done = subprocess.run(["bash", "-c", '"$0" assess "$1" >&-', PROGRAM,
                               example("dry-and-quiet.json")], capture_output=True, check=False)
        self.assertEqual(done.returncode, 4)

    def test_a_file_appears_whole_or_not_at_all(self):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "report.txt")
            with open(path, "w", encoding="utf-8") as f:
                f.write("old")
            os.chmod(path, 0o640)
            self.assertEqual(run("assess", "--out", path, example("intake.jsonl")).returncode, 0)
            with open(path, "rb") as f:
                self.assertEqual(f.read(), run("assess", example("intake.jsonl")).stdout)
            self.assertEqual(os.stat(path).st_mode & 0o777, 0o640)
            self.assertEqual(os.listdir(folder), ["report.txt"])
            missing = os.path.join(folder, "none", "report.txt")
            self.assertEqual(run("assess", "--out", missing, example("seized.json")).returncode, 4)


class Check(unittest.TestCase):
    def test_good_and_bad(self):
        good = run("check", example("intake.jsonl"))
        self.assertEqual(good.returncode, 0)
        self.assertIn(b"records: 300 good, 0 rejected; 300 units\n", good.stdout)
        bad = run("check", text='{"format":"dryshaft-record/2"}')
        self.assertEqual(bad.returncode, 3)
        self.assertIn(b"records: 0 good, 1 rejected", bad.stdout)

    def test_bad_rule_data(self):
        with tempfile.TemporaryDirectory() as folder:
            rules = own_rules(os.path.join(folder, "rules"),
                              ("links.json", '"film": 0.88', '"film": 7'))
            for command in ("check", "assess"):
                done = run(command, "--rules", rules)
                self.assertEqual(done.returncode, 3)
                self.assertIn(b"links.json:65:24: error[out-of-range]: /links/0/shows/film is 7",
                              done.stderr)


class Rules(unittest.TestCase):
    def test_settings_are_listed_and_shown_with_value_and_unit(self):
        with open("data/rules/rules.json", encoding="utf-8") as f:
            settings = json.load(f)["settings"]
        listed = run("rules", "list").stdout.decode()
        under = re.search(r"\nsetting\n((?:  .*\n)+)", listed)[1]
        self.assertEqual(re.findall(r"^  (\S+)", under, re.M), [s["id"] for s in settings])
        for s in settings:
            self.assertIn(f"\n  {s['id']:<34} {s['value']:g} {s['unit']}\n", listed)
            shown = run("rules", "show", s["id"]).stdout.decode()
            self.assertTrue(shown.startswith(f"setting {s['id']}\n"), shown)
            self.assertIn(f"\n  value      {s['value']:g} {s['unit']}\n", shown)
            self.assertIn(s["reason"], " ".join(shown.split()))

    def test_a_setting_of_ones_own_rules_without_a_unit(self):
        with tempfile.TemporaryDirectory() as folder:
            rules = own_rules(os.path.join(folder, "rules"),
                              ("rules.json", '"value": 0.50, "unit": "probability"', '"value": 0.45'))
            shown = run("rules", "show", "risk-high", "--rules", rules).stdout.decode()
            self.assertIn("\n  value      0.45\n", shown)

    POOLED = record(port={"checked": True, "fluid": "pooled", "fluid_kind": "coolant",
                          "dried_residue": False, "corrosion": "none", "debris": "none"})
    UNSAFE = ("They leave out or weaken what the shipped rules hold for safety, which holds all the "
              "same: floor-pooled-coolant.")

    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = folder.name
        self.rules = os.path.join(self.folder, "rules")

    def weakened(self):
        return own_rules(self.rules, ("floors.json", '"floor-pooled-coolant", "grade": "D"',
                                      '"floor-pooled-coolant", "grade": "C"'))

    def test_every_report_says_that_a_safety_floor_is_weakened_and_it_holds(self):
        rules = self.weakened()
        text = lines(self.POOLED)
        warning = (f"{rules}/floors.json:1:1: warning[unsafe-rules]: leaves out or weakens the safety "
                   "floor \"floor-pooled-coolant\" (D) of the shipped rules\n  {\n  ^\n  hint: it holds "
                   "all the same: rules of your own may be stricter\n")
        for arguments in ([], ["--for", "owner"], ["--format", "markdown"], ["--format", "html"],
                          ["--format", "json"], ["--format", "jsonl"], ["--format", "csv"]):
            for records in (text, text + lines(record("HL-2"))):  # one report, and a table
                with self.subTest(arguments=arguments, several=records != text):
                    done = run("assess", "--rules", rules, *arguments, text=records)
                    self.assertEqual((done.returncode, done.stderr.decode()), (0, warning))
                    said = " ".join(done.stdout.decode().split())
                    self.assertIn("Nothing proves them here: run rules verify on them.", said)
                    self.assertIn(self.UNSAFE, said)
                    if "json" in " ".join(arguments):
                        one = json.loads(done.stdout.decode().splitlines()[0])
                        self.assertEqual(one["grade"], "D")
                        self.assertIn(self.UNSAFE, one["warnings"])
                        self.assertIn(self.UNSAFE, one["rules"]["reservations"])
        for arguments in (["plan", "--prices", example("prices.json")],
                          ["plan", "--prices", example("prices.json"), "--for", "owner"],
                          ["plan", "--prices", example("prices.json"), "--format", "json"],
                          ["plan", "--job-sheet", "open-and-rebuild"],
                          ["plan", "--prices", example("prices.json"), "--intake", "-"],
                          ["plan", "--prices", example("prices.json"), "--intake", "-", "--format", "json"]):
            with self.subTest(arguments=arguments):
                done = run(*arguments, "--rules", rules, text=text)
                self.assertEqual(done.returncode, 0, done.stderr)
                self.assertIn(self.UNSAFE, " ".join(done.stdout.decode().split()))

    def test_check_and_verify_fail_rules_without_a_safety_floor(self):
        rules = self.weakened()
        done = run("check", "--rules", rules)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b": not safe, as said above\n", done.stdout)
        self.assertIn(b"warning[unsafe-rules]", done.stderr)
        done = run("rules", "verify", "--rules", rules)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"\nBROKEN      safety ", done.stdout)
        self.assertIn(b'    ! "floor-pooled-coolant" is left out or weakened\n', done.stdout)

    def test_shipped_rules_are_reported_without_a_word_about_them(self):
        plain = run("assess", text=lines(self.POOLED))
        named = run("assess", "--rules", "data/rules", text=lines(self.POOLED))
        self.assertEqual((plain.returncode, plain.stderr), (0, b""))
        self.assertEqual(named.stdout, plain.stdout)
        self.assertNotIn(b"came with dryshaft", plain.stdout)

    def test_other_content_under_the_shipped_id_is_refused(self):
        rules = own_rules(self.rules, ("links.json", '"film": 0.88', '"film": 0.89'),
                          id="dryshaft-shipped")
        for command in ("assess", "check", "guide"):
            done = run(command, "--rules", rules)
            self.assertEqual((done.returncode, done.stdout), (3, b""))
            self.assertIn(b"rules.json:3:9: error[not-the-shipped-rules]: /id is \"dryshaft-shipped\", "
                          b"and links.json is not what came with dryshaft ", done.stderr)
            self.assertIn(b"\n  hint: give rules of your own an id and a version of their own: "
                          b"reports name them\n", done.stderr)

    def test_what_is_no_rule_file_is_refused_and_no_pipe_is_waited_for(self):
        rules = own_rules(self.rules)
        self.assertEqual(run("check", "--rules", rules).returncode, 0)
        os.mkdir(os.path.join(rules, ".git"))
        self.assertEqual(run("check", "--rules", rules).returncode, 0)
        floors = os.path.join(rules, "floors.json")
        os.rename(floors, os.path.join(self.folder, "kept"))
        says = f"dryshaft: {rules} holds what is no .json file: {{}}; take it out, so that nothing is " \
               "taken for a rule that is none\n"
        for make in (os.mkfifo, os.mkdir, lambda path: os.symlink("/dev/zero", path)):
            make(floors)
            for command in ("assess", "check"):
                done = run(command, "--rules", rules, timeout=60)
                self.assertEqual((done.returncode, done.stderr.decode()), (3, says.format("floors.json")))
            if os.path.isdir(floors):
                os.rmdir(floors)
            else:
                os.remove(floors)
        os.symlink(os.path.join(self.folder, "kept"), floors)  # a link to a file is one
        self.assertEqual(run("check", "--rules", rules).returncode, 0)
        for name in ("floors.json~", "README.md"):
            with open(os.path.join(rules, name), "w", encoding="utf-8") as f:
                f.write("{}")
        done = run("check", "--rules", rules)
        self.assertEqual((done.returncode, done.stderr.decode()),
                         (3, says.format("README.md, floors.json~")))
        os.remove(os.path.join(rules, "README.md"))
        os.rename(os.path.join(rules, "floors.json~"), os.path.join(rules, "floor.json"))
        done = run("check", "--rules", rules)
        self.assertEqual(done.returncode, 3)
        self.assertIn(f"{rules}/floor.json: error[unknown-file]: is no rule file\n", done.stderr.decode())

    def test_what_is_said_of_rules_is_within_80_columns(self):
        listed = run("rules", "list").stdout.decode()
        with tempfile.NamedTemporaryFile("w", suffix=".json") as few:
            json.dump({"format": "dryshaft-cases/1", "cases": []}, few)
            few.flush()
            said = [run(*arguments).stdout.decode() for arguments in (
                ["rules", "test", few.name], ["check", example("film-caught-early.json")],
                # A step of its own in tests/run.sh, where it takes a minute.
                *([] if SANITIZED else [["rules", "verify"]]))]
        self.assertIn("not covered", said[0])
        some = [one for kind in listed.split("\n\n")  # the first of each kind and every sixth: all take a minute
                for one in re.findall(r"^  (\S+)", kind, re.M)[::6]]
        said += [run("rules", "show", one, "--why").stdout.decode() for one in some]
        for line in (listed + "".join(said)).splitlines():
            self.assertLessEqual(len(line), 80, line)


def load_tests(_loader, suites, _pattern):
    tests = [test for suite in suites for test in suite]
    return unittest.TestSuite(tests[PART - 1::PARTS])


if __name__ == "__main__":
    unittest.main()
