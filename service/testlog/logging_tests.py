"""Logging a test, from the input to the answer: one road for forms, phones and programs.

`log_tests` is that road, from top to bottom: load the items with their histories, check the input against them,
diagnose, add the rows, apply the effects (states, due states, flags), answer. Before it comes `log_batch`, which logs
the tests of several phones in one transaction; after it come the parts of the road.
"""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from service.crew.context import RequestContext
from service.crew.core import Who
from service.diagnosis.diagnosis import diagnose
from service.gear.models import Item
from service.gear.wirings import find_wiring
from service.kit.problems import Busy, Problem, invalid
from service.store.receipts import NotBatchable, WriteRequest, all_once
from service.store.sessions import WriteConflict, locked
from service.tags.queries import codes_of, named_id, tags_on
from service.testlog import queries
from service.testlog.chains import check_plugged
from service.testlog.core import (
    CLOCK_ERROR_LEAST,
    TOGETHER,
    LogEntry,
    NewTest,
    SubmittedTest,
    Verdict,
    Way,
    corrected,
    event_of,
    flexed,
    in_phone_order,
    in_time_order,
    with_evidence,
)
from service.testlog.effects import Cause, apply_effects, lock_with_histories
from service.testlog.faults import as_json, make_fault_rows, titles
from service.testlog.models import FaultRow, SessionHelper, Test, TestItem, WorkSession
from service.testlog.queries import chain_of
from service.testlog.reach import lane_names, lane_of_each, of_piece, of_test
from service.web.batcher import WriteBatcher
from service.wiring.wirings import read

ACTION = "test.log"
LOG = logging.getLogger("coilbook")


@dataclass(frozen=True)
class PendingTest:
    """A test that waits in the batcher: its request's context, its content for the receipt, and when it arrived."""

    context: RequestContext
    new: NewTest
    content: Any
    at: datetime


def make_batcher() -> WriteBatcher[PendingTest, Any]:
    """The batcher of tests. Two with the same id or the same code, as typed, never go into one batch."""
    return WriteBatcher(log_batch, lambda pending: {pending.new.id, pending.new.item, *pending.new.through})


def log_batch(batch: Sequence[PendingTest]) -> Sequence[Any]:
    """Log a batch; return the answer to each test, or its refusal."""
    if len(batch) > 1:
        try:
            return _log_together(batch)
        except WriteConflict:
            pass  # each is tried again by itself
        except Busy as busy:
            return [busy] * len(batch)
        except (Problem, DBAPIError):
            pass  # one of them is refused: each is logged by itself, so that only that one is
        except Exception:  # the same for an unexpected error
            LOG.exception("tests that went together broke; each goes by itself")
    outcomes: list[Any] = []
    for pending in batch:
        last = outcomes[-1] if outcomes else None
        # After waiting for a busy database the rest is refused as well; the phones send it again.
        outcomes.append(last if isinstance(last, Busy) else _log_alone(pending))
    return outcomes


def _log_together(batch: Sequence[PendingTest]) -> Sequence[Any]:
    outcomes: dict[UUID, Any] = {}
    let_in = []
    with batch[0].context.store.writing() as db:
        # In order of id: two workers with the same tests claim them in the same order, to avoid deadlocks.
        for pending in sorted(batch, key=lambda pending: pending.new.id):
            try:
                pending.context.identify(db)
                let_in.append(pending)
            except Problem as refusal:  # of one whose access has ended: the others go on
                outcomes[pending.new.id] = refusal
        if let_in:
            requests = [WriteRequest(each.new.id, ACTION, each.content, each.at) for each in let_in]
            tests = [SubmittedTest(each.new, each.context.me, each.at) for each in let_in]
            zone = let_in[0].context.zone
            answers = all_once(db, requests, lambda: log_tests(db, tests, zone))
            outcomes |= {each.new.id: answer for each, answer in zip(let_in, answers, strict=True)}
    return [outcomes[pending.new.id] for pending in batch]


def _log_alone(pending: PendingTest) -> Any:
    context = pending.context
    try:
        return context.once(
            pending.new.id,
            ACTION,
            pending.content,
            lambda db: log_test(db, pending.new, context.me, pending.at, context.zone),
            lambda db: logged_as(db, pending.new),
        )
    except Exception as error:  # it becomes the answer to its own request
        return error


def log_test(db: Session, new: NewTest, who: Who | None, now: datetime, zone: ZoneInfo) -> dict[str, Any]:
    """Log a test with its effects.

    Returns:
        `id`, `item` (its code now), `verdict`, `faults`, `received_at` and the item's `state`.

    Raises:
        Invalid: with the field and what is wrong with it.
    """
    (answer,) = log_tests(db, [SubmittedTest(new, who, now)], zone)
    return answer


def log_tests(db: Session, tests: Sequence[SubmittedTest], zone: ZoneInfo) -> list[dict[str, Any]]:
    """Log several tests in one transaction. They must not share items.

    Raises:
        Invalid: with the field and what is wrong with it.
        NotBatchable: there are several, and two share an item, or one needs locks on items of no test of the batch.
    """
    # Load. The tags stay in the session until the end, so that each look-up below is free.
    _tags = tags_on(db, (code for each in tests for code in (each.test.item, *each.test.through)))
    item_ids = [_item_ids(db, each.test) for each in tests]
    items, before = lock_with_histories(db, [item_id for ids in item_ids for item_id in ids])
    if len(tests) > 1 and sorted(before) != sorted(item.id for item in items):
        raise NotBatchable("These tests touch one another's items, so each has to be logged by itself.")
    by_id = {item.id: item for item in items}
    pieces = [[by_id[item_id] for item_id in ids] for ids in item_ids]

    # Check and diagnose.
    for some in pieces:
        if len(some) > 1:
            check_plugged(db, some)
    times = _times_of(db, tests, item_ids, before)
    made = [
        make_rows(db, each.test, some, each.by, each.at, at)
        for each, some, at in zip(tests, pieces, times, strict=True)
    ]

    # Add.
    now = max(each.at for each in tests)
    helpers = dict.fromkeys((each.test.session, each.by) for each in tests)
    for session_id, who in sorted(helpers, key=lambda pair: str(pair[0])):  # ordered, to avoid deadlocks
        _add_helper(db, session_id, who, now)
    add_rows(db, made)

    # Apply the effects: states, due states, flags.
    after, causes = dict(before), dict[UUID, Cause]()
    for rows, ids, each in zip(made, item_ids, tests, strict=True):
        after |= {item_id: in_time_order([*before[item_id], rows.events[item_id]]) for item_id in ids}
        causes |= dict.fromkeys(ids if len(tests) > 1 else before, Cause(each.by, _reason(db, rows)))
    apply_effects(db, items, before, after, causes, now, zone)

    # Answer.
    codes = codes_of(db, by_id)
    return [
        _answer(rows.test, rows.faults, codes[first.id], first) for rows, (first, *_) in zip(made, pieces, strict=True)
    ]


def logged_as(db: Session, new: NewTest) -> dict[str, Any] | None:
    """The answer to a test that is in the log under its id already; None if that is a different test."""
    test = queries.test(db, new.id)
    through = queries.items_of(db, [new.id])[new.id]
    lane = queries.lane_of(db, [new.id]).get(new.id)
    if test is None or (through, lane) != (_item_ids(db, new), new.lane) or not _is_same(db, test, new):
        return None
    first = db.get_one(Item, through[0])
    return _answer(test, queries.faults_of(db, [test.id])[test.id], codes_of(db, [first.id])[first.id], first)


def _item_ids(db: Session, new: NewTest) -> list[UUID]:
    """The items that a test goes through, in order."""
    item_ids = [named_id(db, new.item, "item")]
    for code in new.through:
        item_id = named_id(db, code, "through")
        if item_id in item_ids:
            raise invalid("through", f"{code} is named twice; name each item that the test went through once.")
        item_ids.append(item_id)
    return item_ids


def _times_of(
    db: Session,
    tests: Sequence[SubmittedTest],
    item_ids: Sequence[Sequence[UUID]],
    histories: Mapping[UUID, Sequence[LogEntry]],
) -> list[datetime]:
    """When each test was done by the service's clock; `histories` are those of the items of each, which are locked.

    Raises:
        Invalid: it would be in the future.
    """
    times = [_corrected(db, each) for each in tests]
    near = [
        (at, ids, each.by.id)
        for at, ids, each in zip(times, item_ids, tests, strict=True)
        if each.by and any(event.at > at - TOGETHER for item_id in ids for event in histories[item_id])
    ]
    if not near:
        return times
    ids, people = {item_id for _, ids, _ in near for item_id in ids}, {person_id for *_, person_id in near}
    others = queries.ways(db, ids, people, min(at for at, *_ in near) - TOGETHER)
    return [
        _in_order(each, at, [way for item_id in ids if each.by for way in others.get((item_id, each.by.id), ())])
        for each, at, ids in zip(tests, times, item_ids, strict=True)
    ]


def _corrected(db: Session, submitted: SubmittedTest) -> datetime:
    """When a test was done, with the error of the phone's clock taken off."""
    new, who, now = submitted.test, submitted.by, submitted.at
    here = new.here_at or now
    late = None if new.sent_at is None else here - new.sent_at
    earlier = queries.late(db, who.id, now) if who and late is not None and abs(late) > CLOCK_ERROR_LEAST / 2 else []
    return corrected(new.tested_at, new.sent_at, here, earlier=earlier)


def _in_order(submitted: SubmittedTest, at: datetime, others: Sequence[Way]) -> datetime:
    """The time of a test after or before the tests of the same items and person that are not too far from it."""
    new, now = submitted.test, submitted.at
    way = Way(new.tested_at or now, new.sent_at, new.here_at or now, at)
    return in_phone_order(way, [other for other in others if other.at > at - TOGETHER])


@dataclass(frozen=True)
class TestRows:
    """The rows of a test: the test itself, then those that refer to it; and its entry in each item's history."""

    __test__ = False

    test: Test
    faults: list[FaultRow]
    items: list[TestItem]
    events: dict[UUID, LogEntry]


def make_rows(
    db: Session, new: NewTest, items: Sequence[Item], who: Who | None, now: datetime, tested_at: datetime
) -> TestRows:
    """The rows of a test of these items, diagnosed but not yet added.

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
    findings = diagnosis.faults or new.evidence
    faults = make_fault_rows(wiring, diagnosis.faults, new.evidence) if findings else []
    for row in faults:
        row.test_id = new.id
    test = Test(
        id=new.id,
        wiring=key,
        method=new.method,
        joined=[list(group) for group in new.joined or []],
        probed=probed,
        evidence=[each.to_json() for each in new.evidence],
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
    on_lanes = [(row.conductors, (row.detail or {}).get("lanes", ())) for row in faults]
    reached = of_test(wiring, verdict, test.unproven, on_lanes)
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
    return TestRows(test, faults, links, events)


def add_rows(db: Session, made: Sequence[TestRows]) -> None:
    """Add the rows of these tests; a test before the rows that refer to it."""
    db.add_all(rows.test for rows in made)
    db.flush()
    db.add_all(row for rows in made for row in (*rows.faults, *rows.items))


def _add_helper(db: Session, session_id: UUID | None, who: Who | None, now: datetime) -> None:
    """Note that somebody helps in a session."""
    if session_id is None:
        return
    if db.get(WorkSession, session_id) is None:
        raise invalid("session", f"There is no session {session_id}. Leave it out, or take its id from its page.")
    if who is not None and db.get(SessionHelper, (session_id, who.id)) is None:
        locked(db, WorkSession, session_id)  # a phone may send several at once: only the first adds the helper
        if db.get(SessionHelper, (session_id, who.id), populate_existing=True) is None:
            db.add(SessionHelper(session_id=session_id, person_id=who.id, joined_at=now))


def _reason(db: Session, made: TestRows) -> str:
    if not made.faults:
        return "Passed its test."
    return f"Failed: {'; '.join(titles(db, made.test.wiring, made.faults))}."


def _answer(test: Test, faults: Sequence[FaultRow], code: str, item: Item) -> dict[str, Any]:
    return {
        "id": str(test.id),
        "item": code,
        "verdict": test.verdict,
        "faults": [as_json(row) for row in faults],
        "received_at": test.received_at.isoformat(),
        "state": item.state,
    }


def _is_same(db: Session, test: Test, new: NewTest) -> bool:
    """Whether a test of the log has the same time, readings, evidence and note as the one sent."""
    evidence = _sorted([each.to_json() for each in new.evidence])
    sent = (new.tested_at, new.note, evidence, new.wiring or test.wiring)
    if sent not in {(at, test.note, _sorted(test.evidence), test.wiring) for at in (test.tested_at, test.told_at)}:
        return False
    wiring = find_wiring(db, test.wiring)
    try:
        return read(wiring, new.joined or [], _probed(new)) == read(wiring, test.joined, test.probed)
    except Problem:
        return False


def _sorted(evidence: Sequence[dict[str, Any]]) -> tuple[tuple[str, ...], ...]:
    return tuple(sorted((each["class"], each["end"] or "", each["note"]) for each in evidence))


def _probed(new: NewTest) -> Any:
    """The contacts that the tester reached; none if nothing was read."""
    return new.probed if new.joined is not None else []
