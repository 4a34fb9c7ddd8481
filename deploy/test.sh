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

# The headless browser takes 0.4 of the time; if it cannot be installed, the other one is used.
if [ ${#fast[@]} -eq 0 ] && ! command -v chromium-headless-shell >/dev/null && [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
    { timeout 120 apt-get update -qq && DEBIAN_FRONTEND=noninteractive timeout 300 apt-get install -y -qq --no-install-recommends chromium-headless-shell; } >/dev/null 2>&1 ||
        echo "Coilbook: chromium-headless-shell could not be installed; the tests in a browser take longer with chromium." >&2
fi

bash deploy/setup.sh --test
.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/deno lint --quiet --config deploy/deno.json
# Files are kept in memory if there is room: the tests check what a killed process leaves, not a power failure.
if [ -z "${TMPDIR:-}" ] && [ -w /dev/shm ] && [ "$(df --output=avail /dev/shm | tail -1)" -gt 4000000 ]; then
    export TMPDIR=/dev/shm
fi
# Types are checked while the tests run, since that keeps one core busy; their errors are shown at the end.
output="$(mktemp)"
trap 'rm -f "$output"' EXIT
{ .venv/bin/mypy && .venv/bin/deno check --quiet --config deploy/deno.json static; } >"$output" 2>&1 &
types=$!
failed=0
# Each worker gets a part of the tests, so that the fixtures of a file are made once; a worker that is done helps others.
# Three workers for two cores, since tests wait a third of the time: for a browser, or for a process to start.
.venv/bin/pytest -n 3 --dist worksteal "${fast[@]}" "$@" || failed=$?
wait "$types" || failed=1
cat "$output"
exit "$failed"
