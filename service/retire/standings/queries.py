"""Standings: the stored ones, and those to compute, because something was written about their items since."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Row, and_, case, delete, func, insert, not_, or_, select, union_all
from sqlalchemy.orm import Session

from service.gear.core import USABLE, ItemState
from service.gear.models import ITEM_IS_USABLE, Item, StateChange
from service.gear.queries import ItemFacts, PlaceA, facts
from service.gear.queries import as_facts as item_of
from service.retire.decisions import queries as decisions
from service.retire.decisions.core import Limits, RetireRecord
from service.retire.standings.core import Basis, Standing, as_facts, as_it_should_be, gear_of, is_listed, of_facts
from service.retire.standings.models import StoredStanding
from service.season.core import Due, DueState, due_of_lanes
from service.season.models import ItemDue
from service.season.queries import next_events, seasons_of
from service.store.sessions import cached, chunks
from service.tags.models import IS_TAG_OF_ITEM, Tag
from service.testlog.core import FaultStatus, days_by_lane, fault_of
from service.testlog.queries import events, histories, lock_items, suspected
from service.wear.core.risk import Chance
from service.wear.fits import find_fit
from service.wear.queries import chances, records

FEW = 400
"""So many items are read by themselves; where there are more, the whole log is, of which most is cached."""
DECODED_MOST = 5_000
"""So many decoded standings are kept in memory, about 2 kB each."""
_NEW = RetireRecord()
_NOT_ASKED = Due(DueState.CURRENT)


@dataclass(frozen=True)
class ItemStanding:
    """An item in service, spare or in repair: its cached due state, its standing before the event, and its last pass.

    `in_use`: it is in service, or was until a test found its fault.
    """

    item: ItemFacts
    code: str
    due: Due
    standing: Standing
    passed_at: datetime | None
    in_use: bool


@dataclass(frozen=True)
class InUse:
    """An item in use as far as readiness depends on it: its chance is None where it is known to have failed."""

    id: UUID
    kind: str
    wiring: str
    state: ItemState
    chance: Chance | None


_FACTS = select(
    Item.id,
    Item.kind,
    Item.wiring,
    Item.length_mm,
    Item.bought_on,
    Item.in_service_on,
    ItemDue.state,
    ItemDue.due_by,
    ItemDue.round,
    ItemDue.changes_on,
).outerjoin(ItemDue, ItemDue.item_id == Item.id)


def basis_of(db: Session, event: date | None, today: date, zone: ZoneInfo, limits: Limits) -> Basis:
    """What standings before an event rest on; before today if none is coming."""
    fit = find_fit(db)
    return Basis(fit.revision if fit else None, event or today, today, zone.key, limits)


def next_basis(db: Session, today: date, zone: ZoneInfo) -> Basis:
    """That of the next event, for which standings are stored."""
    event = next(iter(next_events(db, today, 1)), None)
    return basis_of(db, event.on if event else None, today, zone, decisions.limits(db))


def holds(basis: Basis) -> ColumnElement[bool]:
    """Whether a stored standing, joined to its item, is as it would be worked out now."""
    return and_(StoredStanding.revision == Item.revision, StoredStanding.basis == basis.text)


def stale(db: Session, basis: Basis) -> dict[UUID, int]:
    """The items without a standing that holds, each with its revision. Without a stored fit these are all."""
    query = select(Item.id, Item.revision).outerjoin(StoredStanding, StoredStanding.item_id == Item.id)
    if basis.fit is not None:
        query = query.where(or_(StoredStanding.item_id.is_(None), not_(holds(basis))))
    return {item_id: revision for item_id, revision in db.execute(query)}  # noqa: C416  (a row is no pair)


def anew(db: Session, basis: Basis) -> Mapping[UUID, Standing]:
    """The standings that are not stored, worked out; cached until something is written about their items."""
    revisions = stale(db, basis)
    if basis.fit is None:  # each rests on the lives of all
        return reckon(db, revisions, basis)
    memory, key = cached(db, "standings"), basis.text
    known: dict[UUID, tuple[int, str, Standing]] = {
        item_id: entry
        for item_id, revision in revisions.items()
        if (entry := memory.get(item_id)) is not None and entry[:2] == (revision, key)
    }
    unknown = revisions.keys() - known.keys()
    if unknown:
        fresh = {item_id: (revisions[item_id], key, one) for item_id, one in reckon(db, unknown, basis).items()}
        memory.update(fresh)
        known |= fresh
    return {item_id: standing for item_id, (_, _, standing) in known.items()}


def reckon(db: Session, item_ids: Collection[UUID], basis: Basis) -> dict[UUID, Standing]:
    """The standings of these items from their history; without a stored fit they must be all there are."""
    zone, on, today = ZoneInfo(basis.zone), basis.on, basis.today
    few = list(item_ids) if basis.fit is not None and len(item_ids) <= FEW else None
    wear = records(db, zone, few)
    wear = {item_id: wear[item_id] for item_id in item_ids if item_id in wear}
    chance_of = chances(db, wear, today, max(on, today))
    rows = [row for ids in chunks(wear) for row in db.execute(_FACTS.where(Item.id.in_(ids)))]
    open_ids = [row.id for row in rows if _needs_history(row, on, today)]
    answers_to, suspects = seasons_of(db, open_ids), suspected(db, open_ids)
    history_of = histories(db) if few is None and open_ids else events(db, open_ids)
    tested = decisions.records(db, {row.id: row.wiring for row in rows}, zone, basis.limits.repeat_tests, few)
    bought = decisions.bought_lengths(db)
    standings = {}
    for row in rows:
        due = Due(DueState(row.state), row.due_by, row.round) if row.state else _NOT_ASKED
        then, fault, record, item = due, FaultStatus.NONE, tested.get(row.id, _NEW), wear[row.id]
        if row.id in answers_to:
            history = history_of.get(row.id, [])
            lanes = days_by_lane(history, suspects.get(row.id, frozenset()), zone)
            then, fault = due_of_lanes(answers_to[row.id], row.in_service_on, lanes, on), fault_of(history)
        standing = Standing(
            then,
            fault,
            record.tests,
            record.bent_on,
            record.still_bent,
            item.path,
            item.lives,
            sum(life.upper is not None for life in item.lives),
            chance_of.get(row.id),
            listed=False,
        )
        gear = gear_of(row, due, standing, bought.get(row.id, row.length_mm), None)
        is_asked = row.state is not None
        standings[row.id] = replace(standing, listed=is_asked and is_listed(gear, basis.limits, today))
    return standings


def _needs_history(row: Row[*tuple[object, ...]], on: date, today: date) -> bool:
    """Whether the cached due state does not tell that of the day, or what the fault is."""
    changes = row.changes_on is not None and row.changes_on <= on
    return row.state is not None and (on < today or changes or row.state == DueState.BLOCKED)


def failures(db: Session, basis: Basis, worked_out: Mapping[UUID, Standing]) -> int:
    """How many failures with use the log has, with those of items whose standing was worked out."""
    query = select(func.sum(StoredStanding.failures)).join(Item, Item.id == StoredStanding.item_id)
    stored = db.scalar(query.where(holds(basis))) if basis.fit is not None else 0
    return (stored or 0) + sum(standing.failures for standing in worked_out.values())


def set_standings(db: Session, revisions: Mapping[UUID, int], standings: Mapping[UUID, Standing], basis: Basis) -> int:
    """Store standings worked out before this transaction, of the items that nothing was written about since; return how
    many.
    """
    same = [item.id for item in lock_items(db, standings) if item.revision == revisions[item.id]]
    if not same:
        return 0
    db.execute(delete(StoredStanding).where(StoredStanding.item_id.in_(same)))
    db.execute(insert(StoredStanding), [_as_columns(item_id, revisions, standings, basis) for item_id in same])
    return len(same)


def _as_columns(
    item_id: UUID, revisions: Mapping[UUID, int], standings: Mapping[UUID, Standing], basis: Basis
) -> dict[str, object]:
    standing = standings[item_id]
    return {
        "item_id": item_id,
        "revision": revisions[item_id],
        "basis": basis.text,
        "listed": standing.listed,
        "failed": standing.chance.failed if standing.chance else None,
        "if_tested": standing.chance.if_tested if standing.chance else None,
        "failures": standing.failures,
        "facts": as_facts(standing),
    }


def stored(db: Session, basis: Basis) -> dict[UUID, Standing]:
    """The stored standings that hold."""
    query = select(StoredStanding).join(Item, Item.id == StoredStanding.item_id).where(holds(basis))
    return {
        row.item_id: of_facts(row.facts, _chance(row), row.failures, row.listed)
        for row in db.scalars(query.order_by(StoredStanding.item_id))
    }


_WAITING = Item.state.in_((ItemState.QUARANTINED, ItemState.IN_REPAIR))
_HOME = case(
    (
        _WAITING,
        select(StateChange.to_state)
        .where(StateChange.item_id == Item.id, StateChange.to_state.in_(USABLE))
        .order_by(StateChange.id.desc())
        .limit(1)
        .scalar_subquery(),
    ),
    else_=Item.state,
)
"""The state of an item in service or spare; of one with an open fault the one before."""


def _of_list(on: date) -> ColumnElement[bool]:
    """Whether an item is in service or spare by `on`, or was until a test found its fault."""
    return and_(Item.in_service_on <= on, or_(ITEM_IS_USABLE, _WAITING))


def list_standings(
    db: Session, basis: Basis, worked_out: Mapping[UUID, Standing], also: Collection[UUID] | None
) -> list[ItemStanding]:
    """The items in service or spare by the day, and those that were until a test found their fault; in walking order.

    Args:
        worked_out: the standings that are not stored.
        also: with these, only items that a list has to look at; None for all items.
    """
    only = _of_list(basis.on)
    if also is not None:
        # Which items these are is asked first and by indexes, and what is shown of them only of these.
        spares = select(Item.id).where(Item.state == ItemState.SPARE)
        listed = select(StoredStanding.item_id).where(StoredStanding.listed)
        only = and_(only, or_(Item.id.in_(union_all(listed, spares)), Item.id.in_(also)))
    query = (
        facts()
        .add_columns(
            Tag.code.label("code"),
            ItemDue.state.label("due"),
            ItemDue.due_by.label("due_by"),
            ItemDue.round.label("round"),
            ItemDue.last_passed_at.label("last_passed_at"),
            _HOME.label("home"),
            StoredStanding.failed.label("failed"),
            StoredStanding.if_tested.label("if_tested"),
            StoredStanding.failures.label("failures"),
            StoredStanding.listed.label("listed"),
            Item.revision.label("revision"),
        )
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .join(ItemDue, ItemDue.item_id == Item.id)
        .outerjoin(StoredStanding, StoredStanding.item_id == Item.id)
        .where(only)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.length_mm, Tag.code)
    )
    rows = db.execute(query).all()
    looked_at = {
        row.id: row
        for row in rows
        if row.listed is not None and row.id not in worked_out and (also is None or row.listed or row.id in also)
    }
    known = _decoded(db, basis, looked_at)
    there = []
    for row in rows:
        standing, due = worked_out.get(row.id) or known.get(row.id), Due(DueState(row.due), row.due_by, row.round)
        if standing is None and row.listed is not None:  # most spares are as they should be
            standing = as_it_should_be(due, _chance(row), row.failures)
        if standing is not None:  # on PostgreSQL an item may be added between two queries
            in_use = row.home == ItemState.IN_SERVICE
            there.append(ItemStanding(item_of(row), row.code or "", due, standing, row.last_passed_at, in_use))
    return there


def _decoded(db: Session, basis: Basis, rows: Mapping[UUID, Row[*tuple[Any, ...]]]) -> Mapping[UUID, Standing]:
    """The stored standings of these items. What was decoded is kept until something is written about its item, since
    that takes most of the time of a list; at most `DECODED_MOST` of them, so that memory stays bounded.
    """
    memory, basis_text = cached(db, "decoded standings"), basis.text
    known: dict[UUID, Standing] = {
        item_id: entry[2]
        for item_id, row in rows.items()
        if (entry := memory.get(item_id)) is not None and entry[:2] == (row.revision, basis_text)
    }
    for ids in chunks(rows.keys() - known.keys()):
        query = select(StoredStanding.item_id, StoredStanding.facts).where(StoredStanding.item_id.in_(ids))
        query = query.where(StoredStanding.basis == basis_text)  # on PostgreSQL a chore may write between two queries
        for item_id, stored_facts in db.execute(query):
            row = rows[item_id]
            known[item_id] = of_facts(stored_facts, _chance(row), row.failures, row.listed)
    if len(memory) + len(rows) > DECODED_MOST:
        memory.clear()
    if len(rows) <= DECODED_MOST:
        memory.update({item_id: (rows[item_id].revision, basis_text, one) for item_id, one in known.items()})
    return known


def _chance(row: Row[*tuple[Any, ...]] | StoredStanding) -> Chance | None:
    if row.failed is None or row.if_tested is None:
        return None
    return Chance(row.failed, row.if_tested)


def in_use(db: Session, basis: Basis, worked_out: Mapping[UUID, Standing]) -> list[InUse]:
    """The items in use by the day, in walking order, with those that had been until a test found their fault."""
    query = (
        facts()
        .with_only_columns(Item.id, Item.kind, Item.wiring, Item.state, StoredStanding.failed, StoredStanding.if_tested)
        .outerjoin(Tag, IS_TAG_OF_ITEM)
        .join(ItemDue, ItemDue.item_id == Item.id)
        .outerjoin(StoredStanding, StoredStanding.item_id == Item.id)
        .where(_of_list(basis.on), _HOME == ItemState.IN_SERVICE)
        .order_by(PlaceA.walk_order.is_(None), PlaceA.walk_order, PlaceA.name, Item.label, Item.length_mm, Tag.code)
    )
    return [
        InUse(
            row.id,
            row.kind,
            row.wiring,
            ItemState(row.state),
            worked_out[row.id].chance if row.id in worked_out else _chance(row),
        )
        for row in db.execute(query)
    ]


def count_in_use(db: Session, on: date, without: Collection[UUID]) -> int:
    """How many items are in use by `on`, without these."""
    query = (
        select(func.count())
        .select_from(Item)
        .join(ItemDue, ItemDue.item_id == Item.id)
        .where(_of_list(on), _HOME == ItemState.IN_SERVICE, Item.id.not_in(without))
    )
    return db.scalar(query) or 0
