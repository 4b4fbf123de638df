#!/bin/sh
# Build the pages of docs/ as HTML, to be read without a network: deploy/docs.sh [FOLDER]
# Into build/docs unless said otherwise. A warning, such as a link that leads nowhere, is an error.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

folder=${1:-$root/build/docs}
install_list requirements-dev.txt
"$venv/bin/python" -m sphinx -b html -W --keep-going --quiet -d "$folder/.doctrees" \
    "$root/docs" "$folder"
say "Open $folder/index.html"
