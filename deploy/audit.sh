#!/bin/sh
# Hold what runs against published advisories: deploy/audit.sh [all]
# Looks at the exact versions of deploy/requirements.txt; with `all`, also of what only tests need.
#
# Ends with 0: every package was looked up and nothing is known against any. 1: something is known,
# and stands above. 3: not everything could be looked up, as without a network; says so, and never
# passes for clean. deploy/test.sh calls it last: what is known fails there, and what could not be
# looked up is said and does not. Run it each week as well, by a timer.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

list=requirements.txt
[ "${1:-}" = all ] && list=requirements-dev.txt
install_list requirements-dev.txt
told=$(mktemp -d)
trap 'rm -rf -- "$told"' EXIT
service=${GRAFTVIGIL_AUDIT_SERVICE:-pypi}

# Names and versions come from our list alone; nothing is resolved or installed. A service that never
# answers is given up on.
status=0
timeout 120 "$venv/bin/pip-audit" --requirement "$root/deploy/$list" --no-deps --disable-pip \
    --vulnerability-service "$service" --format json --progress-spinner off --timeout 15 \
    --output "$told/found.json" ${GRAFTVIGIL_AUDIT_URL:+--osv-url "$GRAFTVIGIL_AUDIT_URL"} \
    2>"$told/said" || status=$?
exec "$venv/bin/python" "$root/deploy/audit.py" "$told/found.json" "$told/said" "$status"
