#!/usr/bin/env python3
"""Each source file leans on no other file's includes: compiles it by itself, up to the point where code
would be made.

    each_file.py COMPILE_COMMANDS

The builds that make code compile a folder of sources as one, which is faster and hides that.
"""
import concurrent.futures
import json
import os
import shlex
import subprocess
import sys


def complaint(entry):
    words = shlex.split(entry["command"])
    at = words.index("-o")
    del words[at:at + 2]
    words = [w for w in words if not w.startswith(("-O", "-M")) and not w.endswith("ccache")] + ["-fsyntax-only"]
    if "-MF" in entry["command"]:  # their arguments, left over
        words = [w for w in words if not w.endswith((".o", ".o.d"))]
    done = subprocess.run(words, cwd=entry["directory"], capture_output=True, text=True, check=False)
    return "" if done.returncode == 0 else done.stderr


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        entries = [e for e in json.load(file) if "/src/" in e["file"]]
    if not entries:
        sys.exit("each_file.py: no source file is listed")
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        said = [text for text in pool.map(complaint, entries) if text]
    sys.stderr.write("\n".join(said))
    print(f"{len(entries) - len(said)} of {len(entries)} source files compile by themselves")
    sys.exit(1 if said else 0)


main()
