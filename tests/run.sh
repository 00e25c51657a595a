#!/usr/bin/env bash
# Sets up, installs LibreOffice where it can, lints, types, tests; says what it had to skip.
# With --require-all whatever is missing is an error.
set -euo pipefail
cd "$(dirname "$0")/.."
. .ci/venv.sh
[ "${1:-}" != --require-all ] || export SHEETCALC_REQUIRE_ALL=1
export PATH="$PATH:/Applications/LibreOffice.app/Contents/MacOS"

make_venv '[test]'

has_office() {
    command -v soffice >/dev/null && { [ "$(uname)" = Darwin ] || /usr/bin/python3 -c 'import uno' 2>/dev/null; }
}
if ! has_office && command -v apt-get >/dev/null; then
    echo "Installing LibreOffice for the tests ..."
    { as_root apt-get update -qq && as_root apt-get install -qq -y libreoffice-calc python3-uno; } \
        >/dev/null 2>&1 || true
fi

.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
.venv/bin/python -m pytest --numprocesses 2 --dist loadscope "${@:2}"

if ! has_office; then
    echo
    echo "!!! SKIPPED: LibreOffice (with python3-uno) is not installed and could not be, so nothing was tried"
    echo "!!! in a real spreadsheet program. Install it and run this again before you trust a change."
    [ -z "${SHEETCALC_REQUIRE_ALL:-}" ] || exit 1
fi
