"""The current and the coming seasons, planned or assumed, and the items that go through them with their ages."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from service.season.core import Season, shifted
from service.season.models import SeasonRow
from service.season.queries import rules, seasons
from service.wear.core.fleet import Fleet, PlannedSeason
from service.wear.queries import WearRecord

SEASONS = 3
"""How many seasons are forecast, the current one included."""
DAY = timedelta(days=1)


@dataclass(frozen=True)
class SeasonToCome:
    """A season; `name` is None if nobody has entered it yet and it is assumed to be like the one before.

    Its exposure days are counted from the evening of `base`: today if it runs, else the day before its first.
    """

    name: str | None
    rule: Season
    base: date

    @property
    def runs(self) -> bool:
        """Whether it has begun."""
        return self.base >= self.rule.starts

    def planned(self, passed_on: date | None = None) -> PlannedSeason:
        """What is left of it, with a test on the last day of each round except one in which an item has passed."""
        tests = (
            (each.closes - DAY - self.base).days
            for each in self.rule.rounds
            if passed_on is None or not each.opens <= passed_on < each.closes
        )
        return PlannedSeason(
            (self.rule.ends - self.base).days, tuple(float(test) for test in tests if test > 0), self.runs
        )


def seasons_to_come(db: Session, row: SeasonRow, today: date) -> list[SeasonToCome]:
    """What is left of the season of `row`, and the seasons after it, `SEASONS` in all."""
    known = rules(db)
    following = sorted((each for each in seasons(db) if each.starts > row.ends), key=lambda each: each.starts)
    return looked_at([(each.name, known[each.id]) for each in [row, *following]], today)


def looked_at(known: Sequence[tuple[str, Season]], today: date) -> list[SeasonToCome]:
    """`SEASONS` seasons: what is left of those that are known, at least one, in order, then more like the last."""
    coming = [SeasonToCome(name, rule, max(today, rule.starts - DAY)) for name, rule in known if rule.ends > today]
    like = known[-1][1]
    while len(coming) < SEASONS:
        like = shifted(like, max(like.ends, today) + DAY)
        coming.append(SeasonToCome(None, like, like.starts - DAY))
    return coming[:SEASONS]


def fleets(
    items: Mapping[UUID, WearRecord], coming: Sequence[SeasonToCome], today: date
) -> list[tuple[Fleet, list[UUID]]]:
    """These items grouped by their tests to come; those that failed and have not passed since are left out."""
    later = [each.planned() for each in coming[1:]]
    planned: dict[date | None, tuple[PlannedSeason, ...]] = {}
    grouped: dict[tuple[PlannedSeason, ...], list[tuple[float, float, UUID]]] = {}
    for item_id, item in items.items():
        ages = item.ages(today, coming[0].base)
        if ages is not None:
            passed_on = item.passed_on if coming[0].runs else None
            if passed_on not in planned:
                planned[passed_on] = coming[0].planned(passed_on), *later
            grouped.setdefault(planned[passed_on], []).append((ages.passed, max(ages.passed, ages.day), item_id))
    fleets = []
    for seasons_planned, of_items in grouped.items():
        passed, ages_then, item_ids = zip(*of_items, strict=True)
        fleets.append((Fleet(passed, ages_then, seasons_planned), list(item_ids)))
    return fleets
