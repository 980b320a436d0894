#!/bin/sh
# literal.sh MODULE LITERAL: the module, gzipped and in base64, and its SHA-256, for src/page/embedded.cpp.
set -eu
{
  printf 'R"module('
  gzip -9nc "$1" | base64 -w 0
  printf ')module"sv,\n"%s"sv\n' "$(sha256sum < "$1" | cut -c 1-64)"
} > "$2.tmp"
mv "$2.tmp" "$2"
