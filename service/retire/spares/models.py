"""The table of spares: the trip that a program carries them for."""

from sqlalchemy import CheckConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base


class SpareTrip(Base):
    """How long a trip is, how sure a program wants to be, and what it may spend: one row, once a lead has set it."""

    __tablename__ = "spare_trip"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    days: Mapped[int]
    percent: Mapped[int]
    budget_cents: Mapped[int]
