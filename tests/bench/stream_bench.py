#!/usr/bin/env python3
"""How fast `assess --format jsonl` reads through a pipe, and in how much memory.

    stream_bench.py PROGRAM [GIGABYTES] [--only KIND] [OPTION...]

JSON Lines, a table and one array, or that KIND only, each of that size (0.2 if none is named), made of the
example lists over and over: nothing is kept on the disk. Further options are those of `assess`. Prints a Markdown table; its first row, of `cat`, is how fast the
input itself is made.
"""
import argparse
import os
import subprocess
import tempfile
import time

EXAMPLES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../examples")
BLOCK = 1 << 20


def example(name):
    with open(os.path.join(EXAMPLES, name), "rb") as f:
        return f.read()


def blocks(text):
    """What is written again and again: the text some times over, and its lines."""
    times = max(1, BLOCK // len(text))
    return text * times, text.count(b"\n") * times


LINES = example("intake.jsonl")
HEAD, ROWS = example("intake.csv").split(b"\n", 1)
# Each kind: how it begins, what goes on, how it ends, and how many records a part holds. An array's
# elements follow a comma, so the first is a record of its own.
KINDS = {
    "JSON Lines": (b"", *blocks(LINES), b"", 0),
    "table": (HEAD + b"\n", *blocks(ROWS), b"", 0),
    "array": (b"[" + LINES.splitlines()[-1], *blocks(b"".join(b",\n" + line for line in LINES.splitlines())),
              b"\n]\n", 1),
}


parser = argparse.ArgumentParser(usage=__doc__)
parser.add_argument("program")
parser.add_argument("gigabytes", type=float, nargs="?", default=0.2)
parser.add_argument("--only", choices=KINDS)
asked, options = parser.parse_known_args()


def feed(descriptor, kind):
    """Writes that much of a kind; gives its bytes and records."""
    begin, _, records, end, before = KINDS[kind]
    fed = os.write(descriptor, begin) if begin else 0
    times = 0
    while fed < asked.gigabytes * 1e9:
        # Units of their own each time: one that comes again later would be refused.
        block = KINDS[kind][1].replace(b"HL-", b"%d-" % times)
        at = 0
        while at < len(block):
            at += os.write(descriptor, memoryview(block)[at:])
        fed += at
        times += 1
    fed += os.write(descriptor, end) if end else 0
    return fed, before + records * times


def run(what, command, kind, path):
    """One row. The input goes through a pipe with a name, as the name says what it is."""
    begun = time.monotonic()
    with open(os.devnull, "wb") as nothing:
        running = subprocess.Popen([*command, path], stdout=nothing)
        descriptor = os.open(path, os.O_WRONLY)
        try:
            fed, records = feed(descriptor, kind)
        finally:
            os.close(descriptor)
        _, status, used = os.wait4(running.pid, 0)
        running.returncode = os.waitstatus_to_exitcode(status)
    seconds = time.monotonic() - begun
    print(f"| {what} | {fed / 1e9:.2f} | {records:,} | {seconds:.0f} | {fed / 1e6 / seconds:.1f} | "
          f"{records / seconds:,.0f} | {used.ru_maxrss / 1024:.0f} | {running.returncode} |", flush=True)


print("| input | GB | records | s | MB/s | records/s | at most MiB | exit |\n|---|---|---|---|---|---|---|---|")
with tempfile.TemporaryDirectory() as folder:
    lines, table = os.path.join(folder, "lines"), os.path.join(folder, "table.csv")
    os.mkfifo(lines)
    os.mkfifo(table)
    run("JSON Lines to `cat`", ["cat"], "JSON Lines", lines)
    for kind in [asked.only] if asked.only else KINDS:
        run(kind, [asked.program, "assess", "--format", "jsonl", *options], kind,
            table if kind == "table" else lines)
