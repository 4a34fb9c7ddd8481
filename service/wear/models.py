"""The table of wear: a program's target for undetected failures."""

from datetime import datetime

from sqlalchemy import CheckConstraint, Text
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


class WearFit(Base):
    """The fit of the whole program: one row, once housekeeping has made it; made again from the log at any time.

    `document` is what it rests on with the models of its classes, and `tables` are those of `core.program_fit`, both as
    in `core.fit_document`. `revision` counts the fits.
    """

    __tablename__ = "wear_fit"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    revision: Mapped[int]
    fitted_at: Mapped[datetime]
    document: Mapped[str] = mapped_column(Text())
    tables: Mapped[str] = mapped_column(Text())
