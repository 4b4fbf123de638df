#!/bin/sh
# Work out the exact versions again: deploy/requirements.txt to run, requirements-dev.txt for all.
# Needs uv. Names, versions and hashes only: no address of any package index is written.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
scratch=$(mktemp -d)
trap 'rm -rf -- "$scratch"' EXIT
mkdir "$scratch/rules" "$scratch/collector" "$scratch/api"
cp "$root/pyproject.toml" "$root/README.md" "$root/LICENSE" "$scratch/"

export_to() {
    file=$1
    shift
    uv export --quiet --project "$scratch" --no-emit-project --no-header --no-annotate \
        --format requirements.txt "$@" >"$scratch/locked.txt"
    mv "$scratch/locked.txt" "$root/deploy/$file"
}

uv lock --quiet --project "$scratch"
export_to requirements.txt --no-default-groups --group build
export_to requirements-dev.txt --all-groups
