"""The table of standings."""

from typing import Any
from uuid import UUID

from sqlalchemy import Index
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, refers


class StoredStanding(Base):
    """How an item stands before the next event (`core.Standing`), worked out again from the log at any time.

    It holds as long as the item has this `revision` and `basis` is that of the day (`core.Basis`). `failed`,
    `if_tested` and `failures` are as in the standing, `facts` is the rest of it.
    """

    __tablename__ = "item_standing"
    __table_args__ = (Index(None, "listed", "item_id"),)

    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True)
    revision: Mapped[int]
    basis: Mapped[str]
    listed: Mapped[bool]
    failed: Mapped[float | None]
    if_tested: Mapped[float | None]
    failures: Mapped[int]
    facts: Mapped[dict[str, Any]]
