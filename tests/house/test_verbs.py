"""The verbs of DEVELOPERS.md keep their meaning: what a function is called says what it returns and when it refuses.

Most functions are named by the noun that they answer (`codes_of`, `due_in_seasons`), or by a verb of the trade (`swap`,
`tick`), so the first words of all names are no closed set. What is closed is what general verbs may mean: those that
are listed hold to the shape of their line in the list, and others that would mean the same are refused.
"""

import ast
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.house.syntax import parsed

ROOT = Path(__file__).parents[2]
SERVICE = ROOT / "service"

OTHER_VERBS = {
    "build": "make",
    "calculate": "make, or the noun",
    "compute": "make, or the noun",
    "convert": "as",
    "create": "add, or make",
    "delete": "end",
    "drop": "end",
    "edit": "change",
    "ensure": "check, or what is done",
    "fetch": "find, get, or list",
    "generate": "make",
    "load": "find, get, or read",
    "modify": "change",
    "remove": "end",
    "retrieve": "find, or get",
    "save": "add, set, or write",
    "show": "format",
    "update": "change, set, or refresh",
    "validate": "check",
}
"""Verbs that a listed one says as well."""

STILL = {
    "app.create_app",  # the name that FastAPI's documents use, so that servers and readers know it
    "demo.actions.load",
    "exchange.sheets.core.columns.check",
    "gear.wirings.find_wiring",
    "home.seasons.actions.drop_event",
    "store.backup.check",
    "testlog.housekeeping.ensure_today",
}
"""Functions that are named otherwise. The list only shrinks."""


@dataclass(frozen=True)
class Function:
    """A public function of a module's top level that is no route: its dotted name and what it says it returns."""

    name: str
    returns: str

    @property
    def verb(self) -> str:
        return self.name.rpartition(".")[2].partition("_")[0]


COLLECTION = re.compile(r"(list|tuple|dict|set|frozenset|Sequence|Mapping|Iterator|Iterable|Collection)\[")

SHAPES: dict[str, tuple[Callable[[str], bool], str]] = {
    "find": (lambda returns: "None" in returns, "may return None"),
    "get": (lambda returns: "None" not in returns, "never returns None"),
    "list": (lambda returns: COLLECTION.match(returns) is not None, "returns several"),
    "is": (lambda returns: returns == "bool", "returns a bool"),
    "has": (lambda returns: returns == "bool", "returns a bool"),
    "read": (lambda returns: returns != "None", "returns the value"),
    "parse": (lambda returns: returns != "None", "returns the value"),
    "make": (lambda returns: returns != "None", "returns what it made"),
    "as": (lambda returns: returns != "None", "returns the value"),
    "format": (lambda returns: returns == "str", "returns a text"),
    "check": (lambda returns: returns == "None", "returns nothing"),
    "refuse": (lambda returns: returns in ("None", "NoReturn"), "returns nothing"),
}
"""What a function does that is named by a listed verb, as far as its return type tells."""


def _functions(source: str, module: str) -> Iterator[Function]:
    for node in parsed(source).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
            is_route = any("router" in ast.unparse(each) for each in node.decorator_list)
            if not is_route:
                yield Function(f"{module}.{node.name}", ast.unparse(node.returns) if node.returns else "None")


def functions() -> list[Function]:
    """All of the service."""
    return [
        function
        for path in sorted(SERVICE.rglob("*.py"))
        for function in _functions(path.read_text(), ".".join(path.relative_to(SERVICE).with_suffix("").parts))
    ]


def wrong(function: Function) -> str | None:
    """What is wrong with the name of a function."""
    if function.verb in OTHER_VERBS:
        return f"{function.name}: say {OTHER_VERBS[function.verb]} instead of {function.verb}"
    holds, meaning = SHAPES.get(function.verb, (lambda _: True, ""))
    return None if holds(function.returns) else f"{function.name}: {function.verb} {meaning}, not {function.returns}"


def test_verbs_mean_what_the_list_says() -> None:
    every = functions()
    assert len(every) > 500
    assert [why for function in every if function.name not in STILL and (why := wrong(function))] == []


def test_no_exception_is_kept_that_is_none() -> None:
    named = {function.name for function in functions() if wrong(function)}
    assert STILL - named == set()


def test_every_verb_that_is_held_is_listed() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    listed = set(
        re.findall(r"`(\w+)`", "".join(re.findall(r"^\| (`.*?) \|", text.partition("## Verbs")[2], re.MULTILINE)))
    )
    assert SHAPES.keys() <= listed
    assert not listed & OTHER_VERBS.keys()


@pytest.mark.parametrize(
    ("source", "is_wrong"),
    [
        ("def find_item(db) -> Item | None: ...", False),
        ("def find_item(db) -> Item: ...", True),
        ("def get_item(db) -> Item | None: ...", True),
        ("def list_items(db) -> Item: ...", True),
        ("def list_items(db) -> list[Item]: ...", False),
        ("def is_open(item) -> str: ...", True),
        ("def check_order(days) -> int: ...", True),
        ("def delete_item(db) -> None: ...", True),
        ("def codes_of(db) -> dict[UUID, str]: ...", False),
    ],
)
def test_a_name_is_held_to_its_verb(source: str, is_wrong: bool) -> None:
    (function,) = _functions(source, "planted")
    assert (wrong(function) is not None) is is_wrong
