#!/bin/sh
# Fills tests/meshes with the open meshes of Debian's package libcgal-demo (OFF files, not part of
# this repository). Does nothing where they are already there. Needs apt-get and dpkg-deb, no root
# unless the package lists have to be fetched first.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
target=${1:-$here/meshes}
case $target in
/*) ;;
*) target=$PWD/$target ;;
esac
wanted="bunny00 bull eight elephant hand knot1 refined_elephant"

complete() {
    for name in $wanted; do
        [ -s "$1/$name.off" ] || return 1
    done
}

if complete "$target"; then
    echo "meshes are in $target already"
    exit 0
fi
for tool in apt-get dpkg-deb tar; do
    if ! command -v "$tool" >/dev/null; then
        echo "fetch-meshes.sh needs $tool (Debian); without it, put the OFF files of libcgal-demo's" >&2
        echo "folder data/meshes into $target by hand" >&2
        exit 1
    fi
done

work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"
if ! apt-get download libcgal-demo 2>download.log; then
    # No package list knows it yet.
    echo "fetching the package lists first"
    apt-get update >/dev/null
    apt-get download libcgal-demo
fi
dpkg-deb --extract libcgal-demo_*.deb unpacked
# The meshes travel in an archive inside the package, not in all of its archives.
mkdir inner
find unpacked -name '*.tar.*' >archives
while read -r archive; do
    if tar -tf "$archive" | grep -q 'data/meshes/\|^meshes/'; then
        tar -xf "$archive" -C inner
    fi
done <archives
found=$(find inner -type d -name meshes | head -n 1)
if [ -z "$found" ]; then
    echo "the package libcgal-demo holds no folder data/meshes any more" >&2
    exit 1
fi
mkdir -p "$target"
cp "$found"/*.off "$target"/
if ! complete "$target"; then
    echo "some of these meshes are missing in the package: $wanted" >&2
    exit 1
fi
echo "$(find "$target" -name '*.off' | wc -l) meshes in $target"
