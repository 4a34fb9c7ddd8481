"""Statements: compiled once for every test, since each engine compiles its own and most tests make an engine; and what
is asked while something is done.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Dialect, Engine, event

_DIALECTS: dict[tuple[Any, ...], Dialect] = {}
_COMPILED: dict[Any, Any] = {}

Asked = tuple[str, Any]
"""A statement as the driver got it, and its values."""


def share_compiled() -> None:
    """From now on, let the engines of this process keep their compiled statements together."""
    event.listen(Engine, "engine_connect", _share)


def _share(connection: Connection) -> None:
    # What is compiled is looked up by its dialect, too: engines of one driver and server get the same one.
    own = connection.dialect
    kind = (own.name, own.driver, own.server_version_info)
    connection.dialect = connection.engine.dialect = _DIALECTS.setdefault(kind, own)
    connection.execution_options(compiled_cache=_COMPILED)


@contextmanager
def asked_of(engine: Engine | type[Engine]) -> Iterator[list[Asked]]:
    """Every statement that an engine, or any one, executes while the block runs."""
    asked: list[Asked] = []

    def keep(_connection: Any, _cursor: Any, statement: str, values: Any, *_: Any) -> None:
        asked.append((statement, values))

    event.listen(engine, "before_cursor_execute", keep)
    try:
        yield asked
    finally:
        event.remove(engine, "before_cursor_execute", keep)
