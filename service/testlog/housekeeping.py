"""Housekeeping: what has to be true each day without anybody asking. It may run as often as anyone likes.

A list of chores that the features offer and `service.chores` puts together. Each runs in its own write transaction
under the program's row, so that two at once take turns and the second finds nothing to do. What takes long is
reckoned before that transaction begins, and looked at again within it.

After days off the next run catches up at once, however many they were: every chore compares what is with what should
be *today*. A flag that would have come and gone meanwhile is not raised after the fact: it would ask for nothing any
more, and a date on which nobody was told would be untrue. The flags that are up and the due states are the same as
if housekeeping had run on each of those days, each flag with the round that it speaks of.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.context import RequestContext
from service.crew.models import Program
from service.kit.dates import local_date
from service.store.sessions import Store, locked
from service.tags.queries import codes_of
from service.testlog import due, flags

Run = Callable[[Session, date, datetime], int]
"""What a chore does, in a write transaction: `run(db, today, now)` answers how much there was."""


@dataclass(frozen=True)
class Chore:
    """Something to do each day.

    `prepare(db, today)` reckons what takes long, in a session that only reads, so that nobody waits to write
    meanwhile; it answers what is then done in a write transaction: `run(db, today, now)` tells how much there was.
    """

    name: str
    prepare: Callable[[Session, date], Run]


def brief(name: str, run: Run) -> Chore:
    """A chore that has nothing to reckon first."""
    return Chore(name, lambda _db, _today: run)


def keep_house(
    store: Store, now: datetime, chores: Sequence[Chore], before_each: Callable[[], object] = lambda: None
) -> str:
    """Do every chore, and say in one line what there was to do. `before_each` is called before each of them."""
    said, zones = [], set[str]()
    for chore in chores:
        before_each()
        with store.reading() as db:
            run = chore.prepare(db, local_date(now, zone_of(db)))
        with store.writing() as db:
            program = locked(db, Program, 1)
            if program is None:
                return "There is no program yet, so there is nothing to keep."
            zones.add(program.zone)
            said.append(f"{chore.name}: {run(db, local_date(now, ZoneInfo(program.zone)), now)}")
    with store.writing() as db:
        program = locked(db, Program, 1)
        if zones <= {program.zone}:  # else another zone was chosen meanwhile, in which house is to be kept anew
            program.housekept_on = local_date(now, ZoneInfo(program.zone))
    return "; ".join(said) + "."


def ensure_today(context: RequestContext) -> None:
    """Keep house once a day by whoever comes first, and whenever an item has no due state yet.

    Pages that show what is due call this before they open a session of their own.
    """
    with context.reading() as db:
        kept = context.program.housekept_on
        done = kept is not None and kept >= context.today and not due.stale(db, context.today)
    if not done:
        state = context.request.app.state
        keep_house(state.store, context.now, state.chores)


def refresh_due(db: Session, today: date, _now: datetime) -> int:
    """Recompute due states that have run out or are missing; all of them where house was never kept in this zone."""
    stale = due.stale(db, today) if db.get_one(Program, 1).housekept_on else due.asked(db)
    due.refresh(db, stale, today, zone_of(db))
    return len(stale)


def follow_due(db: Session, today: date, now: datetime) -> int:
    """Raise and clear the flags that due states ask for."""
    return flags.follow_due(db, None, today, now)


CHORES = (brief("due states refreshed", refresh_due), brief("flags raised or cleared", follow_due))


def verify(store: Store, now: datetime) -> list[str]:
    """Recompute every cached due state; a line for each that differs. Changes nothing."""
    with store.writing() as db:
        zone = zone_of(db)
        found = due.differences(db, local_date(now, zone), zone)
        codes = codes_of(db, [item_id for item_id, _, _ in found])
        db.rollback()
    return [f"{codes.get(item_id, item_id)}: cached {was}; recomputed {now_is}" for item_id, was, now_is in found]


def zone_of(db: Session) -> ZoneInfo:
    """The program's time zone."""
    program = crew.program_facts(db)
    return ZoneInfo(program.zone if program else "UTC")
