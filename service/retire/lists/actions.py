"""Making a pull list: load everything, judge it, and put it in walking order together with what was ticked."""

from collections.abc import Collection, Mapping, Sequence
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
from service.retire.decisions.core import Action, action_of, reasons_of_broken, sort_of
from service.retire.decisions.queries import LeadDecision
from service.retire.lists import core, queries
from service.retire.lists.core import Decided, FittingPiece, InCase, JudgedItem
from service.retire.lists.queries import JudgedGear, PullList, PullRow, Ticked
from service.retire.standings.core import gear_of
from service.retire.standings.queries import FEW, ItemStanding, anew, basis_of, count_in_use, list_standings
from service.season.models import Event
from service.season.queries import get_event, next_events
from service.store.changes import unless_changed
from service.tags.queries import codes_of
from service.testlog.core import FaultStatus

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


def judged_gear(
    db: Session, event: date | None, today: date, zone: ZoneInfo, also: Collection[UUID] | None = None
) -> JudgedGear:
    """All gear as it is judged for the day of an event; for today if none is coming. With `also`, only these items and
    those that a list has to look at.

    The due cache must be of today: see `service.testlog.housekeeping`.
    """
    limits = decisions.limits(db)
    basis = basis_of(db, event, today, zone, limits)
    worked_out, suspects = anew(db, basis), queries.suspects(db)
    if also is not None:
        listed = {item_id for item_id, standing in worked_out.items() if standing.listed}
        also = {*also, *suspects, *listed}
    there = list_standings(db, basis, worked_out, also if also is None or len(also) <= FEW else None)
    bought = decisions.bought_lengths(db)
    gear = {
        one.item.id: gear_of(
            one.item, one.due, one.standing, bought.get(one.item.id, one.item.length_mm), suspects.get(one.item.id)
        )
        for one in there
    }
    broken = [one for one in gear.values() if one.fault is FaultStatus.OPEN]
    prices = decisions.prices(db)
    if broken:
        repairs = decisions.repair_prices(db)
        costs = {
            one.id: (repairs[one.kind], price.cents if (price := prices.get(sort_of(one))) else None) for one in broken
        }
        known = {one.item.id: (one.standing.path, one.standing.lives) for one in there}
        known |= {item_id: (standing.path, standing.lives) for item_id, standing in worked_out.items()}
        compared = decisions.comparisons(db, costs, known, event, today, limits.risk_percent / 100)
        gear |= {item_id: replace(gear[item_id], comparison=each) for item_id, each in compared.items()}
    chances = {one.item.id: one.standing.chance for one in there if one.standing.chance}
    return JudgedGear(there, gear, limits, bought, chances, prices, basis, worked_out)


def pull_list(
    db: Session, event: Event, today: date, zone: ZoneInfo, *, whole: bool = False, also: UUID | None = None
) -> PullList:
    """The pull list of an event (see `_pull_list`), made anew where anything was written since the last time."""
    key = "pull list", event.id, today, zone.key, whole, also
    return unless_changed(db, key, lambda: _pull_list(db, event, today, zone, whole, also))


def _pull_list(db: Session, event: Event, today: date, zone: ZoneInfo, whole: bool, also: UUID | None) -> PullList:
    """The pull list of an event. The due cache must be of today: see `service.testlog.housekeeping`.

    Args:
        whole: judge all items, and not only those that the list has to look at.
        also: look at this one, too.
    """
    overrules = decisions.decisions_in_force(db, event, today)
    done = {each.item_id: each for each in queries.ticked(db, event.id)}
    others = {*overrules, *done, *([also] if also else ())}
    everything = judged_gear(db, event.on, today, zone, None if whole else others)
    standings, gear = everything.standings, everything.gear
    limits, bought = everything.limits, everything.bought
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
    number = count_in_use(db, event.on, done) + len(done)
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
