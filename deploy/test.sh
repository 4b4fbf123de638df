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
need chromedriver chromium-driver
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
# Two at once: many tests wait for servers, disks and browsers more than they reckon.
apart='tests/collector tests/kill tests/promises tests/screens'
ignored=''
for folder in $apart; do
    ignored="$ignored --ignore=$folder"
done
said=$(mktemp)
trap 'rm -f -- "$said"' EXIT
say "== pytest of $apart, told below; and beside it"
"$venv/bin/python" -m pytest --durations 15 $apart >"$said" 2>&1 </dev/null &
beside=$!
say "== pytest of all others"
status=0
"$venv/bin/python" -m pytest --durations 15 $ignored </dev/null || status=$?
wait "$beside" || status=$?
say "== pytest of $apart"
cat -- "$said"
exit "$status"
