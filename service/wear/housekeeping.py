"""The chore that flags items at risk: those whose chance of an undetected failure reaches the program's limit.

A flag belongs to the item's last pass and is raised once for it, however often the chore runs. It is cleared when the
risk falls below the limit again (other items' tests may improve the estimate for its class), when the item fails or
leaves service, and, by the test log itself, as soon as the item passes.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from datetime import date, datetime
from functools import partial
from uuid import UUID

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.gear.actions import clear_flags
from service.gear.core import FlagKind
from service.gear.models import Item, Place, Placement, Port, StateChange
from service.kit.dates import local_date
from service.season.models import ItemSeason, SeasonRow
from service.store.idle import concatenated, digest, row_count
from service.store.sessions import Store, chunks
from service.testlog.effects import occasion_of, raise_again
from service.testlog.housekeeping import STEP, Chore, Step, zone_of
from service.testlog.models import MarkStands, Repair, Test, Void, WrongMark
from service.wear import fits, queries
from service.wear.core.classes import class_models
from service.wear.core.fit_document import VERSION
from service.wear.models import WearFit
from service.wear.queries import chances, known_lives, lives_by_class, records

_WHY_CLEARED = "No longer so."

_LOG = [row_count(table) for table in (Test, Repair, Void, WrongMark, MarkStands, StateChange)]
_GEAR = (
    concatenated(Item.id, Item.kind, Item.batch, Item.in_service_on, Item.bought_on),
    concatenated(Port.item_id, Port.type),
    concatenated(Placement.id, Placement.place_a_id, Placement.strapped),
    concatenated(Place.id, Place.kind),
)
_SEASONS = (
    concatenated(ItemSeason.item_id, ItemSeason.season_id),
    concatenated(SeasonRow.id, SeasonRow.starts, SeasonRow.ends),
)


def refit(store: Store, today: date) -> Iterator[Step]:
    """Fit the whole program anew, if that is due."""
    with store.reading() as db:
        zone = zone_of(db)
        items = records(db, zone)
        known = known_lives(items)
        if not items or not fits.is_outdated(fits.find_fit(db), known, today, zone):
            return
    columns = fits.as_columns(fits.fit_now(known), class_models(lives_by_class(known.values())))
    yield partial(_set_fit, columns)


def _set_fit(columns: tuple[str, str], db: Session, _today: date, now: datetime) -> int:
    fits.set_fit(db, *columns, now)
    return 1


def rests_on(db: Session, today: date) -> str:
    """A digest of all that wear is reckoned from, without reading the log, to which entries are only added."""
    fit = select(func.max(WearFit.revision))
    return digest(db, *_LOG, *_GEAR, *_SEASONS, fit, and_also=(VERSION, zone_of(db).key, today))


REFIT = Chore("fits made", refit, rests_on)


def verify(store: Store) -> list[str]:
    """Make the stored fit anew from the lives that it rests on, without writing; a line if it differs."""
    with store.reading() as db:
        stored = fits.find_fit(db)
    if stored is None:
        return []
    known = stored.fit.items
    models = class_models(lives_by_class(known.values()))
    if fits.are_close(stored, fits.fit_now(known), models):
        return []
    return [f"wear: the stored fit (no. {stored.revision}) is not what the lives say that it rests on; make it anew"]


def chore(limit: Callable[[Session], float]) -> Chore:
    """Flag items at risk; `limit` reads the chance, in (0, 1), from which on an item is at risk."""

    def steps(store: Store, today: date) -> Iterator[Step]:
        with store.reading() as db:
            risky = at_risk(db, today, limit(db))
            up = {row.item_id: occasion_of(row.period) for row in queries.at_risk_flags(db)}
        changed = [item_id for item_id in risky.keys() | up.keys() if risky.get(item_id) != up.get(item_id)]
        for ids in chunks(sorted(changed), STEP):
            yield partial(_follow, risky, ids)

    def risk_rests_on(db: Session, today: date) -> str:
        return f"{rests_on(db, today)} {limit(db)}"

    return Chore("items at risk", steps, risk_rests_on)


def _follow(risky: Mapping[UUID, str], item_ids: Collection[UUID], db: Session, _today: date, now: datetime) -> int:
    return follow_risk(db, risky, item_ids, now)


def follow_risk(db: Session, risky: Mapping[UUID, str], item_ids: Collection[UUID], now: datetime) -> int:
    """Raise flags of the items that are `risky` and clear those of the others; return how many changed.

    An item that passed, failed or left service after its risk was computed is left for the next run.
    """
    some = {item_id: risky[item_id] for item_id in item_ids if item_id in risky}
    passed = queries.last_passes(db, some)
    zone = zone_of(db)
    lift = {
        item_id: occasion
        for item_id, occasion in some.items()
        if item_id in passed and local_date(passed[item_id], zone).isoformat() == occasion
    }
    lower = []
    for row in queries.at_risk_flags(db):
        if row.item_id not in item_ids:
            continue
        if lift.get(row.item_id) == occasion_of(row.period):
            del lift[row.item_id]
        else:
            lower.append(row)
    cleared = clear_flags(db, lower, _WHY_CLEARED, None, now)
    for item_id, occasion in lift.items():
        raise_again(db, item_id, FlagKind.AT_RISK, occasion, "", None, now)
    return cleared + len(lift)


def at_risk(db: Session, today: date, limit: float) -> dict[UUID, str]:
    """The items in service whose risk reaches the limit, each with the day of its last pass.

    Items that never passed are left out: they are flagged as untested, which says more.
    """
    items = records(db, zone_of(db))
    risky = {}
    for item_id, chance in chances(db, items, today, today).items():
        passed_on = items[item_id].passed_on
        if items[item_id].in_use and passed_on is not None and chance.failed >= limit:
            risky[item_id] = passed_on.isoformat()
    return risky
