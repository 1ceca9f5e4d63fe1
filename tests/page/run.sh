#!/usr/bin/env bash
# Runs the page in Chromium against the real server: a demo piece sent, planned and turned, cuts drawn and judged,
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
server=
clean() {
    [ -z "$server" ] || kill "$server" 2>/dev/null || true
    rm -rf "$work"
}
trap clean EXIT

"$pieces" "$work/models" >/dev/null
"$slitwright" serve --page --listen 127.0.0.1:0 --store "$work/store" --log json 2>"$work/log" &
server=$!
address=
for _ in $(seq 100); do
    address=$(sed -n 's/.*"message":"the page is served","address":"\([^"]*\)".*/\1/p' "$work/log")
    [ -z "$address" ] || break
    sleep 0.1
done
[ -n "$address" ] || { cat "$work/log"; echo "the server did not start"; exit 1; }

"$venv/bin/python" "$here/in_browser.py" "$address" "$chromium" "$work/models" ${pictures:+"$pictures"}
