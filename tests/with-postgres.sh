#!/usr/bin/env bash
# Runs a command beside a PostgreSQL that is there for it alone: tests/with-postgres.sh COMMAND...
# SLITWRIGHT_TEST_DATABASE tells the command how to connect. Installs Debian's postgresql where there
# is none. The cluster lies in a folder that goes when the command ends, however it ends.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)

# PostgreSQL's programs; Debian keeps them off the PATH.
programs() {
    local initdb
    for initdb in "$(command -v initdb || true)" $(printf '%s\n' /usr/lib/postgresql/*/bin/initdb | sort -rV); do
        [ -x "$initdb" ] || continue
        initdb=$(readlink -f "$initdb")
        [ -x "${initdb%/*}/pg_ctl" ] && [ -x "${initdb%/*}/postgres" ] || continue
        echo "${initdb%/*}"
        return
    done
}

bin=$(programs)
if [ -z "$bin" ]; then
    "$here/build-needs.sh" postgresql
    bin=$(programs)
fi
[ -n "$bin" ] || { echo "with-postgres.sh: initdb, pg_ctl and postgres are nowhere" >&2; exit 1; }

# It refuses to run as root.
as=()
if [ "$(id -u)" -eq 0 ]; then
    user=postgres
    id "$user" >/dev/null 2>&1 || user=nobody
    as=(runuser -u "$user" --)
fi

# In /tmp: the path of a socket has to be short.
place=$(mktemp -d /tmp/slitwright-postgres.XXXXXX)
[ ${#as[@]} -eq 0 ] || chown "$user" "$place"
chmod 755 "$place"
stop() {
    (cd "$place" && ${as[@]+"${as[@]}"} "$bin/pg_ctl" -D "$place/data" -m immediate stop) >/dev/null 2>&1 || true
    rm -rf "$place"
}
trap stop EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

(
    cd "$place"
    ${as[@]+"${as[@]}"} "$bin/initdb" -D "$place/data" -U postgres -A trust -E UTF8 --locale=C --no-sync
    # Nothing in it is worth a sync: what is tested is the server, not the disk.
    ${as[@]+"${as[@]}"} "$bin/pg_ctl" -D "$place/data" -l "$place/log" -w start -o \
        "-k $place -c listen_addresses='' -c fsync=off -c full_page_writes=off -c max_connections=400"
) >"$place.out" 2>&1 || { cat "$place.out" "$place/log" >&2; rm -f "$place.out"; exit 1; }
rm -f "$place.out"

export SLITWRIGHT_TEST_DATABASE="postgres:///postgres?host=$place&user=postgres"
"$@"
