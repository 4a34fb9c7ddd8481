"""Housekeeping: daily updates that nobody triggers. Each chore is idempotent, so it may run as often as anyone likes.

The features define the chores, and `service.chores` lists them. Each chore works in small steps, so that no other write
waits long: a step is computed in a session that only reads, then checked again and written in a short transaction of
its own that locks the program's row. A run can be stopped after any step, and two runs at once do no harm.

After any number of missed days the next run catches up: every chore compares what is stored with what should be stored
*today*. A flag that would have been raised and cleared in between is not raised afterwards. Open flags and due states
are the same as if housekeeping had run on each of those days.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, func, or_, select, update
from sqlalchemy.orm import Session

from service.crew import queries as crew
from service.crew.context import RequestContext
from service.crew.models import Person, Program
from service.crew.privacy import queries as privacy
from service.crew.privacy.actions import anonymize
from service.crew.privacy.core import anonymize_on
from service.gear.core import ASKED
from service.gear.models import FLAG_IS_OPEN, ITEM_IS_ASKED, Flag, Item, StateChange
from service.kit.dates import local_date
from service.kit.problems import Busy
from service.season.models import ItemDue
from service.season.queries import seasons
from service.store.idle import concatenated, digest, is_idle, set_idle
from service.store.sessions import Store, cached, chunks, locked
from service.tags.queries import codes_of
from service.testlog.due_states import ReckonedDue, reckon_due, set_reckoned
from service.testlog.effects import due_flags_to_change, refresh_due_flags, refresh_due_states
from service.testlog.queries import last_logged

Step = Callable[[Session, date, datetime], int]
"""The write of a step: `step(db, today, now)` returns how much it changed."""

_BEGUN = date.min
"""Stored as the last day during the first run, so that a run that was stopped is continued and not begun again."""

STEP = 20
"""How many items a step writes. It mostly takes some tens of milliseconds; the longest over 2,000 items with 100,000
tests took 143 and 198 of processor time in two runs on a busy machine.
"""


@dataclass(frozen=True)
class Chore:
    """Something to do each day.

    `steps(store, today)` computes one step after the other in sessions that only read. Each step is executed in a write
    transaction before the next one is computed. `rests_on(db, today)` is a digest of all inputs of the chore, and costs
    little: while it is unchanged since the chore last found nothing to do, the chore is skipped.
    """

    name: str
    steps: Callable[[Store, date], Iterator[Step]]
    rests_on: Callable[[Session, date], str] | None = None


def brief(name: str, run: Step) -> Chore:
    """A chore of one step with nothing to compute first."""
    return Chore(name, lambda _store, _today: iter([run]))


class Interrupted(Busy):
    """A run of housekeeping was stopped between two steps; the next run continues from there."""


def keep_house(
    store: Store, now: datetime, chores: Sequence[Chore], may_go_on: Callable[[], bool] = lambda: True
) -> str:
    """Do every chore, and return a line that says what was done. `may_go_on` is called before each step.

    Raises:
        Interrupted: `may_go_on` returned False.
    """
    with store.reading() as db:
        program = crew.program_facts(db)
    if program is None:
        return "There is no program yet, so there is nothing to keep."
    done, today = [], local_date(now, ZoneInfo(program.zone))
    for chore in (Chore("", _all_anew), *chores):
        count = 0
        rests_on = _rests_on(store, chore, today)
        if rests_on is not None and _is_idle(store, chore, rests_on):
            done.append(f"{chore.name}: 0")
            continue
        for step in chore.steps(store, today):
            if not may_go_on():
                raise Interrupted("Housekeeping was stopped; the next turn goes on from there.")
            with store.writing() as db:
                if locked(db, Program, 1).zone != program.zone:
                    raise Interrupted("Another time zone was chosen meanwhile; the next turn goes by it.")
                count += step(db, today, now)
        done.append(f"{chore.name}: {count}")
        if rests_on is not None and count == 0:
            with store.writing() as db:
                set_idle(db, chore.name, rests_on)
    with store.writing() as db:
        kept = locked(db, Program, 1)
        if kept.zone == program.zone:  # else a lead changed it meanwhile, and everything is computed again
            kept.housekept_on = today
    return "; ".join(done[1:]) + "."


def _rests_on(store: Store, chore: Chore, today: date) -> str | None:
    """The digest of a chore's inputs, read before it runs: a change during the run is noticed by the next."""
    if chore.rests_on is None:
        return None
    with store.reading() as db:
        return chore.rests_on(db, today)


def _is_idle(store: Store, chore: Chore, rests_on: str) -> bool:
    with store.reading() as db:
        return is_idle(db, chore.name, rests_on)


@dataclass(frozen=True)
class Behind:
    """Due states not yet computed for today: how many are `left` of how `many`, and the day of which all are."""

    left: int
    many: int
    as_of: date | None


def ensure_today(context: RequestContext) -> None:
    """Start housekeeping on the first request of a day, and whenever an item has no due state for today yet.

    Pages that show due states call this before they open their session. They wait at most `TIMEOUT` seconds
    (`housekeeping_thread`), then show what is stored and say what is still left.
    """
    if not _is_done(context):
        if context.store.trouble() is None:
            context.request.app.state.house.keep(context.now)
        with context.reading() as db:
            left = _count_stale(db, context.today)
            if left:
                items = db.scalar(select(func.count()).select_from(Item).where(ITEM_IS_ASKED)) or 0
                last = context.program.housekept_on
                context.request.state.behind = Behind(left, items, None if last == _BEGUN else last)


def behind_of(context: RequestContext) -> Behind | None:
    """What `ensure_today` left to compute; None if nothing."""
    behind: Behind | None = getattr(context.request.state, "behind", None)
    return behind


def _is_done(context: RequestContext) -> bool:
    with context.reading() as db:
        last = context.program.housekept_on
        return last is not None and last >= context.today and not _count_stale(db, context.today)


def _all_anew(store: Store, _today: date) -> Iterator[Step]:
    """The first step after a change of the time zone, which changes days: every due state expires."""
    with store.reading() as db:
        if db.get_one(Program, 1).housekept_on is None:
            yield _let_all_run_out


def _let_all_run_out(db: Session, today: date, _now: datetime) -> int:
    db.execute(update(ItemDue).values(changes_on=today))
    db.get_one(Program, 1).housekept_on = _BEGUN
    return 0


def refresh_stale(store: Store, today: date) -> Iterator[Step]:
    """Recompute due states that have expired or are missing."""
    with store.reading() as db:
        stale = _stale_items(db, today)
    for ids in chunks(stale, STEP):
        with store.reading() as db:
            reckoned = reckon_due(db, ids, today, zone_of(db))
        yield partial(_save_due, reckoned)


def _save_due(reckoned: ReckonedDue, db: Session, _today: date, _now: datetime) -> int:
    return set_reckoned(db, reckoned)


def refresh_flags(store: Store, today: date) -> Iterator[Step]:
    """Raise and clear flags by the due states."""
    with store.reading() as db:
        items = due_flags_to_change(db, today)
    for ids in chunks(sorted(items), STEP):
        yield partial(_save_flags, ids)


def _save_flags(item_ids: Collection[UUID], db: Session, today: date, now: datetime) -> int:
    return refresh_due_flags(db, item_ids, today, now)


def anonymize_names(store: Store, today: date) -> Iterator[Step]:
    """Replace names whose retention has ended by "Tester n"."""
    with store.reading() as db:
        former = _over(db, dict(privacy.list_named_crew(db)), today)
    for ids in chunks(former, STEP):
        yield partial(_anonymize, ids)


def _anonymize(person_ids: Collection[UUID], db: Session, today: date, now: datetime) -> int:
    came = {person_id: at for person_id, at in privacy.list_named_crew(db) if person_id in person_ids}
    former = _over(db, came, today)
    for person_id in former:
        anonymize(db, db.get_one(Person, person_id), now)
        crew.note_in_audit(db, now, None, "person.name_let_go", str(person_id))
    return len(former)


def _over(db: Session, came: dict[UUID, datetime], today: date) -> list[UUID]:
    """The people whose retention has ended; `came` is when each last signed in."""
    zone = zone_of(db)
    spans = [(season.starts, season.ends) for season in seasons(db)]

    def over(last: datetime) -> bool:
        return anonymize_on(local_date(last, zone), spans) <= today

    came = {person_id: at for person_id, at in came.items() if over(at)}
    logged = last_logged(db, came.keys()) if came else {}
    return [person_id for person_id, at in came.items() if over(max(at, logged.get(person_id, at)))]


def _flags_rest_on(db: Session, today: date) -> str:
    """What flags by due states rest on, which are as many as items and fewer than tests."""
    due, raised = (
        concatenated(ItemDue.item_id, ItemDue.state, ItemDue.due_by),
        concatenated(Flag.item_id, Flag.flag, Flag.period),
    )
    return digest(db, due, raised.where(FLAG_IS_OPEN), and_also=today)


CHORES = (
    Chore("due states refreshed", refresh_stale),
    Chore("flags raised or cleared", refresh_flags, _flags_rest_on),
)


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


def _stale_items(db: Session, today: date) -> Sequence[UUID]:
    """Items whose cached due state expires by `today`, or that have none."""
    return db.scalars(_stale(today)).all()


def _count_stale(db: Session, today: date) -> int:
    """How many items `_stale_items` has, by few rows: pages ask it each time."""
    newest = db.connection().scalar(_NEWEST_CHANGE)
    # An item is added, or comes back, by a change of state. None that is missing up to one will be missing later.
    memory = cached(db, "items without a due state")
    missing = 0 if memory.get("none up to") == newest else db.connection().scalar(_MISSING) or 0
    if not missing:
        memory["none up to"] = newest
    return missing + (db.connection().scalar(_EXPIRED, {"today": today}) or 0)


def _stale(today: date) -> Select[UUID]:
    out_of_date = or_(ItemDue.item_id.is_(None), ItemDue.changes_on <= today)
    return select(Item.id).outerjoin(ItemDue, ItemDue.item_id == Item.id).where(ITEM_IS_ASKED, out_of_date)


_NEWEST_CHANGE = select(func.max(StateChange.id))
_STATE_OF = select(Item.state).where(Item.id == ItemDue.item_id).scalar_subquery()
_EXPIRED = (
    select(func.count())
    .select_from(ItemDue)
    .where(ItemDue.changes_on <= bindparam("today"), _STATE_OF.in_(ASKED))  # a join would begin with every item
)
_MISSING = (
    select(func.count())
    .select_from(Item)
    .outerjoin(ItemDue, ItemDue.item_id == Item.id)
    .where(ITEM_IS_ASKED, ItemDue.item_id.is_(None))
)


def _differences(db: Session, today: date, zone: ZoneInfo) -> list[tuple[UUID, str, str]]:
    """Items whose cached due state is not that of their history: (item, cached, recomputed). Updates the cache."""
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
