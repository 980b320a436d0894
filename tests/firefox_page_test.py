"""The way from the first question to a saved report, in Firefox.

Usage: firefox_page_test.py PROGRAM

Needs Debian's firefox-esr, and npm for puppeteer-core, which drives it.
"""
import json
import os
import re
import subprocess
import sys
import tempfile
import unittest

from browser import module

PROGRAM = os.path.abspath(sys.argv.pop(1))
KEPT = re.compile(r'<script type="application/json" id="dryshaft-records">(.*?)</script>\n')
OWNER = {"faults-isolation": "none", "faults-shutdown": "no", "coolant-loss": "some", "noise-present": "yes",
         "noise-when": ["accelerating", "steady"], "noise-level": "clear", "port-checked": "no",
         "odometer": ["109000", "km"], "unit-vehicle": "plover-2/Tarn", "unit-built": "2018"}
TECHNICIAN = {"unit-id": "HL-0147", "odometer": ["88000", "km"], "port-checked": "yes",
              "port-fluid": "film", "port-fluid-kind": "coolant", "port-corrosion": "none"}


class Firefox(unittest.TestCase):
    def filled(self, answers, *options, **task):
        folder = tempfile.mkdtemp()
        page = os.path.join(folder, "form.html")
        subprocess.run([PROGRAM, "form", "blank", "--format", "html", "--out", page, *options], check=True)
        downloads = os.path.join(folder, "saved")
        os.mkdir(downloads)
        done = subprocess.run(
            ["node", "tests/firefox.cjs", module(PROGRAM, "puppeteer-core", "24.43.1")],
            input=json.dumps({"page": page, "downloads": downloads, "answers": answers,
                              "reload": [], **task}),
            capture_output=True, text=True, check=False)
        self.assertEqual(done.returncode, 0, done.stderr)
        got = json.loads(done.stdout)
        print("\n" + got["version"], len(got["shown"]), "questions", flush=True)
        self.assertEqual(set(answers) - set(got["shown"]), set())
        self.assertEqual(got["faults"], [])
        with open(os.path.join(downloads, got["saved"]), encoding="utf-8") as file:
            return got, file.read()

    def agrees(self, got, saved, *options):
        """What the page says and saves is what the program writes of its records."""
        self.assertEqual(json.loads(KEPT.search(saved)[1].replace("<\\/", "</")),
                         [json.loads(line) for line in got["record"].splitlines()])
        folder = tempfile.mkdtemp()
        with open(os.path.join(folder, got["saved"]), "w", encoding="utf-8") as file:
            file.write(got["record"])
        by_program = subprocess.run([PROGRAM, "assess", "--format", "html", *options, got["saved"]], cwd=folder,
                                    capture_output=True, check=True)
        self.assertEqual(KEPT.sub("", saved), by_program.stdout.decode())
        self.assertIn("Grade ", got["report"])

    def test_an_owner(self):
        self.agrees(*self.filled(OWNER, reload=["coolant-loss", "odometer"]), "--for", "owner")

    def test_a_technician(self):
        self.agrees(*self.filled(TECHNICIAN, "--for", "technician", begin="new", end="now"))


if __name__ == "__main__":
    unittest.main()
