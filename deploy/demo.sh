#!/bin/sh
# Play the recorded night at Tern Hollow, an invented nursery: deploy/demo.sh [--help]
# Installs what it needs into .venv on the first run. Options are those of `graftvigil demo`.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

install_list requirements.txt
exec "$venv/bin/graftvigil" demo "$@"
