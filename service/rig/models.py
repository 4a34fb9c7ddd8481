"""Tables of rigs: floor plans with what stands where. Every change is a further version, so that it can be undone."""

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, refers


class RigRow(Base):
    """A rig by its name; `version` is the number of the plan that counts."""

    __tablename__ = "rig"

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str]
    version: Mapped[int]
    made_by: Mapped[UUID] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class RigPlan(Base):
    """A version of a rig's plan; `follows` is the number of the one that it was made from, None for the first."""

    __tablename__ = "rig_plan"
    __table_args__ = (UniqueConstraint("rig_id", "number"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    rig_id: Mapped[UUID] = mapped_column(refers("rig.id"))
    number: Mapped[int]
    follows: Mapped[int | None]
    plan: Mapped[dict[str, Any]]
    made_by: Mapped[UUID] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
