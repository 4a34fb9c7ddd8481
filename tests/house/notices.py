"""Which packages ship with Coilbook, under which licences: `.venv/bin/python -m tests.house.notices` writes it down.

A package tells its licence in its own metadata (PEP 639), or, an older one, as a word or a classifier; where it tells
none, the file that it brings is named here.
"""

import re
from importlib.metadata import Distribution, distribution
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCK = ROOT / "deploy" / "requirements.txt"
NOTICES = ROOT / "deploy" / "NOTICES.md"

_LOCKED = re.compile(r"^(?P<name>[a-z0-9][a-z0-9._-]*)(?:\[[^]]*\])?==(?P<version>\S+)", re.MULTILINE)
_READ = {"pysqlite3": "Zlib"}
"""Licences that are told only by the text of a file in the package."""
_LONGEST = 40
_HEAD = """# Notices

Coilbook comes with these packages, each under its own licence; its text lies in the package itself, in `.venv` below
`*.dist-info`. They are those of `deploy/requirements.txt`; `.venv/bin/python -m tests.house.notices` writes this page
from what the packages tell of themselves, and a test holds it to them.

| package | version | licence |
|---|---|---|
"""


def shipped() -> dict[str, str]:
    """Each package that ships, with its version, as the lock has them."""
    return {each["name"]: each["version"] for each in _LOCKED.finditer(LOCK.read_text())}


def licence_of(package: Distribution) -> str:
    """The licence that a package tells, the most exact way first; empty where it tells none."""
    about = package.metadata
    told = about["License-Expression"] or ""
    word = " ".join((about["License"] or "").split())
    classes = [
        each.rpartition(":: ")[2]
        for each in about.get_all("Classifier") or []
        if each.startswith("License :: OSI Approved :: ")
    ]
    return told or " or ".join(classes) or (word if len(word) <= _LONGEST else "") or _READ.get(package.name, "")


def notices() -> str:
    """The page."""
    rows = (f"| {name} | {version} | {licence_of(distribution(name))} |\n" for name, version in shipped().items())
    return _HEAD + "".join(rows)


if __name__ == "__main__":
    NOTICES.write_text(notices())
