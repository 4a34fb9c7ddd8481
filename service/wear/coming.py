"""The seasons to come, as far as they are planned, and the items that go through them with the ages that they have."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from service.season.core import Season, shifted
from service.season.models import SeasonRow
from service.season.queries import rules, seasons
from service.wear.core.ahead import Fleet, PlannedSeason
from service.wear.queries import WearRecord

SEASONS = 3
"""So many seasons are looked at, the one that runs included."""
DAY = timedelta(days=1)


@dataclass(frozen=True)
class SeasonToCome:
    """A season; `name` is None for one that nobody has entered yet, which is taken to be like the one before it.

    `base` is the day whose evening it is reckoned from: today where it runs, else the day before its first.
    """

    name: str | None
    rule: Season
    base: date

    @property
    def runs(self) -> bool:
        """Whether a part of it is over."""
        return self.base >= self.rule.starts

    def planned(self, passed_on: date | None = None) -> PlannedSeason:
        """What is left of it, with a test on the last day of each round, but for one in which an item has passed."""
        tests = (
            (each.closes - DAY - self.base).days
            for each in self.rule.rounds
            if passed_on is None or not each.opens <= passed_on < each.closes
        )
        return PlannedSeason(
            (self.rule.ends - self.base).days, tuple(float(test) for test in tests if test > 0), self.runs
        )


def seasons_to_come(db: Session, row: SeasonRow, today: date) -> list[SeasonToCome]:
    """The season of `row`, as far as it is to come, and those that follow it."""
    known = rules(db)
    following = sorted((each for each in seasons(db) if each.starts > row.ends), key=lambda each: each.starts)
    return looked_at([(each.name, known[each.id]) for each in [row, *following]], today)


def looked_at(known: Sequence[tuple[str, Season]], today: date) -> list[SeasonToCome]:
    """`SEASONS` of them: what is to come of seasons that are known, of which there is one, in order, and then more that
    are like the last.
    """
    coming = [SeasonToCome(name, rule, max(today, rule.starts - DAY)) for name, rule in known if rule.ends > today]
    like = known[-1][1]
    while len(coming) < SEASONS:
        like = shifted(like, max(like.ends, today) + DAY)
        coming.append(SeasonToCome(None, like, like.starts - DAY))
    return coming[:SEASONS]


def fleets(
    items: Mapping[UUID, WearRecord], coming: Sequence[SeasonToCome], today: date
) -> list[tuple[Fleet, list[UUID]]]:
    """These items by the tests that they have before them; those that failed, and did not pass since, are left out."""
    grouped: dict[tuple[PlannedSeason, ...], list[tuple[float, float, UUID]]] = {}
    for item_id, item in items.items():
        ages = item.ages(today, coming[0].base)
        if ages is not None:
            first = coming[0].planned(item.passed_on if coming[0].runs else None)
            planned = (first, *(each.planned() for each in coming[1:]))
            grouped.setdefault(planned, []).append((ages.passed, max(ages.passed, ages.day), item_id))
    found = []
    for planned, of_items in grouped.items():
        passed, ages_then, item_ids = zip(*of_items, strict=True)
        found.append((Fleet(passed, ages_then, planned), list(item_ids)))
    return found
