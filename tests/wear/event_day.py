"""Whole programs some days before an event, whose wear is known: what tests told until then, and what is bad then.

Each item may miss an evening of tests, or be newer than others. What is named is tested today: what that finds bad is
replaced by a new one of its class, which may fail until the day as well.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from random import Random
from uuid import UUID

from service.wear.core.classes import failures_of
from service.wear.core.lives import Life
from service.wear.core.risk import Ages, Chance, KnownItem, chances, outlook
from tests.wear.pooled import SEASON, Kind, Model, item_model, paths_of

MISSED = 0.3
"""How often an item is not there on an evening of tests."""
AHEAD = 12
"""Days from today until the event."""
NAMED = 8
"""So many items are tested before the event."""


@dataclass(frozen=True)
class Item:
    """An item as tests tell of it, how long it was not tested, and how old it is, both in exposure days; how probably
    it is bad on the day, 0 or 1 if that is settled, as it is and if it is tested today; and whether its last pass was
    true.
    """

    known: KnownItem
    untested: float
    age: float
    bad: float
    bad_if_tested: float
    passed_good: bool


def programs(kind: Kind, count: int, seed: int = 1) -> Iterator[dict[UUID, Item]]:
    """So many programs, each with its items."""
    for number in range(count):
        random = Random(f"day-{seed}-{number}")
        models: dict[tuple[str, ...], Model] = {}
        paths = paths_of(kind, random)
        yield {UUID(int=at): _item(kind, random.choice(paths), models, random) for at in range(random.randint(20, 120))}


def _item(kind: Kind, path: tuple[str, ...], models: dict[tuple[str, ...], Model], random: Random) -> Item:
    shape, scale = item_model(random, kind, path, models)
    bought = born = SEASON * random.randrange(kind.seasons)
    good, tested, lives, passed_good = 0, born, [], True
    fails = random.weibullvariate(scale, shape)
    today = SEASON * kind.seasons - AHEAD
    for half in range(2 * kind.seasons):
        evening = SEASON * half // 2 + random.randint(5, 30)
        age = evening - born
        if age <= 0 or random.random() < MISSED:
            continue
        tested, found = evening, fails <= age and random.random() < kind.found
        if found:
            lives.append(Life(good, age))
            born, good, passed_good, fails = evening, 0, True, random.weibullvariate(scale, shape)
        else:
            good, passed_good = age, fails > age
    now = today - born
    new_fails = -math.expm1(-((AHEAD / scale) ** shape))
    bad = float(fails <= now + AHEAD)
    found_today = fails <= now and random.random() < kind.found
    known = KnownItem(path, (*lives, Life(good, None)), Ages(good, now, now + AHEAD))
    return Item(known, today - tested, today - bought, bad, new_fails if found_today else bad, passed_good)


Rule = Callable[[Mapping[UUID, Item], Random], Sequence[UUID]]


def _most(value: Callable[[Item], float]) -> Rule:
    """The items of which this is most; equal ones by lot."""
    return lambda items, random: sorted(items, key=lambda key: (-value(items[key]), random.random()))[:NAMED]


PLAIN: dict[str, Rule] = {
    "untested longest": _most(lambda item: item.untested),
    "oldest": _most(lambda item: item.age),
    "failed most": _most(lambda item: failures_of(item.known.lives)),
}


def told(items: Mapping[UUID, Item]) -> dict[UUID, Chance]:
    """What the service tells of each."""
    return chances({key: item.known for key, item in items.items()})


def named(by: Mapping[UUID, Chance]) -> Sequence[UUID]:
    """What the service names to be tested first."""
    return outlook(by, most=NAMED).first


def left(items: Mapping[UUID, Item], tested: Sequence[UUID]) -> float:
    """How many are bad on the day, those tested today."""
    return sum(item.bad_if_tested if key in tested else item.bad for key, item in items.items())
