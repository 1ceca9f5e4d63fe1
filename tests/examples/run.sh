#!/usr/bin/env bash
# Runs the Python example against the real server: stubs made from the protocol by grpcio-tools, a
# token from `slitwright token add`, a plinth sent, planned, watched and fetched with its pictures, a drawn cut judged
# and compared with the plan. Exits with 1 when anything is not as it should be.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
slitwright=${SLITWRIGHT:-$root/target/debug/slitwright}
venv=$root/.venv-examples
[ -x "$slitwright" ] || (cd "$root" && cargo build --workspace --locked)

"$root/tests/venv.sh" "$venv" "$here/requirements.txt"

work=$(mktemp -d)
server=
clean() {
    [ -z "$server" ] || kill "$server" 2>/dev/null || true
    rm -rf "$work"
}
trap clean EXIT

mkdir "$work/stubs"
(cd "$root/proto" && "$venv/bin/python" -m grpc_tools.protoc -I . \
    --python_out="$work/stubs" --grpc_python_out="$work/stubs" slitwright/v1/*.proto)
cat >"$work/plinth.off" <<'PLINTH'
OFF
8 12 0
0 0 0
40 0 0
40 30 0
0 30 0
0 0 20
40 0 20
40 30 20
0 30 20
3 0 2 1
3 0 3 2
3 4 5 6
3 4 6 7
3 0 1 5
3 0 5 4
3 1 2 6
3 1 6 5
3 2 3 7
3 2 7 6
3 3 0 4
3 3 4 7
PLINTH
# From the board straight up the front to the top edge, though a plinth needs no cut.
cat >"$work/scheme.json" <<'SCHEME'
{"cuts": [{"name": "front", "line": {"points": [{"x": 20}, {"x": 20, "z": 20}]}}]}
SCHEME

token=$("$slitwright" token add --tokens "$work/tokens.toml" --name example)
# There before the server is: a busy machine may look for it first.
: >"$work/log"
"$slitwright" serve --listen 127.0.0.1:0 --store "$work/store" --tokens "$work/tokens.toml" --log json \
    2>"$work/log" &
server=$!
address=
for _ in $(seq 100); do
    address=$(sed -n 's/.*"message":"listening","address":"\([^"]*\)".*/\1/p' "$work/log")
    [ -z "$address" ] || break
    sleep 0.1
done
[ -n "$address" ] || { cat "$work/log"; echo "the server did not start"; exit 1; }

export PYTHONPATH=$work/stubs PYTHONDONTWRITEBYTECODE=1
example=("$venv/bin/python" "$here/plan_by_grpc.py" "$work/plinth.off" --unit mm --seconds 60
    --elements 4000 --address "$address")
SLITWRIGHT_TOKEN=$token "${example[@]}" --out "$work/drawn" --scheme "$work/scheme.json" \
    >"$work/plan.json" 2>"$work/told" || { cat "$work/told"; exit 1; }
# A box leaves its mould without any cut; 40 x 30 x 20 mm of it are 24 cm^3.
"$venv/bin/python" - "$work/plan.json" <<'CHECK'
import json, sys
plan = json.load(open(sys.argv[1]))
assert not plan.get("cuts"), plan["cuts"]
assert plan["rubberVolumeCm3"] > 24, plan["rubberVolumeCm3"]
CHECK
# The table of both, the shortest marked: no cut, and the drawn one, as long as the plinth is high.
grep -Eq '^length of all cuts, mm +0\* +20$' "$work/told" || { cat "$work/told"; exit 1; }
for file in plan.txt overview.png plan.glb way-out.png; do
    [ -s "$work/drawn/$file" ] || { echo "$file of the plan did not come"; exit 1; }
done
cmp -n 8 "$work/drawn/overview.png" <(printf '\211PNG\r\n\032\n')
cmp -n 4 "$work/drawn/plan.glb" <(printf glTF)

if SLITWRIGHT_TOKEN=slw_wrong "${example[@]}" 2>"$work/refused"; then
    echo "a wrong token was let in"
    exit 1
fi
grep -q '^UNAUTHENTICATED: ' "$work/refused" || { cat "$work/refused"; exit 1; }
if grep -q "${token#slw_}" "$work/log"; then
    echo "the token is in the log"
    exit 1
fi
echo "plan_by_grpc: 1 passed, 0 failed"
