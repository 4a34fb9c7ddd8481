"""Tables of the calendar: the private links by which calendar programs fetch it."""

from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from service.crew.links import SecretLink
from service.store.base import Base, refers


class CalendarLink(SecretLink, Base):
    """A link to the feed, for whom it is, and when it was ended; its secret is stored as a fingerprint."""

    __tablename__ = "calendar_link"
    END_WORD: ClassVar[str] = "calendar.link_ended"

    label: Mapped[str]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"), nullable=False)

    @property
    def title(self) -> str:
        """For whom it is."""
        return f"“{self.label}”, a link to the calendar"

    @property
    def subject(self) -> str:
        """Its name in the audit trail."""
        return self.label

    @property
    def ends_with_maker(self) -> bool:
        """False: it only shows the calendar, and stays when its maker's access ends."""
        return False
