"""Tables of the calendar: the private links by which calendar programs fetch it."""

from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from service.crew.links import SecretLink
from service.store.base import Base, refers


class CalendarLink(SecretLink, Base):
    """A link to the feed, for whom it is, and whether it still counts; its secret is stored as a fingerprint."""

    __tablename__ = "calendar_link"

    label: Mapped[str]
    made_by: Mapped[UUID] = mapped_column(refers("person.id"))
