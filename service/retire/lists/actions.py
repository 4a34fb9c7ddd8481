"""Making a pull list: everything is loaded at once, judged, and put in walking order beside what was ticked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.queries import program_facts
from service.gear.core import ItemState
from service.gear.queries import ItemFacts, item_facts
from service.kit.dates import local_date
from service.kit.lengths import Unit
from service.retire.decisions import actions as decisions
from service.retire.decisions import queries as words
from service.retire.decisions.actions import RetireRecord
from service.retire.decisions.core import COMES_OUT, Action, Gear, Limits
from service.retire.decisions.queries import LeadDecision
from service.retire.lists import core, queries
from service.retire.lists.core import Decided, InCase, JudgedItem
from service.retire.lists.queries import ItemStanding, Ticked
from service.retire.prices import queries as prices
from service.retire.prices.core import Sort
from service.retire.replacements.core import FittingPiece
from service.season.actions import event_with
from service.season.core import DueState
from service.season.models import Event
from service.season.queries import next_events, seasons_of
from service.tags.queries import codes_of
from service.testlog.core import FaultStatus, fault_of
from service.testlog.due import due_on, entries
from service.testlog.history_cache import histories
from service.testlog.queries import suspected as suspected_of
from service.wear.actions import WearRecord as Worn
from service.wear.actions import failed_by
from service.wear.actions import records as worn

NEW = RetireRecord()
WOULD_FIT_SHOWN = 3
WORKED_WITHIN = timedelta(hours=12)


@dataclass(frozen=True)
class PullLine:
    """A line as it is read on the walk: the item, its code, what is decided, and how far it is.

    `decided` is None where nothing is to be done any more, since it was ticked; `bought_mm` the item's length as
    bought. `spare` is the one that goes in, or that goes in if it fails; once ticked, the one that went in.
    `would_fit` are spares, each with its code, that could go in where none does, once they pass.
    """

    item: ItemFacts
    code: str
    decided: Decided | None
    bought_mm: int
    spare: ItemFacts | None = None
    spare_code: str | None = None
    word: LeadDecision | None = None
    done: Ticked | None = None
    would_fit: tuple[tuple[ItemFacts, str], ...] = ()

    @property
    def action(self) -> Action:
        """What to do, or what was done."""
        if self.done is not None:
            return self.done.action
        return self.decided.action if self.decided else Action.WATCH

    @property
    def why(self) -> tuple[str, ...]:
        """Why, a sentence each."""
        if self.done is not None:
            return self.done.why
        return self.decided.why if self.decided else ()

    @property
    def comes_out(self) -> bool:
        """Whether it is taken out, or was."""
        return self.action in COMES_OUT

    @property
    def unfilled(self) -> bool:
        """Whether something should go in and nothing is there, or nothing did."""
        return self.comes_out and self.spare is None

    @property
    def place(self) -> tuple[int, str, str]:
        """Where it is on the walk: its turn, and the places that it is at or was."""
        if self.done is not None:
            return self.done.walk_order, self.done.place, self.done.place_b
        return self.item.walk_order, self.item.place, self.item.place_b


@dataclass(frozen=True)
class PullList:
    """The pull list of an event, in walking order; `judged` is how many items in use were looked at.

    `gear` is what was judged, by item, the spares too; `in_use` are those that are no spares, `ready` the spares that
    may go in; `worn` is how every item wore, by which their risks were reckoned.
    """

    event: Event
    judged: int
    lines: list[PullLine]
    limits: Limits
    gear: dict[UUID, Gear]
    in_use: set[UUID]
    ready: list[FittingPiece]
    worn: dict[UUID, Worn]

    @property
    def open(self) -> list[PullLine]:
        """What is still to be done."""
        return [line for line in self.lines if line.done is None]

    @property
    def counts(self) -> dict[Action, int]:
        """How many open lines ask for each action."""
        return {action: sum(line.action is action for line in self.open) for action in Action}

    @property
    def places(self) -> list[tuple[str, list[PullLine]]]:
        """The lines, place by place."""
        return [(place, list(found)) for place, found in groupby(self.lines, key=lambda line: line.place[1])]

    @property
    def shopping(self) -> dict[Sort, int]:
        """What is missing in the case: how many of each sort."""
        found: dict[Sort, int] = {}
        for line in self.lines:
            if line.unfilled:
                sort = Sort(line.item.kind, line.item.wiring, line.bought_mm)
                found[sort] = found.get(sort, 0) + 1
        return dict(sorted(found.items(), key=lambda one: one[0].order))

    def of(self, item_id: UUID) -> PullLine | None:
        """The line of an item, or that for which it goes in."""
        mine = (line for line in self.lines if line.item.id == item_id)
        theirs = (line for line in self.lines if line.spare and line.spare.id == item_id and line.done is None)
        return next(mine, None) or next(theirs, None)


def event_for(db: Session, event_id: str | None, today: date) -> Event | None:
    """The event that was named, else the next one; None where none is coming.

    Raises:
        NotFound: the one that was named is not there.
    """
    if event_id is not None:
        return event_with(db, event_id)
    return next(iter(next_events(db, today, 1)), None)


def open_list(db: Session, now: datetime) -> Event | None:
    """The event whose pull list is being worked with: one that was ticked within the last half day."""
    event_id = queries.worked_since(db, now - WORKED_WITHIN)
    return db.get(Event, event_id) if event_id else None


def pull_list(db: Session, event: Event, today: date, zone: ZoneInfo) -> PullList:
    """What to pull before an event. The due cache must be of today: see `service.testlog.housekeeping`."""
    limits = decisions.limits(db)
    asked = queries.asked(db, event.on)
    bought = prices.bought_lengths(db)
    wear = worn(db, zone)
    risk = failed_by(wear, max(event.on, today))
    gear = _judged(db, asked, bought, limits, risk, event.on, today, zone)
    said = words.words(db, event.id)
    done = {each.item_id: each for each in queries.ticked(db, event.id)}
    in_use = [one for one in asked if one.item.state is not ItemState.SPARE and one.item.id not in done]
    case = [one for one in asked if one.item.state is ItemState.SPARE]
    pieces = _pieces(db, [*in_use, *case])
    program = program_facts(db)
    judged = [JudgedItem(gear[one.item.id], pieces[one.item.id], _said(said, one.item.id)) for one in in_use]
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
    lines = _lines(db, decided, asked, bought, said, done, would_fit)
    return PullList(event, len(judged) + len(done), lines, limits, gear, {one.gear.id for one in judged}, ready, wear)


def _said(said: Mapping[UUID, Sequence[LeadDecision]], item_id: UUID) -> Action | None:
    return said[item_id][0].action if item_id in said else None


def _pieces(db: Session, asked: Sequence[ItemStanding]) -> dict[UUID, FittingPiece]:
    ports = queries.ports(db, [one.item.id for one in asked])
    return {
        one.item.id: FittingPiece(
            one.item.id, one.code, one.item.kind, one.item.wiring, ports.get(one.item.id, ()), one.item.length_mm
        )
        for one in asked
    }


def _lines(
    db: Session,
    decided: Sequence[Decided],
    asked: Sequence[ItemStanding],
    bought: Mapping[UUID, int],
    said: Mapping[UUID, Sequence[LeadDecision]],
    done: Mapping[UUID, Ticked],
    would_fit: Mapping[UUID, tuple[tuple[ItemFacts, str], ...]],
) -> list[PullLine]:
    """The open lines and those that were ticked, in walking order."""
    named = {one.item.id: (one.item, one.code) for one in asked}
    gone = {item for tick in done.values() for item in (tick.item_id, tick.spare_id) if item} - named.keys()
    if gone:
        codes = codes_of(db, gone)
        named |= {item_id: (item, codes.get(item_id, "")) for item_id, item in item_facts(db, gone).items()}
    found = [(each.gear.id, each, each.spare, None) for each in decided]
    found += [(tick.item_id, None, tick.spare_id, tick) for tick in done.values()]  # type: ignore[misc]
    lines = []
    for item_id, line, spare_id, tick in found:
        item, code = named[item_id]
        spare, spare_code = named[spare_id] if spare_id else (None, None)
        word = said[item_id][0] if item_id in said and said[item_id][0].action else None
        length = bought.get(item_id, item.length_mm)
        fitting = would_fit.get(item_id, ()) if line else ()
        lines.append(PullLine(item, code, line, length, spare, spare_code, word, tick, fitting))
    return sorted(lines, key=lambda line: (*line.place[:2], line.item.label, line.item.length_mm, line.code))


def _judged(
    db: Session,
    asked: Sequence[ItemStanding],
    bought: Mapping[UUID, int],
    limits: Limits,
    risk: Mapping[UUID, float],
    on: date,
    today: date,
    zone: ZoneInfo,
) -> dict[UUID, Gear]:
    """The items as the list judges them. History is read only where the cached state does not answer by itself."""
    open_ids = [one.item.id for one in asked if _needs_history(one, on, today)]
    known, answers_to = histories(db) if open_ids else {}, seasons_of(db, open_ids)
    suspected = suspected_of(db, open_ids)
    suspects, costs, repairs = queries.suspects(db), prices.prices(db), words.repair_costs(db)
    records = decisions.records(db, {one.item.id: one.item.wiring for one in asked}, zone, limits.repeat_tests)
    found = {}
    for one in asked:
        item, then, fault = one.item, one.due, FaultStatus.NONE
        if item.id in answers_to:
            history = known.get(item.id, [])
            lanes = entries(history, suspected.get(item.id, frozenset()), zone)
            then = due_on(answers_to[item.id], item.in_service_on, lanes, on)
            fault = fault_of(history)
        length = bought.get(item.id, item.length_mm)
        price = costs.get(Sort(item.kind, item.wiring, length))
        record = records.get(item.id, NEW)
        found[item.id] = Gear(
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
            length,
            item.bought_on,
            price.cents if price else None,
            repairs.get(item.kind),
            risk.get(item.id),
        )
    return found


def _needs_history(one: ItemStanding, on: date, today: date) -> bool:
    changes = one.changes_on is not None and one.changes_on <= on
    return on < today or changes or one.due.state is DueState.BLOCKED
