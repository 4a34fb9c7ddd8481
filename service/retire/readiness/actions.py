"""Whether everything will work at an event: the pull list's own chances and spares, and the schedule's own minutes."""

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
from service.retire.lists.queries import PullLine, PullList
from service.retire.readiness.core import (
    SWAP_SECONDS,
    Act,
    ActKind,
    ItemInUse,
    PossibleAct,
    Readiness,
    once_tested,
    readiness,
)
from service.retire.spares.actions import trip
from service.schedule.planning.actions import usual_times
from service.schedule.planning.core.pace import seconds_for
from service.schedule.planning.queries import listed
from service.season.core import DueState
from service.season.models import Event
from service.tags.queries import codes_of
from service.testlog.core import FaultStatus
from service.wear.core.classes import failures_of


@dataclass(frozen=True)
class AdvisedAct:
    """An act with its item and what goes in, and their codes; `on` is the planned evening that has it, if one does."""

    act: Act
    item: ItemFacts
    code: str
    spare: ItemFacts | None
    spare_code: str
    is_doubted: bool
    on: date | None


@dataclass(frozen=True)
class EventReadiness:
    """Whether all is ready for the event of a pull list: as things are, and once the planned `evenings` are over.

    `planned` is the first evening of each item that is on the list of one. `failures` is how many items failed with
    use, as far as the log tells: without one every chance rests on what is usual. `doubted` is what is likelier bad
    than its chance knows.
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
        """What a lead wants left as it is, and so is advised nothing about."""
        words = {item_id: word for item_id, word in self.pull.words.items() if word.action is Action.WATCH}
        return {item_id: words[item_id] for item_id in words if item_id in self.pull.in_use}


def ready_for(db: Session, event: Event, today: date, zone: ZoneInfo) -> EventReadiness:
    """Whether all is ready for an event that is not over. The due cache must be of today, as for the pull list."""
    return ready_by(db, pull_list(db, event, today, zone), today)


def ready_by(db: Session, pull: PullList, today: date) -> EventReadiness:
    """The same, where the pull list is at hand."""
    items, target = _items(db, pull), trip(db).percent / 100
    planned = {
        item_id: min(before)
        for item_id, days in listed(db, today).items()
        if (before := [on for on in days if on < pull.event.on])
    }
    now = readiness(items, target)
    return EventReadiness(
        pull,
        now,
        readiness(once_tested(items, planned.keys()), target) if planned else now,
        sorted(set(planned.values())),
        planned,
        {item.id for item in items if item.doubted},
        failures_of(life for record in pull.judged_gear.wear.values() for life in record.lives),
    )


def _items(db: Session, pull: PullList) -> list[ItemInUse]:
    """What has to work, in walking order."""
    usual, lines = usual_times(db), {line.item.id: line for line in pull.open}
    unproven = _unproven(pull)

    def seconds(item_id: UUID) -> int:
        piece = pull.pieces[item_id]
        return seconds_for((piece.kind, piece.wiring), usual)

    return [
        _item(pull, item_id, lines.get(item_id), seconds(item_id), unproven.get(item_id))
        for item_id in pull.pieces
        if item_id in pull.in_use
    ]


def _unproven(pull: PullList) -> dict[UUID, UUID]:
    """For what comes out with nothing proven to go in the spare that goes in once it passes; none is used twice."""
    gaps = [pull.pieces[line.item.id] for line in pull.open if line.unfilled]
    return assigned(gaps, [Spare(piece, OLDEST_DAYS) for piece in pull.waiting if piece.id in pull.judged_gear.chances])


def _item(pull: PullList, item_id: UUID, line: PullLine | None, seconds: int, unproven: UUID | None) -> ItemInUse:
    gear, chance = pull.judged_gear.gear[item_id], pull.judged_gear.chances.get(item_id)
    in_place = pull.states[item_id] is ItemState.IN_SERVICE
    blocked = DueState.BLOCKED in (gear.today.state, gear.then.state)
    tested = None
    if chance is not None and gear.fault is not FaultStatus.OPEN:
        tested = PossibleAct(ActKind.TEST, seconds, chance.if_tested)
    return ItemInUse(
        item_id,
        chance.failed if chance and in_place else 1.0,
        tested,
        _act(pull, line, seconds, unproven) if line and line.action in COMES_OUT else _test(pull, item_id, tested),
        in_place and (gear.suspect is not None or blocked),
    )


def _act(pull: PullList, line: PullLine, seconds: int, unproven: UUID | None) -> PossibleAct | None:
    """What goes in for a line that comes out, if anything fits."""
    if line.spare is not None:
        chance = pull.judged_gear.chances.get(line.spare.id)
        return PossibleAct(ActKind.SWAP, SWAP_SECONDS, chance.failed, line.spare.id) if chance else None
    if unproven is not None:
        bad_then = pull.judged_gear.chances[unproven].if_tested
        return PossibleAct(ActKind.TEST_AND_SWAP, seconds + SWAP_SECONDS, bad_then, unproven)
    return None


def _test(pull: PullList, item_id: UUID, tested: PossibleAct | None) -> PossibleAct | None:
    word = pull.words.get(item_id)
    return None if word and word.action is Action.WATCH else tested


def advised(db: Session, ready: EventReadiness, acts: Sequence[Act]) -> list[AdvisedAct]:
    """Acts as pages show them."""
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
    """Items with their codes, in the order given."""
    wanted = list(ids)
    facts, codes = item_facts(db, wanted), codes_of(db, wanted)
    return [(facts[item_id], codes.get(item_id, "")) for item_id in wanted]
