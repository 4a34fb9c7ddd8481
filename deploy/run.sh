#!/usr/bin/env bash
# Sets Coilbook up and serves it, with the demo in it if it has nothing else: bash deploy/run.sh
# PORT=8001 chooses another port. The database is data/coilbook.db, or what COILBOOK_DATABASE_URL names.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
unset PYTHONDONTWRITEBYTECODE

bash deploy/setup.sh
.venv/bin/coilbook migrate
.venv/bin/coilbook demo
exec .venv/bin/coilbook serve --host 0.0.0.0 --port "${PORT:-8000}"
