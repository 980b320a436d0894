#!/usr/bin/env bash
# Which lines and branches of src the tests walk, by folder. Takes minutes: the longest proofs, the
# pages and the faults are left out.
#   coverage.sh [BUILD]
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
build=${1:-build/coverage}
# Exceptions that only memory running out could throw are no branches of ours: gcov counts one at
# each call, so the figure of branches is low whatever the tests do.
cmake -G Ninja -S . -B "$build" -DCMAKE_BUILD_TYPE=Debug -DDRYSHAFT_UNITY=ON -DBUILD_TESTING=ON \
  -DCMAKE_CXX_FLAGS_DEBUG="-O1 -g1 --coverage -fprofile-update=atomic" \
  -DCMAKE_CXX_COMPILER=g++ -DCMAKE_CXX_COMPILER_LAUNCHER=ccache \
  -DPython3_EXECUTABLE=/usr/bin/python3 > /dev/null
cmake --build "$build" --target dryshaft_program dryshaft_tests
find "$build" -name '*.gcda' -delete
"$build/tests/dryshaft_tests" "~[long]" &
ctest --test-dir "$build" -R '^program\.' -E 'page$|faults' --output-on-failure || true
wait
find "$build" -name '*.gcda' | xargs -n 1 gcov --json-format --stdout --branch-probabilities 2> /dev/null |
  /usr/bin/python3 -c '
import json, os, sys
lines, branches = {}, {}
for text in sys.stdin:
    for file in json.loads(text)["files"]:
        name = os.path.relpath(os.path.join(os.getcwd(), file["file"]))
        if not name.startswith(("src/", "include/")):
            continue
        for line in file["lines"]:
            at = (name, line["line_number"])
            lines[at] = max(lines.get(at, 0), line["count"])
            for i, b in enumerate(line["branches"]):
                if not b["throw"]:
                    branches[at + (i,)] = max(branches.get(at + (i,), 0), b["count"])
def share(of, folder):
    mine = [n for at, n in of.items() if at[0].startswith(folder)]
    return f"{sum(n > 0 for n in mine):6} of {len(mine):6} {100 * sum(n > 0 for n in mine) / max(len(mine), 1):6.1f} %"
folders = sorted({os.path.dirname(at[0]) for at in lines})
for folder in folders + [""]:
    shown = folder or "all of it"
    print(f"{shown:22} lines {share(lines, folder)}   branches {share(branches, folder)}")
'
