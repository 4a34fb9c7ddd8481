"""Compiled SQL for every test: each engine compiles its statements anew, and most tests make an engine."""

from typing import Any

from sqlalchemy import Connection, Dialect, Engine, event

_DIALECTS: dict[tuple[Any, ...], Dialect] = {}
_COMPILED: dict[Any, Any] = {}


def share_compiled() -> None:
    """From now on, let the engines of this process keep their compiled statements together."""
    event.listen(Engine, "engine_connect", _share)


def _share(connection: Connection) -> None:
    # What is compiled is looked up by its dialect, too: engines of one driver and server get the same one.
    own = connection.dialect
    kind = (own.name, own.driver, own.server_version_info)
    connection.dialect = connection.engine.dialect = _DIALECTS.setdefault(kind, own)
    connection.execution_options(compiled_cache=_COMPILED)
