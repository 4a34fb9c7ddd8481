"""Tables of decisions: leads' decisions on items, and prices."""

from datetime import date, datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column

from service.retire.decisions.core import Action
from service.store.base import Base, BigInt, one_of, refers


class Overrule(Base):
    """A lead's decision on what to do about an item before an event, and why; the last one counts.

    It holds before `until`, for every event; an old one has no such day, and holds for its event only. Without an
    action the lead takes the decision back.
    """

    __tablename__ = "pull_overrule"
    __table_args__ = (one_of("action", Action), Index(None, "event_id", "item_id"))

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    event_id: Mapped[UUID] = mapped_column(refers("event.id"))
    item_id: Mapped[UUID] = mapped_column(refers("item.id"))
    action: Mapped[str | None]
    reason: Mapped[str]
    until: Mapped[date | None]
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))


class GearPrice(Base):
    """The price of one from a moment on, in cents; the last one counts. Length in millimeters, 0 if there is none."""

    __tablename__ = "gear_price"
    __table_args__ = (
        CheckConstraint("cents >= 0", name="cents"),
        Index(None, "kind", "wiring", "length_mm"),
    )

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    kind: Mapped[str]
    wiring: Mapped[str]
    length_mm: Mapped[int]
    cents: Mapped[int]
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
