"""Tables of the test log: sessions, tests, faults, voids, repairs and swaps. Results are added, never changed."""

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
"""The condition that a session is open."""


class WorkItem(Base):
    """A row of a session's worklist, and who claimed it, until when."""

    __tablename__ = "work_item"

    session_id: Mapped[UUID] = mapped_column(refers("work_session.id"), primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True, index=True)
    position: Mapped[int]
    why: Mapped[str]
    claimed_by: Mapped[UUID | None] = mapped_column(refers("person.id"))
    claimed_until: Mapped[datetime | None]


class WorkSeen(Base):
    """An item that was seen in a count: by whom, and at which place (None: unknown)."""

    __tablename__ = "work_seen"

    session_id: Mapped[UUID] = mapped_column(refers("work_session.id"), primary_key=True)
    item_id: Mapped[UUID] = mapped_column(refers("item.id"), primary_key=True, index=True)
    place_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    at: Mapped[datetime]


class WorkWalked(Base):
    """A place that was checked in a count: items that belong there and were not seen are missing."""

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
    """A program's own tester as a lead described it; it is never changed, so that its tests keep their meaning.

    `sees` is a `Visibility`; `patterns` maps what the lamps show to the readings that it may mean, each a list of
    groups of joined contacts; `probed` are the contacts that the tester reaches.
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
    """A two-ended test of one item or through several, as it was logged.

    `joined`, `probed` and `evidence` are the raw entries. `told_at` is the time of the test and `sent_at` that of
    sending by the phone's clock; `tested_at` is corrected by the difference to the service's clock.
    """

    __test__ = False  # not a test case, in spite of its name
    __tablename__ = "test"
    __table_args__ = (
        one_of("method", Method),
        one_of("verdict", Verdict),
        Index(None, "tested_at", "id"),
        Index(None, "session_id", "tested_at"),
        Index(None, "person_id", "received_at"),
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
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    session_id: Mapped[UUID | None] = mapped_column(refers("work_session.id"))
    tester_id: Mapped[UUID | None] = mapped_column(refers("tester.id"))


class TestItem(Base):
    """An item that a test went through; `lane` is the lane that a single channel took through an item with several."""

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
    """A lead's decision that a test does not count, and why; the test itself stays."""

    __tablename__ = "void"

    test_id: Mapped[UUID] = mapped_column(refers("test.id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    reason: Mapped[str]


NOT_VOIDED = Void.test_id.is_(None)
"""The condition that a test was not voided, in a query that joins `Void` by an outer join."""


class WrongMark(Base):
    """A tester's mark that their own test was wrong; it proves nothing until a lead voids it or lets it stand."""

    __tablename__ = "wrong_mark"

    test_id: Mapped[UUID] = mapped_column(refers("test.id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    note: Mapped[str]


class MarkStands(Base):
    """A lead's decision that a test that was marked as wrong stands, and why."""

    __tablename__ = "mark_stands"

    test_id: Mapped[UUID] = mapped_column(refers("wrong_mark.test_id"), primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
    reason: Mapped[str]


class Repair(Base):
    """A repair: what was done, at which end (None: in between); `length_mm` is the new length if it was shortened."""

    __tablename__ = "repair"
    __table_args__ = (one_of("end", End), Index(None, "item_id", "at"), Index(None, "at"))

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
    """A swap on a show day: a spare took the place of a bad item."""

    __tablename__ = "swap"
    __table_args__ = (CheckConstraint("bad_id <> spare_id", name="two_items"), Index(None, "bad_id", "at"))

    id: Mapped[UUID] = mapped_column(primary_key=True)
    bad_id: Mapped[UUID] = mapped_column(refers("item.id"))
    spare_id: Mapped[UUID] = mapped_column(refers("item.id"), index=True)
    place_a_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    place_b_id: Mapped[UUID | None] = mapped_column(refers("place.id"))
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    person_id: Mapped[UUID | None] = mapped_column(refers("person.id"))
