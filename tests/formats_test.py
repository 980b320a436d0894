"""Every file that the program writes or reads is valid by the JSON Schema that it prints.

    formats_test.py PROGRAM

Outputs of all commands over the examples, shipped data, cases. A member that is misspelt, left out or
of another type must be seen, so that a schema cannot fall behind its writer unnoticed; and each
member that a schema has must have been met, or be named here as rare.
"""
import collections
import copy
import glob
import hashlib
import json
import math
import os
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import unittest
import wave

from jsonschema import Draft202012Validator, FormatChecker

from command_line import own_rules

PROGRAM = os.path.abspath(sys.argv.pop(1))
ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
# What holds ids, words or titles as keys, or conditions.
MAPS = {"when", "also_where", "shows", "anyway", "expect", "record", "records", "base", "values", "columns",
        "hours", "finding", "situation"}
# In the last stage; beside others; in files of rules that lie over others.
CONDITIONAL = {"lasts_km", "otherwise_plain", "record", "records", "settings", "causes", "stages", "harms", "broken",
               "backgrounds", "links", "floors", "actions", "advice", "comebacks", "cautions", "grades", "stop",
               "carried", "ungraded", "sound", "raised", "high", "outlooks", "contradictions"}
WRITTEN = ["report", "plan", "yard", "onset", "outcomes", "overlay", "noise", "comparison", "summary", "accepted"]

# What no example gives, by format: pointers as the schema has them.
RARE = {
    "report": {"/rules/reservations", "/onset/by"},
    "plan": {"/rules/reservations"},
    "yard": {"/rules", "/rules/reservations"},
    "noise": {f"/attributions/-/{at}/-/{key}" for at, keys in
              [("excluded", ("multiple", "because")), ("shared_with", ("part", "kind"))] for key in keys}
             | {f"/considered/-/{at}/-/{key}" for at, keys in
                [("excluded", ("multiple", "because")), ("shared_with", ("part", "kind"))] for key in keys}
             | {"/pattern/pattern", "/pattern/reason"}
             | {f"/loads/-/{key}" for key in ("part", "kind", "accelerating_db", "steady_db", "coasting_db")},
}


def run(*arguments):
    return subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, check=False, cwd=ROOT)


def names():
    said = re.sub(r"\s+", " ", run("help", "--help").stdout)
    return re.split(r", | or ", re.search(r"--schema FORMAT [^(]*\((.*?)\)", said)[1])


class Seen:
    """Outputs by format, each with the command that wrote it."""

    def __init__(self, folder):
        self.folder = folder
        self.by_format = collections.defaultdict(list)
        self.gather()

    def add(self, document, what):
        self.by_format[document["format"]].append((document, what))

    def written(self, *arguments, codes=(0, 3)):
        done = run(*arguments)
        assert done.returncode in codes, (arguments, done.returncode, done.stderr)
        assert done.stdout, arguments
        lines = done.stdout.splitlines()
        for line in lines:
            self.add(json.loads(line), " ".join(arguments))
        return done.stdout

    def path(self, name):
        return os.path.join(self.folder, name)

    def gather(self):
        singles = sorted(set(glob.glob("examples/*.json", root_dir=ROOT)) - {"examples/prices.json"})
        prices = ["--prices", "examples/prices.json"]
        good = sorted(glob.glob("tests/records/good/*.json*", root_dir=ROOT))
        for reader in ("technician", "owner"):
            for record in singles + good:
                self.written("assess", "--format", "json", "--for", reader, record)
        self.written("assess", "--format", "json", "--for", "owner", "--buying", "examples/used-car-buyer.json")
        with open(os.path.join(ROOT, "examples/dry-and-quiet.json"), encoding="utf-8") as file:
            pictured = json.load(file)
        pictured["inspection"]["photos"] = ["tip.jpg"]
        with open(self.path("pictured.json"), "w", encoding="utf-8") as file:
            json.dump(pictured, file)
        self.written("assess", "--format", "json", self.path("pictured.json"))
        self.written("assess", "--format", "json", "--since", "2025-06-01", "examples/intake.jsonl")
        self.written("assess", "--format", "jsonl", "examples/intake.jsonl")
        self.written("assess", "--format", "jsonl", "examples/teardowns.jsonl")
        for record in singles:
            self.written("plan", "--format", "json", *prices, record)
        self.written("plan", "--format", "json", *prices, "--for", "owner", "examples/film-caught-early.json")
        yard = ["plan", "--format", "json", *prices, "--intake", "examples/intake.csv"]
        self.written(*yard)
        self.written(*yard, "--hours", "40")
        self.written(*yard, "--budget", "4000")
        history = "examples/history-ten-years.jsonl"
        with open(self.path("onset.json"), "w", encoding="utf-8") as file:
            file.write(self.written("fit", "onset", "--format", "json", history))
        self.written("fit", "onset", "--format", "json", "--by", "family", "--over", "years", history)
        with open(self.path("few.csv"), "w", encoding="utf-8") as file:
            file.write("left,right\n0,50000\n60000,\n")
        self.written("fit", "onset", "--format", "json", "--table", self.path("few.csv"))
        onset = ["--onset", self.path("onset.json")]
        self.written("assess", "--format", "json", *onset, "examples/film-caught-early.json")
        self.written("plan", "--format", "json", *prices, *onset, "examples/film-caught-early.json")
        own = self.path("own.json")
        self.written("fit", "outcomes", "--format", "json", "--overlay", own, "examples/teardowns.jsonl")
        with open(own, encoding="utf-8") as file:
            self.add(json.load(file), "fit outcomes --overlay")
        self.written("assess", "--format", "json", "--rules", own, "examples/film-caught-early.json")
        self.written("plan", "--format", "json", *prices, "--rules", own, "examples/film-caught-early.json")
        self.written("fit", "outcomes", "--format", "json", "--rules", own, "examples/teardowns.jsonl")
        self.noise()
        self.compared()

    def compared(self):
        intake = "examples/intake.jsonl"
        new_rules = own_rules(self.path("other-rules"), ("rules.json", '"value": 0.10,', '"value": 0.02,'))
        self.written("compare", "--format", "json", "--new-rules", new_rules, "--new-today", "2026-05-01",
                     "--old-today", "2026-03-20", "--new-onset", self.path("onset.json"), intake)
        old, new = self.path("old.jsonl"), self.path("new.jsonl")
        with open(os.path.join(ROOT, intake), encoding="utf-8") as file:
            units = file.read().splitlines(keepends=True)
        for path, some in [(old, units[:-1]), (new, units[1:])]:
            with open(path + "in", "w", encoding="utf-8") as file:
                file.writelines(some)
            assert run("assess", "--format", "jsonl", "--out", path, path + "in").returncode == 0
        self.written("compare", "--format", "json", old, new)
        self.put_right()
        bad = self.path("bad.jsonl")
        with open(bad, "w", encoding="utf-8") as file:
            file.write('{"format":"dryshaft-record/1","unit":{"id":"OLD-1"},"inspection":{"date":"2026-13-01"}}\n')
        entry = json.loads(run("check", "--format", "jsonl", bad).stdout)
        self.add({**entry, "reason": "the card is lost"}, "check --format jsonl")
        summary = self.path("summary.json")
        run("assess", "--summary", summary, "--fail-on", "C", intake, bad)
        with open(summary, encoding="utf-8") as file:
            self.add(json.load(file), "assess --summary")

    def put_right(self):
        """A record withdrawn, another replaced, and a unit that left."""
        right = self.path("right.jsonl")
        looks = [{"format": "dryshaft-record/1", "unit": {"id": unit},
                  "inspection": {"date": f"2026-0{month}-01", "port": {"checked": True, "fluid": "pooled"}}}
                 for unit in ("HL-1", "HL-2") for month in (1, 2, 3)]
        texts = [json.dumps(look) for look in looks]
        with open(right, "w", encoding="utf-8") as file:
            file.writelines(text + "\n" for text in texts)
        amend = ["--on", "2026-04-01", "--because", "tag misread", "--who", "desk", "--append", right, right]
        for command in (["withdraw", hashlib.sha256(texts[1].encode()).hexdigest()],
                        ["correct", hashlib.sha256(texts[2].encode()).hexdigest(), "--set", "fluid=none"],
                        ["retire", "HL-2", "--note", "to a scrapyard"]):
            options = amend if command[0] != "retire" else [
                "--on", "2026-04-02", "--because", "scrapped", "--append", right, right]
            assert run("records", *command, *options).returncode == 0, run("records", *command, *options)
        self.written("assess", "--format", "json", right)
        with open(right, "rb") as file, open(self.path("yard.jsonl"), "wb") as yard:
            with open(os.path.join(ROOT, "examples/intake.jsonl"), "rb") as intake:
                yard.write(file.read() + intake.read())
        self.written("plan", "--format", "json", "--prices", "examples/prices.json", "--intake",
                     self.path("yard.jsonl"))

    def noise(self):
        rate = 16000
        for name, tone in [("tone.wav", 8), ("quiet.wav", 0)]:
            with wave.open(self.path(name), "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(rate)
                beat = [(1 + math.cos(2 * math.pi * 97.3 * i / rate)) ** tone * math.sin(2.6 * i) for i in range(10 * rate)]
                most = max(map(abs, beat))
                file.writeframes(b"".join(struct.pack("<h", int(20000 * x / most)) for x in beat))
            self.written("listen", "--format", "json", "--family", "plover-2", "--vehicle", "Tarn",
                         "--speed", "60km/h", self.path(name))
            self.written("listen", "--format", "json", "--family", "plover-2", self.path(name))


def members(schema, at, root, path=""):
    """Pointers of all members that a schema has; "-" is any item, "*" any other member."""
    if "$ref" in at:
        name = at["$ref"].rsplit("/", 1)[-1]
        if path.count("@" + name) == 0:
            yield from members(schema, root["$defs"][name], root, path)
        return
    for way in at.get("anyOf", []):
        yield from members(schema, way, root, path)
    for key, below in at.get("properties", {}).items():
        yield f"{path}/{key}"
        yield from members(schema, below, root, f"{path}/{key}")
    if isinstance(at.get("additionalProperties"), dict):
        yield from members(schema, at["additionalProperties"], root, path + "/*")
    if "items" in at:
        yield from members(schema, at["items"], root, path + "/-")


def met(document, path=""):
    if isinstance(document, dict):
        for key, value in document.items():
            yield f"{path}/{key}"
            yield from met(value, f"{path}/{key}")
            yield from met(value, path + "/*")
    elif isinstance(document, list):
        for value in document:
            yield from met(value, path + "/-")


def holes(schema, path="#"):
    """Objects that take members which nobody named."""
    if isinstance(schema, dict):
        if schema.get("type") == "object" and schema.get("additionalProperties") in (None, True):
            yield path
        if schema == {}:
            yield path
        for key, below in schema.items():
            yield from holes(below, f"{path}/{key}")
    elif isinstance(schema, list):
        for i, below in enumerate(schema):
            yield from holes(below, f"{path}/{i}")


def spots(document, path=()):
    """One place of each kind: an object's members, and the first items of arrays."""
    if isinstance(document, dict):
        for key, value in document.items():
            yield path + (key,)
            yield from spots(value, path + (key,))
    elif isinstance(document, list):
        for i, value in enumerate(document[:2]):
            yield from spots(value, path + (i,))


def at(document, path):
    for step in path:
        document = document[step]
    return document


class Formats(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.schemas = {}
        for name in names():
            done = run("help", "--schema", name)
            assert done.returncode == 0, done.stderr
            cls.schemas[name] = json.loads(done.stdout)
            cls.schemas[name, "text"] = done.stdout
        cls.names = [name for name in cls.schemas if isinstance(name, str)]
        cls.seen = Seen(cls.scratch.name)

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    def check(self, name):
        return Draft202012Validator(self.schemas[name], format_checker=FormatChecker())

    def errors(self, name, document):
        return [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:200]}"
                for e in self.check(name).iter_errors(document)]

    def test_schemas_are_schemas_with_names_of_their_own(self):
        self.assertGreater(len(self.names), 15)
        ids = set()
        for name in self.names:
            schema = self.schemas[name]
            Draft202012Validator.check_schema(schema)
            self.assertEqual(schema["$schema"], "https://json-schema.org/draft/2020-12/schema")
            self.assertEqual(schema["title"], f"dryshaft-{name}/1")
            self.assertEqual(schema["$id"], f"https://dryshaft.invalid/schemas/1/{name}.schema.json")
            ids.add(schema["$id"])
        self.assertEqual(len(ids), len(self.names))
        topic = run("help", "formats").stdout
        for name in self.names:
            self.assertRegex(topic, rf"\b{name}\b")
        # Every format that the sources name has one.
        named = set()
        for path in glob.glob("src/**/*.?pp", root_dir=ROOT, recursive=True) + glob.glob(
                "include/dryshaft/*.hpp", root_dir=ROOT):
            with open(os.path.join(ROOT, path), encoding="utf-8") as file:
                named |= set(re.findall(r'"dryshaft-([a-z-]+)/1"', file.read()))
        self.assertLessEqual(named, set(self.names))

    def test_those_that_ship_are_those_that_are_printed(self):
        for name in self.names:
            path = "data/record.schema.json" if name == "record" else f"data/schemas/{name}.schema.json"
            with open(os.path.join(ROOT, path), encoding="utf-8") as file:
                self.assertEqual(file.read(), self.schemas[name, "text"],
                                 f"{path} is stale: dryshaft help --schema {name} > {path}")
        self.assertEqual(sorted(os.listdir(os.path.join(ROOT, "data/schemas"))),
                         sorted(f"{name}.schema.json" for name in self.names if name != "record"))

    def test_outputs_are_valid(self):
        for name in WRITTEN:
            documents = self.seen.by_format[f"dryshaft-{name}/1"]
            self.assertTrue(documents, name)
            check = self.check(name)
            for document, what in documents:
                if not check.is_valid(document):
                    self.fail(f"{what}\n" + "\n".join(self.errors(name, document)))
        self.assertEqual(sorted(self.seen.by_format), sorted(f"dryshaft-{name}/1" for name in WRITTEN))

    def test_nothing_slips_past(self):
        for name in self.names:
            if name == "record":  # tests/schema_agrees.py
                continue
            free = {"cases": {"base", "record", "records"}}.get(name, set())
            for hole in holes(self.schemas[name]):
                self.assertIn(hole.split("/")[-1].replace("items", hole.split("/")[-2]), free, (name, hole))

    def test_a_misspelt_member_a_missing_one_and_another_type_are_seen(self):
        for name in WRITTEN:
            check = self.check(name)
            documents = self.seen.by_format[f"dryshaft-{name}/1"]
            longest = max((d for d, _ in documents), key=lambda d: len(json.dumps(d)) if name != "onset" else 1)
            required = 0
            for spot in spots(longest):
                key = spot[-1]
                wrong = copy.deepcopy(longest)
                holder = at(wrong, spot[:-1])
                if isinstance(at(longest, spot[:-1]).get(key + "x"), type(None)):
                    holder[key + "x"] = holder.pop(key)
                    is_map = check.is_valid(wrong)
                    # The members of a map are ids, or levels of a finding.
                    self.assertTrue(not is_map or spot[-2] in ("before", "refitted", "shows", "anyway"), (name, spot))
                wrong = copy.deepcopy(longest)
                at(wrong, spot[:-1])[key] = {"neither": "this"}
                self.assertFalse(check.is_valid(wrong), (name, spot))
                wrong = copy.deepcopy(longest)
                del at(wrong, spot[:-1])[key]
                required += not check.is_valid(wrong)
            self.assertGreater(required, {"accepted": 2, "summary": 6}.get(name, 8), name)

    def test_each_member_of_a_schema_is_met(self):
        for name in WRITTEN:
            schema = self.schemas[name]
            seen = set()
            for document, _ in self.seen.by_format[f"dryshaft-{name}/1"]:
                seen |= set(met(document))
            never = set(members(schema, schema, schema)) - seen - RARE.get(name, set())
            self.assertEqual(sorted(never), [], name)

    def test_shipped_data_is_valid(self):
        for name, pattern in [("rules", "data/rules/*.json"), ("family", "data/families/*.json"),
                              ("guide", "data/guides/*.json"), ("work", "data/work/*.json"),
                              ("onset-prior", "data/onset/*.json"), ("cases", "tests/cases/*.json"),
                              ("prices", "examples/prices.json"), ("columns", "examples/*.columns")]:
            paths = glob.glob(pattern, root_dir=ROOT)
            self.assertTrue(paths, pattern)
            for path in paths:
                with open(os.path.join(ROOT, path), encoding="utf-8") as file:
                    self.assertEqual(self.errors(name, json.load(file)), [], path)

    def test_loader_and_schema_refuse_the_same_members(self):
        """Data that the program reads: each member once left out, and once with another beside it."""
        record = "examples/dry-and-quiet.json"
        folders = {"rules": lambda path: ["check", "--rules", path],
                   "families": lambda path: ["check", "--families", path],
                   "guides": lambda path: ["check", "--guides", path],
                   "work": lambda path: ["plan", record, "--job-sheet", "open-and-rebuild", "--work", path]}
        names_of = {"rules": "rules", "families": "family", "guides": "guide", "work": "work"}
        for folder, command in folders.items():
            at_work = os.path.join(self.scratch.name, folder)
            shutil.copytree(os.path.join(ROOT, "data", folder), at_work)
            seen = set()
            for name in sorted(os.listdir(at_work)):
                self.agree(names_of[folder], os.path.join(at_work, name), command(at_work), seen)
                seen = seen if folder != "rules" else set()
        for name, source, command in [
                ("prices", "examples/prices.json", lambda path: ["plan", record, "--prices", path]),
                ("columns", "examples/shelf-list.columns",
                 lambda path: ["check", "examples/shelf-list.csv", "--columns", path]),
                ("cases", "tests/cases/life.json", lambda path: ["rules", "test", path]),
                ("onset-prior", "data/onset/prior.json", lambda path: ["fit", "onset", record, "--prior", path])]:
            path = shutil.copy(os.path.join(ROOT, source), os.path.join(self.scratch.name, name))
            self.agree(name, path, command(path), set())

    def agree(self, name, path, command, seen):
        with open(path, encoding="utf-8") as file:
            text = file.read()
        good = json.loads(text)
        for spot in spots(good):
            # Conditions, cases and maps are others' business: their members are ids.
            kind = tuple("-" if isinstance(step, int) else step for step in spot)
            if isinstance(spot[-1], int) or kind in seen or MAPS & set(spot[:-1]):
                continue
            if spot[-1] in CONDITIONAL:
                continue
            seen.add(kind)
            for surplus in (True, False):
                wrong = copy.deepcopy(good)
                holder = at(wrong, spot[:-1])
                if surplus:
                    holder["surplus"] = holder[spot[-1]]
                else:
                    del holder[spot[-1]]
                with open(path, "w", encoding="utf-8") as file:
                    json.dump(wrong, file)
                said = run(*command).stderr
                here = re.findall(r"error\[(?:unknown-member|unknown-field)\]: \S*/surplus|"
                                  rf'error\[(?:missing|missing-field)\]: .*has no "{spot[-1]}"', said)
                self.assertEqual(bool(here), not self.check(name).is_valid(wrong),
                                 (name, spot, surplus, said[:2000], self.errors(name, wrong)))
        with open(path, "w", encoding="utf-8") as file:
            file.write(text)

    def test_another_format_and_a_later_version_are_told_apart(self):
        path = os.path.join(self.scratch.name, "other.json")

        def told(text, *command):
            with open(path, "w", encoding="utf-8") as file:
                file.write(text)
            done = run(*(command or ("check",)), path)
            self.assertEqual(done.returncode, 3, done)
            return done.stderr

        report = run("assess", "--format", "json", "examples/dry-and-quiet.json").stdout
        said = told(report)
        self.assertEqual(said.count("error["), 1, said)
        self.assertIn(': error[bad-value]: /format is "dryshaft-report/1"\n', said)
        self.assertIn("\n  hint: this is a report, which assess writes\n", said)
        said = told('{"format": "dryshaft-record/2", "unit": {"name": "HL-1"}}\n')
        self.assertEqual(said.count("error["), 1, said)
        self.assertIn("\n  allowed: dryshaft-record/1\n  hint: this program is older than the file: it knows "
                      "dryshaft-record/1; take a newer one\n", said)
        with open(os.path.join(ROOT, "examples/prices.json"), encoding="utf-8") as file:
            later = file.read().replace("dryshaft-prices/1", "dryshaft-prices/2")
        self.assertIn("hint: this program is older than the file: it knows dryshaft-prices/1; take a newer one\n",
                      told(later, "plan", "examples/dry-and-quiet.json", "--prices"))
        # A slip of the pen is none of these.
        self.assertIn("unknown-field", told('{"format": "dryshaft-record/one", "units": {}}\n'))


if __name__ == "__main__":
    unittest.main()
