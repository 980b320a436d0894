#!/usr/bin/env bash
# intake_is_reproduced.sh GENERATOR FILE: the generator prints FILE, byte for byte.
set -euo pipefail
[ -s "$2" ]
"$1" | cmp - "$2"
