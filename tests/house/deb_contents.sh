#!/usr/bin/env bash
# Builds the Debian package in BUILD and looks into it: nothing is installed.
#   deb_contents.sh BUILD
set -euo pipefail
build=$1
rm -f "$build"/package/*.deb
(cd "$build" && cpack > package/log 2>&1) || { cat "$build/package/log"; exit 1; }
deb=$(echo "$build"/package/dryshaft_*_amd64.deb)
fields=$(dpkg-deb --info "$deb")
for wanted in 'Package: dryshaft' 'Section: science' 'Maintainer: ' 'Depends: .*libc6 .*libfmt9 .*libsndfile1 '; do
  grep -q "^ $wanted" <<< "$fields" || { echo "no \"$wanted\" in $deb"; exit 1; }
done
# Whoever answers for it, as configured; there is a way to say that nobody does.
contact=$(sed -n 's/^DRYSHAFT_CONTACT:STRING=//p' "$build/CMakeCache.txt")
grep -qxF " Maintainer: $contact" <<< "$fields" || { echo "not maintained by \"$contact\""; exit 1; }
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
dpkg-deb -x "$deb" "$scratch"
for file in bin/dryshaft share/man/man1/dryshaft.1.gz share/doc/dryshaft/copyright \
            share/doc/dryshaft/changelog.gz share/dryshaft/rules/rules.json \
            share/dryshaft/families/generic.json share/dryshaft/guides/10-check-port.json \
            share/doc/dryshaft/README.md share/doc/dryshaft/examples/prices.json \
            share/bash-completion/completions/dryshaft share/zsh/vendor-completions/_dryshaft \
            share/fish/vendor_completions.d/dryshaft.fish; do
  [ -s "$scratch/usr/$file" ] || { echo "no usr/$file in $deb"; exit 1; }
done
signed=$(zcat "$scratch/usr/share/doc/dryshaft/changelog.gz" | grep '^ -- ')
[[ $signed == " -- $contact  "* ]] || { echo "the changelog is not signed by \"$contact\""; exit 1; }
# Its copyright file names all whose code is compiled in, by the headers that the sources include, and
# the libraries that it is linked to, and has the text of each licence.
copyright=$scratch/usr/share/doc/dryshaft/copyright
source=$(sed -n 's/^dryshaft_SOURCE_DIR:STATIC=//p' "$build/CMakeCache.txt")
headers=$(grep -rhoE '#include <[A-Za-z]+/' "$source/src" "$source/include" | sed 's/.*<//; s,/,,' | sort -u |
          grep -vxE 'sys|dryshaft|kissfft|gmime|libxml')  # these are C: nothing of their headers is compiled
[ "$(wc -w <<< "$headers")" -ge 5 ] || { echo "found too few headers: $headers"; exit 1; }
for header in $headers; do
  grep -qxF "Files: $header/*" "$copyright" || { echo "no $header in the copyright file"; exit 1; }
done
libraries=$(sed -n 's/^ Depends: //p' <<< "$fields" | tr ',' '\n' | sed 's/^ *//; s/ .*//' |
            grep -vxE 'libc6|libgcc-s1|libstdc\+\+6')
for library in $libraries; do
  grep -qF "${library%%[0-9]*}" "$copyright" ||
    { echo "no $library in the copyright file"; exit 1; }
done
for licence in $(sed -n '/^Files: /,/^$/s/^License: //p' "$copyright" | cut -d ' ' -f 1 | sort -u); do
  awk -v RS= -v wanted="License: $licence" 'index($0, wanted) == 1 && NF > 4 {n++} END {exit !n}' "$copyright" ||
    { echo "no text of $licence in the copyright file"; exit 1; }
done
# What manual page, help and README call examples/... is there, and the manual page says where.
manual=$(zcat "$scratch/usr/share/man/man1/dryshaft.1.gz" | sed 's/\\-/-/g')
grep -qF '/usr/share/doc/dryshaft/examples/' <<< "$manual"
for name in $(cat <(echo "$manual") "$scratch/usr/share/doc/dryshaft/README.md" |
              grep -oE '\bexamples/[a-z0-9-]+\.(json|jsonl|csv|columns)' | sort -u); do
  [ -e "$scratch/usr/share/doc/dryshaft/$name" ] || { echo "no $name in $deb"; exit 1; }
done
# Its help names them where they are, from any folder.
named=$(cd / && "$scratch/usr/bin/dryshaft" plan --help | grep -oE '[^ ]*examples/prices.json' | head -n 1)
[ -e "/${named#/}" ] || { echo "the help names $named, which is not there"; exit 1; }
# The first command of its help works from any folder.
first=$(cd / && "$scratch/usr/bin/dryshaft" --help | sed -n '/^To see a report, type:$/{n;s/^ *//p}')
(cd / && eval "$first" | grep -q HL-0102 ) || { echo "the help's first command does not work: $first"; exit 1; }
# Nothing of the library, and nothing outside of usr.
[ ! -e "$scratch/usr/include" ] || { echo "headers in $deb"; exit 1; }
[ "$(ls "$scratch")" = usr ] || { echo "files outside of usr in $deb"; exit 1; }
# It finds its data where it lies, from a folder that holds nothing.
program=$(cd "$scratch/usr/bin" && pwd)/dryshaft
[ "$(cd / && "$program" rules list | head -c 5)" ] || { echo "the program finds no rules"; exit 1; }
# Without them it says so, and does not look where it was built.
rm -rf "$scratch/usr/share/dryshaft"
if said=$(cd / && "$program" rules list 2>&1); then echo "rules out of nowhere"; exit 1; fi
grep -q 'cannot be found: name its folder with --rules' <<< "$said"
echo "$(basename "$deb"): $(stat -c %s "$deb") bytes,$(grep -o ' Depends: .*' <<< "$fields")"
