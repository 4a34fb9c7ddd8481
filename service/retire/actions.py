"""Making a pull list: who is judged, as of which days, and the lines with their places and codes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.gear.core import ItemState
from service.gear.queries import ItemFacts
from service.retire import core, queries
from service.retire.core import Action, Gear, Line
from service.retire.queries import Asked
from service.season.actions import event_with
from service.season.core import DueState, due_in_seasons
from service.season.models import Event
from service.season.queries import next_events, seasons_of
from service.testlog.core import Fault, fault_of
from service.testlog.due import entries
from service.testlog.queries import events


@dataclass(frozen=True)
class Pull:
    """A line of a pull list as it is read on the walk: the item, its code, and the code of a spare that fits."""

    item: ItemFacts
    code: str
    line: Line
    spare: str | None


@dataclass(frozen=True)
class PullList:
    """The pull list of an event, in walking order; `judged` is how many items in use were looked at."""

    event: Event
    judged: int
    pulls: list[Pull]

    @property
    def counts(self) -> dict[Action, int]:
        """How many lines ask for each action."""
        return {action: sum(pull.line.action is action for pull in self.pulls) for action in Action}

    @property
    def places(self) -> list[tuple[str, list[Pull]]]:
        """The lines, place by place."""
        return [
            (place, list(found)) for place, found in groupby(self.pulls, key=lambda pull: pull.item.place)
        ]


def event_for(db: Session, event_id: str | None, today: date) -> Event | None:
    """The event that was named, else the next one; None where none is coming.

    Raises:
        NotFound: the one that was named is not there.
    """
    if event_id is not None:
        return event_with(db, event_id)
    return next(iter(next_events(db, today, 1)), None)


def pull_list(db: Session, event: Event, today: date, zone: ZoneInfo) -> PullList:
    """What to pull before an event. The due cache must be of today: see `service.testlog.housekeeping`."""
    asked = queries.asked(db, event.on)
    gear = _judged(db, asked, event.on, today, zone)
    in_use = [gear[one.item.id] for one in asked if one.item.state is not ItemState.SPARE]
    spares = [gear[one.item.id] for one in asked if one.item.state is ItemState.SPARE]
    by_id = {one.item.id: one for one in asked}
    pulls = [
        Pull(
            by_id[line.item.id].item,
            by_id[line.item.id].code,
            line,
            by_id[line.spare].code if line.spare else None,
        )
        for line in core.pull_list(in_use, spares, today)
    ]
    return PullList(event, len(in_use), pulls)


def _judged(db: Session, asked: Sequence[Asked], on: date, today: date, zone: ZoneInfo) -> dict[UUID, Gear]:
    """The items as the list judges them. History is read only where the cached state does not answer by itself."""
    open_ids = [one.item.id for one in asked if _needs_history(one, on, today)]
    histories, answers_to = events(db, open_ids), seasons_of(db, open_ids)
    suspects = queries.suspects(db)
    found = {}
    for one in asked:
        item, then, fault = one.item, one.due, Fault.NONE
        if item.id in histories:
            history = histories[item.id]
            then = due_in_seasons(answers_to[item.id], item.in_service_on, entries(history, zone), on)
            fault = fault_of(history)
        found[item.id] = Gear(
            item.id, item.kind, item.wiring, item.length_mm, one.due, then, fault, suspects.get(item.id)
        )
    return found


def _needs_history(one: Asked, on: date, today: date) -> bool:
    changes = one.changes_on is not None and one.changes_on <= on
    return on < today or changes or one.due.state is DueState.BLOCKED
