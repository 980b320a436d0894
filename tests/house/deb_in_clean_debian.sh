#!/usr/bin/env bash
# Installs the Debian package in a fresh, minimal Debian 12 and grades an example there. Needs
# root, debootstrap, and minutes; takes this machine's own package source.
#   deb_in_clean_debian.sh DEB [FOLDER]
set -euo pipefail
deb=$(realpath "$1")
root=${2:-$(mktemp -d)/debian}
here=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
source=$(apt-get indextargets --format '$(CODENAME) $(COMPONENT) $(REPO_URI)' 'Created-By: Packages' |
         awk '$1 == "bookworm" && $2 == "main" { print $3; exit }')
[ -n "$source" ] || { echo "apt has no source of bookworm"; exit 1; }
depends=$(dpkg-deb -f "$deb" Depends | sed 's/ *([^)]*)//g; s/ //g')
if [ ! -e "$root/etc/debian_version" ]; then
  debootstrap --variant=minbase --include="$depends" bookworm "$root" "$source" > "$root.log" ||
    { tail -n 20 "$root.log"; exit 1; }
fi
# The program finds its data by /proc/self/exe.
mount -t proc proc "$root/proc"
trap 'umount "$root/proc"' EXIT
mkdir -p "$root/examples"
cp "$here"/examples/*.json "$here"/examples/intake.* "$root/examples"
cp "$deb" "$root/dryshaft.deb"
# -i fails where a dependency is missing.
chroot "$root" dpkg -i /dryshaft.deb
chroot "$root" dryshaft --version
chroot "$root" dryshaft assess /examples/film-caught-early.json > "$root/report"
[ "$(chroot "$root" dryshaft assess --format jsonl /examples/intake.jsonl | wc -l)" -eq 300 ]
[ "$(chroot "$root" dryshaft assess --format jsonl /examples/intake.csv | wc -l)" -eq 8 ]
chroot "$root" dryshaft rules verify > "$root/proofs"
head -n 3 "$root/report"
[ -z "$(chroot "$root" ldd /usr/bin/dryshaft | grep 'not found')" ]
chroot "$root" dpkg -r dryshaft
[ ! -e "$root/usr/bin/dryshaft" ]
[ ! -e "$root/usr/share/dryshaft" ]
echo "installed, run and removed in $(cat "$root/etc/debian_version"), $root"
