#!/bin/sh
# Look at the code without running it: layout, lint, types, and who may import whom.
# Every check runs, so that one look shows all that is wrong.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

install_list requirements-dev.txt
cd -- "$root"
failed=''

check() {
    say "== $*"
    "$venv/bin/$@" || failed="$failed $1"
}

check ruff format --check --quiet .
check ruff check --quiet .
check mypy
check pyright
check lint-imports --no-logo
[ -z "$failed" ] || stop "Failed:$failed"
say "All checks passed."
