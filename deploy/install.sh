#!/bin/sh
# Install graftvigil on a Debian board, or bring it to the state of this clone. See --help.
set -eu
root=$(cd -- "$(dirname -- "$0")/.." && pwd)
. "$root/deploy/common.sh"

usage() {
    cat <<'HELP'
usage: sh deploy/install.sh [--dry-run] [--stop] [--root DIR]

Installs graftvigil for a whole board, as its own user, started by systemd. Calling it again changes
only what is not yet as in this clone, so it is also how to upgrade. Every step is printed.

  --dry-run   print the steps and change nothing
  --stop      where graftvigil runs: stop it, put the new one in its place, start it again
  --root DIR  lay the files out under DIR, to be looked at: Python packages are left out, since they
              must be made where they run, and nothing is started

What it makes:
  /opt/graftvigil/releases/NAME  programs, read-only; /opt/graftvigil/current points to one of them
  /usr/local/bin/graftvigil      the command, run as the user graftvigil with the settings
  /etc/graftvigil                settings (graftvigil.env) and secrets; yours, never overwritten
  /var/lib/graftvigil            site.toml, plans and graftvigil-data; yours, never overwritten
  /etc/systemd/system/graftvigil.service, /usr/lib/sysusers.d/graftvigil.conf

It backs up nothing: do that before an upgrade, since a newer one brings the records to a form that
an older one does not read. It never replaces a graftvigil that is running, unless told to --stop.

Exit codes: 0 good, 1 refused or failed, 2 bad usage.
HELP
}

dry=no
stop=no
at=''
while [ $# -gt 0 ]; do
    case $1 in
    --dry-run) dry=yes ;;
    --stop) stop=yes ;;
    --root)
        [ $# -ge 2 ] || { say "--root needs a folder. --help explains."; exit 2; }
        at=$2
        shift
        ;;
    --help | -h) usage; exit 0 ;;
    *) say "$1 is not known. --help explains."; exit 2 ;;
    esac
    shift
done
case $at in
'') ;;
/*) at=${at%/} ;;
*) at=$PWD/${at%/} ;;
esac

opt=$at/opt/graftvigil
etc=$at/etc/graftvigil
state=$at/var/lib/graftvigil
umask 022

# Print a step; do it unless this is a dry run.
step() {
    say "  $*"
    [ "$dry" = yes ] || "$@"
}

# The name of what this clone would install: its version, and a hash of all that goes in.
release_name() {
    version=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$root/pyproject.toml")
    hash=$(
        cd -- "$root" &&
            find rules collector api docs demo_data/plans deploy/first_site.toml deploy/mosquitto \
                deploy/requirements.txt pyproject.toml README.md LICENSE \
                -type f ! -path '*/__pycache__/*' | LC_ALL=C sort |
            while IFS= read -r file; do sha256sum -- "$file"; done | sha256sum | cut -c 1-12
    )
    printf '%s-%s\n' "$version" "$hash"
}

# Who holds the data: 0 when a graftvigil runs, whoever started it.
is_running() {
    if [ -z "$at" ] && has_systemd && systemctl --quiet is-active graftvigil.service; then
        return 0
    fi
    [ -f "$state/graftvigil-data/lock" ] || return 1
    ! flock --nonblock "$state/graftvigil-data/lock" true
}

has_systemd() {
    [ -d /run/systemd/system ]
}

# Copy a file of ours to its place; say whether that changes anything. put MODE FROM TO
put() {
    if [ -f "$3" ] && cmp -s -- "$2" "$3"; then
        say "  as it should be: $3"
    else
        step install -D -m "$1" -- "$2" "$3"
    fi
}

# Give a file or folder to the user or to root, and to the group: own WHO MODE PATH...
own() {
    owner=$1
    mode=$2
    shift 2
    ids=$(number_of "$owner" passwd):$(number_of graftvigil group)
    for path in "$@"; do
        now=$(stat -c '%u:%g %a' -- "$path" 2>/dev/null) || now=''
        if [ "$now" != "$ids $mode" ]; then
            # Under --root whoever looks need not be root; then only the modes are as on a board.
            [ "$(id -u)" -ne 0 ] && [ -n "$at" ] || step chown -- "$ids" "$path"
            step chmod -- "$mode" "$path"
        fi
    done
}

# The number of a name as the board itself knows it, which under --root is not this machine.
number_of() {
    found=$(awk -F: -v name="$1" '$1 == name { print $3 }' "$at/etc/$2" 2>/dev/null) || found=''
    # A dry run on a new board: the user is not there yet.
    printf '%s\n' "${found:-$1}"
}

check_board() {
    case $(uname -s).$(uname -m) in
    Linux.x86_64 | Linux.aarch64) ;;
    *) stop "This is a $(uname -m) system. Some packages exist for 64 bits only: put a 64-bit Debian on the board." ;;
    esac
    [ "$dry" = yes ] || [ -n "$at" ] || [ "$(id -u)" -eq 0 ] || stop "Call it as root: sudo sh deploy/install.sh"
    for tool in systemd-sysusers flock; do
        command -v "$tool" >/dev/null 2>&1 || stop "$tool is missing here. A Debian or Ubuntu with systemd is needed."
    done
}

# Refuse to pull the ground from under one that runs; one that is of this very state is left alone.
make_way() {
    was_running=no
    is_running || return 0
    was_running=yes
    if [ "$(readlink -- "$opt/current" 2>/dev/null)" = "releases/$name" ]; then
        return 0
    fi
    say "Another graftvigil is running on $state/graftvigil-data."
    if [ "$stop" = no ]; then
        say "Back up first, then either stop it (sudo systemctl stop graftvigil) and call this again,"
        stop "or call: sudo sh deploy/install.sh --stop. Nothing was changed."
    fi
    if [ -n "$at" ] || ! has_systemd || ! systemctl --quiet is-active graftvigil.service; then
        stop "It was not started by systemd, so stop it yourself, then call this again. Nothing was changed."
    fi
}

make_release() {
    say "Programs: $release"
    if [ -f "$release/complete" ]; then
        say "  as they should be"
        return 0
    fi
    # What a power cut left half made is made anew.
    [ ! -e "$release" ] || step rm -rf -- "$release"
    if [ -n "$at" ]; then
        say "  left out under --root: Python packages"
        step mkdir -p -- "$release"
    else
        [ "$dry" = yes ] || find_python
        step "${python:-python3}" -m venv --clear -- "$release"
        venv=$release
        step pip_install --require-hashes --only-binary :all: -r "$root/deploy/requirements.txt"
        step pip_install --no-deps --no-build-isolation --no-index "$root"
    fi
    step cp -R -- "$root/docs" "$release/docs"
    step mkdir -p -- "$release/example"
    step cp -R -- "$root/deploy/first_site.toml" "$root/demo_data/plans" \
        "$root/deploy/mosquitto" "$release/example/"
    [ -n "$at" ] || step touch -- "$release/complete"
}

make_user() {
    say "User"
    [ -d "$at/etc" ] || step mkdir -p -- "$at/etc"
    put 644 "$root/deploy/systemd/graftvigil.sysusers" "$at/usr/lib/sysusers.d/graftvigil.conf"
    step systemd-sysusers --root="${at:-/}" "$at/usr/lib/sysusers.d/graftvigil.conf"
}

make_folders() {
    say "Settings and data"
    step mkdir -p -- "$etc/secrets" "$state/plans"
    if [ -e "$etc/graftvigil.env" ]; then
        say "  yours, left as it is: $etc/graftvigil.env"
    else
        step install -m 640 -- "$root/deploy/systemd/graftvigil.env" "$etc/graftvigil.env"
    fi
    own root 750 "$etc" "$etc/secrets"
    own root 640 "$etc/graftvigil.env"
    for plan in "$root"/demo_data/plans/*.toml; do
        mine=$state/plans/$(basename -- "$plan")
        if [ -e "$mine" ]; then
            say "  yours, left as it is: $mine"
        else
            step install -m 640 -- "$plan" "$mine"
            own graftvigil 640 "$mine"
        fi
    done
    own graftvigil 750 "$state" "$state/plans"
}

# Everything is ready; only now the old one stops, and is away for as long as a link takes to change.
switch() {
    if [ "$(readlink -- "$opt/current" 2>/dev/null)" = "releases/$name" ]; then
        say "In force already: $name"
    else
        say "Putting $name in force"
        [ "$was_running" = no ] || step systemctl stop graftvigil.service
        step ln -sfn -- "releases/$name" "$opt/current.new"
        step mv -T -- "$opt/current.new" "$opt/current"
    fi
    put 755 "$root/deploy/systemd/graftvigil-command" "$at/usr/local/bin/graftvigil"
    put 644 "$root/deploy/systemd/graftvigil.service" "$at/etc/systemd/system/graftvigil.service"
    if [ -n "$at" ]; then
        step systemctl --root="$at" --quiet enable graftvigil.service
    elif has_systemd; then
        step systemctl daemon-reload
        step systemctl --quiet enable graftvigil.service
        [ "$was_running" = no ] || step systemctl start graftvigil.service
    else
        say "  systemd does not run here: enable graftvigil.service once it does"
    fi
}

name=$(release_name)
release=$opt/releases/$name
[ "$dry" = no ] || say "Dry run: nothing is changed."
say "graftvigil $name"
check_board
make_way
make_release
make_user
make_folders
switch
if [ "$dry" = yes ]; then
    say "These would be the steps. Nothing was changed."
elif [ -e "$state/site.toml" ]; then
    say "Done. State: systemctl status graftvigil; log: journalctl -u graftvigil"
else
    say "Done. Next: write $state/site.toml, as docs/first_time.md shows, then"
    say "sudo systemctl start graftvigil"
fi
printf '%s\n' "$name"
