"""The house is in order: what stands where, what is kept small, what must not be older than a known fix."""

import ast
import platform
import re
import subprocess
from importlib.metadata import version
from pathlib import Path

import pytest
from packaging.version import Version

from service.store.engine import sqlite_driver
from tests.house.syntax import parsed

ROOT = Path(__file__).parents[2]
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "service",
    "migrations",
    "templates",
    "static",
    "tests",
    "deploy",
}
LONGEST_FILE = 400

# Each floor closes a published hole: the advisories are named beside the number.
FLOORS = {
    "starlette": "1.3.1",  # form limits CVE-2026-54283, path poisoning CVE-2026-54282, and older ones
    "python-multipart": "0.0.31",  # smuggling CVE-2026-53538, header flood CVE-2026-42561, and older ones
    "fastapi": "0.132.0",  # JSON is refused unless it says that it is JSON
    "jinja2": "3.1.6",  # from memory: the sandbox escapes closed until then
    "h11": "0.16.0",  # from memory: chunked-body smuggling, CVE-2025-43859
}


def test_top_level_holds_only_what_has_a_place() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL
    assert "service" in top


def test_packages_say_nothing_themselves() -> None:
    talkative = [str(path) for path in (ROOT / "service").rglob("__init__.py") if path.read_text()]
    assert talkative == []


def test_files_stay_small() -> None:
    sizes = {str(path): len(path.read_text().splitlines()) for path in (ROOT / "service").rglob("*.py")}
    assert {path: lines for path, lines in sizes.items() if lines > LONGEST_FILE} == {}


def test_no_two_public_classes_share_a_name() -> None:
    places: dict[str, list[str]] = {}
    for path in (ROOT / "service").rglob("*.py"):
        for node in parsed(path.read_text()).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                places.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert len(places) > 200
    assert {name: found for name, found in places.items() if len(found) > 1} == {}


def pinned(lock: str) -> set[tuple[str, str]]:
    """The packages of a lock and their versions."""
    return set(re.findall(r"^([a-z0-9-]+)==(\S+)", (ROOT / "deploy" / lock).read_text(), re.MULTILINE))


def test_what_is_tested_is_what_runs() -> None:
    run = pinned("requirements.txt")
    assert {name for name, _ in run} >= FLOORS.keys()
    assert run <= pinned("requirements-test.txt")


@pytest.mark.parametrize("lock", ["requirements.txt", "requirements-test.txt"])
def test_locks_name_no_place_to_download_from(lock: str) -> None:
    text = (ROOT / "deploy" / lock).read_text()
    assert "://" not in text
    assert "--index-url" not in text


@pytest.mark.parametrize(("package", "floor"), FLOORS.items())
def test_no_package_is_older_than_its_last_known_hole(package: str, floor: str) -> None:
    assert Version(version(package)) >= Version(floor)


@pytest.mark.skipif(
    (platform.system(), platform.machine()) != ("Linux", "x86_64"),
    reason="pysqlite3 has wheels for Linux only",
)
def test_sqlite_has_the_wal_reset_fix() -> None:
    # SQLite release notes 3.51.3: two connections at a WAL reset could corrupt the database
    assert Version(sqlite_driver().sqlite_version) >= Version("3.51.3")
