"""The import contracts of pyproject.toml hold, and each of them bites; no file imports much of the service."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path
from statistics import median

import pytest

from tests.house.syntax import nodes

ROOT = Path(__file__).parents[2]
LINT = Path(sys.executable).with_name("lint-imports")
MOST_IMPORTED, MEDIAN_MOST = 20, 7
"""How many modules of the service a file imports at the most, and half of the files at the most."""
KNOW_EVERY_FEATURE = {"service/app.py", "service/tables.py", "service/exchange/whole/queries.py"}
"""The lists of the whole program: of routers, of tables, and of the tables that an export takes."""


def test_the_contracts_hold() -> None:
    # In a process of its own: here it would switch off every logger that later tests listen to.
    found = subprocess.run([LINT, "--no-cache", "--no-logo"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    ("file", "line", "contract"),
    [
        ("kit/planted.py", "import service.store", "lower ranks"),
        ("planted/__init__.py", "", "lower ranks"),
        ("gear/queries.py", "import service.gear.pages", "Inside a feature"),
        ("gear/pages.py", "import service.gear.api", "Inside a feature"),
        ("home/offline/actions.py", "import service.home.test.pages", "import no pages"),
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


def imported_modules(source: str) -> set[str]:
    """The modules of the service that a file imports, wherever in it; of a package, the module that is named."""
    found = set[str]()
    for node in nodes(source):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("service"):
            package = ROOT / str(node.module).replace(".", "/")
            for name in (each.name for each in node.names):
                is_module = (package / f"{name}.py").exists() or (package / name).is_dir()
                found.add(f"{node.module}.{name}" if is_module else str(node.module))
        elif isinstance(node, ast.Import):
            found |= {each.name for each in node.names if each.name.startswith("service")}
    return found


def test_no_file_imports_much_of_the_service() -> None:
    counts = {
        str(path.relative_to(ROOT)): len(imported_modules(path.read_text()))
        for path in (ROOT / "service").rglob("*.py")
        if path.name != "__init__.py"
    }
    assert all(counts.pop(path) > MOST_IMPORTED for path in KNOW_EVERY_FEATURE)
    assert {path: count for path, count in counts.items() if count > MOST_IMPORTED} == {}
    assert median(counts.values()) <= MEDIAN_MOST


def test_imports_are_counted_by_module() -> None:
    source = "from service.kit import codes, dates\nfrom service.kit.codes import read_code\nimport service.settings\n"
    assert imported_modules(source) == {"service.kit.codes", "service.kit.dates", "service.settings"}


def test_a_start_imports_no_large_library_that_few_requests_need() -> None:
    """They are imported where they are used: each would add to the start and to the memory of every worker."""
    large = {"numpy", "scipy", "PIL", "zxingcpp", "fpdf", "qrcode", "alembic", "icalendar"}
    program = f"import sys, service.app; print(*({large!r} & sys.modules.keys()))"
    run = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
