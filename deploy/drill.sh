#!/usr/bin/env bash
# Restore drill: proves that a backup brings the program back, without touching the program that runs.
#   bash deploy/drill.sh                 the newest in COILBOOK_BACKUPS (data/backups)
#   bash deploy/drill.sh FILE            this one
# Checks it, restores it into an empty folder, starts the service on it and asks whether it is ready.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
began=$SECONDS

backups="${COILBOOK_BACKUPS:-data/backups}"
file="${1-}"
if [ -z "$file" ]; then
    for each in "$backups"/coilbook-[0-9]*Z.db; do # by name, which is by age
        [ ! -f "$each" ] || file="$each"
    done
fi
if [ -z "$file" ]; then
    echo "Coilbook: there is no backup in $backups yet; make one: coilbook backup" >&2
    exit 1
fi
checked="$(.venv/bin/coilbook backup --verify "$file")" # not a pipe to head: closing it early would fail
echo "${checked%%$'\n'*}"

folder="$(mktemp -d)"
service=""
finish() {
    [ -z "$service" ] || kill "$service" 2>/dev/null || true
    wait
    rm -rf "$folder"
}
trap finish EXIT
export COILBOOK_DATABASE_URL="sqlite:///$folder/coilbook.db" COILBOOK_BACKUPS="$folder/backups"
unset COILBOOK_BASE_URL COILBOOK_SMTP_URL COILBOOK_MAIL_FROM # a drill sends nothing to anybody
.venv/bin/coilbook restore "$file"
.venv/bin/coilbook housekeeping # due states have changed since the backup was made
.venv/bin/coilbook housekeeping --verify

port="${PORT:-8099}"
.venv/bin/coilbook serve --port "$port" >"$folder/output" 2>&1 &
service=$!
.venv/bin/python - "$port" <<'PYTHON'
import sys, time, urllib.error, urllib.request
for _ in range(100):
    try:
        urllib.request.urlopen(f"http://127.0.0.1:{sys.argv[1]}/readyz", timeout=5).read()
        break
    except OSError:
        time.sleep(0.1)
else:
    sys.exit("Coilbook: the service did not start on the restored database.")
PYTHON
kill -0 "$service" 2>/dev/null || { cat "$folder/output" >&2; exit 1; }
echo "The drill took $((SECONDS - began)) s: the backup is whole, restored, and the service is ready on it."
