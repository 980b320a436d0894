#!/usr/bin/env bash
# Strangers' projects with the library in them.
#   embed.sh PREFIX WORK       with what is installed under PREFIX, static; by g++ and clang
#   embed.sh PREFIX WORK all   and, built below WORK, a shared one without the program, and one taken
#                              in by add_subdirectory: some minutes more, so no part of --all
set -euo pipefail
prefix=$(realpath "$1")
mkdir -p "$2"
work=$(realpath "$2")
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
trap 'echo "embed.sh: failed at line $LINENO: $BASH_COMMAND" >&2' ERR
build=(-G Ninja -DCMAKE_C_COMPILER_LAUNCHER=ccache -DCMAKE_CXX_COMPILER_LAUNCHER=ccache)

# strangers PREFIX NAME: the project of tests/house/embed, by two compilers
strangers() {
  local here=$1 data=$1/share/dryshaft examples=$root/examples compiler
  for compiler in "gcc g++" "clang clang++"; do
    local into=$work/$2-${compiler%% *}
    cmake --fresh "${build[@]}" -S "$root/tests/house/embed" -B "$into" -DCMAKE_PREFIX_PATH="$here" \
      -DEXAMPLES="$here/share/doc/dryshaft/examples/embed" \
      -DCMAKE_C_COMPILER="${compiler%% *}" -DCMAKE_CXX_COMPILER="${compiler##* }" > "$into.log"
    cmake --build "$into" >> "$into.log" || { cat "$into.log"; return 1; }
    "$into/embed" "$data" > "$into.out" 2> "$into.err"
    # The program in C++ refuses what no odometer shows, and grades the rest.
    "$into/examples/grade" "$data" "$examples/intake.jsonl" > "$into.out" 2> "$into.err"
    test "$(wc -l < "$into.out")" -eq 301
    grep -q '^record of HL-9001: error\[out-of-range\]: /inspection/odometer_km is -80000$' "$into.err"
    grep -q '^HL-9001: ' "$into.out"
    # The program in C gives the bytes of the command line, where there is one.
    "$into/examples/grade_in_c" "$data" "$examples/intake.jsonl" json > "$into.out"
    test "$(wc -l < "$into.out")" -eq 300
    if [ -x "$here/bin/dryshaft" ]; then
      (cd "$root" && "$here/bin/dryshaft" assess --format json "$examples/intake.jsonl") | cmp - "$into.out"
    fi
    local code=0
    "$into/examples/grade_in_c" "$data/none" "$examples/intake.jsonl" 2> "$into.err" || code=$?
    test "$code" -eq 3
    grep -q '"code":"no-folder"' "$into.err"
  done
  echo "$2: strangers' programs in C++ and C run"
}

strangers "$prefix" static
if [ "${3:-}" != all ]; then
  exit
fi

cmake --fresh "${build[@]}" -S "$root" -B "$work/shared" -DDRYSHAFT_PROGRAM=OFF -DBUILD_SHARED_LIBS=ON \
  -DDRYSHAFT_UNITY=ON -DDRYSHAFT_WASM_COMPILER=OFF -DCMAKE_BUILD_TYPE=Release \
  -DCMAKE_INSTALL_PREFIX="$work/prefix" > "$work/shared.log"
if grep -Eq '^(CLI11|sndfile|gmime|libxml|BUILD_TESTING|GZIP)' "$work/shared/CMakeCache.txt"; then
  echo "the library alone asks for what it does not need"
  exit 1
fi
cmake --build "$work/shared" >> "$work/shared.log"
cmake --install "$work/shared" >> "$work/shared.log"
library=$(echo "$work"/prefix/lib/*/libdryshaft.so)
test "$(readelf -d "$library" | sed -n 's/.*(SONAME).*\[\(.*\)\]/\1/p')" = libdryshaft.so.0.1
# What it shows is its own; all of the interface for C among it.
nm -DC --defined-only "$library" | sed 's/^[0-9a-f]* [A-Za-z] //' | sort -u > "$work/shown"
if grep -Ev '^(dryshaft::|(vtable|typeinfo|typeinfo name) for dryshaft::|dryshaft_)|^DRYSHAFT' "$work/shown"; then
  echo "libdryshaft.so shows what is not its own"
  exit 1
fi
diff <(grep -Eo '\bdryshaft_[a-z_]+\(' "$root/include/dryshaft/dryshaft.h" | tr -d '(' | sort -u) \
  <(grep '^dryshaft_' "$work/shown")
strangers "$work/prefix" shared

cmake --fresh "${build[@]}" -S "$root/tests/house/embed/host" -B "$work/host" -DDRYSHAFT="$root" \
  -DDRYSHAFT_UNITY=ON -DDRYSHAFT_WASM_COMPILER=OFF > "$work/host.log" || { cat "$work/host.log"; exit 1; }
test ! -e "$work/host/compile_commands.json"
if grep -q '^BUILD_TESTING' "$work/host/CMakeCache.txt"; then
  echo "a host gets tests that it did not ask for"
  exit 1
fi
cmake --build "$work/host" >> "$work/host.log" || { cat "$work/host.log"; exit 1; }
"$work/host/host" "$root/data"
echo "host: a shared object holds the static library"
