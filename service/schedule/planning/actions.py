"""Planning evenings for what is due, and making their sessions."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear.queries import ItemFacts
from service.kit.dates import show_date
from service.kit.problems import Conflict
from service.schedule.planning import queries
from service.schedule.planning.core.pace import seconds_for, usual_seconds
from service.schedule.planning.core.plan import (
    Evening,
    EveningPlan,
    MoreHelpers,
    MoreTime,
    Planned,
    more_helpers,
    more_time,
    plan,
)
from service.schedule.planning.core.shares import Share, Task, seconds_of
from service.season.core import DueState
from service.sessions import actions as sessions
from service.sessions import listing
from service.sessions.actions import USUAL, NewSession, Why
from service.sessions.listing import WorklistCandidate
from service.tags.queries import codes_of
from service.testlog.form_reader import NOTE_MOST
from service.wear.queries import risks

HELPERS_USUAL = 3
"""With how many helpers one more evening is reckoned where none is planned yet."""


@dataclass(frozen=True)
class Deadline:
    """A day that something has to be done before: an event, or a round that closes; `missing` is not."""

    name: str
    on: date
    missing: list[Task]

    @property
    def seconds(self) -> int:
        """How long what is missing takes, one after the other."""
        return seconds_of(self.missing)


@dataclass(frozen=True)
class Work:
    """What needs a test: a task each, its item, and how many items are on the list of an open session already."""

    tasks: list[Task]
    items: Mapping[UUID, ItemFacts]
    why: Mapping[UUID, str]
    listed: int

    @property
    def seconds(self) -> int:
        """How long all of it takes, one after the other."""
        return seconds_of(self.tasks)

    def stretch(self, share: Share) -> str:
        """Where a helper goes: "Rack 1 to Singers"."""
        first, last = (self.items[task.item].place or "what has no place" for task in (share[0], share[-1]))
        return first if first == last else f"{first} to {last}"


@dataclass(frozen=True)
class Proposal:
    """A plan, whether it is enough, and the ways out where it is not."""

    plan: EveningPlan
    deadlines: list[Deadline]
    helpers: MoreHelpers | None
    time: MoreTime | None


def work(db: Session, today: date, until: date, zone: ZoneInfo, again: bool) -> Work:
    """What needs a test by now or by `until`; with `again` also what is on the list of an open session.

    The due cache must be of today: see `service.testlog.housekeeping`.
    """
    risk = risks(db, zone, today)
    usual, dates = usual_seconds(queries.logged(db)), queries.dates(db)
    listed, at_risk = queries.listed(db, today), _needed_by(db, today, until)
    found = listing.candidates(db)
    walk = {place: turn for turn, place in enumerate(dict.fromkeys(_stop(each.item) for each in found))}
    tasks, why, waiting = [], {}, 0
    for each in found:
        reason = sessions.why_listed(each, USUAL, None)
        window = _window(each, reason, dates.get(each.item.id), at_risk, until)
        if window is None:
            continue
        waiting += each.item.id in listed
        if each.item.id in listed and not again:
            continue
        opens, due_by = window
        seconds = seconds_for((each.item.kind, each.item.wiring), usual)
        tasks.append(
            Task(
                each.item.id,
                walk[_stop(each.item)],
                seconds,
                due_by,
                opens,
                _rounded(risk.get(each.item.id, 0)),
            )
        )
        why[each.item.id] = str(reason or Why.DUE)
    return Work(tasks, {each.item.id: each.item for each in found}, why, waiting)


def _rounded(risk: float) -> float:
    """In steps of 5 %, so that thousandths do not tear a walk apart."""
    return round(risk * 20) / 20


def _stop(item: ItemFacts) -> tuple[int, str]:
    return item.walk_order, item.place


def _needed_by(db: Session, today: date, until: date) -> date | None:
    """The day before which what cannot be relied on must be tested: the next event's, or the close of the round."""
    days = [event.on for event in queries.events_ahead(db, today)[:1]]
    days += [each.closes for each in queries.rounds_open(db, today, max(today, until))[:1]]
    return min(days, default=None)


def _window(
    each: WorklistCandidate, why: Why | None, dates: queries.Dates | None, needed_by: date | None, until: date
) -> tuple[date | None, date | None] | None:
    """From when a pass of an item counts, and the first day too late; None where it needs none by `until`."""
    if why is Why.DUE and dates is not None:
        return None, dates.due_by
    if why is not None:
        return None, needed_by
    if each.due is DueState.CURRENT and dates and dates.changes_on and dates.changes_on <= until:
        return dates.changes_on, dates.due_by
    return None


def propose(db: Session, todo: Work, evenings: Sequence[Evening], today: date) -> Proposal:
    """The plan for these evenings, what it leaves undone before which day, and what would be enough."""
    made = plan(todo.tasks, evenings)
    if not made.missing:
        return Proposal(made, [], None, None)
    helpers = max((evening.helpers for evening in evenings), default=HELPERS_USUAL)
    return Proposal(
        made,
        _deadlines(db, made, evenings, today),
        more_helpers(todo.tasks, evenings, made.missing),
        more_time(made.missing, helpers),
    )


def _deadlines(db: Session, made: EveningPlan, evenings: Sequence[Evening], today: date) -> list[Deadline]:
    until = max((evening.on for evening in evenings), default=today)
    days = [(event.name, event.on) for event in queries.events_ahead(db, today)]
    days += [(f"the end of round {each.number + 1}", each.closes) for each in queries.rounds_open(db, today, until)]
    found = [Deadline(name, on, made.missing_on(on)) for name, on in sorted(days, key=lambda day: day[1])]
    return [each for each in found if each.missing]


def make_sessions(db: Session, op: UUID, evenings: Sequence[Evening], again: bool, actor: Actor) -> list[str]:
    """A session for each evening that has something to do; their ids.

    Raises:
        Conflict: there is nothing to do on any of them.
    """
    todo = work(db, actor.today, max(evening.on for evening in evenings), actor.zone, again)
    planned = [each for each in plan(todo.tasks, evenings).evenings if each.shares]
    if not planned:
        raise Conflict("Nothing is left to plan on these evenings: what needs a test is on a list already.")
    codes = codes_of(db, [task.item for each in planned for task in each.tasks])
    made = []
    for each in planned:
        new = NewSession(
            id=uuid5(op, each.evening.on.isoformat()),
            title=f"Tests on {show_date(each.evening.on, actor.today)}",
            on=each.evening.on,
            note=note(todo, each),
            codes=[codes[task.item] for task in each.tasks],
        )
        made.append(str(sessions.open_session(db, new, actor.who, actor.now).id))
    return made


def note(todo: Work, planned: Planned) -> str:
    """Who goes where, for the helpers of an evening; as many of them as a note has room for."""
    told = ""
    for number, share in enumerate(planned.shares, 1):
        more = f"Helper {number}: {todo.stretch(share)}, {len(share)} {'item' if len(share) == 1 else 'items'}. "
        if len(told + more) > NOTE_MOST:
            break
        told += more
    return told.strip()
