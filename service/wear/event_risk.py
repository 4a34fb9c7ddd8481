"""The risk of an event: the chance that everything in use works, item by item, and which tests would help most."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.gear.queries import ItemFacts, item_facts
from service.store.changes import unless_changed
from service.tags.queries import codes_of
from service.wear import queries
from service.wear.core.classes import failures_of
from service.wear.core.risk import Ages, Chance, Outlook
from service.wear.fits import find_fit
from service.wear.queries import WearRecord

SHOWN = 200
"""At most so many items are listed, the riskiest first."""


@dataclass(frozen=True)
class Prospect:
    """An item in use: the chance of an undetected failure by the day, its last pass (None: not since it was new or
    repaired), the exposure days from then until the day, and the failures in its log.
    """

    item: ItemFacts
    code: str
    chance: Chance
    passed_on: date | None
    days: int
    failures: int


@dataclass(frozen=True)
class Prospects:
    """The risk of a day: `first` are to be tested first, `others` follow by risk, `more` are not listed.

    `doubted` are those in use that are likelier bad than their chance says, and come first. `unknown` are items with a
    failure not yet followed by a pass. `fitted_at` is when the fit was made that the chances rest on (None: on the
    spot).
    """

    outlook: Outlook
    first: list[Prospect]
    others: list[Prospect]
    more: int
    doubted: set[UUID]
    unknown: list[tuple[ItemFacts, str]]
    fitted_at: datetime | None


def prospects(db: Session, zone: ZoneInfo, today: date, day: date) -> Prospects:
    """The risk of `day` (see `_prospects`), reckoned anew where anything was written since the last time."""
    return unless_changed(db, ("prospects", zone.key, today, day), lambda: _prospects(db, zone, today, day))


def _prospects(db: Session, zone: ZoneInfo, today: date, day: date) -> Prospects:
    """The risk of `day`, if everything in service today is in use then."""
    items = queries.records(db, zone)
    chances = queries.chances(db, items, today, day)
    in_use, unknown = queries.in_use(items, chances, day)
    doubted = queries.doubted(db).intersection(in_use)
    outlook = queries.outlook(items, chances, day, doubted=doubted)
    later = sorted(set(in_use) - set(outlook.first), key=lambda item_id: -chances[item_id].failed)
    listed = later[: SHOWN - len(outlook.first)]
    shown = [*outlook.first, *listed, *unknown[:SHOWN]]
    facts, codes = item_facts(db, shown), codes_of(db, shown)

    def rows(ids: Iterable[UUID]) -> list[Prospect]:
        return [
            _prospect(facts[item_id], codes.get(item_id, ""), chances[item_id], items[item_id], day) for item_id in ids
        ]

    return Prospects(
        outlook,
        rows(outlook.first),
        rows(listed),
        len(later) - len(listed),
        doubted,
        [(facts[item_id], codes.get(item_id, "")) for item_id in unknown[:SHOWN]],
        stored.fitted_at if (stored := find_fit(db)) else None,
    )


def _prospect(item: ItemFacts, code: str, chance: Chance, record: WearRecord, day: date) -> Prospect:
    age = record.ages(day, day) or Ages(0, 0, 0)
    return Prospect(
        item,
        code,
        chance,
        record.passed_on,
        int(age.day - age.passed),
        failures_of(record.lives),
    )
