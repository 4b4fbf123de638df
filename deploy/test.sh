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
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need influxd influxdb
need nginx nginx
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
ignored='--ignore=tests/api'
for folder in $servers $screens; do
    ignored="$ignored --ignore=$folder"
done
told=$(mktemp -d)
trap 'rm -rf -- "$told"' EXIT
run_beside() {
    name=$1
    shift
    "$venv/bin/python" -m pytest --durations 15 "$@" >"$told/$name" 2>&1 </dev/null &
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
say "== pytest of all others"
status=0
"$venv/bin/python" -m pytest --durations 15 $ignored </dev/null || status=$?
say "== pytest of tests/api/cli"
"$venv/bin/python" -m pytest --durations 15 tests/api/cli </dev/null || status=$?
wait "$with_pages" || status=$?
say "== pytest of $pages"
cat -- "$told/pages"
wait "$with_screens" || status=$?
say "== pytest of $screens"
cat -- "$told/screens"
wait "$with_people" || status=$?
say "== pytest of $people"
cat -- "$told/people"
wait "$with_servers" || status=$?
say "== pytest of $servers"
cat -- "$told/servers"
exit "$status"
