#!/usr/bin/env bash
# The main job on one demo piece of a fresh machine: installs what is missing, builds, makes the
# demo pieces and plans one of them. `demo-models/run.sh clapper` takes the clapper instead of the jug;
# `demo-models/run.sh all` takes every piece.
set -euo pipefail
cd "$(dirname "$0")/.."

tests/build-needs.sh
cargo build --release --locked -p demo-models -p slitwright-server
bin=${CARGO_TARGET_DIR:-target}/release

"$bin/demo-models" out/models
pieces=("${1:-jug}")
if [ "${1:-}" = all ]; then
    pieces=()
    for file in out/models/*.stl; do pieces+=("$(basename "$file" .stl)"); done
fi
for piece in "${pieces[@]}"; do
    if [ ! -f "out/models/$piece.stl" ]; then
        echo "there is no demo piece '$piece'; the list is above" >&2
        exit 2
    fi
    echo
    echo "== $piece"
    "$bin/slitwright" plan "out/models/$piece.stl" --unit mm \
        --request "out/models/$piece.json" --out "out/$piece"
    echo "plan, request and pictures are in $PWD/out/$piece: look at overview.png and plan.txt first"
done
