"""The JSON Schema and the reader give the same verdict on every record.

    schema_agrees.py PROGRAM

Takes the corpus in tests/records: files in good/ must pass both, files in bad/ must fail both, and
files in bad/ whose name starts with `door-`, which no schema can judge, must fail the reader. Then
changes the good records in one place each, in many ways, and compares the verdicts line by line.
"""

import copy
import datetime
import json
import pathlib
import re
import subprocess
import sys
import tempfile

from jsonschema import Draft202012Validator, FormatChecker

TESTS = pathlib.Path(__file__).resolve().parent
CORPUS = TESTS / "records"
SCHEMA = TESTS.parent / "data" / "record.schema.json"
GOOD, BAD = 0, 3  # exit codes of `check`

# What a changed record gets in place of a value, or beside it.
VALUES = [
    None, "unknown", "not-examined", "", "none", "steel", "bypassed", "present", "clear", "washboard", "2025-02-28",
    "2025-02-29", "2025-06", "2025", "0000", "2025-13", "x" * 64, "x" * 65, " x ", " \t\n", " unknown\n", True, False, 0, 1, -1,
    -60, 0.5, 100, 101, 250, 251, 1242742, 1242743, 2000000, 2000001, [], ["steady"], ["steady", "steady"], ["unknown"], [1], {},
    {"x_y": 1}, [{"did": "port-cleaned"}], "rotor-circuit-bypassed", {"checked": False}, {"pattern": "washboard"}, {"id": "HL-0147"},
    "0123456789abcdef" * 4, "0123456789ABCDEF" * 4, [{"sha256": "a" * 64}], [{"sha256": "a" * 63}], [{"by": "x"}],
]
KEYS = ["x_tag", "tag", "checked", "odometer_mi", "odometer_km", "bypass_keeps_crossover", "id",
        "onset_odometer_mi", "fitted_odometer_mi", "pattern", "rotor_bearing", "did", "material", "keeps_crossover", "work", "replaces", "withdrawn", "sha256", "because", "by"]
# Errors beside a record that stays: no schema compares fields, or records.
BESIDE = "odometer-backwards|date-alone|work-out-of-place|[a-z]+-after-inspection|noise-before-it-began"
MUTATIONS_PER_FILE = 100  # records in one run of the program, which lists so many complaints of a kind


def checker():
    formats = FormatChecker(formats=())

    @formats.checks("date", raises=ValueError)
    def is_date(value):
        if isinstance(value, str):
            datetime.date.fromisoformat(value)
        return True

    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema, format_checker=formats)


def documents(path):
    text = path.read_text(encoding="utf-8-sig").strip()
    out = []
    while text:
        value, end = json.JSONDecoder().raw_decode(text)
        out += value if isinstance(value, list) else [value]
        text = text[end:].lstrip()
    return out


def run(program, path):
    return subprocess.run([program, "check", str(path)], stdin=subprocess.DEVNULL,
                          capture_output=True, check=False)


def places(value, at=()):
    """Every place in a document, outside the shop's own keys."""
    yield at
    if isinstance(value, dict):
        for key, inner in value.items():
            if not key.startswith("x_"):
                yield from places(inner, at + (key,))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from places(inner, at + (index,))


def changed(document):
    for at in places(document):
        if at:
            for value in VALUES:
                out = copy.deepcopy(document)
                holder = out
                for step in at[:-1]:
                    holder = holder[step]
                holder[at[-1]] = value
                yield out
            out = copy.deepcopy(document)
            holder = out
            for step in at[:-1]:
                holder = holder[step]
            del holder[at[-1]]
            yield out
        target = document
        for step in at:
            target = target[step]
        if isinstance(target, dict):
            for key in KEYS:
                for value in (None, True, 7, "a"):
                    out = copy.deepcopy(document)
                    holder = out
                    for step in at:
                        holder = holder[step]
                    holder[key] = value
                    yield out


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    program = sys.argv[1]
    schema = checker()
    passed = 0
    failures = []

    def expect(holds, what):
        nonlocal passed
        if holds:
            passed += 1
        else:
            failures.append(what)

    good = sorted((CORPUS / "good").glob("*.json*"))
    bad = sorted((CORPUS / "bad").glob("*.json*"))
    for name, files in (("good", good), ("bad", bad)):
        if len(files) < 25:
            failures.append(f"{name}: only {len(files)} files")
    for path in good + bad:
        wanted = GOOD if path in good else BAD
        result = run(program, path)
        expect(result.returncode == wanted,
               f"{path.name}: exit {result.returncode}, expected {wanted}\n"
               f"{result.stdout.decode(errors='replace')}{result.stderr.decode(errors='replace')}")
        if not path.name.startswith("door-"):
            verdict = GOOD if all(schema.is_valid(d) for d in documents(path)) else BAD
            expect(verdict == wanted, f"{path.name}: the schema says {verdict}, expected {wanted}")

    records = []
    for path in good:
        for document in documents(path):
            # A family must be one that the program knows, which the schema does not.
            document["unit"].pop("family", None)
            document["unit"].pop("vehicle", None)
            records.extend(changed(document))
    texts = dict.fromkeys(json.dumps(r) for r in records)
    texts = [t for t in texts if '"family"' not in t and '"vehicle"' not in t]
    accepted = 0
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder) / "changed.jsonl"
        for start in range(0, len(texts), MUTATIONS_PER_FILE):
            part = texts[start:start + MUTATIONS_PER_FILE]
            # Ids of their own, lest readings of one unit be compared.
            part = [t.replace('"HL-0147"', f'"HL-{start + n:06}"') for n, t in enumerate(part)]
            path.write_text("\n".join(part) + "\n", encoding="utf-8")
            result = run(program, path)
            said = (result.stdout + result.stderr).decode()
            refused = {int(n) for n in re.findall(
                rf"^{re.escape(str(path))}:(\d+)(?::\d+)?: error\[(?!{BESIDE})", said,
                re.MULTILINE)}
            expect((result.returncode == BAD) == bool(refused) or re.search(BESIDE, said),
                   f"exit {result.returncode} with {len(refused)} records refused")
            for number, text in enumerate(part, 1):
                valid = schema.is_valid(json.loads(text))
                accepted += valid
                expect(valid == (number not in refused),
                       f"the schema {'accepts' if valid else 'refuses'}, the reader does not: {text}")
    if accepted == 0 or accepted == len(texts):
        failures.append("the changed records are all alike")

    for what in failures[:20]:
        print(what)
    print(f"{passed} passed, {len(failures)} failed")
    return 1 if failures or passed == 0 else 0


if __name__ == "__main__":
    sys.exit(main())
