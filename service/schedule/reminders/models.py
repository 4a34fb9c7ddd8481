"""Tables of reminders: what was mailed to whom, so that nothing is mailed twice."""

from datetime import datetime
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.schedule.reminders.core import LetterKind
from service.store.base import Base, BigInt, one_of, refers


class SentMail(Base):
    """A letter to a person, claimed before it is handed over; `sent_at` is None while that is unknown."""

    __tablename__ = "sent_mail"
    __table_args__ = (one_of("kind", LetterKind), UniqueConstraint("person_id", "kind", "period"))

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    person_id: Mapped[UUID] = mapped_column(refers("person.id"))
    kind: Mapped[str]
    period: Mapped[str]
    claimed_at: Mapped[datetime]
    sent_at: Mapped[datetime | None]
