#!/usr/bin/env bash
# Installs what is missing, builds with sanitizers and runs the checks that are quick: a few minutes.
#   tests/run.sh --all   every check, as CI runs them: in a fresh copy, the two commands of README.md
#                        in their order there, then all that takes longer
# Debian 12, as root or with sudo.
# Note on `set -e`: `! command` and all but the last part of `a && b` do not stop a script, so
# neither is used as a check here.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
trap 'echo "tests/run.sh: failed at line $LINENO: $BASH_COMMAND" >&2' ERR

part=${1:---quick}
case $part in --quick | --all | --rest) ;; *) echo "usage: tests/run.sh [--all]" >&2; exit 2 ;; esac
jobs=$(nproc)
step() { printf '\n== %s (%d s)\n' "$*" "$SECONDS"; }

# ---------------------------------------------------------------- install
packages=(g++ dpkg-dev file cmake ninja-build ccache clang-format libcli11-dev nlohmann-json3-dev
          libfmt-dev catch2 libkissfft-dev libsndfile1-dev libutf8proc-dev libgmime-3.0-dev libxml2-dev libboost-dev libeigen3-dev pkg-config python3 python3-jsonschema tzdata strace
          flac  # makes recordings for tests
          # the library as WebAssembly, for pages
          clang-19 lld-19 wasi-libc libc++-19-dev-wasm32 libc++abi-19-dev-wasm32
          libclang-rt-19-dev-wasm32)
if [ "$part" != --quick ]; then
  packages+=(clang clang-tidy
             r-base-core r-cran-survival  # an independent fit to compare with
             chromium chromium-driver python3-selenium firefox-esr  # browsers for pages
             jq sqlite3 parallel)  # read what the program writes
fi
missing=()
for package in "${packages[@]}"; do
  if ! dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed'; then
    missing+=("$package")
  fi
done
# The checker of accessibility rules comes with npm, which some builds of nodejs bring along.
if [ "$part" != --quick ] && ! command -v npm > /dev/null; then missing+=(npm); fi
if [ ${#missing[@]} -gt 0 ]; then
  step "installing: ${missing[*]}"
  as_root=()
  if [ "$(id -u)" -ne 0 ]; then as_root=(sudo); fi
  "${as_root[@]}" apt-get -qq update
  "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
    apt-get -qq install -y --no-install-recommends "${missing[@]}"
else
  step "nothing to install"
fi

# What is compiled once is not compiled again, be it in another folder.
export CCACHE_DIR=${CCACHE_DIR:-$PWD/build/ccache} CCACHE_NOHASHDIR=1
export CCACHE_BASEDIR=${CCACHE_BASEDIR:-$PWD}

# --------------------------------------------------------------------- all
if [ "$part" = --all ]; then
  step "a fresh copy, and README's two commands in it"
  rm -rf build/fresh
  mkdir -p build/fresh
  tar -c --exclude='./build*' --exclude=./.git . | tar -x -C build/fresh
  cd build/fresh
  CMAKE_CXX_COMPILER_LAUNCHER=ccache examples/quickstart.sh > ../quickstart.txt
  tail -n 3 ../quickstart.txt
  if grep -F 'warning:' build/quickstart.log; then exit 1; fi
  step "install, and strangers' programs that use the library"
  cmake --install build/release --prefix build/prefix > /dev/null
  build/prefix/bin/dryshaft assess examples/dry-and-quiet.json > /dev/null
  bash tests/house/embed.sh build/prefix build/embed
  tests/run.sh
  tests/run.sh --rest
  step "all checks passed"
  exit
fi

# Nothing may depend on where and when it runs: a zone 12:45 ahead, and, where the system has its
# source, a language that writes 1,5 for 1.5.
export TZ=Pacific/Chatham LC_ALL=C.UTF-8
if [ -e /usr/share/i18n/locales/de_DE ]; then
  mkdir -p build/locale
  if localedef -i de_DE -f UTF-8 build/locale/de_DE.UTF-8 2>/dev/null; then
    # bash itself looks in the system's folder and would warn; what it starts looks in LOCPATH.
    { export LOCPATH=$PWD/build/locale LC_ALL=de_DE.UTF-8; } 2>/dev/null
  fi
fi
unset NO_COLOR CLICOLOR_FORCE
echo "time zone $TZ, locale $LC_ALL (decimal point $(locale decimal_point)), $jobs jobs"

# configure DIRECTORY OPTION...
# Anew each time: where a cache of another compiler is found, CMake drops it, and what was asked for
# with it.
configure() {
  local directory=$1
  shift
  cmake --fresh -G Ninja -S . -B "$directory" -DBUILD_TESTING=ON -DDRYSHAFT_UNITY=ON \
    -DCMAKE_CXX_COMPILER_LAUNCHER=ccache -DPython3_EXECUTABLE=/usr/bin/python3 "$@" > "$directory.log" ||
    { cat "$directory.log"; return 1; }
}
# tests_of DIRECTORY OPTION...
tests_of() {
  local directory=$1
  shift
  UBSAN_OPTIONS=print_stacktrace=1 ctest --test-dir "$directory" --output-on-failure \
    --no-tests=error -j "$jobs" "$@"
}

if [ "$part" = --quick ]; then
  step "formatting"
  find src include tests examples \( -name '*.cpp' -o -name '*.hpp' \) -print0 |
    xargs -0 clang-format --dry-run --Werror
  step "house rules"
  /usr/bin/python3 tests/house/house_test.py g++
  /usr/bin/python3 tests/house/source_rules.py
  /usr/bin/python3 tests/house/words.py
  step "build with address and undefined-behaviour sanitizers"
  mkdir -p build
  configure build/sanitize -DCMAKE_BUILD_TYPE=Debug -DDRYSHAFT_SANITIZE=address,undefined \
    -DCMAKE_CXX_FLAGS_DEBUG="-O1 -g1 -D_GLIBCXX_ASSERTIONS" -DDRYSHAFT_WERROR=ON
  cmake --build build/sanitize
  step "tests, sanitized"
  tests_of build/sanitize -LE long
  step "cases and proofs of the rule base"
  build/sanitize/dryshaft rules test --coverage 100 tests/cases/*.json
  build/sanitize/dryshaft rules verify
  step "the quick checks passed"
  exit
fi

# --------------------------------------------------- what takes longer: --rest
step "each source file by itself"
configure build/each -DCMAKE_BUILD_TYPE=Release -DDRYSHAFT_UNITY=OFF -DDRYSHAFT_WERROR=ON
# The module of pages is the same in every kind of build.
cp build/sanitize/literals/page/module.inc build/each/literals/page/
/usr/bin/python3 tests/house/each_file.py build/each/compile_commands.json
step "release build"
configure build/release -DCMAKE_BUILD_TYPE=Release
cmake --build build/release
step "tests, release"
tests_of build/release

# ----------------------------------------------------------------- examples
step "examples"
dryshaft=build/release/dryshaft
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
"$dryshaft" --version
shopt -s nullglob
singles=()
for file in examples/*.json; do
  case $file in
    examples/prices.json) ;;         # it holds prices
    examples/contradictory.json) ;;  # below
    *) singles+=("$file") ;;
  esac
done
[ ${#singles[@]} -ge 14 ]
"$dryshaft" check "${singles[@]}" examples/intake.jsonl
for record in "${singles[@]}"; do
  "$dryshaft" assess "$record" > "$scratch/report"
  [ -s "$scratch/report" ]
done
code=0  # what cannot be in it is an error; the rest is graded
"$dryshaft" assess examples/contradictory.json > "$scratch/report" 2>&1 || code=$?
[ "$code" -eq 3 ]
grep -q '^Grade ' "$scratch/report"
"$dryshaft" plan --prices examples/prices.json examples/film-caught-early.json > "$scratch/report"
"$dryshaft" plan --prices examples/prices.json --intake examples/intake.jsonl --hours 40 > "$scratch/report"
"$dryshaft" assess examples/intake.jsonl > "$scratch/table"
"$dryshaft" assess --format jsonl examples/intake.jsonl > "$scratch/here"
[ "$(wc -l < "$scratch/here")" -eq 300 ]
TZ=UTC LC_ALL=C "$dryshaft" assess --format jsonl --jobs 1 examples/intake.jsonl > "$scratch/there"
cmp "$scratch/here" "$scratch/there"
echo "${#singles[@]} single examples and 300 intake records are graded"

step "Debian package"
bash tests/house/deb_contents.sh build/release

step "tests that take long, sanitized"
tests_of build/sanitize -L long

# --------------------------------------------------------------- clang-tidy
step "clang-tidy"
# Folder by folder, as the sanitized build compiles them; the largest first.
sed -n "s|^ *\"file\": \"\($PWD/build/sanitize/CMakeFiles/.*/Unity/.*\)\",\?\$|\1|p" \
  build/sanitize/compile_commands.json | xargs ls -S > "$scratch/folders"
for source in $(find src -name '*.cpp'); do
  xargs grep -qF "#include \"$PWD/$source\"" < "$scratch/folders"
done
xargs -n 1 -P "$jobs" clang-tidy -p build/sanitize --quiet < "$scratch/folders"
