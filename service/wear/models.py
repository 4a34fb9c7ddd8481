"""The table of wear: what a program bears of failures that nobody knows of yet."""

from sqlalchemy import CheckConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base


class WearTarget(Base):
    """The unavailability that a program aims at, in thousandths: one row, once a lead has set it."""

    __tablename__ = "wear_target"
    __table_args__ = (
        CheckConstraint("id = 1", name="only_one"),
        CheckConstraint("per_mille BETWEEN 1 AND 500", name="per_mille"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    per_mille: Mapped[int]
