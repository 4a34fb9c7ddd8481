"""The table of hand-overs: links by which the next lead takes the program over, and whether they were used."""

from typing import ClassVar
from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from service.crew.links import ExpiringLink
from service.store.base import Base, refers


class HandOver(ExpiringLink, Base):
    """A link from a lead to the next lead. It works once; only a fingerprint of its secret is stored."""

    __tablename__ = "hand_over"
    END_WORD: ClassVar[str] = "hand_over.taken_back"

    made_by: Mapped[UUID | None] = mapped_column("from_id", refers("person.id"), index=True, nullable=False)
    to_id: Mapped[UUID | None] = mapped_column(refers("person.id"))

    @property
    def title(self) -> str:
        """The title in lists, the same for every link."""
        return "a link that hands the program over"

    @property
    def subject(self) -> str:
        """The id of the lead who made it."""
        return str(self.made_by)

    @property
    def ends_with_maker(self) -> bool:
        """Always: a lead whose access has ended cannot hand the program over."""
        return True
