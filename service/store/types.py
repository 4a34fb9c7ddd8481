"""Column types that mean the same on SQLite and PostgreSQL."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, DateTime, Dialect
from sqlalchemy.types import TypeDecorator


class Instant(TypeDecorator[datetime]):
    """A moment: aware in, stored in UTC, aware UTC out.

    SQLite would drop the offset without converting, so the naive are refused and the rest is converted first.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"an instant needs an offset, {value.isoformat()} has none")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class NullableJson(TypeDecorator[Any]):
    """JSON, with Python's None stored as SQL NULL and never as the JSON word null."""

    impl = JSON(none_as_null=True)
    cache_ok = True
