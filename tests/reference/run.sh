#!/bin/sh
# Makes the reference values again with the libraries pinned in requirements.txt and compares them
# with the committed ones. Exits with 1 on any difference beyond the tolerance of tools/compare.py.
# `run.sh --write` replaces the committed files instead.
set -eu
here=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd)
root=$(CDPATH='' cd -- "$here/../.." && pwd)
meshes=${SLITWRIGHT_MESHES:-$root/tests/meshes}
venv=$root/.venv

[ -d "$meshes" ] || "$root/tests/fetch-meshes.sh"

"$root/tests/venv.sh" "$venv" "$here/requirements.txt"

again=$(mktemp -d)
trap 'rm -rf "$again"' EXIT
failed=0
count=0
for script in "$here"/*.py; do
    name=$(basename "$script" .py)
    count=$((count + 1))
    if ! PYTHONDONTWRITEBYTECODE=1 "$venv/bin/python" "$script" "$meshes" >"$again/$name.json"; then
        echo "$name: the script failed"
        failed=1
    elif [ "${1:-}" = --write ]; then
        cp "$again/$name.json" "$here/$name.json"
        echo "$name: written"
    elif "$venv/bin/python" "$here/tools/compare.py" "$here/$name.json" "$again/$name.json"; then
        echo "$name: same"
    else
        echo "$name: differs from the committed values"
        failed=1
    fi
done
if [ "$count" -eq 0 ]; then
    echo "no reference script was found in $here"
    exit 1
fi
exit "$failed"
