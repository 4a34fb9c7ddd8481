"""The table of wear: a program's target for undetected failures."""

from sqlalchemy import CheckConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base


class WearTarget(Base):
    """A program's target for unavailability, in thousandths: one row, once a lead has set it."""

    __tablename__ = "wear_target"
    __table_args__ = (
        CheckConstraint("id = 1", name="only_one"),
        CheckConstraint("per_mille BETWEEN 1 AND 500", name="per_mille"),
    )

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    per_mille: Mapped[int]
