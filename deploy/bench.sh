#!/bin/sh
# Measure one thing against a named baseline in the same run: deploy/bench.sh NAME [options]
# Without a name, lists what can be measured.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

list() {
    for file in "$root"/tests/bench/*.py; do
        [ -f "$file" ] && printf '%s\n' "$(basename -- "$file" .py)"
    done
    return 0
}

if [ $# -eq 0 ]; then
    list
    exit 0
fi
name=$1
shift
case $name in
*/* | .* | '')
    say "A benchmark is named without folders, as deploy/bench.sh lists them."
    exit 2
    ;;
esac
if [ ! -f "$root/tests/bench/$name.py" ]; then
    say "There is no benchmark $name. There are:"
    list >&2
    exit 2
fi
install_list requirements-dev.txt
exec "$venv/bin/python" "$root/tests/bench/$name.py" "$@"
