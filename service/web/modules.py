"""Our scripts as they are sent: what every page of the crew needs is one file.

On a bad line, nine requests take longer than one of the same size. So `outbox/page.js` and all that it imports are
joined into one file when the service starts. Each of them is a function there, so that their names stay apart, and what
it exports is an object: `outbox_store` for `outbox/store.js`. Other modules import it from there, so that a page has
one outbox. The sources stay plain modules that import each other, for the editor and for the tests.
"""

import posixpath
import re
from collections.abc import Iterator, Mapping

ENTRY = "outbox/page.js"
"""The file that holds the joined modules; under their own addresses they cannot be had."""

_FROM = re.compile(r'^(?:import|export)\b[^;]*?"(\.[\w./-]+\.js)";', re.MULTILINE)
_IMPORT = re.compile(r'^import (?:(?P<names>[^;"]*?) from )?"(?P<path>\.[\w./-]+\.js)";', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:(?:async )?function|class|const) (\w+))", re.MULTILINE)


def imports(path: str, text: str) -> Iterator[str]:
    """The modules that one imports, by their paths below `static`."""
    for name in _FROM.findall(text):
        yield _absolute(path, name)


def joined(sources: Mapping[str, str]) -> dict[str, str]:
    """Every module as it is sent, from the text of each, both by path.

    Raises:
        ValueError: a module that is joined exports in another way than by `export function`, `class` or `const`.
        KeyError: a module imports one that is not among them.
    """
    members = _in_order(sources)
    functions = [_as_function(path, sources[path]) for path in members]
    rest = {path: _with_joined(path, text, members) for path, text in sources.items() if path not in members}
    names = ", ".join(_name(path) for path in members)
    return {ENTRY: "\n".join([*functions, f"export {{ {names} }};\n"])} | rest


def _in_order(sources: Mapping[str, str], path: str = ENTRY, under: tuple[str, ...] = ()) -> list[str]:
    """The entry and what it imports, each after all that it imports itself."""
    if path in under:
        raise ValueError(f"{path} imports itself, by {' and '.join(under)}.")
    needed = [each for other in imports(path, sources[path]) for each in _in_order(sources, other, (*under, path))]
    return [*dict.fromkeys(needed), path]


def _as_function(path: str, text: str) -> str:
    """A joined module: what it exports is what its function returns."""
    inside = _IMPORT.sub(lambda clause: _taken(clause["names"], _name(_absolute(path, clause["path"]))), text)
    body = _EXPORT.sub("", inside)
    if re.search(r"^(?:export|import)\b", body, re.MULTILINE):
        raise ValueError(f"{path} is joined with others, so it may export only functions, classes and constants.")
    exported = ", ".join(_EXPORT.findall(inside))
    return f"const {_name(path)} = (() => {{\n{body}\nreturn {{ {exported} }};\n}})();"


def _with_joined(path: str, text: str, members: list[str]) -> str:
    """Another module: what it imports from a joined one it takes from the joined file."""
    entry = posixpath.relpath(ENTRY, posixpath.dirname(path))
    entry = entry if entry.startswith(".") else f"./{entry}"

    def put(clause: re.Match[str]) -> str:
        other = _absolute(path, clause["path"])
        if other not in members:
            return clause[0]
        return f'import {{ {_name(other)} }} from "{entry}"; {_taken(clause["names"], _name(other))}'

    return _IMPORT.sub(put, text)


def _taken(names: str | None, module: str) -> str:
    """What an import clause names, as constants: `{ add, old as older }`, `* as store`, or nothing."""
    if names is None:
        return ""
    return f"const {names.strip().removeprefix('* as ').replace(' as ', ': ')} = {module};"


def _absolute(path: str, name: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(path), name))


def _name(path: str) -> str:
    return re.sub(r"\W", "_", path.removesuffix(".js"))
