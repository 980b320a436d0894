#!/usr/bin/env python3
"""How fast `assess --format jsonl` reads through a pipe, and in how much memory.

    stream_bench.py PROGRAM [GIGABYTES] [OPTION...]
"""
import os
import subprocess
import sys
import time

program, *rest = sys.argv[1:]
gigabytes = float(rest[0]) if rest else 10
with open(os.path.join(os.path.dirname(__file__), "../../examples/intake.jsonl"), "rb") as f:
    block = f.read() * 20
begun = time.monotonic()
with open(os.devnull, "wb") as nothing:
    running = subprocess.Popen([program, "assess", "--format", "jsonl", *rest[1:], "-"],
                               stdin=subprocess.PIPE, stdout=nothing)
    fed = 0
    while fed < gigabytes * 1e9:
        fed += running.stdin.write(block)
    running.stdin.close()
    _, status, used = os.wait4(running.pid, 0)
seconds = time.monotonic() - begun
print(f"{fed / 1e9:.2f} GB, {block.count(10) * fed // len(block)} records: {seconds:.0f} s, "
      f"{fed / 1e6 / seconds:.1f} MB/s, at most {used.ru_maxrss / 1024:.0f} MiB, "
      f"exit code {os.waitstatus_to_exitcode(status)}")
