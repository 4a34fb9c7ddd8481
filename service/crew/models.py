"""Tables of people: the program, persons, sign-ins, passes, and the audit trail."""

from datetime import date, datetime
from typing import Any, ClassVar
from uuid import UUID

from sqlalchemy import CheckConstraint, Index
from sqlalchemy.orm import Mapped, mapped_column

from service.crew.core import Role
from service.crew.links import ExpiringLink
from service.store.base import Base, BigInt, one_of, refers
from service.store.engine import NullableJson


class Program(Base):
    """The program that this database belongs to: one row."""

    __tablename__ = "program"
    __table_args__ = (CheckConstraint("id = 1", name="only_one"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    name: Mapped[str]
    zone: Mapped[str]
    unit: Mapped[str]
    return_note: Mapped[str]
    housekept_on: Mapped[date | None]
    end_a: Mapped[str] = mapped_column(default="")
    end_b: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]


class Person(Base):
    """Somebody, or a tool with a token: a display name and a role, and nothing more of a student.

    A lead or a viewer may give an address for mail.
    """

    __tablename__ = "person"
    __table_args__ = (
        one_of("role", Role),
        CheckConstraint("email IS NULL OR role IN ('lead', 'viewer')", name="no_students_email"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    display_name: Mapped[str]
    role: Mapped[str]
    passphrase_hash: Mapped[str | None]
    email: Mapped[str | None]
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


PERSON_IS_HERE = Person.ended_at.is_(None)
"""Whether somebody's access has not ended."""


class SignIn(Base):
    """A signed-in browser (it ends) or an API token (it lasts until it is taken back); `pass_id` let the browser in.

    `device_hash` is the fingerprint by which a lead's device is known again, whoever guesses at the lead's name.
    """

    __tablename__ = "sign_in"

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    person_id: Mapped[UUID] = mapped_column(refers("person.id"), index=True)
    token_hash: Mapped[str] = mapped_column(unique=True)
    token_name: Mapped[str | None]
    pass_id: Mapped[UUID | None] = mapped_column(refers("crew_pass.id"), index=True)
    device_hash: Mapped[str | None] = mapped_column(index=True)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]


class CrewPass(ExpiringLink, Base):
    """A way in: the crew pass of an evening, or the one-time link of a lead (`uses_left` 1)."""

    __tablename__ = "crew_pass"
    __table_args__ = (one_of("role", Role),)
    END_WORD: ClassVar[str] = "pass.ended"

    label: Mapped[str]
    role: Mapped[str]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    uses_left: Mapped[int | None]

    @property
    def title(self) -> str:
        """Whom or what it is for."""
        return f"“{self.label}”, {'a crew pass' if self.role == Role.CREW else f'a link for a {self.role}'}"

    @property
    def subject(self) -> str:
        """What it is called in the audit trail."""
        return self.label

    @property
    def ends_with_maker(self) -> bool:
        """A crew pass stays: others come in by it all season long."""
        return self.role != Role.CREW

    def is_over(self, now: datetime) -> bool:
        """Whether it was ended, has run out, or was used as often as it may be."""
        return super().is_over(now) or self.uses_left == 0


class AuditEntry(Base):
    """Who did what, when, to what."""

    __tablename__ = "audit_entry"
    __table_args__ = (Index(None, "at", "id"), Index(None, "person_id", "at", "id"), Index(None, "action", "at", "id"))

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    action: Mapped[str]
    subject: Mapped[str]
    detail: Mapped[Any] = mapped_column(NullableJson(), nullable=True)
