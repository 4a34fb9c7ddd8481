"""Look-ups of decisions: thresholds, prices, leads' decisions, and the failures and repairs in the log."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Row, Select, func, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.gear.core import KINDS, End
from service.gear.models import Item, ItemLength
from service.gear.wirings import find_wiring
from service.kit.dates import local_date
from service.retire.decisions.core import (
    Action,
    Failure,
    Gear,
    Limits,
    PastTest,
    Price,
    Purchase,
    RetireRecord,
    Sort,
    is_at_risk,
    is_still_bent,
    last_tests,
    sort_of,
)
from service.retire.decisions.models import GearPrice, Overrule
from service.retire.repair_or_replace.core import (
    ComparedCosts,
    Expected,
    PriceSource,
    RepairPrice,
    days_of_season,
    horizon,
)
from service.season.models import Event, SeasonRow
from service.store.sessions import cached
from service.swaps.models import PullLimits
from service.testlog.core import FaultStatus, LogEntry, Verdict
from service.testlog.models import NOT_VOIDED, FaultRow, Repair, Test, TestItem, Void
from service.testlog.queries import THROUGH_SEVERAL, events, histories, of_each_item
from service.wear.queries import ExpectedFailures, as_it_is, known_lives, renewed
from service.wear.queries import records as wear_records
from service.wiring.faults import FaultClass
from service.wiring.wirings import connector_of

if TYPE_CHECKING:
    from service.wear.core.pooling import KnownLives  # numpy would slow the start of every command

FEW_CONTACTS = 4
"""The most contacts of a connector for a single channel, with its shell; one with more is a multi-pin connector."""
NO_REPAIRS: Sequence[tuple[datetime, End | None]] = ()
REPAIRS_ENOUGH = 3
"""Repairs with a cost that a kind needs before its own mean is used (common practice, no source)."""


@dataclass(frozen=True)
class LeadDecision:
    """A lead's decision on an item: what to do instead (None: they took it back), why, who and when, and the first day
    on which it no longer holds (None in old ones, which hold for their event only).
    """

    action: Action | None
    reason: str
    by: str
    at: datetime
    until: date | None


def lead_decisions(db: Session, event_id: UUID, item_id: UUID) -> list[LeadDecision]:
    """Leads' decisions on an item for this event, or for all events until a day, the last first."""
    query = _decisions().where(Overrule.item_id == item_id)
    return [_as_decision(row) for row in db.execute(query) if row.event_id == event_id or row.until]


def decisions_in_force(db: Session, event: Event, today: date) -> dict[UUID, LeadDecision]:
    """The decision that counts for each item before an event: the last one, if it still holds.

    For a past event these are the ones that held on its day.
    """
    day = min(event.on, today)
    last: dict[UUID, LeadDecision] = {}
    for row in db.execute(_decisions()):
        if row.event_id == event.id or (row.until and event.on >= today):
            last.setdefault(row.item_id, _as_decision(row))
    return {item_id: word for item_id, word in last.items() if word.action and (word.until is None or word.until > day)}


def _decisions() -> Select[UUID, UUID, str | None, str, str, datetime, date | None]:
    return (
        select(
            Overrule.item_id,
            Overrule.event_id,
            Overrule.action,
            Overrule.reason,
            Person.display_name,
            Overrule.at,
            Overrule.until,
        )
        .outerjoin(Person, Person.id == Overrule.person_id)
        .order_by(Overrule.id.desc())
    )


def _as_decision(row: Row[UUID, UUID, str | None, str, str, datetime, date | None]) -> LeadDecision:
    return LeadDecision(
        Action(row.action) if row.action else None, row.reason, row.display_name or "", row.at, row.until
    )


def failures(db: Session, only: Collection[UUID] | None = None) -> Mapping[UUID, list[Failure]]:
    """The failed tests of each item that has any, in time order; without voided ones and those of several items.

    `only` are a few items, which are read anew.
    """
    return of_each_item(db, "failures", _failures) if only is None else _failures(db, only)


def _failures(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[Failure]]:
    query = (
        select(TestItem.item_id, Test.id, Test.tested_at, FaultRow.end, FaultRow.fault_class, FaultRow.detail)
        .join(Test, Test.id == TestItem.test_id)
        .outerjoin(Void, Void.test_id == Test.id)
        .outerjoin(FaultRow, FaultRow.test_id == Test.id)
        .where(
            TestItem.item_id.in_(item_ids),
            Test.verdict == Verdict.FAIL,
            NOT_VOIDED,
            ~THROUGH_SEVERAL,
        )
        .order_by(Test.tested_at, Test.id)
    )
    failures_of: dict[UUID, dict[UUID, Failure]] = defaultdict(dict)
    for item_id, test_id, at, end, fault_class, detail in db.execute(query):
        failure = failures_of[item_id].setdefault(test_id, Failure(at))
        if end is not None:
            failure.ends.add(End(end))
        if fault_class == FaultClass.DAMAGE and "bent" in str((detail or {}).get("note", "")).lower():
            failure.bent.add(End(end) if end else None)
    return {item_id: list(tests.values()) for item_id, tests in failures_of.items()}


def repairs(db: Session, only: Collection[UUID] | None = None) -> Mapping[UUID, list[tuple[datetime, End | None]]]:
    """When each item was repaired, and at which end if that was entered, in time order; `only` as in `failures`."""
    return of_each_item(db, "repairs", _repairs) if only is None else _repairs(db, only)


def _repairs(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[tuple[datetime, End | None]]]:
    query = select(Repair.item_id, Repair.at, Repair.end).where(Repair.item_id.in_(item_ids))
    repairs_of: dict[UUID, list[tuple[datetime, End | None]]] = defaultdict(list)
    for item_id, at, end in db.execute(query.order_by(Repair.at, Repair.id)):
        repairs_of[item_id].append((at, End(end) if end else None))
    return repairs_of


def repair_prices(db: Session) -> dict[str, RepairPrice]:
    """The cost of a repair by kind: the mean of the log if enough repairs have a cost (0 counts), else what a lead set,
    else our default.
    """
    query = (
        select(Item.kind, func.avg(Repair.cost_cents), func.count())
        .join(Item, Item.id == Repair.item_id)
        .where(Repair.cost_cents.is_not(None))
        .group_by(Item.kind)
        .having(func.count() >= REPAIRS_ENOUGH)
    )
    row = db.get(PullLimits, 1)
    usual = RepairPrice(row.repair_cents, PriceSource.LEAD) if row else RepairPrice(Limits().repair_cents)
    means = {kind: RepairPrice(round(float(mean)), PriceSource.LOG, count) for kind, mean, count in db.execute(query)}
    return dict.fromkeys(KINDS, usual) | means


_FIRST_LENGTHS = select(ItemLength.item_id, ItemLength.length_mm).where(
    ItemLength.id.in_(select(func.min(ItemLength.id)).group_by(ItemLength.item_id).having(func.count() > 1))
)
"""The lengths as bought of items that were cut since."""


def bought_lengths(db: Session) -> dict[UUID, int]:
    """The length as bought, in millimeters, of every item that was cut since."""
    rows = db.execute(_FIRST_LENGTHS)
    return {item_id: length for item_id, length in rows}  # noqa: C416  (a row is no pair to the type checker)


def purchases(db: Session) -> list[Purchase]:
    """The purchase of every item there ever was."""
    return [Purchase(Sort(kind, wiring, length), on, cents) for kind, wiring, length, on, cents in _purchases(db)]


def _purchases(db: Session, *only: ColumnElement[bool]) -> Iterable[Row[str, str, int, date | None, int | None]]:
    as_bought = _FIRST_LENGTHS.subquery()
    length = func.coalesce(as_bought.c.length_mm, Item.length_mm)
    query = select(Item.kind, Item.wiring, length, Item.bought_on, Item.price_cents).where(*only)
    return db.connection().execute(query.outerjoin(as_bought, as_bought.c.item_id == Item.id))


def prices(db: Session) -> dict[Sort, Price]:
    """The price of one of each sort: as a lead set it last, else as paid last."""
    last: dict[tuple[str, str, int], tuple[date | None, int]] = {}
    for kind, wiring, length, on, cents in _purchases(db, Item.price_cents.is_not(None)):
        before, _ = last.get((kind, wiring, length), (None, 0))
        if cents is not None and (before is None or (on is not None and on >= before)):
            last[kind, wiring, length] = on, cents
    price_of = {Sort(*sort): Price(cents, on) for sort, (on, cents) in last.items()}
    latest = select(GearPrice.kind, GearPrice.wiring, GearPrice.length_mm, GearPrice.cents)
    for kind, wiring, length, cents in db.execute(latest.order_by(GearPrice.id)):
        price_of[Sort(kind, wiring, length)] = Price(cents, None, by_lead=True)
    return price_of


def sorts(db: Session) -> dict[Sort, int]:
    """How many items of each sort the program has or had, retired and lost ones included."""
    counted: dict[Sort, int] = defaultdict(int)
    for each in purchases(db):
        counted[each.sort] += 1
    return dict(counted)


def limits(db: Session) -> Limits:
    """The program's thresholds."""
    row = db.get(PullLimits, 1)
    return Limits(**{name: getattr(row, name) for name in asdict(Limits())}) if row else Limits()


def comparisons(
    db: Session,
    prices: Mapping[UUID, tuple[RepairPrice, int | None]],
    known: "Mapping[UUID, KnownLives]",
    event: date | None,
    today: date,
    risk_limit: float,
) -> dict[UUID, ComparedCosts]:
    """Repair compared with replacement, for each item of `prices`: what its repair costs, and a new one in cents.

    `event` is the day of the next event, None if none is coming; `known` has the class and the lives of these items, of
    all where no fit is stored.
    """
    if not prices:
        return {}
    seasons = _season_days(db)
    until = horizon(seasons, today)
    sooner = days_of_season(seasons, today, event) if event else 0
    renewed_items = renewed(db, known, prices.keys() & known.keys(), sooner, until.days) if until else {}
    has_event = event is not None

    def compared(item_id: UUID) -> ComparedCosts:
        repair, new_cents = prices[item_id]
        both = renewed_items.get(item_id)
        repaired, new = (_expected(each, has_event) for each in both) if both else (None, None)
        return ComparedCosts(repair, new_cents, repaired, new, risk_limit, until)

    return {item_id: compared(item_id) for item_id in prices}


def comparison_as_it_is(
    db: Session,
    gear: Gear,
    prices: Mapping[Sort, Price],
    zone: ZoneInfo,
    event: date,
    today: date,
    limits: Limits,
) -> ComparedCosts | None:
    """The costs of keeping an item in use as it is, of a repair and of a new one, with their risk at an event.

    None if keeping it is no option, as it has failed, or nothing speaks against it: it is neither suspect nor at risk.
    """
    is_doubtful = gear.suspect is not None or is_at_risk(gear, limits)
    if not is_doubtful or gear.fault is not FaultStatus.NONE or event < today:
        return None
    wear = wear_records(db, zone)
    if not wear[gear.id].in_use:
        return None
    price = prices.get(sort_of(gear))
    costs = repair_prices(db)[gear.kind], price.cents if price else None
    compared = comparisons(db, {gear.id: costs}, known_lives(wear), event, today, limits.risk_percent / 100)[gear.id]
    left = as_it_is(db, wear, gear.id, today, compared.until.days) if compared.until else None
    return replace(compared, as_it_is=Expected(gear.risk, *left)) if left else None


def _season_days(db: Session) -> list[tuple[str, date, date]]:
    rows = db.execute(select(SeasonRow.name, SeasonRow.starts, SeasonRow.ends))
    return [(name, starts, ends) for name, starts, ends in rows]


def _expected(item: ExpectedFailures, has_event: bool) -> Expected:
    return Expected(item.fails_first if has_event else None, item.fails, item.failures)


def has_limits(db: Session) -> bool:
    """Whether a lead has set the thresholds; else they are our defaults."""
    return db.get(PullLimits, 1) is not None


def records(
    db: Session, wirings: Mapping[UUID, str], zone: ZoneInfo, most: int, only: Collection[UUID] | None = None
) -> dict[UUID, RetireRecord]:
    """The record of each item that ever failed; `wirings` are those of the items that are judged. `only` as in
    `failures`.

    Histories are read only of items that failed more than once, as only these can have failed repeatedly. `most` is how
    many of the last tests a record has.
    """
    failed = {item_id: fails for item_id, fails in failures(db, only).items() if item_id in wirings}
    again = [item_id for item_id, fails in failed.items() if len(fails) > 1]
    known: Mapping[UUID, Sequence[LogEntry]] = {}
    if again:
        known = histories(db) if only is None else events(db, again)
    repaired = repairs(db, only) if failed else {}
    memory, records_by_item = cached(db, "last tests"), {}
    for item_id, fails in failed.items():
        item_repairs = repaired.get(item_id, NO_REPAIRS)
        tests: tuple[PastTest, ...] = ()
        if len(fails) > 1:
            # What is cached of the log is one and the same object until something is added to it.
            of_log = known[item_id], fails, item_repairs
            before = memory.get(item_id)
            if before is None or before[1] != most or any(a is not b for a, b in zip(before[0], of_log, strict=True)):
                before = memory[item_id] = of_log, most, last_tests(*of_log, most)
            tests = before[2]
        bent = _bent(db, wirings[item_id], fails)
        bent_on, still = (local_date(bent.at, zone), is_still_bent(bent, item_repairs)) if bent else (None, False)
        records_by_item[item_id] = RetireRecord(tests, bent_on, still)
    return records_by_item


def _bent(db: Session, wiring: str, failed: Sequence[Failure]) -> Failure | None:
    """The last of these failures with a bent contact in a multi-pin connector."""
    if not any(failure.bent for failure in failed):
        return None
    many = [end for end in End if _contacts(db, wiring, end) > FEW_CONTACTS]
    return next(
        (failure for failure in reversed(failed) if any(end in many or (end is None and many) for end in failure.bent)),
        None,
    )


def _contacts(db: Session, wiring: str, end: End) -> int:
    """How many contacts the largest connector at an end has."""
    counted = Counter(connector_of(contact) for contact in find_wiring(db, wiring).contacts(end))
    return max(counted.values(), default=0)
