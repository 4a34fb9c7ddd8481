"""Tables of the test log: sessions, tests, faults, voids, repairs and swaps. What was found is added, never changed."""

from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.gear.core import End
from service.store.base import Base, BigInt, Revised, one_of, refers
from service.store.engine import NullableJson
from service.testlog.core import Method, Verdict


class SessionKind(StrEnum):
    """What a session is for."""

    TEST = "test"
    COUNT = "count"


class WorkSession(Revised, Base):
    """A session: an evening of tests or a count of gear."""

    __tablename__ = "work_session"
    __table_args__ = (one_of("kind", SessionKind), Index(None, "on"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    title: Mapped[str]
    kind: Mapped[str]
    place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    on: Mapped[date]
    note: Mapped[str]
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    closed_at: Mapped[datetime | None]
    closed_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    closing_note: Mapped[str]


SESSION_IS_OPEN = WorkSession.closed_at.is_(None)
"""Whether a session was not closed."""


class WorkItem(Base):
    """A line of a session's worklist, and who said that they would test it, until when."""

    __tablename__ = "work_item"

    session_id: Mapped[UUID] = mapped_column(refers("work_session.id"), primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True, index=True)
    position: Mapped[int]
    why: Mapped[str]
    claimed_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    claimed_until: Mapped[datetime | None]


class WorkSeen(Base):
    """An item that was seen in a count, by whom, and where: None where its place was not said."""

    __tablename__ = "work_seen"

    session_id: Mapped[UUID] = mapped_column(refers("work_session.id"), primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True, index=True)
    place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    at: Mapped[datetime]


class WorkWalked(Base):
    """A place that somebody went through in a count: what belongs there and was not seen is missing."""

    __tablename__ = "work_walked"

    session_id: Mapped[UUID] = mapped_column(refers("work_session.id"), primary_key=True)
    place_id: Mapped[UUID] = mapped_column(refers("place.id"), primary_key=True)
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    at: Mapped[datetime]


class SessionHelper(Base):
    """Somebody who helped in a session."""

    __tablename__ = "session_helper"

    session_id: Mapped[UUID] = mapped_column(refers("work_session.id"), primary_key=True)
    person_id: Mapped[UUID] = mapped_column(refers("person.id"), primary_key=True)
    joined_at: Mapped[datetime]


class OwnTester(Base):
    """A program's own tester, as the program described it; never changed, so that its tests keep their meaning.

    `sees` is a `Sight`; `patterns` maps what the lamps show to the readings that may mean, each a list of joined
    contacts; `probed` is what the tester reaches.
    """

    __tablename__ = "tester"

    id: Mapped[UUID] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    wiring: Mapped[str] = mapped_column(index=True)
    sees: Mapped[str]
    patterns: Mapped[dict[str, Any]]
    probed: Mapped[Any] = mapped_column(NullableJson())
    made_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    created_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class Test(Base):
    """One two-ended test, of one item or through several, as it was logged.

    `joined`, `probed` and `evidence` are what was entered, raw; `told_at` is the phone's own time of the test and
    `sent_at` its time when it sent; `tested_at` is corrected by the difference to the service's clock.
    """

    __test__ = False  # not a test case, whatever a test runner makes of the name
    __tablename__ = "test"
    __table_args__ = (
        one_of("method", Method),
        one_of("verdict", Verdict),
        Index(None, "tested_at", "id"),
        Index(None, "session_id", "tested_at"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    wiring: Mapped[str]
    method: Mapped[str]
    joined: Mapped[list[Any]]
    probed: Mapped[Any] = mapped_column(NullableJson())
    evidence: Mapped[list[Any]]
    verdict: Mapped[str]
    unproven: Mapped[list[Any]]
    note: Mapped[str]
    tested_at: Mapped[datetime]
    told_at: Mapped[datetime]
    sent_at: Mapped[datetime | None]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"), index=True)
    session_id: Mapped[UUID | None] = mapped_column(refers("work_session.id"))
    tester_id: Mapped[UUID | None] = mapped_column(refers("tester.id"))


class TestItem(Base):
    """An item that a test went through; `lane` is the one that a single line took through an item that has several."""

    __test__ = False
    __tablename__ = "test_item"

    test_id: Mapped[UUID] = mapped_column(refers("test.id"), primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True, index=True)
    position: Mapped[int]
    lane: Mapped[str | None]


class FaultRow(Base):
    """One fault of a test, for questions such as "opens on conductor 3 in the last year"."""

    __tablename__ = "fault"
    __table_args__ = (
        UniqueConstraint("test_id", "position"),
        CheckConstraint("\"end\" IN ('A', 'B')", name="end"),
        Index(None, "fault_class", "conductor"),
    )

    id: Mapped[int] = mapped_column(BigInt, primary_key=True)
    test_id: Mapped[UUID] = mapped_column(refers("test.id"))
    position: Mapped[int]
    fault_class: Mapped[str]
    end: Mapped[str | None]
    lane: Mapped[str | None]
    conductor: Mapped[str | None]
    conductors: Mapped[list[Any]]
    detail: Mapped[Any] = mapped_column(NullableJson(), nullable=True)


class Void(Base):
    """A lead's word that a test does not stand, and why; the test itself stays."""

    __tablename__ = "void"

    test_id: Mapped[UUID] = mapped_column(refers("test.id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    reason: Mapped[str]


NOT_VOIDED = Void.test_id.is_(None)
"""Whether a test stands, with its void joined to it, if there is one."""


class WrongMark(Base):
    """A tester's word that a test of their own was wrong; it proves nothing, until a lead voids it or lets it stand."""

    __tablename__ = "wrong_mark"

    test_id: Mapped[UUID] = mapped_column(refers("test.id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    note: Mapped[str]


class MarkStands(Base):
    """A lead's word that a test that was marked as wrong stands all the same, and why."""

    __tablename__ = "mark_stands"

    test_id: Mapped[UUID] = mapped_column(refers("wrong_mark.test_id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    reason: Mapped[str]


class Repair(Base):
    """What was done to an item at which end; `length_mm` where it was shortened."""

    __tablename__ = "repair"
    __table_args__ = (one_of("end", End), Index(None, "item_id", "at"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"))
    end: Mapped[str | None]
    what: Mapped[str]
    length_mm: Mapped[int | None]
    cost_cents: Mapped[int | None]
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))


class Swap(Base):
    """A spare that took the place of a bad item, on a show day: when, and where that was."""

    __tablename__ = "swap"
    __table_args__ = (CheckConstraint("bad_id <> spare_id", name="two_items"), Index(None, "bad_id", "at"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    bad_id: Mapped[UUID] = mapped_column(refers("item.id"))
    spare_id: Mapped[UUID] = mapped_column(refers("item.id"))
    place_a_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    place_b_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
