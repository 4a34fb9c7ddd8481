"""A test as it is written: diagnosed, with its rows."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.diagnosis.diagnosis import diagnose
from service.gear.models import Item
from service.gear.wirings import find_wiring
from service.kit.problems import Problem
from service.testlog import queries
from service.testlog.core import (
    CLOCK_TOLD,
    TOGETHER,
    LogEntry,
    NewTest,
    Verdict,
    Way,
    corrected,
    event_of,
    flexed,
    in_phone_order,
    with_evidence,
)
from service.testlog.models import FaultRow, Test, TestItem
from service.testlog.plugging import chain_of, lane_of_each
from service.testlog.reach import lane_names, of_piece, of_test
from service.testlog.rows import evidence_rows, fault_rows, raw_evidence
from service.wiring.wirings import Wiring, read


@dataclass(frozen=True)
class Written:
    """The rows of one test: the test itself, then what refers to it; and how it counts in each item's history."""

    test: Test
    faults: list[FaultRow]
    items: list[TestItem]
    events: dict[UUID, LogEntry]


def when(
    db: Session,
    new: NewTest,
    item_ids: Collection[UUID],
    who: Who | None,
    now: datetime,
    histories: Iterable[Sequence[LogEntry]],
) -> datetime:
    """When a test was done by the service's clock; `histories` are those of its items, which are held.

    Raises:
        Invalid: it would lie in the future.
    """
    here = new.here_at or now
    late = None if new.sent_at is None else here - new.sent_at
    earlier = queries.late(db, who.id, now) if who and late is not None and abs(late) > CLOCK_TOLD / 2 else []
    at = corrected(new.tested_at, new.sent_at, here, earlier=earlier)
    if who is None or not any(event.at > at - TOGETHER for history in histories for event in history):
        return at
    others = queries.ways(db, item_ids, who.id, at - TOGETHER)
    return in_phone_order(Way(new.tested_at or now, new.sent_at, here, at), others)


def written(
    db: Session, new: NewTest, items: Sequence[Item], who: Who | None, now: datetime, tested_at: datetime
) -> Written:
    """The rows of a test of these items, not yet added.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    chain = chain_of(db, items)
    key = new.wiring or chain.key
    wiring = find_wiring(db, key)
    lanes = lane_of_each(chain, wiring, new.lane)
    probed = _probed(new)
    diagnosis = diagnose(wiring, read(wiring, new.joined or [], probed))
    verdict = with_evidence(Verdict(diagnosis.verdict), new.evidence)
    faults = [*fault_rows(wiring, diagnosis.faults), *evidence_rows(new.evidence)]
    for position, row in enumerate(faults):
        row.test_id, row.position = new.id, position
    test = Test(
        id=new.id,
        wiring=key,
        method=new.method,
        joined=[list(group) for group in new.joined or []],
        probed=probed,
        evidence=raw_evidence(new.evidence),
        verdict=verdict,
        unproven=list(diagnosis.unproven),
        note=new.note,
        tested_at=tested_at,
        told_at=new.tested_at or now,
        sent_at=new.sent_at,
        received_at=now,
        person_id=who.id if who else None,
        session_id=new.session,
        tester_id=new.tester,
    )
    links = [
        TestItem(test_id=new.id, item_id=item.id, position=at, lane=lane)
        for at, (item, lane) in enumerate(zip(items, lanes, strict=True))
    ]
    reached = of_test(
        wiring, verdict, test.unproven, [(row.conductors, (row.detail or {}).get("lanes", ())) for row in faults]
    )
    alone, bent = len(items) == 1, flexed(new.evidence)
    events = {
        item.id: event_of(
            tested_at,
            verdict,
            new.id,
            lane_names(piece),
            of_piece(wiring, reached, piece, lane),
            alone=alone,
            flexed=bent,
        )
        for item, piece, lane in zip(items, chain.wirings, lanes, strict=True)
    }
    return Written(test, faults, links, events)


def add(db: Session, made: Sequence[Written]) -> None:
    """Add these tests; what refers to a test comes after it."""
    db.add_all(each.test for each in made)
    db.flush()
    db.add_all(row for each in made for row in (*each.faults, *each.items))


def same_test(test: Test, wiring: Wiring, new: NewTest) -> bool:
    """Whether a test of the log, taken by this wiring, is what was sent: of the same time, with the same readings,
    evidence and note. That both are of the same items is asked elsewhere.
    """
    told = (new.tested_at, new.note, _findings(raw_evidence(new.evidence)), new.wiring or test.wiring)
    if told not in {(at, test.note, _findings(test.evidence), test.wiring) for at in (test.tested_at, test.told_at)}:
        return False
    try:
        return read(wiring, new.joined or [], _probed(new)) == read(wiring, test.joined, test.probed)
    except Problem:
        return False


def _findings(evidence: Sequence[dict[str, Any]]) -> tuple[tuple[str, ...], ...]:
    return tuple(sorted((one["class"], one["end"] or "", one["note"]) for one in evidence))


def _probed(new: NewTest) -> Any:
    """What the tester reached: nothing where nothing was read."""
    return new.probed if new.joined is not None else []
