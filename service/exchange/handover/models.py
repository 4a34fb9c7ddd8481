"""The table of hand-overs: links by which the next lead takes the program over, and what became of them."""

from uuid import UUID

from sqlalchemy.orm import Mapped, mapped_column

from service.crew.links import ExpiringLink
from service.store.base import Base, refers


class HandOver(ExpiringLink, Base):
    """A link from a lead to whoever comes next, used once; its secret is stored as a fingerprint."""

    __tablename__ = "hand_over"

    from_id: Mapped[UUID] = mapped_column(refers("person.id"), index=True)
    to_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
