"""Tables of set-up drills, each of which is a `line_check` of the kind `drill`: what there was to plug, and what was
done. Nothing in them is ever changed.
"""

from datetime import datetime
from uuid import UUID

from sqlalchemy import Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, refers


class DrillPlugRow(Base):
    """A plug to make in a drill, as the plug cards had it when it began: gear that moves later changes no drill."""

    __tablename__ = "drill_plug"
    __table_args__ = (UniqueConstraint("check_id", "position"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    check_id: Mapped[UUID] = mapped_column(refers("line_check.id"))
    position: Mapped[int]
    station: Mapped[str]
    hold: Mapped[str]
    socket: Mapped[str]
    channels: Mapped[str]


class StationDoneRow(Base):
    """What somebody tapped: a station, or one plug of it, is done, or is not done after all."""

    __tablename__ = "station_done"
    __table_args__ = (Index(None, "check_id", "at"),)

    id: Mapped[UUID] = mapped_column(primary_key=True)
    check_id: Mapped[UUID] = mapped_column(refers("line_check.id"))
    station: Mapped[str]
    plug_id: Mapped[UUID | None] = mapped_column(refers("drill_plug.id"), index=True)
    done: Mapped[bool]
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID] = mapped_column(refers("person.id"))
