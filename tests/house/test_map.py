"""DEVELOPERS.md is the contributors' map: it names every folder, command and setting there is."""

import re
from argparse import _SubParsersAction
from pathlib import Path

import pytest

from service.__main__ import _parser

ROOT = Path(__file__).parents[2]
MAP = (ROOT / "DEVELOPERS.md").read_text()
FEATURES = sorted(path.parent.name for path in (ROOT / "service").glob("*/__init__.py"))
SETTINGS = sorted(set(re.findall(r"COILBOOK_[A-Z_]+", (ROOT / "service/settings.py").read_text())))


@pytest.mark.parametrize("feature", FEATURES)
def test_every_folder_is_on_the_map(feature: str) -> None:
    assert f"service/{feature}`" in MAP


@pytest.mark.parametrize("setting", SETTINGS)
def test_every_setting_is_on_the_map(setting: str) -> None:
    assert f"`{setting}`" in MAP


def test_every_command_is_on_the_map() -> None:
    commands = next(action for action in _parser()._actions if isinstance(action, _SubParsersAction))
    listed = MAP[MAP.index("## Commands") : MAP.index("## Settings")]
    assert [name for name in commands.choices if not re.search(rf"\b{name}\b", listed)] == []


def test_every_path_on_the_map_exists() -> None:
    paths = re.findall(r"`((?:service|templates|static|tests|deploy|migrations)/[\w./-]+)`", MAP)
    assert len(paths) > 30
    assert [path for path in paths if not (ROOT / path).exists()] == []
