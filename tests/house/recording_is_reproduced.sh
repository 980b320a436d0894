#!/usr/bin/env bash
# recording_is_reproduced.sh MAKE_RECORDING: the same options give the same bytes, another seed others.
set -euo pipefail
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
make() {
  "$program" --fault inner-race --mark 0=40 --mark 1=60 --load 0-1=accelerating --rate 16000 \
    --seconds 1 "$@"
}
program=$1
make "$dir/a.wav"
make "$dir/b.wav"
make --seed 2 "$dir/c.wav"
cmp "$dir/a.wav" "$dir/b.wav"
if cmp -s "$dir/a.wav" "$dir/c.wav"; then exit 1; fi
[ "$(wc -c < "$dir/a.wav")" -eq 32044 ] # header and 16000 samples of two bytes
if make --bearing none "$dir/d.wav" 2> "$dir/complaint"; then exit 1; fi
grep -q "rotor bearing, sensor end" "$dir/complaint"
