"""Whole reports on the example records, and whole guides, compared with kept ones that were read by eye.

Usage: golden_test.py PROGRAM [--write]

`--write` makes them anew: read every difference before you commit it.
"""
import difflib
import os
import subprocess
import sys

GOLDEN = "tests/golden"
EXAMPLES = "examples"

PRICES = ["--prices", "prices.json"]

# name of the golden file -> arguments
WANTED = {
    "dry-and-quiet.txt": ["dry-and-quiet.json"],
    "film-caught-early.txt": ["film-caught-early.json"],
    "film-caught-early.md": ["--format", "markdown", "film-caught-early.json"],
    "film-caught-early.owner.txt": ["--for", "owner", "film-caught-early.json"],
    "film-caught-early.json": ["--format", "json", "film-caught-early.json"],
    # Rule data named as a folder: where they lie on this machine is not part of a report.
    "film-caught-early.explain.txt": ["--explain", "--rules", "data/rules",
                                      "film-caught-early.json"],
    "droplets-rust-tone.txt": ["droplets-rust-tone.json"],
    "tone-dry-port-hybrid.txt": ["tone-dry-port-hybrid.json"],
    "tone-early-steel.txt": ["tone-early-steel.json"],
    "isolation-fault-active.txt": ["isolation-fault-active.json"],
    "isolation-fault-active.owner.txt": ["--for", "owner", "isolation-fault-active.json"],
    "seized.txt": ["seized.json"],
    "bypassed-with-coolant.txt": ["bypassed-with-coolant.json"],
    "contradictory.txt": ["contradictory.json"],
    "owner-no-port-check.owner.txt": ["--for", "owner", "owner-no-port-check.json"],
    "used-car-buyer.owner.txt": ["--for", "owner", "--buying", "--units", "mi", "used-car-buyer.json"],
    "intake-little-known.txt": ["intake-little-known.json"],
    "history.txt": ["history.json"],
    "miles.txt": ["--units", "mi", "miles.json"],
    "intake.txt": ["intake.jsonl"],
    "intake-with-bad-lines.txt": ["../tests/records/bad/door-lines-several-bad.jsonl"],
    "intake.csv": ["--format", "csv", "intake.jsonl"],
    "outcomes.txt": ["fit", "outcomes", "teardowns.jsonl"],
    "guide-tarn.txt": ["guide", "--family", "plover-2", "--vehicle", "Tarn"],
    "guide-corrie.md": ["guide", "--family", "plover-2", "--vehicle", "Corrie",
                        "--format", "markdown"],
    "guide-any.txt": ["guide"],
    "guide.owner.txt": ["guide", "--family", "plover-2", "--vehicle", "Tarn", "--for", "owner"],
    "guide.owner.md": ["guide", "--for", "owner", "--units", "mi", "--format", "markdown"],
    "plan-film-caught-early.txt": ["plan", "film-caught-early.json", *PRICES],
    "plan-film-caught-early.owner.txt": ["plan", "film-caught-early.json", *PRICES,
                                         "--for", "owner"],
    "plan-dry-and-quiet.md": ["plan", "dry-and-quiet.json", *PRICES, "--format", "markdown",
                              "--horizon", "5y", "--units", "mi"],
    "plan-owner-no-port-check.txt": ["plan", "owner-no-port-check.json", *PRICES],
    "plan-seized.txt": ["plan", "seized.json", *PRICES],
    "plan-seized.owner.txt": ["plan", "seized.json", *PRICES, "--for", "owner"],
    "job-bypass.txt": ["plan", "film-caught-early.json", "--job-sheet", "bypass-rotor-circuit"],
    "job-rebuild-and-bypass.txt": ["plan", "film-caught-early.json", "--job-sheet",
                                   "open-and-rebuild+bypass-rotor-circuit"],
    "job-major-parts.md": ["plan", "seized.json", "--job-sheet", "replace-major-parts",
                           "--format", "markdown"],
    "plan-yard.txt": ["plan", "--intake", "intake.jsonl", *PRICES, "--hours", "40"],
}
COMMANDS = {"fit", "guide", "plan"}  # where none is named, it is assess


def report(program, arguments):
    arguments = [os.path.normpath(os.path.join(EXAMPLES, a)) if a.endswith((".json", ".jsonl")) else a
                 for a in arguments]
    command = [] if arguments[0] in COMMANDS else ["assess"]
    done = subprocess.run([program, *command, *arguments], capture_output=True, check=False)
    refused = "/bad/" in arguments[-1] or arguments[-1].endswith("contradictory.json")
    if done.returncode != (3 if refused else 0):
        sys.exit(f"{arguments}: exit {done.returncode}\n{done.stderr.decode()}")
    return done.stdout.decode()


def main():
    program = os.path.abspath(sys.argv[1])
    write = "--write" in sys.argv[2:]
    failed = 0
    os.makedirs(GOLDEN, exist_ok=True)
    for name, arguments in WANTED.items():
        path = os.path.join(GOLDEN, name)
        got = report(program, arguments)
        if write:
            with open(path, "w", encoding="utf-8", newline="") as f:
                f.write(got)
            continue
        with open(path, encoding="utf-8", newline="") as f:
            kept = f.read()
        if got != kept:
            failed += 1
            sys.stdout.writelines(difflib.unified_diff(
                kept.splitlines(True), got.splitlines(True), path, "now"))
    stray = set(os.listdir(GOLDEN)) - set(WANTED)
    if stray:
        failed += len(stray)
        print("kept, but not compared:", ", ".join(sorted(stray)))
    print(f"{len(WANTED) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
