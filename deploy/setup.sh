#!/usr/bin/env bash
# Makes Coilbook's own Python environment in .venv, from the pinned and hashed versions in deploy/.
#   bash deploy/setup.sh           what the service needs
#   bash deploy/setup.sh --test    what its tests need on top
# Run it again whenever you like: it does nothing when nothing has changed. PYTHON=… chooses the interpreter.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
unset PYTHONDONTWRITEBYTECODE # cached byte code makes a cold start almost four times faster

stop() {
    echo "Coilbook: $1" >&2
    exit 1
}

lock=deploy/requirements.txt
case "${1-}" in
"") ;;
--test) lock=deploy/requirements-test.txt ;;
*) stop "setup.sh knows only the option --test, not '$1'." ;;
esac

# A stamp holds everything that an environment was made from. It is written last: without one, setup was interrupted.
stamp() {
    .venv/bin/python -VV && pwd -P && cat pyproject.toml deploy/requirements-lists.txt "$1"
}
stamped() {
    [ -f ".venv/$(basename "$1").stamp" ] && stamp "$1" 2>/dev/null | cmp -s - ".venv/$(basename "$1").stamp"
}
if stamped deploy/requirements-test.txt || stamped "$lock"; then
    exit 0
fi

find_python() {
    local candidate found=""
    for candidate in ${PYTHON:-python3.14 python3.13 python3.12 python3.11 python3}; do
        "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || continue
        found="$candidate"
        if "$candidate" -c 'import ensurepip, venv' 2>/dev/null; then
            echo "$candidate"
            return
        fi
    done
    if [ -n "$found" ]; then
        stop "$found has no venv module with pip; install it (Debian and Ubuntu: apt-get install python3-venv) and try again."
    fi
    stop "Python 3.11 or newer is needed and was not found${PYTHON:+ as $PYTHON}; install it from your system's packages or python.org and try again."
}

# An environment that is unfinished, was moved or copied here, or has lost its interpreter is made again.
usable() {
    ls .venv/*.stamp && .venv/bin/pip --version | grep -F " from $(pwd -P)/.venv/"
}
if ! usable >/dev/null 2>&1; then
    python="$(find_python)"
    "$python" -m venv --clear .venv || stop "$python could not make .venv; the lines above say why."
fi
rm -f .venv/*.stamp

echo "Installing Coilbook's packages into .venv; the first time takes a minute or two."
install=(.venv/bin/python -m pip install --quiet --no-input --disable-pip-version-check)
"${install[@]}" --require-hashes --requirement "$lock" ||
    stop "the packages could not be installed; check the connection to the package index and try again."
"${install[@]}" --no-deps --no-build-isolation --editable . ||
    stop "the service itself could not be installed; the lines above say why."
lists="$(mktemp -d)"
trap 'rm -rf "$lists"' EXIT
"${install[@]}" --require-hashes --no-compile --target "$lists" --requirement deploy/requirements-lists.txt ||
    stop "the lists of common passphrases could not be fetched; check the connection to the package index and try again."
.venv/bin/python -m service.crew.common_passphrases "$lists" || stop "the common passphrases could not be read; the lines above say why."
.venv/bin/python -m compileall -q service migrations

for made in "$lock" deploy/requirements.txt; do
    stamp "$made" >".venv/$(basename "$made").stamp"
done
