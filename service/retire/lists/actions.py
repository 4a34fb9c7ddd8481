"""Making a pull list: load everything, judge it, and put it in walking order together with what was ticked."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.queries import program_facts
from service.gear.core import ItemState
from service.gear.queries import ItemFacts, item_facts
from service.kit.dates import local_date
from service.kit.quantities import Unit
from service.retire.decisions import queries as decisions
from service.retire.decisions.core import Action, Gear, Limits, RetireRecord, action_of, reasons_of_broken, sort_of
from service.retire.decisions.queries import LeadDecision
from service.retire.lists import core, queries
from service.retire.lists.core import Decided, FittingPiece, InCase, JudgedItem
from service.retire.lists.queries import ItemStanding, JudgedGear, PullList, PullRow, Ticked
from service.season.core import DueState, due_of_lanes
from service.season.models import Event
from service.season.queries import get_event, next_events, seasons_of
from service.store.changes import unless_changed
from service.tags.queries import codes_of
from service.testlog.core import FaultStatus, days_by_lane, fault_of
from service.testlog.queries import histories
from service.testlog.queries import suspected as suspected_of
from service.wear.queries import chances
from service.wear.queries import records as wear_records

NEW = RetireRecord()
WOULD_FIT_SHOWN = 3
WORKED_WITHIN = timedelta(hours=12)


def event_for(db: Session, event_id: str | None, today: date) -> Event | None:
    """The event with this id, or without one the next event; None if none is coming.

    Raises:
        NotFound: there is no event with this id.
    """
    if event_id is not None:
        return get_event(db, event_id)
    return next(iter(next_events(db, today, 1)), None)


def open_list(db: Session, now: datetime) -> Event | None:
    """The event whose pull list is being worked on: one that was ticked within `WORKED_WITHIN`."""
    event_id = queries.worked_since(db, now - WORKED_WITHIN)
    return db.get(Event, event_id) if event_id else None


def judged_gear(db: Session, event: date | None, today: date, zone: ZoneInfo) -> JudgedGear:
    """All gear as it is judged for the day of an event; for today if none is coming.

    The due cache must be of today: see `service.testlog.housekeeping`.
    """
    on = event or today
    limits, standings, bought = decisions.limits(db), queries.standings(db, on), decisions.bought_lengths(db)
    wear = wear_records(db, zone)
    chance_of = chances(db, wear, today, max(on, today))
    risk = {item_id: chance.failed for item_id, chance in chance_of.items()}
    gear = _judged(db, standings, bought, limits, risk, on, today, zone)
    prices, repairs = decisions.prices(db), decisions.repair_prices(db)
    broken = {
        one.id: (repairs[one.kind], price.cents if (price := prices.get(sort_of(one))) else None)
        for one in gear.values()
        if one.fault is FaultStatus.OPEN
    }
    compared = decisions.comparisons(db, broken, wear, event, today, limits.risk_percent / 100)
    gear |= {item_id: replace(gear[item_id], comparison=costs) for item_id, costs in compared.items()}
    return JudgedGear(standings, gear, limits, bought, wear, chance_of, prices)


def pull_list(db: Session, event: Event, today: date, zone: ZoneInfo) -> PullList:
    """The pull list of an event (see `_pull_list`), made anew where anything was written since the last time."""
    return unless_changed(db, ("pull list", event.id, today, zone.key), lambda: _pull_list(db, event, today, zone))


def _pull_list(db: Session, event: Event, today: date, zone: ZoneInfo) -> PullList:
    """The pull list of an event. The due cache must be of today: see `service.testlog.housekeeping`."""
    everything = judged_gear(db, event.on, today, zone)
    standings, gear = everything.standings, everything.gear
    limits, bought = everything.limits, everything.bought
    overrules = decisions.decisions_in_force(db, event, today)
    done = {each.item_id: each for each in queries.ticked(db, event.id)}
    no_spares = [one for one in standings if one.in_use]
    in_use = [one for one in no_spares if one.item.id not in done]
    case = [one for one in standings if one.item.state is ItemState.SPARE]
    pieces = _pieces(db, standings)
    program = program_facts(db)
    judged = [JudgedItem(gear[one.item.id], pieces[one.item.id], _overrule(overrules, one.item.id)) for one in in_use]
    spares = [
        InCase(
            gear[one.item.id],
            pieces[one.item.id],
            local_date(one.passed_at, zone) if one.passed_at else None,
        )
        for one in case
    ]
    unit = Unit(program.unit) if program else Unit.FEET
    decided = core.decided(judged, spares, limits, today, event.on, unit)
    ready = [one.piece for one in spares if core.ready(one, limits, today, event.on)]
    waiting = [one.piece for one in spares if core.unproven(one, limits, today, event.on)]
    named = {one.item.id: (one.item, one.code) for one in case}
    would_fit = {
        each.gear.id: tuple(
            named[piece.id] for piece in core.would_fit(pieces[each.gear.id], waiting)[:WOULD_FIT_SHOWN]
        )
        for each in decided
        if each.comes_out and each.spare is None
    }
    rows = _rows(db, decided, standings, bought, overrules, done, would_fit)
    actions = {row.item.id: row.action for row in rows if row.done is None}
    advised = {
        item_id: actions.get(item_id) or action_of(reasons)
        for item_id, reasons in reasons_of_broken(gear.values(), limits, today).items()
    }
    used = {one.item.id for one in no_spares if one.item.id not in done or one.item.state is ItemState.IN_SERVICE}
    states = {one.item.id: one.item.state for one in standings}
    number = len(judged) + len(done)
    return PullList(event, everything, number, rows, states, used, ready, waiting, pieces, overrules, advised)


def _overrule(overrules: Mapping[UUID, LeadDecision], item_id: UUID) -> Action | None:
    return overrules[item_id].action if item_id in overrules else None


def _pieces(db: Session, standings: Sequence[ItemStanding]) -> dict[UUID, FittingPiece]:
    ports = queries.ports(db, [one.item.id for one in standings])
    return {
        one.item.id: FittingPiece(
            one.item.id, one.code, one.item.kind, one.item.wiring, ports.get(one.item.id, ()), one.item.length_mm
        )
        for one in standings
    }


def _rows(
    db: Session,
    decided: Sequence[Decided],
    standings: Sequence[ItemStanding],
    bought: Mapping[UUID, int],
    overrules: Mapping[UUID, LeadDecision],
    done: Mapping[UUID, Ticked],
    would_fit: Mapping[UUID, tuple[tuple[ItemFacts, str], ...]],
) -> list[PullRow]:
    """The open rows and those that were ticked, in walking order."""
    named = {one.item.id: (one.item, one.code) for one in standings}
    gone = {item for tick in done.values() for item in (tick.item_id, tick.spare_id) if item} - named.keys()
    if gone:
        codes = codes_of(db, gone)
        named |= {item_id: (item, codes.get(item_id, "")) for item_id, item in item_facts(db, gone).items()}
    unsorted = [(each.gear.id, each, each.spare, None) for each in decided]
    unsorted += [(tick.item_id, None, tick.spare_id, tick) for tick in done.values()]  # type: ignore[misc]
    rows = []
    for item_id, row, spare_id, tick in unsorted:
        item, code = named[item_id]
        spare, spare_code = named[spare_id] if spare_id else (None, None)
        decision = overrules.get(item_id)
        length = bought.get(item_id, item.length_mm)
        fitting = would_fit.get(item_id, ()) if row else ()
        rows.append(PullRow(item, code, row, length, spare, spare_code, decision, tick, fitting))
    return sorted(rows, key=lambda row: (*row.place[:2], row.item.label, row.item.length_mm, row.code))


def _judged(
    db: Session,
    standings: Sequence[ItemStanding],
    bought: Mapping[UUID, int],
    limits: Limits,
    risk: Mapping[UUID, float],
    on: date,
    today: date,
    zone: ZoneInfo,
) -> dict[UUID, Gear]:
    """The items as the list judges them. History is read only if the cached state is not enough."""
    open_ids = [one.item.id for one in standings if _needs_history(one, on, today)]
    history_of, answers_to = histories(db) if open_ids else {}, seasons_of(db, open_ids)
    suspected = suspected_of(db, open_ids)
    suspects = queries.suspects(db)
    records = decisions.records(db, {one.item.id: one.item.wiring for one in standings}, zone, limits.repeat_tests)
    gear = {}
    for one in standings:
        item, then, fault = one.item, one.due, FaultStatus.NONE
        if item.id in answers_to:
            history = history_of.get(item.id, [])
            lanes = days_by_lane(history, suspected.get(item.id, frozenset()), zone)
            then = due_of_lanes(answers_to[item.id], item.in_service_on, lanes, on)
            fault = fault_of(history)
        length = bought.get(item.id, item.length_mm)
        record = records.get(item.id, NEW)
        gear[item.id] = Gear(
            item.id,
            item.kind,
            item.wiring,
            item.length_mm,
            one.due,
            then,
            fault,
            suspects.get(item.id),
            record.tests,
            record.bent_on,
            record.still_bent,
            length,
            item.bought_on,
            risk=risk.get(item.id),
        )
    return gear


def _needs_history(one: ItemStanding, on: date, today: date) -> bool:
    changes = one.changes_on is not None and one.changes_on <= on
    return on < today or changes or one.due.state is DueState.BLOCKED
