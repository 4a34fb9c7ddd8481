"""What a program's own history says about wear, class by class, and how often that asks for a test."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.gear.core import ItemState
from service.gear.wirings import CONNECTOR_NAMES
from service.kit.dates import local_date
from service.season.core import Entry
from service.testlog.core import in_time_order
from service.wear import queries
from service.wear.core import risk
from service.wear.core.classes import Judged, Path, judged
from service.wear.core.history import Stretch, ages, exposed, in_service, lives, merged
from service.wear.core.lives import Life
from service.wear.core.risk import FIRST, Ages, Chance, Known, Outlook
from service.wear.models import WearTarget
from service.wear.queries import Worn

PER_MILLE_USUAL = 10
STRAPPED, FREE = "strapped to a frame", "not strapped"


def target(db: Session) -> int:
    """The unavailability that the program aims at, in thousandths."""
    return queries.per_mille(db) or PER_MILLE_USUAL


def set_target(db: Session, per_mille: int, who: Who, now: datetime) -> None:
    """Keep the unavailability that the program aims at, in thousandths."""
    db.merge(WearTarget(id=1, per_mille=per_mille))
    note_in_audit(db, now, who.id, "wear.target", f"{per_mille} in 1,000")


@dataclass(frozen=True)
class Record:
    """An item's class, its history in the order it happened, its exposed days, and whether it is in service now."""

    path: Path
    history: list[Entry]
    exposure: list[Stretch]
    in_use: bool


def records(db: Session, zone: ZoneInfo) -> dict[UUID, Record]:
    """Every item there ever was, as wear sees it."""
    seasons = queries.season_days(db)
    days: dict[frozenset[UUID], list[Stretch]] = {}
    found = {}
    for item_id, item in queries.worn(db).items():
        answers_to = frozenset(item.seasons)
        if answers_to not in days:
            days[answers_to] = merged(seasons[season] for season in answers_to)
        changes = [(local_date(at, zone), state) for at, state in item.changes]
        history = [Entry(local_date(event.at, zone), event.what) for event in in_time_order(item.history)]
        exposure = exposed(days[answers_to], in_service(item.in_service_on, changes))
        in_use = bool(changes) and changes[-1][1] is ItemState.IN_SERVICE
        found[item_id] = Record(path_of(item), history, exposure, in_use)
    return found


def lives_by_class(items: Iterable[Record]) -> dict[Path, list[Life]]:
    """The lives of every class that has items of its own."""
    found: dict[Path, list[Life]] = defaultdict(list)
    for item in items:
        found[item.path] += lives(item.history, item.exposure)
    return found


def judgments(items: Iterable[Record]) -> list[Judged]:
    """Every class of items, judged by the program's own history."""
    return judged(lives_by_class(items))


def chances(items: Mapping[UUID, Record], today: date, day: date) -> dict[UUID, Chance]:
    """Of every item that has not failed: the chance that it has by `day`, as it is and if it is tested today.

    Nothing is told of a kind of gear that has never been tested after a day in service.
    """
    known = {
        item_id: Known(item.path, tuple(lives(item.history, item.exposure)), _ages(item, today, day))
        for item_id, item in items.items()
    }
    return risk.chances(known, judgments(items.values()))


def _ages(item: Record, today: date, day: date) -> Ages | None:
    found = ages(item.history, item.exposure, today, day)
    return Ages(*found) if found else None


def risks(db: Session, zone: ZoneInfo, today: date) -> dict[UUID, float]:
    """The chance that an item which was good at its last test has failed since, by the day that is given."""
    return failed_by(records(db, zone), today)


def failed_by(items: Mapping[UUID, Record], day: date) -> dict[UUID, float]:
    """The same, where the records are at hand."""
    return {item_id: chance.failed for item_id, chance in chances(items, day, day).items()}


def outlook(items: Mapping[UUID, Record], told: Mapping[UUID, Chance], most: int = FIRST) -> Outlook:
    """How the day of these chances looks for what is in service, and which tests would help it most."""
    in_use = [item_id for item_id, item in items.items() if item.in_use]
    known = {item_id: told[item_id] for item_id in in_use if item_id in told}
    return risk.outlook(known, len(in_use) - len(known), most)


def path_of(item: Worn) -> Path:
    """The class of an item, from the widest on; a purchase lot only where it has one."""
    connectors = " and ".join(sorted(CONNECTOR_NAMES.get(name, name) for name in item.connectors))
    path = item.kind, connectors, STRAPPED if item.strapped else FREE
    return (*path, item.batch) if item.batch else path
