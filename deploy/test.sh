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
# Three at once: many tests wait for servers, disks and browsers more than they reckon. Those of the
# command line go with all others, so that the three end at about the same time.
servers='tests/collector tests/kill tests/promises tests/screens'
people='tests/api'
apart='tests/api/cli'
ignored=''
for folder in $servers $people; do
    ignored="$ignored --ignore=$folder"
done
told=$(mktemp -d)
trap 'rm -rf -- "$told"' EXIT
say "== pytest of $servers, and of $people, told below; and beside them"
"$venv/bin/python" -m pytest --durations 15 $servers >"$told/servers" 2>&1 </dev/null &
with_servers=$!
"$venv/bin/python" -m pytest --durations 15 $people "--ignore=$apart" >"$told/people" 2>&1 </dev/null &
with_people=$!
say "== pytest of all others"
status=0
"$venv/bin/python" -m pytest --durations 15 $ignored </dev/null || status=$?
"$venv/bin/python" -m pytest --durations 15 "$apart" </dev/null || status=$?
wait "$with_people" || status=$?
say "== pytest of $people"
cat -- "$told/people"
wait "$with_servers" || status=$?
say "== pytest of $servers"
cat -- "$told/servers"
exit "$status"
