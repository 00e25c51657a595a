# Sourced by the two set-up commands: makes .venv in the clone and installs the project into it.
# Needs nothing but Python 3.11 or newer. Usage: make_venv [EXTRAS]

find_python() {
    local candidate
    for candidate in python3 python3.14 python3.13 python3.12 python3.11 python; do
        if command -v "$candidate" >/dev/null &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$candidate"
            return
        fi
    done
    echo "sheetcalc needs Python 3.11 or newer, and none was found. Install it, then run this again." >&2
    return 1
}

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}

make_venv() {
    local python
    if ! .venv/bin/python -m pip --version >/dev/null 2>&1; then
        python=$(find_python) || return 1
        rm -rf .venv
        # Debian keeps ensurepip, which venv needs, in a package of its own.
        if ! "$python" -m venv .venv >/dev/null 2>&1; then
            rm -rf .venv
            if ! { command -v apt-get >/dev/null && as_root apt-get update -qq &&
                as_root apt-get install -qq -y python3-venv; } >/dev/null 2>&1 ||
                ! "$python" -m venv .venv; then
                echo "Python can't make a virtual environment here." >&2
                echo "On Debian or Ubuntu run 'sudo apt install python3-venv', then run this again." >&2
                return 1
            fi
        fi
    fi
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".${1:-}"
}
