"""Tables of the calendar: the private links by which calendar programs fetch it."""

from datetime import datetime
from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from service.store.base import Base, refers


class CalendarLink(Base):
    """A link to the feed, for whom it is, and whether it still counts; its secret is stored as a fingerprint."""

    __tablename__ = "calendar_link"

    id: Mapped[UUID] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(unique=True)
    label: Mapped[str]
    made_by: Mapped[UUID] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
