"""The import contracts of pyproject.toml hold, and each of them bites."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINT = Path(sys.executable).with_name("lint-imports")


def test_the_contracts_hold() -> None:
    # In a process of its own: here it would switch off every logger that later tests listen to.
    found = subprocess.run([LINT, "--no-cache", "--no-logo"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("kit/planted.py", "import service.store", "lower ranks"),
        ("planted/__init__.py", "", "lower ranks"),
        ("gear/queries.py", "import service.gear.pages", "Inside a feature"),
        ("gear/pages.py", "import service.gear.api", "Inside a feature"),
        ("gear/core.py", "import sqlalchemy", "Pure cores"),
        ("wiring/planted.py", "from starlette import status", "Pure cores"),
    ],
)
def test_a_planted_breach_is_found(tmp_path: Path, file: str, line: str, contract: str) -> None:
    shutil.copytree(ROOT / "service", tmp_path / "service", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    for planted in (file, "gear/pages.py", "gear/api.py"):
        (tmp_path / "service" / planted).parent.mkdir(exist_ok=True)
        (tmp_path / "service" / planted).touch()
    with (tmp_path / "service" / file).open("a") as module:
        module.write(f"\n{line}\n")
    found = subprocess.run(
        [LINT, "--no-cache", "--no-logo"],
        cwd=tmp_path,
        env=os.environ | {"COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )
    broken = [shown for shown in found.stdout.splitlines() if shown.endswith("BROKEN")]
    assert found.returncode != 0
    assert len(broken) == 1, found.stdout + found.stderr
    assert contract in broken[0]
