#!/usr/bin/env bash
# Checks everything: style, types, and every test on both databases and in a browser.
#   bash deploy/test.sh              all of it
#   bash deploy/test.sh --fast       without a browser, PostgreSQL and the slow tests
#   bash deploy/test.sh -k tags      arguments go to pytest, after --fast too
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
unset PYTHONDONTWRITEBYTECODE

fast=()
if [ "${1-}" = --fast ]; then
    shift
    fast=(--fast)
fi

# The tests drive a real browser and a real PostgreSQL, which come from the system's packages.
missing=()
if [ ${#fast[@]} -eq 0 ]; then
    command -v chromium chromium-browser google-chrome >/dev/null || missing+=(chromium)
    compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || command -v initdb >/dev/null || missing+=(postgresql)
fi
if [ ${#missing[@]} -gt 0 ]; then
    if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null; then
        echo "Coilbook: the tests need ${missing[*]}; install it (Debian: sudo apt-get install ${missing[*]}) and try again." >&2
        exit 1
    fi
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}"
fi

# The same browser without a window takes 0.4 of the time; where it is not to be had, the other one does.
if [ ${#fast[@]} -eq 0 ] && ! command -v chromium-headless-shell >/dev/null && [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
    { timeout 120 apt-get update -qq && DEBIAN_FRONTEND=noninteractive timeout 300 apt-get install -y -qq --no-install-recommends chromium-headless-shell; } >/dev/null 2>&1 ||
        echo "Coilbook: chromium-headless-shell could not be installed; the tests in a browser take longer with chromium." >&2
fi

bash deploy/setup.sh --test
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/deno lint --quiet --config deploy/deno.json
# Files in memory, where there is room: what the tests ask is what a killed process leaves, not a dead machine.
if [ -z "${TMPDIR:-}" ] && [ -w /dev/shm ] && [ "$(df --output=avail /dev/shm | tail -1)" -gt 4000000 ]; then
    export TMPDIR=/dev/shm
fi
# Types are checked beside the tests, since that keeps one core busy; what is wrong with them is said at the end.
said="$(mktemp)"
trap 'rm -f "$said"' EXIT
{ .venv/bin/mypy && .venv/bin/deno check --quiet --config deploy/deno.json static; } >"$said" 2>&1 &
types=$!
failed=0
# Each worker has a part of its own, so that what a file sets up is set up once; who is done first helps the others. Three
# for two cores, since a third of the time a test waits: for a browser, for a process that starts.
.venv/bin/pytest -n 3 --dist worksteal "${fast[@]}" "$@" || failed=$?
wait "$types" || failed=1
cat "$said"
exit "$failed"
