"""Every public name of the service is used by the program itself, so that no code lives only for its tests."""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from tests.house.syntax import nodes, parsed

ROOT = Path(__file__).parents[2]

WRAPPERS = {"cache", "lru_cache", "contextmanager", "wraps", "dataclass", "total_ordering"}
"""Decorators that return what they are given for others to call; any other decorator registers it with a framework."""


@dataclass(frozen=True)
class Source:
    """One Python file of the program: what it defines, and the names of other files that it uses."""

    module: str
    text: str = field(repr=False)

    @cached_property
    def defined(self) -> dict[str, ast.stmt]:
        """Public functions, classes and constants of the file's top level."""
        names: dict[str, ast.stmt] = {}
        for node in parsed(self.text).body:
            match node:
                case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name) | ast.ClassDef(name=name):
                    names[name] = node
                case ast.Assign(targets=targets):
                    names |= {name: node for target in targets for name in _names_in(target)}
                case ast.AnnAssign(target=ast.Name(id=name)):
                    names[name] = node
        return {name: node for name, node in names.items() if not name.startswith("_") and not _is_registered(node)}

    @cached_property
    def modules(self) -> dict[str, str]:
        """The modules that the file knows, by the name that they have in it."""
        known: dict[str, str] = {}
        for node in nodes(self.text):
            if isinstance(node, ast.ImportFrom):
                known |= {name.asname or name.name: f"{node.module}.{name.name}" for name in node.names}
            elif isinstance(node, ast.Import):
                known |= {name.asname or name.name.rpartition(".")[2]: name.name for name in node.names}
        return known

    def used(self) -> Iterator[tuple[str, str]]:
        """The module and the name of everything that the file imports, or reaches through a module."""
        for node in nodes(self.text):
            if isinstance(node, ast.ImportFrom):
                yield from ((str(node.module), name.name) for name in node.names)
            elif isinstance(node, ast.Attribute):
                match node.value:
                    case ast.Name(id=holder) | ast.Attribute(attr=holder):
                        yield self.modules.get(holder, holder), node.attr

    @cached_property
    def named(self) -> list[tuple[ast.stmt, set[str]]]:
        """The names in each statement of the file's top level."""
        return [(node, _names_in(node)) for node in parsed(self.text).body]

    def uses_itself(self, name: str) -> bool:
        """Whether the file names it outside its definition, in code or in an annotation that is a string."""
        return any(name in names for node, names in self.named if node is not self.defined[name])


def _is_registered(node: ast.stmt) -> bool:
    """Whether a framework calls it: a route, an event listener, a validator are known by their decorator.

    A table is a class with `__tablename__`: SQLAlchemy finds it through its base, whether or not a query names it.
    """
    if isinstance(node, ast.ClassDef) and any("__tablename__" in ast.unparse(part) for part in node.body):
        return True
    decorators = getattr(node, "decorator_list", [])
    return any(ast.unparse(one).partition("(")[0].rpartition(".")[2] not in WRAPPERS for one in decorators)


def _names_in(node: ast.AST) -> set[str]:
    names = {inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)}
    quoted = [inner.value for inner in ast.walk(node) if isinstance(inner, ast.Constant)]
    return names | {word for text in quoted if isinstance(text, str) and text.isidentifier() for word in [text]}


def sources(folder: str) -> list[Source]:
    return [
        Source(".".join(path.relative_to(ROOT).with_suffix("").parts), path.read_text())
        for path in sorted((ROOT / folder).rglob("*.py"))
    ]


def started() -> set[tuple[str, str]]:
    """What is started by name, as `module:name`: by the package's command, a script, a service file or the server."""
    texts = [ROOT / "pyproject.toml", *(ROOT / "deploy").rglob("*"), *(ROOT / "service").rglob("*.py")]
    words = re.compile(r"\b(service(?:\.\w+)+):(\w+)")
    return {pair for path in texts if path.is_file() for pair in words.findall(path.read_text(errors="ignore"))}


def test_every_public_name_is_used_by_the_program() -> None:
    service = sources("service")
    used = {pair for source in [*service, *sources("migrations")] for pair in source.used()} | started()
    dead = [
        f"{source.module}.{name}"
        for source in service
        for name in source.defined
        if (source.module, name) not in used
        and (source.module.rpartition(".")[2], name) not in used  # through a module that was handed on
        and not source.uses_itself(name)
    ]
    assert sum(len(source.defined) for source in service) > 1000
    assert dead == [], "\n".join(dead)
