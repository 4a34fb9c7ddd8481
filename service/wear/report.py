"""What wear says of each class in words: how long it may go untested, and how it lasts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from service.gear.core import KINDS
from service.wear.core.classes import Fitted, JudgedClass, Path, in_order, judged, pooled, steps_of
from service.wear.curve import Curve, draw
from service.wear.queries import lives_by_class, records


@dataclass(frozen=True)
class AllowedInterval:
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
    """A class in words, what it counts, the words of the wider class it is judged by ("" for itself), its answer, and
    the number of the curve that speaks for it, from 1 (0 where none does).
    """

    name: str
    failures: int
    lives: int
    by: str
    answer: AllowedInterval | None
    curve: int


@dataclass(frozen=True)
class Report:
    """Every class that has lives, and how each class lasts that is judged by itself."""

    classes: Sequence[WornClass]
    curves: Sequence[Curve]


def report(db: Session, zone: ZoneInfo, first: date, last: date, rounds: int, per_mille: int) -> Report:
    """Each class with its answer for a season from `first` to `last`, both counted, that has so many rounds."""
    days = (last - first).days + 1
    by_class = lives_by_class(records(db, zone).values())
    allowed = [each for each in judged(by_class) if each.lives]
    fits = {each.by: each.fitted for each in allowed if each.by and each.fitted}
    pool, order = pooled(by_class), sorted(fits)
    return Report(
        [_class_wear(each, days, rounds, per_mille / 1000, order) for each in allowed],
        [
            draw(in_words(path), KINDS[path[0]].plural, fits[path], steps_of(in_order(pool[path])), days)
            for path in order
        ],
    )


def _class_wear(each: JudgedClass, days: int, rounds: int, unavailability: float, curves: Sequence[Path]) -> WornClass:
    by = in_words(each.by) if each.by and each.by != each.path else ""
    allowed = answer(each.fitted, days, rounds, unavailability) if each.fitted else None
    curve = curves.index(each.by) + 1 if each.by else 0
    return WornClass(in_words(each.path), each.failures, each.lives, by, allowed, curve)


def answer(fitted: Fitted, season_days: int, rounds: int, unavailability: float) -> AllowedInterval:
    """What a model says of a season of so many days in so many rounds; at least a day, at most ten seasons."""
    most = 10 * season_days

    def whole(days: float) -> int:
        return max(1, min(most, math.floor(days)))

    intervals = [model.interval(unavailability) for model in fitted.edge]
    days = whole(fitted.model.interval(unavailability))
    least, longest = whole(min(intervals)), whole(max(intervals))
    shapes = [model.shape for model in fitted.edge]
    return AllowedInterval(
        days=days,
        days_least=least,
        days_most=longest,
        rounds=-(-season_days // days),
        rounds_least=-(-season_days // longest),
        rounds_most=-(-season_days // least),
        down=fitted.model.unavailability(season_days / rounds),
        enough=season_days <= days * rounds,
        grows=True if min(shapes) > 1 else False if max(shapes) < 1 else None,
    )


def in_words(path: Path) -> str:
    """A class as pages call it: "Cables, XLR, strapped to a frame, Lot 1"."""
    plural = KINDS[path[0]].plural
    return ", ".join([plural[:1].upper() + plural[1:], *path[1:]])
