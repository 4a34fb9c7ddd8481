"""The table of prices: what a program pays for new gear."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, BigInt, refers


class GearPrice(Base):
    """What one costs from a moment on, in cents; the last one counts. Length in millimeters, 0 where there is none."""

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
