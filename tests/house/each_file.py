#!/usr/bin/env python3
"""Each source file and each header, of tests, benches and examples too, leans on no other file's
includes: compiles it by itself, up to the point where code would be made.

    each_file.py COMPILE_COMMANDS

The builds that make code compile a folder of sources as one, which is faster and hides that.
"""
import concurrent.futures
import json
import os
import pathlib
import re
import shlex
import subprocess
import sys

FOLDERS = ("include", "src", "tests", "examples")
FIRST = re.compile(r'^#include [<"](.*)[>"]', re.M)


def words_of(entry):
    words = shlex.split(entry["command"])
    at = words.index("-o")
    del words[at:at + 2]
    words = [w for w in words if not w.startswith(("-O", "-M")) and not w.endswith("ccache")] + ["-fsyntax-only"]
    if "-MF" in entry["command"]:  # their arguments, left over
        words = [w for w in words if not w.endswith((".o", ".o.d"))]
    return words


def complaint(job):
    folder, words = job
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)
    return "" if done.returncode == 0 else done.stderr


def main():
    root = pathlib.Path(__file__).resolve().parents[2]
    with open(sys.argv[1], encoding="utf-8") as file:
        # A source that several programs share is compiled once.
        entries = list({e["file"]: e for e in json.load(file)}.values())
    listed = {pathlib.Path(e["file"]) for e in entries}
    unlisted = [s for folder in FOLDERS for s in (root / folder).rglob("*.cpp")
                if s not in listed and "embed" not in s.parts]  # that one is built by itself
    if unlisted:
        sys.exit(f"each_file.py: no target holds {', '.join(map(str, unlisted))}")
    jobs = [(e["directory"], words_of(e)) for e in entries]
    # A header that no source includes first is compiled as the sources beside it, or any, are.
    first = {found[1] for e in entries
             if (found := FIRST.search(pathlib.Path(e["file"]).read_text(encoding="utf-8")))}
    headers = [h for folder in FOLDERS for h in sorted((root / folder).rglob("*.hpp"))
               if str(h.relative_to(root / folder)) not in first]
    if not headers:
        sys.exit("each_file.py: there is no header")
    for header in headers:
        like = next((e for e in entries if pathlib.Path(e["file"]).parent == header.parent), entries[0])
        words = [w for w in words_of(like) if w not in ("-c", like["file"])]
        jobs.append((like["directory"], [*words, "-x", "c++", str(header)]))
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        said = [text for text in pool.map(complaint, jobs) if text]
    sys.stderr.write("\n".join(said))
    print(f"{len(jobs) - len(said)} of {len(jobs)} source files and headers compile by themselves")
    sys.exit(1 if said else 0)


main()
