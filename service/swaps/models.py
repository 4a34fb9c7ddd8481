"""The table of a program's thresholds for what goes out and what goes in.

It stands this low because a swap on the day takes a spare as ready by the same days as the pull list.
"""

from sqlalchemy import CheckConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base


class PullLimits(Base):
    """A program's thresholds (see `Limits`): one row, once a lead has set them."""

    __tablename__ = "pull_limits"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    repeat_fails: Mapped[int]
    repeat_tests: Mapped[int]
    shortened_percent: Mapped[int]
    life_years: Mapped[int]
    repair_cents: Mapped[int]
    risk_percent: Mapped[int]
    spare_days: Mapped[int]
