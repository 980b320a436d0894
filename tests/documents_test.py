"""Every command that README.md, the help topics and the commands' own help show is run as it stands,
in a copy of the examples: what they show must work.

Usage: documents_test.py PROGRAM
"""
import os
import random
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest
import wave

import command_line

PROGRAM = os.path.abspath(sys.argv.pop(1))
with open(PROGRAM, "rb") as program:
    SANITIZED = b"__asan_init" in program.read()
# What a command answers by other than 0 is said beside it.
CODE = re.compile(r"#.*\bexit code (\d+)")


def said(*arguments):
    return command_line.said(PROGRAM, *arguments)


def shown_in(text):
    """Indented commands, and those after "Example: "; a comment beside one stays with it."""
    return re.findall(r"^(?: {2,}|Example: )(dryshaft .*)$", text, re.M)


def documents():
    with open("README.md", encoding="utf-8") as f:
        yield "README.md", f.read()
    for topic in command_line.topics(PROGRAM):
        yield f"dryshaft help {topic}", said("help", topic)
    for path in [(), *command_line.commands(PROGRAM)]:
        yield " ".join(("dryshaft", *path, "--help")), said(*path, "--help")


def write_recording(path, rate=8000, seconds=25):
    """Noise and a hum: enough to listen to."""
    chance = random.Random(5)
    samples = [int(3000 * chance.uniform(-1, 1) + 2000 * ((i * 3 // 100 % 2) - 0.5))
               for i in range(rate * seconds)]
    with wave.open(path, "wb") as f:
        f.setnchannels(1)
        f.setsampwidth(2)
        f.setframerate(rate)
        f.writeframes(struct.pack(f"<{len(samples)}h", *samples))


class Documents(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.made = tempfile.TemporaryDirectory()
        cls.folder = cls.made.name

        def at(name):
            return os.path.join(cls.folder, name)
        shutil.copytree("examples", at("examples"))
        shutil.copytree("tests/cases", at("tests/cases"))
        # What a reader has of their own, by the names that the documents give it.
        shutil.copytree("data/rules", at("my-rules"))
        shutil.copytree("data/families", at("my-families"))
        os.mkdir(at("records"))
        shutil.copy("examples/intake.jsonl", at("records/2026.jsonl"))
        shutil.copy("examples/intake.jsonl", at("yard.jsonl"))
        form = said("form", "blank")
        with open(at("mail.txt"), "w", encoding="utf-8") as f:
            # The day and the car's name are all that must be answered.
            for field, answer in (("unit-id", "my car"), ("date", "2026-03-18")):
                form = re.sub(rf"(\[{field}\].*?Answer: )_+", rf"\g<1>{answer}", form, count=1,
                              flags=re.S)
            f.write(form)
        with open(at("secret.key"), "w", encoding="utf-8") as f:
            f.write("a secret of this test alone\n")
        with open(at("intervals.csv"), "w", encoding="utf-8") as f:
            f.write("left,right,count\n0,40000,3\n40000,90000,9\n90000,inf,20\n")
        for name in ("run.wav", "rig.wav"):
            write_recording(at(name))
        for name in ("last-week.jsonl", "this-week.jsonl"):
            with open(at(name), "w", encoding="utf-8") as f:
                f.write(said("assess", "--format", "jsonl", "examples/dry-and-quiet.json"))
        os.mkdir(at("bin"))
        os.symlink(PROGRAM, at("bin/dryshaft"))

    @classmethod
    def tearDownClass(cls):
        cls.made.cleanup()

    def run_shown(self, command):
        return subprocess.run(
            ["bash", "-o", "pipefail", "-c", command], cwd=self.folder, input="1\nquit\n",
            capture_output=True, text=True, check=False,
            env={**os.environ, "PATH": f"{self.folder}/bin:{os.environ['PATH']}"})

    def test_commands_that_are_shown(self):
        seen = {}
        for document, text in documents():
            for command in shown_in(text):
                seen.setdefault(command, document)
        self.assertGreater(len(seen), 45)
        for command, document in seen.items():
            if SANITIZED and "rules verify" in command:
                continue  # a step of its own in tests/run.sh
            with self.subTest(f"{document}: {command}"):
                wanted = CODE.search(command)
                done = self.run_shown(command)
                self.assertEqual(done.returncode, int(wanted[1]) if wanted else 0, done.stderr)

    def test_files_that_are_named_exist(self):
        with open("README.md", encoding="utf-8") as f:
            text = f.read()
        with open("DEVELOPERS.md", encoding="utf-8") as f:
            text += f.read()
        for name in set(re.findall(r"\]\(([^)#:]+)\)", text)):
            self.assertTrue(os.path.exists(name), name)


if __name__ == "__main__":
    unittest.main()
