#!/usr/bin/env bash
# Installs what a build needs, builds dryshaft and grades the example records.
# Debian 12, as root or with sudo, from any directory.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

missing=()
for package in g++ cmake ninja-build libcli11-dev nlohmann-json3-dev libfmt-dev libboost-dev libeigen3-dev libkissfft-dev libsndfile1-dev libutf8proc-dev libgmime-3.0-dev libxml2-dev \
               pkg-config clang-19 lld-19 wasi-libc libc++-19-dev-wasm32 libc++abi-19-dev-wasm32 \
               libclang-rt-19-dev-wasm32; do
  if ! dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed'; then
    missing+=("$package")
  fi
done
if [ ${#missing[@]} -gt 0 ]; then
  echo "Installing: ${missing[*]}"
  as_root=()
  if [ "$(id -u)" -ne 0 ]; then as_root=(sudo); fi
  "${as_root[@]}" apt-get -qq update
  "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
    apt-get -qq install -y --no-install-recommends "${missing[@]}"
fi

echo "Building in build/release (a few minutes the first time)"
mkdir -p build
log=build/quickstart.log
# The manual is what `cmake --install` needs beside program and library.
if ! { cmake -G Ninja -S . -B build/release -DCMAKE_BUILD_TYPE=Release -DBUILD_TESTING=OFF \
         -DDRYSHAFT_UNITY=ON &&
       cmake --build build/release --target dryshaft_manual; } > "$log" 2>&1; then
  cat "$log"
  exit 1
fi

show() {
  printf '\n$ dryshaft %s\n\n' "$*"
  build/release/dryshaft "$@"
}
for example in dry-and-quiet droplets-rust-tone tone-dry-port-hybrid; do
  show assess "examples/$example.json"
done
show assess --for owner examples/owner-no-port-check.json
show assess examples/intake.jsonl

printf '\nThe program is %s\n' "$PWD/build/release/dryshaft"
