"""SQL statements in tests: a shared cache of compiled ones, since each engine compiles its own and most tests make an
engine; and recording the statements of a block.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Dialect, Engine, event

_DIALECTS: dict[tuple[Any, ...], Dialect] = {}
_COMPILED: dict[Any, Any] = {}


@dataclass(frozen=True)
class Asked:
    """A statement and its values, as sent to the driver; and as SQLAlchemy's construct (None: plain text), with the
    values of its required parameters by name.
    """

    text: str
    values: Any
    made: Any
    named: dict[str, Any]


def share_compiled() -> None:
    """From now on, let the engines of this process share one cache of compiled statements."""
    event.listen(Engine, "engine_connect", _share)


def _share(connection: Connection) -> None:
    # The cache's keys include the dialect: engines of one driver and server get the same compiled statement.
    own = connection.dialect
    kind = (own.name, own.driver, own.server_version_info)
    connection.dialect = connection.engine.dialect = _DIALECTS.setdefault(kind, own)
    connection.execution_options(compiled_cache=_COMPILED)


@contextmanager
def asked_of(engine: Engine | type[Engine]) -> Iterator[list[Asked]]:
    """Every statement that this engine, or without one any engine, executes while the block runs."""
    asked: list[Asked] = []

    def keep(_connection: Any, _cursor: Any, text: str, values: Any, context: Any, _many: bool) -> None:
        if context.compiled is None:
            asked.append(Asked(text, values, None, {}))
            return
        told, named = context.compiled_parameters[0], dict[str, Any]()
        for bound, name in context.compiled.bind_names.items():
            if bound.required:  # of a list, each value has got a name of its own
                of_list = [value for key, value in told.items() if key.startswith(f"{name}_")]
                named[name] = of_list if bound.expanding else told[name]
        asked.append(Asked(text, values, context.compiled.statement, named))

    event.listen(engine, "before_cursor_execute", keep)
    try:
        yield asked
    finally:
        event.remove(engine, "before_cursor_execute", keep)
