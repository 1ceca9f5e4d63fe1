#!/usr/bin/env bash
# Passes all tests on a fresh machine: installs what is missing, fetches the open meshes, runs the
# Rust tests, makes the reference values again and runs the examples.
set -euo pipefail
cd "$(dirname "$0")/.."

python=()
python3 -c 'import ensurepip, venv' 2>/dev/null || python=(python3 python3-venv)
tests/build-needs.sh ${python[@]+"${python[@]}"}

export SLITWRIGHT_MESHES=${SLITWRIGHT_MESHES:-$PWD/tests/meshes}
tests/fetch-meshes.sh "$SLITWRIGHT_MESHES"

failed=0
threads=${RUST_TEST_THREADS:-$(nproc)}
# What waits for ever is a failure, and the log tells which test it was.
RUST_TEST_THREADS=$threads tests/with-postgres.sh timeout 3000 \
    cargo test --workspace --locked --no-fail-fast 2>&1 | tests/longest.py "$threads" || failed=1

tests/reference/run.sh || failed=1
tests/examples/run.sh || failed=1
exit "$failed"
