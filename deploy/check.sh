#!/bin/sh
# Look at the code without running it: layout, lint, types, and who may import whom.
# Every check runs, so that one look shows all that is wrong.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

install_list requirements-dev.txt
cd -- "$root"
failed=''
told=$(mktemp -d)
trap 'rm -rf -- "$told"' EXIT

check() {
    say "== $*"
    "$venv/bin/$@" || failed="$failed $1"
}

# The two that look at types take most of the time, one core each.
"$venv/bin/mypy" >"$told/mypy" 2>&1 &
mypy=$!
"$venv/bin/pyright" >"$told/pyright" 2>&1 &
pyright=$!
check ruff format --check --quiet .
check ruff check --quiet .
check lint-imports --no-logo
for name in mypy pyright; do
    eval "process=\$$name"
    say "== $name"
    wait "$process" || failed="$failed $name"
    cat -- "$told/$name"
done
[ -z "$failed" ] || stop "Failed:$failed"
say "All checks passed."
