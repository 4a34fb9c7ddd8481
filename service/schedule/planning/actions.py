"""Planning evenings for items that are due, and adding their sessions."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.gear.queries import ItemFacts
from service.kit.dates import format_date, midnight
from service.kit.problems import Conflict
from service.schedule.planning import queries
from service.schedule.planning.core.advice import WaysOut, ways_out
from service.schedule.planning.core.pace import Like, seconds_for, usual_seconds
from service.schedule.planning.core.plan import Evening, EveningPlan, Planned, never_in_time, plan
from service.schedule.planning.core.shares import Share, Task, seconds_of
from service.season.core import Round
from service.season.models import Event
from service.season.queries import seasons_of
from service.sessions import actions as sessions
from service.sessions import worklist
from service.sessions.actions import USUAL, NewSession, Why
from service.sessions.worklist import WorklistCandidate
from service.store.sessions import cached
from service.tags.queries import codes_of
from service.testlog.form_reader import NOTE_MOST
from service.wear.queries import risks


@dataclass(frozen=True)
class Deadline:
    """A day that something has to be done before: an event, or else a round that closes; `missing` is not."""

    name: str
    on: date
    is_event: bool
    missing: list[Task]

    @property
    def seconds(self) -> int:
        """The total time of what is missing."""
        return seconds_of(self.missing)


@dataclass(frozen=True)
class Work:
    """What needs a test: a task for each round in which an item needs one, and why.

    `coming` is what becomes due only after the last evening; `listed` is how many items are on the list of an open
    session already. `events` are those after today, the soonest first.
    """

    tasks: list[Task]
    coming: list[Task]
    events: Sequence[Event]
    items: Mapping[UUID, ItemFacts]
    why: Mapping[Task, str]
    listed: int

    @property
    def seconds(self) -> int:
        """The total time of all tasks."""
        return seconds_of(self.tasks)

    def stretch(self, share: Share) -> str:
        """Where a helper goes: "Rack 1 to Singers"."""
        first, last = (self.items[task.item].place or "what has no place" for task in (share[0], share[-1]))
        return first if first == last else f"{first} to {last}"


@dataclass(frozen=True)
class Proposal:
    """A plan, whether it is enough, and what would be if it is not.

    `event` is the next one, and `later` what becomes due before it, but after the last evening. `proven`: no other
    plan for these evenings is enough either.
    """

    plan: EveningPlan
    event: Event | None
    later: list[Task]
    deadlines: list[Deadline]
    ways: WaysOut | None = None
    proven: bool = False


def work(db: Session, today: date, until: date, zone: ZoneInfo, again: bool) -> Work:
    """What needs a test by now or by `until`; with `again` also what is on the list of an open session.

    The due cache must be of today: see `service.testlog.housekeeping`.
    """
    risk = risks(db, zone, today)
    usual, due = usual_times(db, today, zone), queries.due_dates(db)
    candidates = worklist.candidates(db)
    listed, events = queries.listed(db, today), queries.events_ahead(db, today)
    days = _days(db, [each.item.id for each in candidates], events, today)
    walk = {place: turn for turn, place in enumerate(dict.fromkeys(_stop(each.item) for each in candidates))}
    tasks: list[Task] = []
    coming: list[Task] = []
    why: dict[Task, str] = {}
    waiting: set[UUID] = set()
    for each in candidates:
        seconds = seconds_for((each.item.kind, each.item.wiring), usual)
        for reason, opens, due_by in _windows(each, due.get(each.item.id), days):
            chance = _rounded(risk.get(each.item.id, 0))
            task = Task(each.item.id, walk[_stop(each.item)], seconds, due_by, opens, chance)
            is_coming = opens is not None and opens > until
            if any(opens is None or opens <= on for on in listed.get(each.item.id, ())):
                waiting |= set() if is_coming else {each.item.id}
                if not again:
                    continue
            (coming if is_coming else tasks).append(task)
            why[task] = str(reason)
    return Work(tasks, coming, events, {each.item.id: each.item for each in candidates}, why, len(waiting))


def usual_times(db: Session, today: date, zone: ZoneInfo) -> Mapping[Like, int]:
    """The seconds that a test takes, by kind and wiring, if the log up to yesterday has enough. Nothing is added to
    that any more, so they are worked out once a day.
    """
    memory, until = cached(db, "usual times"), midnight(today, zone)
    if until not in memory:
        usual = usual_seconds(queries.logged(db, until))
        memory.clear()
        memory[until] = usual
    usual_of_day: Mapping[Like, int] = memory[until]
    return usual_of_day


def _rounded(risk: float) -> float:
    """A risk rounded to steps of 5 %, so that tiny differences do not change the order of the walk."""
    return round(risk * 20) / 20


def _stop(item: ItemFacts) -> tuple[int, str]:
    return item.walk_order, item.place


@dataclass(frozen=True)
class _Days:
    """The days of events, the soonest first, when the next round closes, and each item's rounds to come."""

    events: list[date]
    closes: date | None
    rounds: Mapping[UUID, list[Round]]

    def before_event(self, opens: date, closes: date | None) -> date | None:
        """The first day too late for a pass from `opens` on: when the round closes, or the next event after that."""
        event = next((on for on in self.events if on > opens), None)
        return min((day for day in (closes, event) if day), default=None)


def _days(db: Session, item_ids: Sequence[UUID], events: Sequence[Event], today: date) -> _Days:
    closing = queries.rounds_ahead(db, today)
    ahead = {
        item_id: sorted(
            (each for season in seasons for each in season.rounds if each.opens > today), key=lambda each: each.opens
        )
        for item_id, seasons in seasons_of(db, item_ids).items()
    }
    return _Days([event.on for event in events], closing[0].closes if closing else None, ahead)


def _windows(
    each: WorklistCandidate, closes: date | None, days: _Days
) -> Iterator[tuple[Why, date | None, date | None]]:
    """Why an item needs a test, from when its pass counts (None: now), and the first day too late.

    It is needed before the round closes, and before the first event on which the round is open. Of rounds that run at
    the same time (of several seasons) one test does for both.
    """
    covered = date.min
    why = sessions.why_listed(each, USUAL, None)
    if why is not None:
        due_by = days.before_event(date.min, closes if why is Why.DUE else days.closes)
        covered = due_by or date.max
        yield why, None, due_by
    for each_round in days.rounds.get(each.item.id, []):
        if each_round.opens >= covered:
            due_by = days.before_event(each_round.opens, each_round.closes)
            covered = each_round.closes
            yield Why.DUE, each_round.opens, due_by


def propose(db: Session, todo: Work, evenings: Sequence[Evening], today: date) -> Proposal:
    """The plan for these evenings, what it leaves undone before which day, and what would be enough."""
    made = plan(todo.tasks, evenings)
    event = next(iter(todo.events), None)
    if not made.missing or not evenings:
        return Proposal(made, event, [task for task in todo.coming if event and _opens_before(task, event.on)], [])
    helpers = max(evening.helpers for evening in evenings)
    return Proposal(
        made,
        event,
        [],
        _deadlines(db, made, todo.events, evenings, today),
        ways_out([*todo.tasks, *todo.coming], evenings, helpers, today),
        never_in_time(todo.tasks, evenings),
    )


def _opens_before(task: Task, day: date) -> bool:
    return task.opens is not None and task.opens < day


def _deadlines(
    db: Session, made: EveningPlan, events: Sequence[Event], evenings: Sequence[Evening], today: date
) -> list[Deadline]:
    rounds = queries.rounds_open(db, today, max(evening.on for evening in evenings))
    deadlines = [Deadline(each.name, each.on, True, made.missing_on(each.on)) for each in events]
    deadlines += [
        Deadline(f"the end of round {each.number + 1}", each.closes, False, made.missing_on(each.closes))
        for each in rounds
    ]
    return sorted((each for each in deadlines if each.missing), key=lambda each: each.on)


def make_sessions(db: Session, op: UUID, evenings: Sequence[Evening], again: bool, actor: Actor) -> list[str]:
    """Add a session for each evening that has tasks; return their ids.

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
            title=f"Tests on {format_date(each.evening.on, actor.today)}",
            on=each.evening.on,
            note=note(todo, each),
            codes=[codes[task.item] for task in each.tasks],
        )
        made.append(str(sessions.open_session(db, new, actor.who, actor.now).id))
    return made


def note(todo: Work, planned: Planned) -> str:
    """A text of who goes where on an evening, with as many helpers as fit into a note."""
    text = ""
    for number, share in enumerate(planned.shares, 1):
        more = f"Helper {number}: {todo.stretch(share)}, {len(share)} {'item' if len(share) == 1 else 'items'}. "
        if len(text + more) > NOTE_MOST:
            break
        text += more
    return text.strip()
