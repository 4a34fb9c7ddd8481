#!/usr/bin/env bash
# Sets Coilbook up and serves it.
#   bash deploy/run.sh             with the demo in it if it has nothing else
#   bash deploy/run.sh --empty     without, for a program of your own
# PORT=8001 chooses another port. The database is data/coilbook.db, or what COILBOOK_DATABASE_URL names.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
unset PYTHONDONTWRITEBYTECODE

case "${1-}" in
"" | --empty) ;;
*) echo "Coilbook: run.sh knows only the option --empty, not '$1'." >&2 && exit 1 ;;
esac
if [ -n "${1-}" ] && [ -z "${COILBOOK_DATABASE_URL-}" ] && [ -e data/coilbook.db ]; then
    echo "Going on with the program that is in data. If that is the demo: Ctrl-C, mv data data-demo, and start again."
fi

bash deploy/setup.sh
.venv/bin/coilbook migrate
[ -n "${1-}" ] || .venv/bin/coilbook demo
exec .venv/bin/coilbook serve --host 0.0.0.0 --port "${PORT:-8000}"
