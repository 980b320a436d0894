"""`assess --show` and `--letters`: the shop's own keys, and a file for each unit's owner.

Usage: letters_test.py PROGRAM
"""
import csv
import hashlib
import html
import io
import json
import os
import random
import subprocess
import sys
import tempfile
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
INTAKE = "examples/intake.jsonl"
DRY = {"checked": True, "fluid": "none", "dried_residue": False, "corrosion": "none"}


def record(unit, date="2026-03-02", note=None, own=None, **inspection):
    return {"format": "dryshaft-record/1", "unit": {"id": unit, **(own or {})},
            "inspection": {"date": date, "odometer_km": 90000, **inspection},
            **({"note": note} if note else {})}


def lines(*records):
    return "".join(json.dumps(r) + "\n" for r in records)


def run(*arguments, text=""):
    return subprocess.run([PROGRAM, "assess", *arguments], input=text.encode(), capture_output=True,
                          check=False)


def read(*path):
    with open(os.path.join(*path), "rb") as f:
        return f.read()


class Show(unittest.TestCase):
    YARD = lines(record("HL-1", own={"x_shelf": "B3", "x_bay_no": 4}), record("HL-2", own={"x_shelf": "=A1"}),
                 record("HL-3", own={"x_bay_no": {"row": [1, 2]}}))

    def test_every_format_shows_them(self):
        done = run("--show", "x_bay_no,x_shelf", "--format", "csv", text=self.YARD)
        self.assertEqual((done.returncode, done.stderr), (0, b""))
        rows = list(csv.DictReader(io.StringIO(done.stdout.decode(), newline="")))
        self.assertEqual(list(rows[0])[-3:], ["overlay_sha256", "x_bay_no", "x_shelf"])
        self.assertEqual({r["unit_id"]: (r["x_bay_no"], r["x_shelf"]) for r in rows},
                         {"HL-1": ("4", "B3"), "HL-2": ("", "'=A1"), "HL-3": ('{"row":[1,2]}', "")})
        self.assertTrue(all(r["first_action_title"] for r in rows))
        text = run("--show", "x_bay_no,x_shelf", text=self.YARD).stdout.decode()
        self.assertRegex(text, r"\n# unit .* bay no +shelf\n(.*\n)*\d HL-1 .* 4 +B3\n")
        for form in ("markdown", "html"):
            self.assertIn(b"bay no", run("--show", "x_bay_no", "--format", form, text=self.YARD).stdout)
        one = run("--show", "x_bay_no,x_shelf", text=lines(record("HL-1", own={"x_shelf": "B3"}))).stdout
        self.assertIn(b"\n\nshelf: B3\n\n", one)

    def test_twice_is_once_and_a_file_may_follow(self):
        once = run("--show", "x_shelf", "--format", "csv", text=self.YARD).stdout
        self.assertEqual(run("--show", "x_shelf", "--show", "x_shelf", "--format", "csv", "-",
                             text=self.YARD).stdout, once)

    def test_a_key_that_no_record_has_is_told(self):
        for key, said in (("x_shelv", ', did you mean "x_shelf"?'), ("x_colour", "; there are: x_bay_no, x_shelf"),
                          ("x_a\x1b", "; there are: x_bay_no, x_shelf")):
            done = run("--show", key, text=self.YARD)
            self.assertEqual((done.returncode, done.stderr.decode()),
                             (0, f'dryshaft: no record has the key "{key}"{said}\n'.replace("\x1b", "\ufffd")))
        self.assertEqual(run("--show", "x_a", text=lines(record("HL-1"), record("HL-2"))).stderr,
                         b'dryshaft: no record has the key "x_a"; none has a key of your own\n')

    def test_wrong_usage(self):
        for arguments, said in (
                (["--show", "shelf"], '--show takes keys of your own, which begin with x_, not "shelf"'),
                (["--show", ""], '--show takes keys of your own, which begin with x_, not ""'),
                (["--show", "x_a,grade"], '--show takes keys of your own, which begin with x_, not "grade"'),
                (["--show", "x_a", "--format", "json"], "--show goes with --format text, markdown, html or csv"),
                (["--show", "x_a", "--format", "jsonl"], "--show goes with --format text, markdown, html or csv"),
                (["--letters", "d", "--format", "jsonl"], "--letters goes with any --format but jsonl"),
                (["--letters", "d", "--for", "owner", "--buying"],
                 "--letters goes without --buying: a letter is for the owner")):
            done = run(*arguments, text=self.YARD)
            self.assertEqual((done.returncode, done.stdout, done.stderr.decode()), (2, b"", f"dryshaft: {said}\n"))
        self.assertFalse(os.path.exists("d"))


class Letters(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)
        self.letters = os.path.join(self.folder.name, "new", "letters")

    def written(self, *arguments, text, code=0, said=""):
        done = run("--letters", self.letters, *arguments, text=text)
        self.assertEqual((done.returncode, done.stderr.decode()), (code, said))
        self.assertEqual(done.stdout, run(*arguments, text=text).stdout)  # the table is as without
        return sorted(os.listdir(self.letters))

    def test_what_for_owner_writes_of_that_unit_alone(self):
        yard = [record(f"HL-{i}", own={"x_shelf": f"B{i}"}, port=DRY if i % 2 else {"checked": True, "fluid": "film"})
                for i in range(1, 5)]
        for arguments, form, ending in (([], "html", "html"), (["--format", "text"], "text", "txt"),
                                        (["--format", "markdown", "--units", "mi"], "markdown", "md"),
                                        (["--format", "csv"], "html", "html"), (["--format", "json"], "html", "html"),
                                        (["--for", "owner", "--jobs", "2"], "html", "html")):
            self.letters = os.path.join(self.folder.name, "-".join(arguments) or "none")
            show = [] if "json" in arguments else ["--show", "x_shelf"]
            names = self.written(*arguments, *show, "--today", "2026-04-01", text=lines(*yard))
            self.assertEqual(names, [f"HL-{i}.{ending}" for i in range(1, 5)])
            more = [*show, "--units", "mi"] if "mi" in arguments else show
            for i, r in enumerate(yard):
                alone = run("--for", "owner", "--full", "--today", "2026-04-01", "--format", form, *more,
                            text="\n" * i + lines(r))
                self.assertEqual(read(self.letters, names[i]), alone.stdout)

    def test_no_letter_holds_anything_of_another_unit(self):
        rng = random.Random(7)
        secret = lambda: "".join(rng.choice("bcdfghjkmnpqrstvwxz") for _ in range(12))
        units = []
        for i in range(40):
            unit = secret() + ("" if i % 3 else rng.choice(["/../", ".. ", "\\", ":", "'\"", "\u00e9", "<b>"]) + secret())
            own = {"x_a": secret(), "x_list": [secret()]}
            units.append((unit, secret(), own, [
                record(unit, f"202{4 + n}-03-0{1 + i % 9}", None, own, odometer_km=50000 + 9000 * n,
                       port=rng.choice([DRY, {"checked": True, "fluid": "film"}, {"checked": False}]))
                for n in range(rng.randint(1, 3))]))
            units[-1][3][-1]["note"] = units[-1][1]
        records = [r for u in units for r in u[3]]
        rng.shuffle(records)
        for form in ("text", "markdown", "html"):
            self.letters = os.path.join(self.folder.name, form)
            names = self.written("--format", form, "--show", "x_a,x_list", text=lines(*records))
            self.assertEqual(len(names), len(units))
            seen = []
            for name in names:
                text = html.unescape(read(self.letters, name).decode())
                whose = [u for u in units if u[1] in text]
                self.assertEqual(len(whose), 1, name)
                seen.append(whose[0][0])
                for unit, note, own, _ in units:
                    held = {part in text for part in (unit[:12], unit[-12:], note, own["x_a"], own["x_list"][0])}
                    self.assertEqual(held, {unit == whose[0][0]}, (name, unit))
            self.assertEqual(sorted(seen), sorted(u[0] for u in units))
        self.assertEqual(sorted(os.listdir(self.folder.name)), ["html", "markdown", "text"])

    def test_names_are_safe_and_no_two_are_one(self):
        ids = ["HL-1", "hl-1", "A/B", "A_B", "A:B", "..", "../up", ".hidden", "-rf", "a b", "Z\u00fc-9", "\u65e5" * 64]
        text = lines(*(record(i) for i in ids))
        done = run("--letters", self.letters, text=text)
        self.assertEqual(done.returncode, 0)
        names = sorted(os.listdir(self.letters))
        marked = {"hl-1": "hl-1", "A/B": "A_B", "A:B": "A_B", "..": "_.", "../up": "_._up", ".hidden": "_hidden",
                  "-rf": "_rf", ids[-1]: "\u65e5" * 53}
        self.assertEqual(names, sorted(
            [f"{base}-{hashlib.sha256(i.encode()).hexdigest()[:8]}.html" for i, base in marked.items()] +
            [f"{i}.html" for i in ids if i not in marked]))
        self.assertEqual(os.listdir(self.folder.name), ["new"])
        for name in names:
            self.assertEqual(sum(f"<title>{html.escape(i, quote=True)}: grade" in
                                 read(self.letters, name).decode().replace("\u00a0", " ") for i in ids), 1, name)
        # Whoever is chosen, and again, a letter has the name that it had.
        before = {name: read(self.letters, name) for name in names}
        self.assertEqual(run("--letters", self.letters, "--due", "2026-01-01", "--today", "2026-03-02",
                             text=text).returncode, 0)
        self.assertEqual({name: read(self.letters, name) for name in os.listdir(self.letters)}, before)

    def test_only_those_that_are_chosen_and_have_an_owner(self):
        yard = lines(record("HL-1", by="intake"), record("HL-2", by="owner"), record("HL-3", "2025-01-02", by="technician"))
        self.assertEqual(self.written(text=yard, said="dryshaft: no letter for 1 unit: graded at intake, and "
                                                      "without an owner\n"), ["HL-2.html", "HL-3.html"])
        self.letters += "-due"
        self.assertEqual(self.written("--due", "2025-12-01", text=yard), ["HL-3.html"])
        self.assertIn(b"<title>HL-3: grade", read(self.letters, "HL-3.html"))
        self.letters += "-cores"
        self.assertEqual(self.written("--for", "owner", text=lines(*(record(f"C-{i}", by="intake") for i in range(3))),
                                      said="dryshaft: no letter for 3 units: graded at intake, and without an owner\n"),
                         [])

    def test_a_unit_that_was_sold_or_scrapped_has_no_letter(self):
        left = {f"HL-{n}": [{"did": did, "date": "2026-03-05"}]
                for n, did in enumerate(("unit-sold", "unit-scrapped", "unit-returned"), 1)}
        yard = lines(*(record(unit) for unit in [*left, "HL-4"]),
                     *({"format": "dryshaft-record/1", "unit": {"id": unit}, "inspection": {"date": "2026-03-05"},
                        "work": work} for unit, work in left.items()))
        self.assertEqual(self.written(text=yard, said="dryshaft: no letter for 2 units: sold or scrapped\n"),
                         ["HL-3.html", "HL-4.html"])
        self.letters += "-again"
        # One that came back has an owner again.
        again = lines(record("HL-1", "2026-04-01"), record("HL-5", by="intake"))
        self.assertEqual(self.written(text=yard + again, said="dryshaft: no letter for 1 unit: graded at intake, and "
                                      "without an owner\ndryshaft: no letter for 1 unit: sold or scrapped\n"),
                         ["HL-1.html", "HL-3.html", "HL-4.html"])

    def test_what_cannot_be_written_loses_no_other(self):
        yard = lines(*(record(f"HL-{i}") for i in range(1, 4)))
        os.makedirs(os.path.join(self.letters, "HL-2.html"))
        with open(os.path.join(self.letters, "HL-1.html"), "w", encoding="utf-8") as f:
            f.write("old")
        os.symlink("/dev/full", os.path.join(self.letters, "HL-3.html"))
        done = run("--letters", self.letters, text=yard)
        said = "error[output]: cannot be written:"
        self.assertEqual((done.returncode, done.stderr.decode()), (
            4, f"{self.letters}/HL-2.html: {said} Is a directory\n"
               f"{self.letters}/HL-3.html: {said} No space left on device\n"))
        self.assertEqual(done.stdout, run(text=yard).stdout)
        self.assertTrue(read(self.letters, "HL-1.html").endswith(b"</html>\n"))
        self.assertEqual(sorted(os.listdir(self.letters)), ["HL-1.html", "HL-2.html", "HL-3.html"])

    def test_no_letter_takes_the_place_of_what_was_read_or_written(self):
        os.makedirs(self.letters)
        source = os.path.join(self.letters, "HL-1.html")
        with open(source, "w", encoding="utf-8") as f:
            f.write(lines(record("HL-1"), record("HL-2")))
        out = os.path.join(self.letters, "HL-2.html")
        done = run("--letters", self.letters, "--out", out, source)
        said = "error[output]: cannot be written: it"
        self.assertEqual((done.returncode, done.stderr.decode()), (
            4, f"{source}: {said} is an input, and would be lost\n{out}: {said} has just been written, and would be lost\n"))
        self.assertIn(b"2 units assessed", read(out))

    def test_a_folder_that_cannot_be_made(self):
        self.letters = os.path.join(self.folder.name, "file")
        with open(self.letters, "w", encoding="utf-8") as f:
            f.write("here")
        yard = lines(record("HL-1"), record("HL-2"))
        for folder in (self.letters, os.path.join(self.letters, "in")):
            done = run("--letters", folder, text=yard)
            self.assertEqual((done.returncode, done.stdout, done.stderr.decode()), (
                4, run(text=yard).stdout, f"{folder}: error[output]: cannot be made: Not a directory\n"))
        self.assertEqual(run("--letters", "", text=yard).returncode, 4)

    def test_rejected_records_lose_no_letter(self):
        done = run("--letters", self.letters, text=lines(record("HL-1")) + "{\n" + lines(record("HL-2")))
        self.assertEqual((done.returncode, sorted(os.listdir(self.letters))), (3, ["HL-1.html", "HL-2.html"]))

    def test_the_same_bytes_whatever_the_order_and_jobs(self):
        with open(INTAKE, encoding="utf-8") as f:
            records = f.readlines()
        names = self.written(INTAKE, text="", said=run("--letters", self.folder.name + "/x", INTAKE).stderr.decode())
        before = [read(self.letters, n) for n in names]
        self.letters += "-again"
        run("--letters", self.letters, "--jobs", "2", INTAKE)
        self.assertEqual([read(self.letters, n) for n in names], before)
        self.assertGreater(len(records), len(names) - 1)


if __name__ == "__main__":
    unittest.main()
