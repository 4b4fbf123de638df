# What the recipes share; read in by them, not run. Needs `root`, the folder of the clone.
#
# Speaks on standard error only, so that a recipe's own output stays clean.

venv=$root/.venv
lowest_python='3.11'

say() {
    printf '%s\n' "$*" >&2
}

stop() {
    say "$*"
    exit 1
}

as_root() {
    if [ "$(id -u)" -eq 0 ]; then
        "$@"
    elif command -v sudo >/dev/null 2>&1; then
        sudo -- "$@"
    else
        stop "This needs root, and sudo is not here: $*"
    fi
}

# Install Debian or Ubuntu packages; the package tool's own words go to standard error.
apt_install() {
    command -v apt-get >/dev/null 2>&1 ||
        stop "Install these with your system's package tool, then run this again: $*"
    say "Installing system packages: $*"
    as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq >&2 </dev/null
    as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "$@" >&2 </dev/null
}

is_new_enough() {
    "$1" -c "import sys; sys.exit(sys.version_info < tuple(map(int, '$lowest_python'.split('.'))))" \
        >/dev/null 2>&1
}

# Set `python` to the first Python on the path that is new enough; fail when there is none.
look_for_python() {
    for python in python3 python3.13 python3.12 python3.11; do
        if command -v "$python" >/dev/null 2>&1 && is_new_enough "$python"; then
            return 0
        fi
    done
    return 1
}

find_python() {
    look_for_python || apt_install python3 python3-venv ca-certificates
    look_for_python || stop "Python $lowest_python or newer is needed, and this system has none."
    if ! "$python" -c 'import ensurepip, venv' >/dev/null 2>&1; then
        version=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
        apt_install "python$version-venv"
    fi
}

# Make the virtual environment, or make it anew when it is broken or was moved from elsewhere.
make_venv() {
    if [ -x "$venv/bin/python" ] && is_new_enough "$venv/bin/python" &&
        "$venv/bin/python" -c 'import pip' >/dev/null 2>&1 &&
        grep -qF -e "$venv" "$venv/bin/activate" 2>/dev/null; then
        return 0
    fi
    find_python
    say "Making a virtual environment in $venv"
    "$python" -m venv --clear "$venv" >&2
}

# What the environment was made from: a change in any of it installs again.
fingerprint() {
    {
        cat -- "$root/deploy/$1" "$root/pyproject.toml"
        "$venv/bin/python" -c 'import sys; print(sys.version, sys.prefix)'
    } | sha256sum | cut -d ' ' -f 1
}

is_installed() {
    [ -f "$venv/installed-$1" ] && [ "$(cat -- "$venv/installed-$1")" = "$(fingerprint "$1")" ]
}

# Install one list of exact versions, every file checked against its hash, and graftvigil itself.
# The build tools are in requirements.txt, so that nothing is fetched beside the lists; psychrolib,
# which tests compare with, is published as source only.
install_list() {
    make_venv
    if is_installed "$1" || { [ "$1" = requirements.txt ] && is_installed requirements-dev.txt; }; then
        return 0
    fi
    say "Installing Python packages from deploy/$1 (the first time takes a minute or two)"
    pip_install --require-hashes --only-binary :all: -r "$root/deploy/requirements.txt"
    if [ "$1" != requirements.txt ]; then
        pip_install --require-hashes --only-binary :all: --no-binary psychrolib \
            --use-pep517 --no-build-isolation -r "$root/deploy/$1"
    fi
    pip_install --no-deps --no-build-isolation --no-index --editable "$root"
    fingerprint "$1" >"$venv/installed-$1"
}

pip_install() {
    "$venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-input "$@" \
        >&2 </dev/null
}
