#!/bin/sh
# Every check and every test, with a real broker, mail server and browser: deploy/test.sh
# Options are handed to pytest, as in deploy/test.sh -m 'not slow'.
# Nothing is left out in silence: a test that is skipped counts as failed here.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

wanted=''
need() {
    command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ] || wanted="$wanted $2"
}
need git git
need curl curl
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need influxd influxdb
need nginx nginx
need systemd-analyze systemd
need systemd-sysusers systemd
need openssl openssl
need faketime faketime
[ -n "$(ls /usr/lib/postgresql/*/bin/postgres 2>/dev/null)" ] || need postgres postgresql
need nsenter util-linux
need chromium chromium
[ -d /usr/share/fonts/truetype ] || wanted="$wanted fonts-dejavu-core"
if [ -n "$wanted" ]; then
    # Unquoted on purpose: one word for each package.
    apt_install $wanted
    # Installing a server may start it for the whole machine; the tests start servers of their
    # own, on ports of their own, so these are put to rest again.
    for server in mosquitto influxdb nginx postgresql; do
        case "$wanted " in
        *" $server "*) as_root service "$server" stop >&2 2>/dev/null || true ;;
        esac
    done
fi

install_list requirements-dev.txt
recorded=$venv/recorded
if ! cmp -s "$root/deploy/requirements-recorded.txt" "$recorded/.from"; then
    rm -rf -- "$recorded"
    pip_install --no-deps --require-hashes --only-binary :all: --target "$recorded" \
        -r "$root/deploy/requirements-recorded.txt"
    cp -- "$root/deploy/requirements-recorded.txt" "$recorded/.from"
fi
sh "$root/deploy/check.sh"
cd -- "$root"
CI=true
export CI
if [ $# -gt 0 ]; then
    say "== pytest"
    exec "$venv/bin/python" -m pytest --durations 15 "$@" </dev/null
fi
# Five at once: many tests wait for servers, disks and browsers more than they reckon, and so all
# end at about the same time. Each is told whole once it has ended.
servers='tests/collector tests/kill tests/promises'
screens='tests/screens'
pages='tests/api/web'
people='tests/api --ignore=tests/api/web --ignore=tests/api/cli'
ignored='--ignore=tests/api --ignore=tests/documents'
for folder in $servers $screens; do
    ignored="$ignored --ignore=$folder"
done
told=$(mktemp -d)
TESTS_SHARE=$(mktemp -d)
export TESTS_SHARE
trap 'rm -rf -- "$told" "$TESTS_SHARE"' EXIT
run_beside() {
    name=$1
    shift
    "$venv/bin/python" -m pytest --durations 15 "$@" >"$told/$name" 2>&1 </dev/null &
}
status=0
tell() {
    wait "$1" || status=1
    say "== pytest of $2"
    cat -- "$told/$2"
}
# Unquoted on purpose: a word for each folder or option.
run_beside servers $servers
with_servers=$!
run_beside screens $screens
with_screens=$!
run_beside pages $pages
with_pages=$!
run_beside people $people
with_people=$!
run_beside others $ignored
tell $! others
run_beside commands tests/api/cli tests/documents
tell $! commands
tell "$with_pages" pages
tell "$with_screens" screens
tell "$with_people" people
tell "$with_servers" servers
# Ends with 3 where nobody could be asked: it has said so itself, and that is no fault of the change.
say "== audit of the dependencies"
sh "$root/deploy/audit.sh" >&2 || [ $? -eq 3 ] || status=1
if [ "$status" -ne 0 ]; then
    # Once more at the end: what failed stands far up in what was told.
    say "== what failed"
    grep -h -E '^(FAILED|ERROR) ' "$told"/* || say "nothing by name: see above"
fi
exit "$status"
