"""Readiness for an event, from the chances and spares of the pull list and the minutes of the schedule."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.queries import ItemFacts, item_facts
from service.retire.decisions.core import COMES_OUT, Action
from service.retire.decisions.queries import LeadDecision
from service.retire.lists.actions import pull_list
from service.retire.lists.core import OLDEST_DAYS, Spare, assigned
from service.retire.lists.queries import PullList, PullRow
from service.retire.readiness.core import (
    SWAP_SECONDS,
    Act,
    ActKind,
    ActOrder,
    ItemInUse,
    PossibleAct,
    Readiness,
    once_tested,
    readiness,
)
from service.retire.spares.actions import trip
from service.retire.standings.queries import InUse, failures, in_use
from service.schedule.planning.actions import usual_times
from service.schedule.planning.core.pace import seconds_for
from service.schedule.planning.queries import listed
from service.season.core import DueState
from service.season.models import Event
from service.store.changes import unless_changed
from service.tags.queries import codes_of
from service.testlog.core import FaultStatus


@dataclass(frozen=True)
class AdvisedAct:
    """An act with its item and the spare that goes in, and their codes; `on` is the evening it is planned for, if any.

    `is_doubted`: see `ItemInUse`.
    """

    act: Act
    item: ItemFacts
    code: str
    spare: ItemFacts | None
    spare_code: str
    is_doubted: bool
    on: date | None


@dataclass(frozen=True)
class EventReadiness:
    """The readiness for the event of a pull list: now, and what is `left` once the planned `evenings` are over.

    `planned` is the first evening of each item that is on the list of one. `failures` is how many failures with use the
    log has: without any, every chance rests on the prior alone. `doubted` are items that are likelier bad than their
    chance says.
    """

    pull: PullList
    now: Readiness
    left: Readiness
    evenings: list[date]
    planned: Mapping[UUID, date]
    doubted: set[UUID]
    failures: int

    @property
    def event(self) -> Event:
        """The event."""
        return self.pull.event

    @property
    def declined(self) -> dict[UUID, LeadDecision]:
        """The decisions of leads to leave an item as it is; nothing is advised about these."""
        decisions = {
            item_id: decision
            for item_id, decision in self.pull.lead_decisions.items()
            if decision.action is Action.WATCH
        }
        return {item_id: decisions[item_id] for item_id in decisions if item_id in self.pull.in_use}


def ready_for(
    db: Session, event: Event, today: date, zone: ZoneInfo, order: ActOrder = ActOrder.CHANCE
) -> EventReadiness:
    """The readiness for an event that is not over. The due cache must be of today, as for the pull list."""
    return ready_by(db, pull_list(db, event, today, zone), today, order)


def ready_by(db: Session, pull: PullList, today: date, order: ActOrder = ActOrder.CHANCE) -> EventReadiness:
    """The readiness from a pull list that was already made, with the acts in this order; made anew where anything was
    written since the last time.
    """
    return unless_changed(db, ("readiness", pull.event.id, today, order), lambda: _ready_by(db, pull, today, order))


def _ready_by(db: Session, pull: PullList, today: date, order: ActOrder) -> EventReadiness:
    basis, worked_out = pull.judged_gear.basis, pull.judged_gear.worked_out
    items, target = _items(db, pull, in_use(db, basis, worked_out)), trip(db).percent / 100
    planned = {
        item_id: min(before)
        for item_id, days in listed(db, today).items()
        if (before := [on for on in days if on < pull.event.on])
    }
    now = readiness(items, target, order)
    return EventReadiness(
        pull,
        now,
        readiness(once_tested(items, planned.keys()), target, order) if planned else now,
        sorted(set(planned.values())),
        planned,
        {item.id for item in items if item.doubted},
        failures(db, basis, worked_out),
    )


def _items(db: Session, pull: PullList, in_use: Sequence[InUse]) -> list[ItemInUse]:
    """The items that have to work, in walking order; about most of them the list has nothing to say."""
    basis = pull.judged_gear.basis
    usual = usual_times(db, basis.today, ZoneInfo(basis.zone))
    rows = {row.item.id: row for row in pull.open}
    unproven = _unproven(pull)
    seconds = {like: seconds_for(like, usual) for like in {(item.kind, item.wiring) for item in in_use}}
    return [
        _item(pull, item, rows.get(item.id), seconds[item.kind, item.wiring], unproven.get(item.id))
        for item in in_use
        if item.id in pull.in_use or item.id not in pull.pieces
    ]


def _unproven(pull: PullList) -> dict[UUID, UUID]:
    """For each item that comes out without a proven spare: one that goes in once it passes; none is used twice."""
    gaps = [pull.pieces[row.item.id] for row in pull.open if row.unfilled]
    return assigned(gaps, [Spare(piece, OLDEST_DAYS) for piece in pull.waiting if piece.id in pull.judged_gear.chances])


def _item(pull: PullList, item: InUse, row: PullRow | None, seconds: int, unproven: UUID | None) -> ItemInUse:
    gear, chance = pull.judged_gear.gear.get(item.id), item.chance
    in_place = item.state is ItemState.IN_SERVICE
    blocked = gear is not None and DueState.BLOCKED in (gear.today.state, gear.then.state)
    tested = None
    if chance is not None and (gear is None or gear.fault is not FaultStatus.OPEN):
        tested = PossibleAct(ActKind.TEST, seconds, chance.if_tested)
    return ItemInUse(
        item.id,
        chance.failed if chance and in_place else 1.0,
        tested,
        _act(pull, row, seconds, unproven) if row and row.action in COMES_OUT else _test(pull, item.id, tested),
        in_place and (blocked or (gear is not None and gear.suspect is not None)),
    )


def _act(pull: PullList, row: PullRow, seconds: int, unproven: UUID | None) -> PossibleAct | None:
    """The act that fills the place of an item that comes out; None if nothing fits."""
    if row.spare is not None:
        chance = pull.judged_gear.chances.get(row.spare.id)
        return PossibleAct(ActKind.SWAP, SWAP_SECONDS, chance.failed, row.spare.id) if chance else None
    if unproven is not None:
        bad_then = pull.judged_gear.chances[unproven].if_tested
        return PossibleAct(ActKind.TEST_AND_SWAP, seconds + SWAP_SECONDS, bad_then, unproven)
    return None


def _test(pull: PullList, item_id: UUID, tested: PossibleAct | None) -> PossibleAct | None:
    decision = pull.lead_decisions.get(item_id)
    return None if decision and decision.action is Action.WATCH else tested


def advised(db: Session, ready: EventReadiness, acts: Sequence[Act]) -> list[AdvisedAct]:
    """The acts with what pages show of them."""
    ids = {item_id for act in acts for item_id in (act.item, act.spare) if item_id}
    facts, codes = item_facts(db, ids), codes_of(db, ids)
    return [
        AdvisedAct(
            act,
            facts[act.item],
            codes.get(act.item, ""),
            facts[act.spare] if act.spare else None,
            codes.get(act.spare, "") if act.spare else "",
            act.item in ready.doubted,
            ready.planned.get(act.item) if act.kind is ActKind.TEST else None,
        )
        for act in acts
    ]


def with_codes(db: Session, ids: Iterable[UUID]) -> list[tuple[ItemFacts, str]]:
    """These items with their codes, in the order given."""
    wanted = list(ids)
    facts, codes = item_facts(db, wanted), codes_of(db, wanted)
    return [(facts[item_id], codes.get(item_id, "")) for item_id in wanted]
