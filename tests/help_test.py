"""Help, manual page and completions: all made from the command line that the program parses.

Usage: help_test.py PROGRAM
"""
import os
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

from command_line import commands, topics

PROGRAM = os.path.abspath(sys.argv.pop(1))


def run(*arguments, **options):
    return subprocess.run([PROGRAM, *arguments], capture_output=True, check=False, text=True,
                          **options)


def said(*arguments):
    done = run(*arguments)
    assert (done.returncode, done.stderr) == (0, ""), (arguments, done)
    return done.stdout


COMMANDS = list(commands(PROGRAM))
TOPICS = topics(PROGRAM)


class Help(unittest.TestCase):
    def test_all_commands_are_found(self):
        for path in [("assess",), ("form", "blank"), ("rules", "show"), ("help",)]:
            self.assertIn(path, COMMANDS)
        # Each is listed by the program's own help too, by what it is for.
        program = said("--help")
        for path in COMMANDS:
            if not any(len(other) > len(path) and other[:len(path)] == path for other in COMMANDS):
                self.assertRegex(program, rf"\n  {' '.join(path)} ")

    def test_help_of_a_command_is_its_own(self):
        for path in COMMANDS:
            self.assertTrue(said("help", *path).endswith(said(*path, "--help")), path)

    def test_80_columns(self):
        texts = [said(*path, "--help") for path in [(), *COMMANDS]]
        texts += [said("help")] + [said("help", topic) for topic in TOPICS]
        for line in "".join(texts).splitlines():
            # What is to be typed is as long as the program's own path, or what a command must have.
            if PROGRAM not in line and not line.startswith("  dryshaft records "):
                self.assertLessEqual(len(line), 80, line)

    # What they show is run by tests/documents_test.py.
    def test_every_command_has_examples(self):
        for path in COMMANDS:
            text = said(*path, "--help")
            with self.subTest(path=path):
                self.assertRegex(text, r"\n\nExamples:\n(  dryshaft .+\n      [A-Z].+\.\n){1,3}\Z")
                lines = re.findall(r"^  (dryshaft .+)$", text, re.M)
                self.assertTrue(all(line.startswith(" ".join(("dryshaft", *path))) for line in lines), lines)

    def test_first_command_works_from_anywhere(self):
        with tempfile.TemporaryDirectory() as folder:
            for where in (".", folder):
                shown = re.search(r"\nTo see a report, type:\n  (.+)\n", run("--help", cwd=where).stdout)
                done = subprocess.run(["bash", "-c", shown[1]], cwd=where, capture_output=True, text=True, check=False)
                self.assertEqual((done.returncode, done.stderr), (0, ""))
                self.assertIn("HL-0102", done.stdout)

    def test_no_type_of_a_library(self):
        library = re.compile(r"\b(TEXT|INT|UINT|FLOAT|BOOLEAN|ENUM|REQUIRED|Needs|Excludes)\b|\{\w+,|->|\bin \[|:\{")
        for path in [(), *COMMANDS]:
            options = said(*path, "--help").split("\nExamples:")[0]
            self.assertIsNone(library.search(options), (path, library.search(options)))
            for placeholder in re.findall(r"^  --[a-z-]+ (\S+)", options, re.M):
                self.assertRegex(placeholder, r"^[A-Zn\[]", path)

    def test_an_option_means_the_same_wherever_it_stands(self):
        meanings = {}
        for path in [(), *COMMANDS]:
            options = re.search(r"\nOptions:\n((?:  .*\n)+)", said(*path, "--help"))[1]
            for entry in re.split(r"\n(?=  -)", options.rstrip("\n")):
                names, text = re.fullmatch(r"  (-\S+(?:, --\S+)?(?: \S+)?)\s+(.*)", entry, re.S).groups()
                text = " ".join(text.split())
                # Choices and what holds without it may differ: they stand in brackets at its end.
                meanings.setdefault(names.split()[-1] if names.startswith("-h") else names.split()[0], {}) \
                    .setdefault((names, re.sub(r" \([^()]*\)$", "", text)), []).append(" ".join(path))
        self.assertGreater(len(meanings), 45)
        for option, texts in meanings.items():
            self.assertEqual(len(texts), 1, (option, texts))

    def test_every_text_is_a_topic_and_short(self):
        self.assertEqual(sorted(f"{topic}.txt" for topic in TOPICS), sorted(os.listdir("src/cli/topics")))
        for topic in TOPICS:
            self.assertLess(len(said("help", topic).splitlines()), 125, topic)

    def test_columns_of_tables_are_those_that_are_read(self):
        columns, works = said("help", "csv").rsplit("\n\n", 2)[1:]
        names = re.findall(r"^  (\S+?),? .*", columns, re.M)
        self.assertIn("unit.id", said("help", "csv"))
        self.assertGreater(len(names), 45)
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "t.csv")
            with open(path, "w", encoding="utf-8") as f:
                f.write(",".join(names) + "\n")
            done = run("check", path)
            done_works = re.findall(r"^  (\S+) ", works, re.M)
            with open(path, "w", encoding="utf-8") as f:
                f.write(f"unit.id;date;odometer_km;work\nHL-1;2026-03-02;90000;{', '.join(done_works)}\n")
            read = run("check", path)
        self.assertEqual((done.returncode, done.stderr.splitlines()[0]),
                         (3, f"{path}:1:1: error[empty]: holds no row beneath its header"))
        self.assertGreater(len(done_works), 10)
        self.assertEqual(read.returncode, 0, read.stderr)

    def test_mistyped_topic_gets_a_suggestion(self):
        done = run("help", "gardes")
        self.assertEqual((done.returncode, done.stdout, done.stderr), (
            2, "", 'dryshaft: there is no topic "gardes", did you mean "grades"?; topics: '
                   f'{", ".join(TOPICS)}, and each command\n'))
        self.assertIn('did you mean "rules verify"?', run("help", "rules", "verfy").stderr)
        self.assertIn('did you mean "assess"?', run("help", "asess").stderr)
        self.assertEqual(run("help", "--completion", "tcsh").returncode, 2)


class Man(unittest.TestCase):
    def test_everything_is_in_it(self):
        plain = said("help", "--man").replace("\\-", "-")
        for path in COMMANDS:
            self.assertIn("\n.SS " + " ".join(path) + "\n", plain)
            for option in set(re.findall(r"^  (?:-\w, )?(--[a-z-]+)", said(*path, "--help"), re.M)) - {"--help"}:
                self.assertIn(f"\\fB{option}\\fR", plain)
        for heading in ["NAME", "SYNOPSIS", "DESCRIPTION", "COMMANDS", '"EXIT STATUS"']:
            self.assertIn(f"\n.SH {heading}\n", plain)

    @unittest.skipUnless(shutil.which("groff"), "groff is not here")
    def test_groff_finds_no_fault(self):
        done = subprocess.run(["groff", "-man", "-ww", "-Tutf8", "-rLL=78n"],
                              input=said("help", "--man").encode(), capture_output=True, check=False)
        self.assertEqual((done.returncode, done.stderr), (0, b""))
        text = re.sub(r"\x1b\[[0-9;]*m|.\x08", "", done.stdout.decode())
        self.assertIn("--fail-on GRADE", text)
        self.assertIn("dryshaft assess examples/intake.csv", text)


class Bash(unittest.TestCase):
    """Drives the completion function as bash does, without an interactive shell."""

    def complete(self, line, folder=None):
        words = line.split(" ")
        script = said("help", "--completion", "bash") + f"""
            COMP_WORDS=({' '.join(f"'{w}'" for w in words)})
            COMP_CWORD={len(words) - 1}
            $(complete -p dryshaft | sed 's/.*-F \\([^ ]*\\).*/\\1/')
            printf '%s\\n' "${{COMPREPLY[@]}}"
        """
        done = subprocess.run(["bash", "--norc", "-c", script], capture_output=True, text=True,
                              check=False, cwd=folder)
        self.assertEqual((done.returncode, done.stderr), (0, ""), line)
        return done.stdout.split()

    def test_commands(self):
        self.assertEqual(self.complete("dryshaft "), [p[0] for p in COMMANDS if len(p) == 1])
        self.assertEqual(self.complete("dryshaft as"), ["assess"])
        self.assertEqual(self.complete("dryshaft rules "), ["list", "show", "test", "verify"])
        self.assertEqual(self.complete("dryshaft form a"), ["ask"])
        self.assertEqual(self.complete("dryshaft help ex"), ["exit-codes"])

    def test_options_and_what_they_take(self):
        self.assertEqual(self.complete("dryshaft assess --fo"), ["--for", "--format"])
        self.assertEqual(self.complete("dryshaft assess --for "), ["technician", "owner"])
        self.assertEqual(self.complete("dryshaft assess x --format m"), ["markdown"])
        self.assertEqual(self.complete("dryshaft form blank --format "), ["text", "html"])
        self.assertEqual(self.complete("dryshaft assess --today "), [])
        self.assertEqual(self.complete("dryshaft rules verify --j"), ["--jobs"])

    def test_what_stands_after_an_equals_sign(self):
        # bash makes words of their own of "=" and what follows it.
        self.assertEqual(self.complete("dryshaft assess --format = m"), ["markdown"])
        self.assertEqual(self.complete("dryshaft assess --for ="), ["technician", "owner"])
        self.assertEqual(self.complete("dryshaft assess --format = text --un"), ["--units"])

    def test_ids_of_the_rule_data_in_use(self):
        program = f"{PROGRAM} "
        rules = said("rules", "list")
        shown = self.complete(program + "rules show ")
        self.assertGreater(len(shown), 100)
        for one in shown[::25]:
            self.assertIn(one, rules)
        self.assertEqual(self.complete(program + "guide --check check-p"), ["check-port"])
        self.assertEqual(self.complete(program + "fit onset --by "),
                         ["family", "gear_bearings", "rotor_bearings", "vehicle"])
        sheets = self.complete(program + "plan --job-sheet ")
        self.assertIn("open-and-rebuild", sheets)
        families = sorted(name[:-5] for name in os.listdir("data/families"))
        self.assertEqual(self.complete(program + "guide --family "), families)
        self.assertEqual(self.complete(program + "listen --family ="), families)
        vehicles = self.complete(program + "guide --vehicle ")
        of_one = self.complete(program + "guide --family plover-2 --vehicle ")
        self.assertIn("Tarn", of_one)
        self.assertLessEqual(set(of_one), set(vehicles))
        self.assertEqual(self.complete(program + "guide --family generic --vehicle "), [])
        self.assertEqual(self.complete(program + "guide --family = plover-2 --vehicle "), of_one)
        with tempfile.TemporaryDirectory() as folder:  # a shop's own
            with open("data/families/plover-2.json", encoding="utf-8") as f:
                own = f.read().replace('"plover-2"', '"own-1"')
            os.mkdir(os.path.join(folder, "f"))
            with open(os.path.join(folder, "f", "own-1.json"), "w", encoding="utf-8") as f:
                f.write(own)
            self.assertEqual(self.complete(f"{program}guide --families {folder}/f --family o"), ["own-1"])
            self.assertEqual(self.complete(f"{program}guide --families {folder}/none --family "), [])
        self.assertEqual(run("help", "--ids", "famlies").stderr,
                         'dryshaft: there is no kind of ids "famlies", did you mean "families"?; kinds: '
                         "checks, families, groups, job-sheets, rules, vehicles\n")

    def test_every_option_of_every_command(self):
        for path in COMMANDS:
            listed = re.findall(r"^  (?:-\w, )?(--[a-z-]+)", said(*path, "--help"), re.M)
            self.assertIn("--help", listed)
            self.assertEqual(self.complete("dryshaft " + " ".join(path) + " --"), listed, path)

    def test_files_and_folders(self):
        with tempfile.TemporaryDirectory() as folder:
            os.mkdir(os.path.join(folder, "a b"))
            open(os.path.join(folder, "a.json"), "w", encoding="utf-8").close()
            self.assertEqual(sorted(self.complete("dryshaft assess a", folder)), ["a", "a.json", "b"])
            self.assertEqual(self.complete("dryshaft assess --out a.", folder), ["a.json"])
            for command in COMMANDS:
                usage = re.search(r"^Usage: .*$", said(*command, "--help"), re.M)[0]
                if re.search(r"\b(FILE|RECORDS?|RECORDING)\b", usage):
                    self.assertIn("a.json", self.complete(f"dryshaft {' '.join(command)} a", folder), command)
            self.assertEqual(self.complete("dryshaft assess --families a", folder), ["a", "b"])
            # Rules are a folder, or a file that adapts them.
            self.assertEqual(sorted(self.complete("dryshaft assess --rules a", folder)), ["a", "a.json", "b"])


class OtherShells(unittest.TestCase):
    @unittest.skipUnless(shutil.which("zsh"), "zsh is not here")
    def test_zsh(self):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "_dryshaft")
            with open(path, "w", encoding="utf-8") as f:
                f.write(said("help", "--completion", "zsh"))
            done = subprocess.run(["zsh", "-f", "-n", path], capture_output=True, check=False)
            self.assertEqual((done.returncode, done.stderr), (0, b""))
            # compinit takes it over, and its function is defined.
            done = subprocess.run(
                ["zsh", "-f", "-c", f"fpath=({folder} $fpath); autoload -U compinit; "
                                    f"compinit -u -d {folder}/dump; print $_comps[dryshaft]"],
                capture_output=True, text=True, check=False)
            self.assertEqual((done.stdout, done.stderr), ("_dryshaft\n", ""))

    @unittest.skipUnless(shutil.which("fish"), "fish is not here")
    def test_fish(self):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "dryshaft.fish")
            with open(path, "w", encoding="utf-8") as f:
                f.write(said("help", "--completion", "fish"))

            def offered(line):
                done = subprocess.run(
                    ["fish", "--no-config", "-c", f"source {path}; complete -C '{line}'"],
                    capture_output=True, text=True, check=False, env={**os.environ, "HOME": folder})
                self.assertEqual(done.stderr, "")
                return [text.split("\t")[0] for text in done.stdout.splitlines()]

            self.assertEqual(sorted(offered("dryshaft ")), sorted(p[0] for p in COMMANDS if len(p) == 1))
            self.assertEqual(offered("dryshaft assess --for "), ["owner", "technician"])
            self.assertEqual(offered("dryshaft rules sh"), ["show"])
            self.assertEqual(offered("dryshaft help ex"), ["exit-codes"])
            self.assertEqual(offered("dryshaft assess --format=m"), ["--format=markdown"])


if __name__ == "__main__":
    unittest.main()
