"""Names say what an engineer would search for: words that only this code gave a meaning to are refused.

Beside each word stands the standard one. Names that are stored or that others rely on (tables, columns, fields of
JSON, addresses) stay as they are: they are strings, or attributes of tables and pydantic models,
which this does not look at.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.house.syntax import parsed

SERVICE = Path(__file__).parents[2] / "service"
FILES = sorted(SERVICE.rglob("*.py"))
SCRIPTS = sorted((SERVICE.parent / "static").rglob("*.js"))

PRIVATE = {
    "agreed": "matches, or what both share: common",
    "asides": "skipped_rows",
    "asking": "requester",
    "beaten": "conflict",
    "crackled": "suspect",
    "crosswise": "crossed",
    "desk": "queue or service",
    "entangled": "not batchable",
    "entering": "import_…",
    "fates": "outcomes",
    "following": "effects",
    "gathering": "batcher",
    "guard": "security middleware",
    "journal": "request log",
    "keep_pace": "check_rate",
    "keeping": "privacy, or storing",
    "landing": "permutation, or destination",
    "landings": "permutations, or destinations",
    "let_go": "anonymize, or delete",
    "lived": "lives, or placement",
    "meant": "matched or interpreted",
    "mended": "repaired",
    "mending": "repair",
    "ops": "operation_ids",
    "patience": "timeout",
    "remembering": "cache",
    "seal": "checksum, or digest",
    "seals": "checksums",
    "sight": "visibility",
    "unmended": "without a repair",
    "wired": "wiring",
}
"""Refused in the name of a function, class or argument, wherever in the name they stand."""

BARE = {
    "asked": "requested, listed, or the noun that is meant",
    "found": "the noun that is looked up: find_…, matches",
    "held": "locked, or carried",
    "kept": "saved, or cached",
    "named": "the noun: items_by_code, named_item",
    "said": "text, answer, or decision",
    "together": "joint, or combined",
    "told": "text, description, or known",
    "worn": "wear_inputs, or damaged",
}
"""Refused as the whole name of a function or class: a participle does not say of what."""

OF_VALUES = ("asked", "found", "said", "told")
"""Refused as the whole name of an argument or of a field of a class as well: a value is named by what it holds."""

IN_WORDS = {
    "bring in": "import",
    "hang up": "close the connection",
    "in the transaction at hand": "in the session's transaction",
    "keep pace": "stay within the limit",
    "let go": "anonymized, released, or deleted",
    "narrowed down": "filtered",
}
"""Refused in docstrings."""


@cache
def _tree(path: Path) -> ast.Module:
    return parsed(path.read_text())


def _trees() -> dict[str, ast.Module]:
    """Every file of the service, read."""
    return {path.relative_to(SERVICE).as_posix(): _tree(path) for path in FILES}


def _defined(tree: ast.AST) -> Iterator[tuple[int, str, bool]]:
    """Line and name of what is defined, and whether it is a function or class."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.lineno, node.name, True
        elif isinstance(node, ast.arg):
            yield node.lineno, node.arg, False


def _values(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and name of arguments and of fields of classes."""
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            yield node.lineno, node.arg
        elif isinstance(node, ast.ClassDef):
            for each in node.body:
                if isinstance(each, ast.AnnAssign) and isinstance(each.target, ast.Name):
                    yield each.lineno, each.target.id


def _assigned(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and name of variables that get a value."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.lineno, node.id


def _snake(name: str) -> str:
    """A name in lower case, its words joined by underscores."""
    return "".join(f"_{letter.lower()}" if letter.isupper() else letter for letter in name).strip("_")


def _refused(name: str, is_definition: bool) -> str | None:
    """The standard word for a private one in a name."""
    words = f"_{_snake(name)}_"
    private = next((better for word, better in PRIVATE.items() if f"_{word}_" in words), None)
    return private or (BARE.get(_snake(name)) if is_definition else None)


def _docstrings(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield ast.get_docstring(node) or ""


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(SERVICE)))
def test_names_are_standard_words(path: Path) -> None:
    tree = _tree(path)
    wrong = [
        f"line {line}: {name}; say {better}"
        for line, name, is_definition in _defined(tree)
        if (better := _refused(name, is_definition))
    ]
    wrong += [
        f"“{word}” in a docstring; say {better}"
        for text in _docstrings(tree)
        for word, better in IN_WORDS.items()
        if word in " ".join(text.lower().split())
    ]
    assert wrong == []


def test_values_are_named_by_what_they_hold() -> None:
    named_so = {(file, name) for file, tree in _trees().items() for _, name in _values(tree) if name in OF_VALUES}
    assert named_so == set()


def test_variables_are_named_by_what_they_hold() -> None:
    named_so = {(file, name) for file, tree in _trees().items() for _, name in _assigned(tree) if name in OF_VALUES}
    assert named_so == set()


def test_values_of_scripts_are_named_by_what_they_hold() -> None:
    declared = re.compile(rf"\b(?:const|let|function) ({'|'.join((*OF_VALUES, 'patience'))})\b", re.IGNORECASE)
    named_so = [(path.name, name) for path in SCRIPTS for name in declared.findall(path.read_text())]
    assert named_so == []


@pytest.mark.parametrize(
    ("name", "is_definition", "refused"),
    [
        ("let_go", True, True),
        ("Journal", True, True),
        ("sight_of_method", False, True),
        ("_told", True, True),
        ("told", False, False),
        ("safeguards", True, False),
        ("find_item", True, False),
    ],
)
def test_the_list_refuses_words_not_parts_of_words(name: str, is_definition: bool, refused: bool) -> None:
    assert (_refused(name, is_definition) is not None) is refused
