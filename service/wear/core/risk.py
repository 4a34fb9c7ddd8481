"""The chance that an item has failed and nobody knows, and that everything in use works on a day. Pure.

The chance averages over what may be true: over the models that a class may have (see `belief`), and over how much
items of a class differ (see `frailty`), each item with its own record.

Items fail independently of each other, so everything works with the product of the chances that each does; it is
summed in logarithms. A test before the day proves an item good, or has it replaced by one that was tested as lately:
either way its chance to have failed is then only that of the days after the test. So the ten items whose tests raise
the chance of the event most are the ten with the largest gain in logarithms.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from uuid import UUID

from service.wear.core.belief import Belief, belief_of, belief_with_few
from service.wear.core.classes import Fitted, JudgedClass, Path
from service.wear.core.lives import Life

FIRST = 10
"""How many items are named to be tested first."""


@dataclass(frozen=True, slots=True)
class Ages:
    """How old an item is in the life it is in, in exposure days: at its last pass (0 without one), today, and on the
    day asked for.
    """

    passed: float
    today: float
    day: float


@dataclass(frozen=True, slots=True)
class KnownItem:
    """What is known of an item: its class, its lives, and its ages, which are None once it has failed or is gone."""

    path: Path
    lives: tuple[Life, ...]
    ages: Ages | None


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance that an item has failed unseen by a day, and the same if it is tested today, and pulled if bad.

    `frailty` is how many times as likely as a new one of its class it fails, given its own record.
    """

    failed: float
    if_tested: float
    frailty: float

    @property
    def gain(self) -> float:
        """By how much a test today raises the logarithm of the chance that everything works."""
        return math.log1p(-self.if_tested) - math.log1p(-self.failed)


@dataclass(frozen=True)
class Outlook:
    """How a day looks for `items` in use: the chance that all work, and how many have failed on average, as it is and
    once `first` are tested.

    `first` are those whose tests raise the chance most, the most useful first; of `unknown` items nothing can be told.
    """

    items: int
    unknown: int
    works: float
    failed: float
    first: tuple[UUID, ...]
    works_then: float
    failed_then: float


def chances(known: Mapping[UUID, KnownItem], judged: Iterable[JudgedClass]) -> dict[UUID, Chance]:
    """The chance of each item that has ages and of which anything can be told.

    `known` are all items there ever were, for all teach something; `judged` are their classes.
    """
    from service.wear.core import frailty  # numpy would slow the start of every command

    fits = {each.path: each for each in judged}
    groups: dict[Path, list[UUID]] = defaultdict(list)
    for key, one in known.items():
        by = fits[one.path].by if one.path in fits else None
        groups[by or one.path[:1]].append(key)
    models = {each.by: each.fitted for each in fits.values() if each.by and each.fitted}
    records = {path: frailty.Records.of([known[key].lives for key in keys]) for path, keys in groups.items()}
    likely = frailty.spread([(records[path], models[path].model) for path in groups if path in models])
    found: dict[UUID, Chance] = {}
    for path, keys in groups.items():
        belief = _belief(models.get(path), [known[key] for key in keys])
        if belief:
            ages = [known[key].ages or _NO_AGES for key in keys]
            figures = frailty.figures(records[path], belief, likely, [astuple(age) for age in ages])
            found |= {key: Chance(*told) for key, told in zip(keys, figures, strict=True)}
    return {key: chance for key, chance in found.items() if known[key].ages}


_NO_AGES = Ages(0.0, 0.0, 0.0)


def _belief(fitted: Fitted | None, known: Iterable[KnownItem]) -> Belief | None:
    return belief_of(fitted) if fitted else belief_with_few(life for one in known for life in one.lives)


def works(failed: Iterable[float]) -> float:
    """The chance that everything works, given for each item the chance that it has failed, below 1."""
    return math.exp(math.fsum(math.log1p(-chance) for chance in failed))


def outlook(in_use: Mapping[UUID, Chance], unknown: int = 0, most: int = FIRST) -> Outlook:
    """How a day looks for these items in use, and what testing at most so many of them first would do."""
    ranked = sorted(in_use, key=lambda key: -in_use[key].gain)
    first = tuple(key for key in ranked[:most] if in_use[key].gain > 0)
    now = [one.failed for one in in_use.values()]
    then = [one.if_tested if key in first else one.failed for key, one in in_use.items()]
    return Outlook(len(in_use), unknown, works(now), math.fsum(now), first, works(then), math.fsum(then))
