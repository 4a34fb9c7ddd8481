"""Look-ups of tests and repairs, and the cached histories of items."""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Protocol, TypeVar
from uuid import UUID

from sqlalchemy import BindParameter, Select, Uuid, bindparam, exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from service.crew.models import Person
from service.gear.core import FlagKind
from service.gear.models import Flag, Item
from service.gear.wirings import find_wiring
from service.season.core import What
from service.store.engine import Instant
from service.store.sessions import cached, chunks, reads_only
from service.testlog.core import LogEntry, Verdict, Way, event_of, in_time_order
from service.testlog.models import (
    NOT_VOIDED,
    SESSION_IS_OPEN,
    FaultRow,
    MarkStands,
    Repair,
    SessionKind,
    Swap,
    Test,
    TestItem,
    Void,
    WorkItem,
    WorkSession,
    WrongMark,
)
from service.testlog.reach import FaultOnLanes, PluggedChain, lane_names, of_pass, of_piece, of_test, through_wiring
from service.testlog.suspects import through_suspects
from service.wiring.faults import FaultClass

# Logging a test executes these, so they are built once: building a statement takes longer than executing it.
_ITEMS: BindParameter[Any] = bindparam("items", expanding=True, type_=Uuid())
_OTHER = aliased(TestItem)
_DAY = timedelta(days=1)
THROUGH_SEVERAL = exists().where(_OTHER.test_id == TestItem.test_id, _OTHER.item_id != TestItem.item_id)
"""Whether the test of a `TestItem` went through other items too."""
DOUBTED = (
    exists().where(WrongMark.test_id == Test.id).correlate(Test)
    & ~exists().where(MarkStands.test_id == Test.id).correlate(Test)
).label("doubted")
"""Whether its own tester marked a test as wrong and no lead decided that it stands; it may be voided."""
_TESTED = (
    select(
        TestItem.item_id,
        Test.id.label("test_id"),
        Test.tested_at,
        Test.verdict,
        Test.evidence,
        THROUGH_SEVERAL.label("through"),
        DOUBTED,
        TestItem.lane,
        Item.wiring.label("own_wiring"),
        Test.wiring.label("by_wiring"),
        Test.unproven,
    )
    .join(Test, Test.id == TestItem.test_id)
    .join(Item, Item.id == TestItem.item_id)
    .outerjoin(Void, Void.test_id == Test.id)
    .where(TestItem.item_id.in_(_ITEMS), NOT_VOIDED)
)
_FAULTS = select(FaultRow.test_id, FaultRow.conductors, FaultRow.detail).where(
    FaultRow.test_id.in_(bindparam("tests", expanding=True, type_=Uuid()))
)
_REPAIRED = select(Repair.item_id, Repair.id, Repair.at).where(Repair.item_id.in_(_ITEMS))
_FAILED = (
    select(TestItem.test_id)
    .join(Test, Test.id == TestItem.test_id)
    .where(TestItem.item_id.in_(_ITEMS), Test.verdict == Verdict.FAIL)
)
_TOGETHER = select(TestItem.item_id).where(TestItem.test_id.in_(_FAILED))
_FAILED_THROUGH = (
    select(Test.id, Test.tested_at, TestItem.item_id)
    .join(TestItem, TestItem.test_id == Test.id)
    .outerjoin(Void, Void.test_id == Test.id)
    .where(
        Test.id.in_(select(TestItem.test_id).where(TestItem.item_id.in_(_ITEMS))),
        Test.verdict == Verdict.FAIL,
        NOT_VOIDED,
    )
    .order_by(Test.tested_at, Test.id, TestItem.position)
)
_WAYS = (
    select(TestItem.item_id, Test.person_id, Test.told_at, Test.sent_at, Test.received_at, Test.tested_at)
    .join(Test, Test.id == TestItem.test_id)
    .where(
        TestItem.item_id.in_(_ITEMS),
        Test.person_id.in_(bindparam("people", expanding=True, type_=Uuid())),
        Test.tested_at > bindparam("since", type_=Instant()),
    )
)
# Always locked in the same order, to avoid deadlocks.
_LOCKING = select(Item).order_by(Item.id).with_for_update().execution_options(populate_existing=True)
_LOCKED = _LOCKING.where(Item.id.in_(_ITEMS))
_LOCKED_TOGETHER = _LOCKING.where(or_(Item.id.in_(_ITEMS), Item.id.in_(_TOGETHER)))
_TESTED_FLAGS = (
    select(Flag).where(Flag.item_id.in_(_ITEMS), Flag.flag.in_((FlagKind.SUSPECT, FlagKind.AT_RISK))).order_by(Flag.id)
)


class PluggedItem(Protocol):
    """An item, as a row or as its facts."""

    @property
    def id(self) -> UUID: ...
    @property
    def kind(self) -> str: ...
    @property
    def wiring(self) -> str: ...


def events(db: Session, item_ids: Iterable[UUID]) -> dict[UUID, list[LogEntry]]:
    """The history of each item in time order: tests and repairs, without voided tests.

    A pass that its tester marked as wrong is in it but proves nothing.
    """
    histories: dict[UUID, list[LogEntry]] = {}
    for ids in chunks(item_ids):
        histories |= _events(db, ids)
    return histories


def _events(db: Session, item_ids: list[UUID]) -> dict[UUID, list[LogEntry]]:
    histories: dict[UUID, list[LogEntry]] = {item_id: [] for item_id in item_ids}
    rows = db.connection().execute(_TESTED, {"items": item_ids}).all()
    wirings = {key: find_wiring(db, key) for key in {key for row in rows for key in (row.own_wiring, row.by_wiring)}}
    several = {key for key, wiring in wirings.items() if len(lane_names(wiring)) > 1}
    faults = faults_among_lanes(
        db, {row.test_id for row in rows if row.verdict == Verdict.FAIL and row.by_wiring in several}
    )
    for item_id, test_id, at, word, evidence, through, doubted, lane, own, key, unproven in rows:
        piece, tested, verdict = wirings[own], wirings[key], Verdict(word)
        if verdict is Verdict.PASS:
            reach = of_pass(tested, piece, lane)
        else:
            reach = of_piece(tested, of_test(tested, verdict, unproven, faults.get(test_id, ())), piece, lane)
        event = event_of(
            at,
            verdict,
            test_id,
            lane_names(piece),
            reach,
            alone=not through,
            flexed=_flexed(evidence),
            doubted=doubted,
        )
        histories[item_id].append(event)
    for item_id, repair_id, at in db.connection().execute(_REPAIRED, {"items": item_ids}):
        histories[item_id].append(LogEntry(at, What.REPAIR, repair_id))
    return {item_id: in_time_order(history) for item_id, history in histories.items()}


def faults_among_lanes(db: Session, test_ids: Collection[UUID]) -> dict[UUID, list[FaultOnLanes]]:
    """The faults of each test, as the lanes they are on."""
    faults: dict[UUID, list[FaultOnLanes]] = defaultdict(list)
    for ids in chunks(test_ids):
        for test_id, conductors, detail in db.connection().execute(_FAULTS, {"tests": ids}):
            faults[test_id].append((conductors, (detail or {}).get("lanes", ())))
    return faults


def suspected(
    db: Session, item_ids: Collection[UUID], until: datetime | None = None
) -> dict[UUID, frozenset[tuple[UUID, str]]]:
    """For each of these items the failed tests through several items that leave it suspect, each with the lane.

    Args:
        until: as things were known at that time; without it, as they are known now.
    """
    suspicions: dict[UUID, frozenset[tuple[UUID, str]]] = defaultdict(frozenset)
    for ids in chunks(item_ids):
        tests = failed_through(db, ids)
        histories = events(db, {item_id for _, items in tests.values() for item_id in items})
        if until is not None:
            histories = {
                item_id: [event for event in history if event.at < until] for item_id, history in histories.items()
            }
        for test_id, (at, items) in tests.items():
            if until is None or at < until:
                for item_id, lanes in through_suspects(test_id, at, items, histories).items():
                    suspicions[item_id] |= {(test_id, lane) for lane in lanes}
    return suspicions


def _flexed(evidence: Sequence[dict[str, Any]]) -> bool:
    return any(one["class"] == FaultClass.FLEXED for one in evidence)


def chain_of(db: Session, items: Sequence[PluggedItem]) -> PluggedChain:
    """The pieces of a test in order. It does not check that they can be plugged together: see `chains.plugged`."""
    keys = [item.wiring for item in items]
    wirings = [find_wiring(db, key) for key in keys]
    return PluggedChain(wirings, through_wiring(list(zip(keys, wirings, strict=True))))


def test(db: Session, test_id: UUID) -> Test | None:
    """The test with this id; None if there is none."""
    return db.get(Test, test_id)


def lock_items(db: Session, item_ids: Iterable[UUID]) -> list[Item]:
    """These items, locked until the transaction ends; in order of id, to avoid deadlocks."""
    return [item for ids in chunks(sorted(item_ids)) for item in db.scalars(_LOCKED, {"items": ids})]


def lock_tested_with(db: Session, item_ids: Collection[UUID]) -> list[Item]:
    """These items and all that any failed test went through together with one of them, locked as by `lock_items`."""
    return list(db.scalars(_LOCKED_TOGETHER, {"items": list(item_ids)}))


def failed_through(db: Session, item_ids: Collection[UUID]) -> dict[UUID, tuple[datetime, list[UUID]]]:
    """The failed tests through several items, at least one of these: when, and through which. Without voided tests."""
    failed: dict[UUID, tuple[datetime, list[UUID]]] = {}
    for test_id, at, item_id in db.connection().execute(_FAILED_THROUGH, {"items": list(item_ids)}):
        failed.setdefault(test_id, (at, []))[1].append(item_id)
    return {test_id: (at, items) for test_id, (at, items) in failed.items() if len(items) > 1}


def tested_with(db: Session, item_ids: Collection[UUID]) -> set[UUID]:
    """These items and all that any failed test went through together with one of them."""
    return set(item_ids) | set(db.connection().scalars(_TOGETHER, {"items": list(item_ids)}))


def tested_flags(db: Session, item_ids: Collection[UUID]) -> Sequence[Flag]:
    """Every flag of these items of a kind that a test may clear (suspect, at risk), open or not, the oldest first."""
    return db.scalars(_TESTED_FLAGS, {"items": list(item_ids)}).all()


def stands(db: Session, test_ids: Collection[UUID]) -> dict[UUID, bool]:
    """For each of these ids that is a test: whether it stands, that is, is not voided."""
    query = select(Test.id, Void.test_id).outerjoin(Void, Void.test_id == Test.id).where(Test.id.in_(test_ids))
    return {test_id: voided is None for test_id, voided in db.execute(query)}


def repairs(db: Session, item_id: UUID) -> Sequence[Repair]:
    """The repairs of an item, the newest first."""
    return db.scalars(select(Repair).where(Repair.item_id == item_id).order_by(Repair.at.desc(), Repair.id)).all()


def void_of(db: Session, test_id: UUID) -> Void | None:
    """The void of a test; None if it was not voided."""
    return db.get(Void, test_id)


def items_of(db: Session, test_ids: Collection[UUID]) -> dict[UUID, list[UUID]]:
    """The items that each test went through, in order."""
    items: dict[UUID, list[UUID]] = {test_id: [] for test_id in test_ids}
    query = select(TestItem.test_id, TestItem.item_id).where(TestItem.test_id.in_(test_ids))
    for test_id, item_id in db.execute(query.order_by(TestItem.test_id, TestItem.position)):
        items[test_id].append(item_id)
    return items


def lane_of(db: Session, test_ids: Collection[UUID]) -> dict[UUID, str]:
    """The lane that each test of a single channel took through items with several, if it was entered."""
    query = select(TestItem.test_id, TestItem.lane).where(TestItem.test_id.in_(test_ids), TestItem.lane.is_not(None))
    return {test_id: lane for test_id, lane in db.execute(query) if lane}


def faults_of(db: Session, test_ids: Collection[UUID]) -> dict[UUID, list[FaultRow]]:
    """The faults of each test, in order."""
    faults: dict[UUID, list[FaultRow]] = defaultdict(list)
    query = select(FaultRow).where(FaultRow.test_id.in_(test_ids)).order_by(FaultRow.test_id, FaultRow.position)
    for row in db.scalars(query):
        faults[row.test_id].append(row)
    return faults


def late(db: Session, person_id: UUID, now: datetime) -> list[timedelta]:
    """How late each test of the last day was that somebody sent, by their phone's clock (see `Way.late`)."""
    query = select(Test.sent_at, Test.received_at).where(
        Test.person_id == person_id, Test.sent_at.is_not(None), Test.received_at > now - _DAY
    )
    return [received - sent for sent, received in db.execute(query) if sent]


def ways(
    db: Session, item_ids: Collection[UUID], person_ids: Collection[UUID], since: datetime
) -> dict[tuple[UUID, UUID], list[Way]]:
    """How each test of these items came in that these people did since then (see `Way`), by item and person."""
    by_item: dict[tuple[UUID, UUID], list[Way]] = defaultdict(list)
    keys = {"items": list(item_ids), "people": list(person_ids), "since": since}
    for row in db.connection().execute(_WAYS, keys):
        by_item[row.item_id, row.person_id].append(Way(*row[2:]))
    return by_item


def last_logged(db: Session, person_ids: Collection[UUID]) -> dict[UUID, datetime]:
    """When each of these people last logged a test; people who never did are left out."""
    last = select(func.max(Test.received_at)).where(Test.person_id == Person.id).scalar_subquery()
    query = select(Person.id, last).where(Person.id.in_(person_ids))  # one look into an index for each, not every test
    return {person_id: at for person_id, at in db.execute(query) if at is not None}


_LAST = select(Swap.bad_id, func.max(Swap.at)).where(Swap.bad_id.in_(_ITEMS)).group_by(Swap.bad_id)


def last_swaps(db: Session, item_ids: Collection[UUID]) -> dict[UUID, datetime]:
    """When a spare last took the place of each of these items; items that were never swapped are left out."""
    rows = db.connection().execute(_LAST, {"items": list(item_ids)})
    return {item_id: at for item_id, at in rows}  # noqa: C416  (a row is no pair to the type checker)


def open_session_with(db: Session, item_id: UUID, today: date) -> WorkSession | None:
    """Today's open test session that has an item on its worklist, where a test of it counts; None if there is none."""
    return db.scalar(
        select(WorkSession)
        .join(WorkItem, WorkItem.session_id == WorkSession.id)
        .where(
            WorkItem.item_id == item_id,
            WorkSession.on == today,
            SESSION_IS_OPEN,
            WorkSession.kind == SessionKind.TEST,
        )
        .order_by(WorkSession.created_at.desc())
        .limit(1)
    )


# The cache of histories. The log is append-only: no test, repair, void or mark is ever changed or deleted. So as long
# as an item has as many of each, its history is the same; the counts are read from indexes alone.
T = TypeVar("T")
Size = tuple[int, int, int]
"""How many tests, repairs, and corrections of tests (voids, marks as wrong, leads' decisions on these) an item has."""

_TEST_COUNTS = select(TestItem.item_id, func.count()).group_by(TestItem.item_id)
_REPAIR_COUNTS = select(Repair.item_id, func.count()).group_by(Repair.item_id)
_CORRECTION_COUNTS = [
    select(TestItem.item_id, func.count())
    .join(correction, correction.test_id == TestItem.test_id)
    .group_by(TestItem.item_id)
    for correction in (Void, WrongMark, MarkStands)
]


def histories(db: Session) -> Mapping[UUID, list[LogEntry]]:
    """The history of every item in the log, cached, as `events` reads it."""
    return of_each_item(db, "histories", events)


def of_each_item(
    db: Session, name: str, read: Callable[[Session, Collection[UUID]], Mapping[UUID, T]]
) -> dict[UUID, T]:
    """The result of `read` for every item in the log, cached by item. Items without a result are left out.

    Args:
        name: the name of the cache.
        read: reads the results of some items. It may depend only on their tests, repairs, and corrections of tests.
    """
    # The counts first: what is read after them may already have more, and is then read again next time.
    sizes, memory = _sizes(db), cached(db, name)
    # Looked up once: another thread, with an older or newer snapshot, may write its own results meanwhile.
    known: dict[UUID, tuple[Size | None, T | None]]
    known = {item_id: memory.get(item_id, (None, None)) for item_id in sizes}
    grown = [item_id for item_id, size in sizes.items() if known[item_id][0] != size]
    fresh: dict[UUID, T] = {}
    for ids in chunks(grown):
        fresh |= read(db, ids)
    anew = {item_id: (sizes[item_id], fresh.get(item_id)) for item_id in grown}
    memory.update(anew)
    known.update(anew)
    return {item_id: fact for item_id, (_, fact) in known.items() if fact is not None}


_SIZES = "sizes of the log"


def _sizes(db: Session) -> dict[UUID, Size]:
    """The size of each item's log; counted once in a session that only reads."""
    if not reads_only(db):
        return _counts(db)
    if _SIZES not in db.info:
        db.info[_SIZES] = _counts(db)
    sizes: dict[UUID, Size] = db.info[_SIZES]
    return sizes


def _counts(db: Session) -> dict[UUID, Size]:
    tests, repairs = (Counter(_counted(db, query)) for query in (_TEST_COUNTS, _REPAIR_COUNTS))
    corrections = sum((Counter(_counted(db, query)) for query in _CORRECTION_COUNTS), Counter[UUID]())
    return {
        item_id: (tests[item_id], repairs[item_id], corrections[item_id]) for item_id in tests.keys() | repairs.keys()
    }


def _counted(db: Session, query: Select[UUID, int]) -> dict[UUID, int]:
    return {item_id: count for item_id, count in db.connection().execute(query)}  # noqa: C416  (a row is no pair)
