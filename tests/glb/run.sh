#!/usr/bin/env bash
# Holds GLB files of plans and of ways out against glTF 2.0, by the validator of its makers (npm). With files as its
# arguments it looks at these; without, it plans two demo pieces, one in a block and one in a blanket, and looks at
# theirs. Exits with 1 when there is anything to find fault with. Needs node and npm; not part of CI, since it plans
# for two minutes.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
command -v npm >/dev/null || {
    echo "npm is missing: install node with npm" >&2
    exit 1
}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

files=()
for file in "$@"; do
    files+=("$(realpath "$file")")
done
if [ ${#files[@]} -eq 0 ]; then
    slitwright=${SLITWRIGHT:-$root/target/debug/slitwright}
    pieces=${DEMO_MODELS:-$root/target/debug/demo-models}
    [ -x "$slitwright" ] && [ -x "$pieces" ] || (cd "$root" && cargo build --workspace --locked)
    "$pieces" "$work/models" >/dev/null
    plan() {
        "$slitwright" plan "$work/models/$1.stl" --unit mm --seconds "$2" --out "$work/$1" "${@:3}" >/dev/null
        for file in plan.glb way-out.glb; do
            [ -s "$work/$1/$file" ] || {
                echo "the plan of $1 left no $file" >&2
                exit 1
            }
            files+=("$work/$1/$file")
        done
    }
    plan dancer 60 --request "$work/models/dancer.json"
    plan clapper 40 --mould blanket --thickness 8
fi

cp "$here/package.json" "$here/package-lock.json" "$work"
(
    cd "$work"
    npm ci --silent --no-audit --no-fund
    node "$here/validate.mjs" "${files[@]}"
)
