"""The version that the service says it is, and the changes that are written down for it."""

import re
from pathlib import Path

import pytest

from service.__main__ import main
from service.settings import version

CHANGES = (Path(__file__).parents[2] / "deploy/CHANGES.md").read_text()


def test_the_command_says_the_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert (ended.value.code, capsys.readouterr().out) == (0, f"coilbook {version()}\n")


def test_the_newest_changes_are_those_of_this_version() -> None:
    listed = re.findall(r"^## (\d+\.\d+)$", CHANGES, re.MULTILINE)
    assert version().removesuffix(".0") == listed[0]
    assert listed == sorted(listed, key=lambda one: [int(part) for part in one.split(".")], reverse=True)
