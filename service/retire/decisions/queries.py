"""What is looked up for decisions: thresholds, prices, a lead’s decisions, and what the log says against an item."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import Row, Select, func, select
from sqlalchemy.orm import Session

from service.crew.models import Person
from service.gear.core import End, ItemState
from service.gear.models import Item, ItemLength
from service.gear.queries import ItemFacts, PlaceA, as_facts, facts
from service.gear.wirings import find_wiring
from service.kit.dates import local_date
from service.retire.decisions.core import (
    Action,
    Failure,
    Limits,
    Price,
    Purchase,
    RetireRecord,
    Sort,
    is_still_bent,
    last_tests,
)
from service.retire.decisions.models import GearPrice, Overrule
from service.season.core import DueState
from service.season.models import Event, ItemDue
from service.swaps.models import PullLimits
from service.tags.models import IS_TAG_OF_ITEM, Tag
from service.testlog.core import Verdict
from service.testlog.history_cache import histories, of_each_item
from service.testlog.models import NOT_VOIDED, FaultRow, Repair, Test, TestItem, Void
from service.testlog.queries import THROUGH_SEVERAL
from service.wiring.faults import FaultClass
from service.wiring.wirings import connector_of

FEW_CONTACTS = 4
"""Contacts that a connector of single lines has, with its shell; one with more counts as one with many."""
REPAIRS_ENOUGH = 3
"""Repairs with a cost that a kind needs before its own mean counts (common practice, no source)."""


@dataclass(frozen=True)
class LeadDecision:
    """A lead's word on an item: what to do instead, None where they took it back; why, who and when, and the first day
    on which it no longer holds (None in old ones, which hold for their event alone).
    """

    action: Action | None
    reason: str
    by: str
    at: datetime
    until: date | None


def lead_decisions(db: Session, event_id: UUID, item_id: UUID) -> list[LeadDecision]:
    """What leads said of an item before this event, or of any until a day, the last first."""
    query = _words().where(Overrule.item_id == item_id)
    return [_as_word(row) for row in db.execute(query) if row.event_id == event_id or row.until]


def words_in_force(db: Session, event: Event, today: date) -> dict[UUID, LeadDecision]:
    """The word on each item that counts before an event: the last one, as long as it holds.

    A list that is over shows what held on its day.
    """
    day = min(event.on, today)
    last: dict[UUID, LeadDecision] = {}
    for row in db.execute(_words()):
        if row.event_id == event.id or (row.until and event.on >= today):
            last.setdefault(row.item_id, _as_word(row))
    return {item_id: word for item_id, word in last.items() if word.action and (word.until is None or word.until > day)}


def _words() -> Select[UUID, UUID, str | None, str, str, datetime, date | None]:
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


def _as_word(row: Row[UUID, UUID, str | None, str, str, datetime, date | None]) -> LeadDecision:
    return LeadDecision(
        Action(row.action) if row.action else None, row.reason, row.display_name or "", row.at, row.until
    )


def failures(db: Session) -> dict[UUID, list[Failure]]:
    """The failed tests that stand, of one item alone, in time order, of every item that has any."""
    return of_each_item(db, "failures", _failures)


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
    found: dict[UUID, dict[UUID, Failure]] = defaultdict(dict)
    for item_id, test_id, at, end, fault_class, detail in db.execute(query):
        failure = found[item_id].setdefault(test_id, Failure(at))
        if end is not None:
            failure.ends.add(End(end))
        if fault_class == FaultClass.DAMAGE and "bent" in str((detail or {}).get("note", "")).lower():
            failure.bent.add(End(end) if end else None)
    return {item_id: list(tests.values()) for item_id, tests in found.items()}


def repairs(db: Session) -> dict[UUID, list[tuple[datetime, End | None]]]:
    """When each item was repaired, and at which end if that was told, in time order."""
    return of_each_item(db, "repairs", _repairs)


def _repairs(db: Session, item_ids: Collection[UUID]) -> dict[UUID, list[tuple[datetime, End | None]]]:
    query = select(Repair.item_id, Repair.at, Repair.end).where(Repair.item_id.in_(item_ids))
    found: dict[UUID, list[tuple[datetime, End | None]]] = defaultdict(list)
    for item_id, at, end in db.execute(query.order_by(Repair.at, Repair.id)):
        found[item_id].append((at, End(end) if end else None))
    return found


def repair_costs(db: Session) -> dict[str, int]:
    """Cents that a repair came to on average, by kind, of kinds that had repairs enough."""
    cost = func.avg(Repair.cost_cents)
    query = select(Item.kind, cost).join(Item, Item.id == Repair.item_id).where(Repair.cost_cents > 0)
    rows = db.execute(query.group_by(Item.kind).having(func.count() >= REPAIRS_ENOUGH))
    return {kind: round(float(mean)) for kind, mean in rows}


def bought_lengths(db: Session) -> dict[UUID, int]:
    """The length (mm) as bought of every item that was cut since; the others still have theirs."""
    first = select(func.min(ItemLength.id)).group_by(ItemLength.item_id).having(func.count() > 1)
    rows = db.execute(select(ItemLength.item_id, ItemLength.length_mm).where(ItemLength.id.in_(first)))
    return {item_id: length for item_id, length in rows}  # noqa: C416  (a row is no pair to the type checker)


def purchases(db: Session) -> list[Purchase]:
    """Every item there ever was, as it was bought."""
    bought = bought_lengths(db)
    rows = db.execute(select(Item.id, Item.kind, Item.wiring, Item.length_mm, Item.bought_on, Item.price_cents))
    return [
        Purchase(Sort(kind, wiring, bought.get(item_id, length)), on, cents)
        for item_id, kind, wiring, length, on, cents in rows
    ]


def prices(db: Session) -> dict[Sort, Price]:
    """What one of each sort costs: as the program said last, else as it paid last."""
    found: dict[Sort, Price] = {}
    for each in sorted(purchases(db), key=lambda one: one.on or date.min):
        if each.cents is not None:
            found[each.sort] = Price(each.cents, each.on)
    latest = select(GearPrice.kind, GearPrice.wiring, GearPrice.length_mm, GearPrice.cents)
    for kind, wiring, length, cents in db.execute(latest.order_by(GearPrice.id)):
        found[Sort(kind, wiring, length)] = Price(cents, None, by_lead=True)
    return found


def sorts(db: Session) -> dict[Sort, int]:
    """The sorts of gear that the program has or had, and how many of each it owns, retired and lost ones too."""
    counted: dict[Sort, int] = defaultdict(int)
    for each in purchases(db):
        counted[each.sort] += 1
    return dict(counted)


def limits(db: Session) -> Limits:
    """The program's thresholds."""
    row = db.get(PullLimits, 1)
    return Limits(**{name: getattr(row, name) for name in asdict(Limits())}) if row else Limits()


def records(db: Session, wirings: Mapping[UUID, str], zone: ZoneInfo, most: int) -> dict[UUID, RetireRecord]:
    """What the log says against each item that ever failed; `wirings` are those of the items that are judged.

    Histories are looked at only of what failed more than once: nothing else can fail repeatedly. `most` is how many
    tests back are looked at.
    """
    failed = {item_id: found for item_id, found in failures(db).items() if item_id in wirings}
    again = [item_id for item_id, found in failed.items() if len(found) > 1]
    known = histories(db) if again else {}
    repaired = repairs(db) if failed else {}
    records_by_item = {}
    for item_id, found in failed.items():
        mended = repaired.get(item_id, [])
        tests = last_tests(known[item_id], found, mended, most) if len(found) > 1 else ()
        bent = _bent(db, wirings[item_id], found)
        bent_on, still = (local_date(bent.at, zone), is_still_bent(bent, mended)) if bent else (None, False)
        records_by_item[item_id] = RetireRecord(tests, bent_on, still)
    return records_by_item


def _bent(db: Session, wiring: str, failed: Sequence[Failure]) -> Failure | None:
    """The last of these that found a contact of a connector with many bent."""
    if not any(failure.bent for failure in failed):
        return None
    many = [end for end in End if _contacts(db, wiring, end) > FEW_CONTACTS]
    return next(
        (failure for failure in reversed(failed) if any(end in many or (end is None and many) for end in failure.bent)),
        None,
    )


def _contacts(db: Session, wiring: str, end: End) -> int:
    """The contacts of the largest connector at an end."""
    counted = Counter(connector_of(contact) for contact in find_wiring(db, wiring).contacts(end))
    return max(counted.values(), default=0)


def broken(db: Session) -> list[tuple[ItemFacts, str]]:
    """What is quarantined for an open fault, not just swapped out untested, with its code, in walking order."""
    query = (
        facts()
        .add_columns(Tag.code.label("code"))
        .join(ItemDue, ItemDue.item_id == Item.id)
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .where(Item.state == ItemState.QUARANTINED, ItemDue.state == DueState.BLOCKED)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, Tag.code)
    )
    return [(as_facts(row), row.code or "") for row in db.execute(query)]
