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
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.context import RequestContext
from service.crew.models import Person, Program
from service.crew.privacy import queries as privacy
from service.crew.privacy.actions import anonymize
from service.crew.privacy.core import anonymize_on
from service.gear.models import ITEM_IS_ASKED, Item
from service.kit.dates import local_date
from service.season.models import ItemDue
from service.season.queries import seasons
from service.store.sessions import Store, locked
from service.tags.queries import codes_of
from service.testlog.effects import refresh_due_flags, refresh_due_states
from service.testlog.queries import last_logged

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
    """A chore without a `prepare` step."""
    return Chore(name, lambda _db, _today: run)


def keep_house(
    store: Store, now: datetime, chores: Sequence[Chore], before_each: Callable[[], object] = lambda: None
) -> str:
    """Run every chore, and return one line about what was done. `before_each` is called before each of them."""
    done, zones = [], set[str]()
    for chore in chores:
        before_each()
        with store.reading() as db:
            run = chore.prepare(db, local_date(now, zone_of(db)))
        with store.writing() as db:
            program = locked(db, Program, 1)
            if program is None:
                return "There is no program yet, so there is nothing to keep."
            zones.add(program.zone)
            done.append(f"{chore.name}: {run(db, local_date(now, ZoneInfo(program.zone)), now)}")
    with store.writing() as db:
        program = locked(db, Program, 1)
        if zones <= {program.zone}:  # else another zone was chosen meanwhile, in which house is to be kept anew
            program.housekept_on = local_date(now, ZoneInfo(program.zone))
    return "; ".join(done) + "."


def ensure_today(context: RequestContext) -> None:
    """Run housekeeping if it has not run today, or if an item has no due state yet.

    Pages that show what is due call this before they open a session of their own.
    """
    with context.reading() as db:
        last = context.program.housekept_on
        done = last is not None and last >= context.today and not _stale_items(db, context.today)
    if not done:
        state = context.request.app.state
        keep_house(state.store, context.now, state.chores)


def refresh_stale(db: Session, today: date, _now: datetime) -> int:
    """Recompute due states that have run out or are missing; all of them where house was never kept in this zone."""
    stale = _stale_items(db, today) if db.get_one(Program, 1).housekept_on else _asked_items(db)
    refresh_due_states(db, stale, today, zone_of(db))
    return len(stale)


def refresh_flags(db: Session, today: date, now: datetime) -> int:
    """Raise and clear the flags that due states ask for."""
    return refresh_due_flags(db, None, today, now)


def anonymize_names(db: Session, today: date, now: datetime) -> int:
    """Replace the names whose time is over by "Tester n", and return how many."""
    zone = zone_of(db)
    spans = [(season.starts, season.ends) for season in seasons(db)]

    def over(last: datetime) -> bool:
        return anonymize_on(local_date(last, zone), spans) <= today

    came = {person_id: at for person_id, at in privacy.list_named_crew(db) if over(at)}
    logged = last_logged(db, came.keys()) if came else {}
    list_former = [person_id for person_id, at in came.items() if over(max(at, logged.get(person_id, at)))]
    for person_id in list_former:
        anonymize(db, db.get_one(Person, person_id), now)
        crew.note_in_audit(db, now, None, "person.name_let_go", str(person_id))
    return len(list_former)


CHORES = (brief("due states refreshed", refresh_stale), brief("flags raised or cleared", refresh_flags))


def verify(store: Store, now: datetime) -> list[str]:
    """Recompute every cached due state without writing, and return a line for each that differs."""
    with store.writing() as db:
        zone = zone_of(db)
        differences = _differences(db, local_date(now, zone), zone)
        codes = codes_of(db, [item_id for item_id, _, _ in differences])
        db.rollback()
    return [f"{codes.get(item_id, item_id)}: cached {was}; recomputed {now_is}" for item_id, was, now_is in differences]


def zone_of(db: Session) -> ZoneInfo:
    """The program's time zone."""
    program = crew.program_facts(db)
    return ZoneInfo(program.zone if program else "UTC")


def _asked_items(db: Session) -> Sequence[UUID]:
    """Every item that has a due state."""
    return db.scalars(select(Item.id).where(ITEM_IS_ASKED)).all()


def _stale_items(db: Session, today: date) -> Sequence[UUID]:
    """Items whose cached state ends by `today`, or that have none."""
    out_of_date = or_(ItemDue.item_id.is_(None), ItemDue.changes_on <= today)
    query = select(Item.id).outerjoin(ItemDue, ItemDue.item_id == Item.id).where(ITEM_IS_ASKED, out_of_date)
    return db.scalars(query).all()


def _differences(db: Session, today: date, zone: ZoneInfo) -> list[tuple[UUID, str, str]]:
    """Items whose cache is not what their history says: (item, cached, recomputed). Leaves the cache recomputed."""
    before = _snapshot(db)
    items = db.scalars(select(Item.id)).all()
    refresh_due_states(db, items, today, zone)
    after = _snapshot(db)
    return [
        (item_id, before.get(item_id, "nothing"), after.get(item_id, "nothing"))
        for item_id in sorted(before.keys() | after.keys())
        if before.get(item_id) != after.get(item_id)
    ]


def _snapshot(db: Session) -> dict[UUID, str]:
    return {row.item_id: _shown(row) for row in db.scalars(select(ItemDue))}


def _shown(row: ItemDue) -> str:
    facts: tuple[tuple[str, object], ...] = (
        ("due by", row.due_by),
        ("round", row.round),
        ("changes on", row.changes_on),
        ("last tested", _utc(row.last_tested_at)),
        ("verdict", row.last_verdict),
        ("passed", _utc(row.last_passed_at)),
    )
    return ", ".join([row.state, *(f"{name} {value}" for name, value in facts if value is not None)])


def _utc(at: datetime | None) -> str | None:
    return at.isoformat() if at else None
