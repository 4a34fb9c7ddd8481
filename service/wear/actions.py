"""What a program's own history says about wear, class by class, and how often that asks for a test."""

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.crew.core import Who
from service.crew.queries import note_in_audit
from service.gear.core import KINDS
from service.gear.wirings import CONNECTOR_NAMES
from service.kit.dates import local_date
from service.season.core import Entry
from service.testlog.core import in_time_order
from service.wear import queries
from service.wear.core.classes import Fitted, Judged, Path, judged
from service.wear.core.history import Stretch, ages, exposed, in_service, lives, merged
from service.wear.core.lives import Life
from service.wear.models import WearTarget
from service.wear.queries import Worn

PER_MILLE_USUAL = 10
STRAPPED, FREE = "strapped to a frame", "not strapped"


@dataclass(frozen=True)
class Answer:
    """How long a class may go untested, in exposure days, with its 95 % likelihood-ratio interval.

    `rounds` is how many rounds that makes of a season, with the interval; `down` the share of its time that an item
    is bad and nobody knows, with the rounds that there are; `grows` whether failing gets likelier with use (None:
    it cannot be told).
    """

    days: int
    days_least: int
    days_most: int
    rounds: int
    rounds_least: int
    rounds_most: int
    down: float
    enough: bool
    grows: bool | None


@dataclass(frozen=True)
class WornClass:
    """A class in words, what it counts, the words of the wider class it is judged by ("" for itself), its answer."""

    name: str
    failures: int
    lives: int
    by: str
    answer: Answer | None


def target(db: Session) -> int:
    """The unavailability that the program aims at, in thousandths."""
    return queries.per_mille(db) or PER_MILLE_USUAL


def set_target(db: Session, per_mille: int, who: Who, now: datetime) -> None:
    """Keep the unavailability that the program aims at, in thousandths."""
    db.merge(WearTarget(id=1, per_mille=per_mille))
    note_in_audit(db, now, who.id, "wear.target", f"{per_mille} in 1,000")


@dataclass(frozen=True)
class Record:
    """An item's class, its history in the order it happened, and its exposed days."""

    path: Path
    history: list[Entry]
    exposure: list[Stretch]


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
        found[item_id] = Record(path_of(item), history, exposure)
    return found


def judgments(items: Iterable[Record]) -> list[Judged]:
    """Every class of items, judged by the program's own history."""
    found: dict[Path, list[Life]] = defaultdict(list)
    for item in items:
        found[item.path] += lives(item.history, item.exposure)
    return judged(found)


def risks(db: Session, zone: ZoneInfo, today: date) -> dict[UUID, float]:
    """The chance that an item which was good at its last test has failed since; where its class can tell."""
    items = records(db, zone)
    models = {each.path: each.fitted.model for each in judgments(items.values()) if each.fitted}
    found = {}
    for item_id, item in items.items():
        age = ages(item.history, item.exposure, today)
        if age is not None and item.path in models:
            model = models[item.path]
            found[item_id] = 1 - model.survival(age[1]) / max(model.survival(age[0]), 1e-300)
    return found


def path_of(item: Worn) -> Path:
    """The class of an item, from the widest on; a purchase lot only where it has one."""
    connectors = " and ".join(sorted(CONNECTOR_NAMES.get(name, name) for name in item.connectors))
    path = item.kind, connectors, STRAPPED if item.strapped else FREE
    return (*path, item.batch) if item.batch else path


def report(
    db: Session, zone: ZoneInfo, first: date, last: date, rounds: int, per_mille: int
) -> list[WornClass]:
    """Each class with its answer for a season from `first` to `last`, both counted, that has so many rounds."""
    days = (last - first).days + 1
    return [
        WornClass(
            in_words(each.path),
            each.failures,
            each.lives,
            in_words(each.by) if each.by and each.by != each.path else "",
            answer(each.fitted, days, rounds, per_mille / 1000) if each.fitted else None,
        )
        for each in judgments(records(db, zone).values())
        if each.lives
    ]


def answer(fitted: Fitted, season_days: int, rounds: int, unavailability: float) -> Answer:
    """What a model says of a season of so many days in so many rounds; at least a day, at most ten seasons."""
    most = 10 * season_days

    def whole(days: float) -> int:
        return max(1, min(most, math.floor(days)))

    intervals = [model.interval(unavailability) for model in fitted.edge]
    days = whole(fitted.model.interval(unavailability))
    least, longest = whole(min(intervals)), whole(max(intervals))
    shapes = [model.shape for model in fitted.edge]
    return Answer(
        days=days, days_least=least, days_most=longest,
        rounds=-(-season_days // days), rounds_least=-(-season_days // longest), rounds_most=-(-season_days // least),
        down=fitted.model.unavailability(season_days / rounds),
        enough=season_days <= days * rounds,
        grows=True if min(shapes) > 1 else False if max(shapes) < 1 else None,
    )  # fmt: skip


def in_words(path: Path) -> str:
    """A class as pages call it: "Cables, XLR, strapped to a frame, Lot 1"."""
    plural = KINDS[path[0]].plural
    return ", ".join([plural[:1].upper() + plural[1:], *path[1:]])
