#!/usr/bin/env bash
# Runs the page in Chromium against the real server: a demo piece sent, areas outlined, planned and turned, cuts drawn and judged, a blanket,
# plans compared, pages for the bench saved, on a wide screen and on a phone's, with axe-core looking for what keeps
# people out. With a folder as its argument it leaves pictures of the screens there. Exits with 1 when anything is
# not as it should be.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../.." && pwd)
pictures=${1:-}
chromium=${CHROMIUM:-$(command -v chromium || command -v chromium-browser || true)}
[ -n "$chromium" ] || {
    echo "Chromium is missing: install Debian's package chromium, or let CHROMIUM name one" >&2
    exit 1
}
slitwright=${SLITWRIGHT:-$root/target/debug/slitwright}
pieces=${DEMO_MODELS:-$root/target/debug/demo-models}
[ -x "$slitwright" ] && [ -x "$pieces" ] || (cd "$root" && cargo build --workspace --locked)

venv=$root/.venv-page
"$root/tests/venv.sh" "$venv" "$here/requirements.txt"

work=$(mktemp -d)
servers=()
clean() {
    [ ${#servers[@]} -eq 0 ] || kill "${servers[@]}" 2>/dev/null || true
    rm -rf "$work"
}
trap clean EXIT

# Starts a server called $1 with further options, and leaves the page's address in `address`.
start() {
    local log=$work/$1.log
    # There before the server is: a busy machine may look for it first.
    : >"$log"
    "$slitwright" serve --page --listen 127.0.0.1:0 --store "$work/$1" --log json "${@:2}" 2>"$log" &
    servers+=($!)
    for _ in $(seq 100); do
        address=$(sed -n 's/.*"message":"the page is served","address":"\([^"]*\)".*/\1/p' "$log")
        [ -z "$address" ] || return 0
        sleep 0.1
    done
    cat "$log"
    echo "the server did not start"
    exit 1
}

"$pieces" "$work/models" >/dev/null
start open
open=$address
token=$("$slitwright" token add --tokens "$work/tokens.toml" --name bench --role read)
start guarded --tokens "$work/tokens.toml"

SLITWRIGHT_TOKEN=$token "$venv/bin/python" "$here/in_browser.py" "$open" "$address" "$chromium" "$work/models" \
    ${pictures:+"$pictures"}
if grep -q "${token#slw_}" "$work"/*.log; then
    echo "the token is in the log"
    exit 1
fi
