"""Kinds of gear are rows of one table: outside `service/gear` no code asks whether an item is of this or that kind."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.gear.core import KINDS
from tests.house.syntax import nodes

ROOT = Path(__file__).parents[2]
OWN = "service/gear/"
DATA = (
    "service/demo/gear.py",  # what the demo's program owns
    "service/exchange/sheets/core/fields.py",  # "cable" as sheets call the column of names
    "service/demo/rigs.py",  # what the demo's rig costs
    "service/rig/drawing.py",
    "service/rig/forms.py",
    "service/rig/plans.py",
    "service/rig/ways.py",
    "service/rig/layout.py",
    "service/rig/core/bill.py",  # "hub" as the command's input and answer call a price
    "service/rig/command.py",
)
"""Files that have the words as data and compare nothing with them."""


def named_kinds(source: str) -> Iterator[int]:
    """The lines on which code has the name of a kind, be it in a comparison, a `match` or a table."""
    for node in nodes(source):
        if isinstance(node, ast.Constant) and node.value in KINDS:
            yield node.lineno


def compared_kinds(source: str) -> Iterator[int]:
    """The lines on which the kind of something is compared with words."""
    for node in nodes(source):
        if not isinstance(node, ast.Compare):
            continue
        sides = [node.left, *node.comparators]
        is_kind = any(isinstance(side, ast.Attribute) and side.attr == "kind" for side in sides)
        words = [part for side in sides for part in ast.walk(side) if isinstance(part, ast.Constant)]
        if is_kind and any(isinstance(part.value, str) for part in words):
            yield node.lineno


def test_no_code_outside_gear_asks_for_one_kind() -> None:
    asked = []
    for path in sorted((ROOT / "service").rglob("*.py")):
        name = str(path.relative_to(ROOT))
        if name.startswith(OWN):
            continue
        source = path.read_text()
        asked += [f"{name}:{line}" for line in compared_kinds(source)]
        if name not in DATA:
            asked += [f"{name}:{line}" for line in named_kinds(source)]
    assert asked == []


def test_no_template_asks_for_one_kind() -> None:
    compares = re.compile(rf"(?:==|!=|\bin\b)[^%}}]*[\"'](?:{'|'.join(KINDS)})[\"']")
    asked = [
        f"{path.relative_to(ROOT)}: {found[0]}"
        for path in sorted((ROOT / "templates").rglob("*.html"))
        for found in compares.finditer(path.read_text())
    ]
    assert asked == []


@pytest.mark.parametrize(
    "source",
    [
        'if item.kind == "hub": pass',
        'if kind in ("cable", "trunk"): pass',
        'match item.kind:\n    case "hub": pass',
        'minutes = {"cable": 2}',
        'if item.kind != "patch panel": pass',
    ],
)
def test_the_rule_sees_each_way_to_ask(source: str) -> None:
    assert [*named_kinds(source), *compared_kinds(source)]


@pytest.mark.parametrize("source", ["if spare.kind != bad.kind: pass", "if session.kind is SessionKind.TEST: pass"])
def test_the_rule_leaves_other_comparisons_alone(source: str) -> None:
    assert not [*named_kinds(source), *compared_kinds(source)]
