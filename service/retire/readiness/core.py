"""Readiness: the chance that every item in use works at an event, and what raises it most. Pure.

Items fail independently of each other, so the chance that all work is the product of the chances that each does. An
item known to be bad makes it 0 until something else is in its place. Each item has at most one act that raises the
chance: a test, which proves it good or has it replaced or repaired, or a spare that goes in. Acts are independent, so
the best n are those with the largest gains in logarithms, for every n. Their order: first those without which not
everything can work, then those of doubted items, which are likelier bad than their chance says, then the others by
gain, or by gain per time where minutes are scarce: then no other acts that take no longer together have a larger gain
than the first n, for every n (G. B. Dantzig, Operations Research 5, 1957, on the knapsack problem; from memory).
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from uuid import UUID

from service.wear.core.risk import gain, reaches, works

SWAP_SECONDS = 300
"""The time to put a spare in and strap it down (common practice, no source)."""
LEAST_GAIN = 1e-9
"""An act is advised if it raises the logarithm of the chance by more than this."""


class ActOrder(StrEnum):
    """By what acts are ordered: the rise of the chance by each, or the same per minute."""

    CHANCE = "chance"
    MINUTE = "minute"


class ActKind(StrEnum):
    """The kinds of acts: test the item, put a proven spare in for it, or test a spare and then put it in."""

    TEST = "test"
    SWAP = "swap"
    TEST_AND_SWAP = "test_and_swap"


@dataclass(frozen=True, slots=True)
class PossibleAct:
    """An act for an item: how long it takes, what goes in, and the chance, below 1, that this is bad then."""

    kind: ActKind
    seconds: int
    bad_then: float
    spare: UUID | None = None


@dataclass(frozen=True, slots=True)
class ItemInUse:
    """An item that has to work: the chance that it is bad by the event, 1 if it is known to be.

    `tested` is the act of testing it, if a test can tell something. `act` is what is advised, None if nothing is: it
    does not help, there is nothing to put in, or a lead declined it. `doubted`: it is suspect, was repaired, or failed
    together with others, and has not passed since; its act is advised even if the chance does not rise by it.
    """

    id: UUID
    bad: float
    tested: PossibleAct | None = None
    act: PossibleAct | None = None
    doubted: bool = False

    @property
    def known_bad(self) -> bool:
        """Whether it is known to be bad without a test."""
        return self.bad >= 1

    @property
    def gain(self) -> float:
        """The rise of the logarithm of the chance that all work by its act."""
        if self.act is None:
            return 0.0
        return math.inf if self.known_bad else gain(self.bad, self.act.bad_then)

    @property
    def helps(self) -> bool:
        """Whether its act is worth advising."""
        return self.gain > LEAST_GAIN or (self.doubted and self.act is not None and self.gain >= 0)


@dataclass(frozen=True, slots=True)
class Act:
    """An act that is advised: its item, the chances that what is in place is bad, `bad` now and `bad_then` after it,
    and the chances that all items work that are not stuck (see `Readiness`), `before` and `after` it.
    """

    item: UUID
    kind: ActKind
    seconds: int
    spare: UUID | None
    bad: float
    bad_then: float
    before: float
    after: float


@dataclass(frozen=True)
class Readiness:
    """Readiness as things are: the chance that all of `items` work, and `others`, the chance that all work that are not
    known to be bad, of which `unseen` are bad on average.

    `acts` reach the target, or are all that help, the most useful first. `after` is the chance that all work then, and
    `others_after` the chance that all work that are not `stuck`: known to be bad, with nothing to put in. `gaps` is how
    many are known to be bad now.
    """

    items: int
    chance: float
    others: float
    unseen: float
    gaps: int
    acts: tuple[Act, ...]
    after: float
    others_after: float
    stuck: tuple[UUID, ...]
    target: float

    @property
    def seconds(self) -> int:
        """The total time of the acts."""
        return sum(act.seconds for act in self.acts)

    @property
    def reached(self) -> bool:
        """Whether the target is reached once the acts are done."""
        return reaches(self.after, self.target)

    @property
    def is_ready(self) -> bool:
        """Whether the target is reached as things are."""
        return reaches(self.chance, self.target)


def readiness(items: Sequence[ItemInUse], target: float, order: ActOrder = ActOrder.CHANCE) -> Readiness:
    """The readiness of these items, and the acts that raise the chance to `target`, in this order.

    Equal acts stay in the order of the items.
    """
    stuck = tuple(item.id for item in items if item.known_bad and item.act is None)
    sound = [item.bad for item in items if not item.known_bad]
    gaps = len(items) - len(sound)
    others, log, waiting = works(sound), math.fsum(math.log1p(-bad) for bad in sound), gaps - len(stuck)
    chance = 0.0 if waiting else others
    acts: list[Act] = []
    for item in sorted((item for item in items if item.helps), key=lambda item: _turn(item, order)):
        is_needed = item.known_bad or item.doubted
        if item.act is None or (not is_needed and reaches(chance, target)):
            break
        log += gain(0.0 if item.known_bad else item.bad, item.act.bad_then)
        waiting -= item.known_bad
        before, chance = chance, 0.0 if waiting else math.exp(log)
        act = item.act
        acts.append(Act(item.id, act.kind, act.seconds, act.spare, item.bad, act.bad_then, before, chance))
    return Readiness(
        items=len(items),
        chance=0.0 if gaps else others,
        others=others,
        unseen=math.fsum(sound),
        gaps=gaps,
        acts=tuple(acts),
        after=0.0 if stuck else chance,
        others_after=chance,
        stuck=stuck,
        target=target,
    )


def once_tested(items: Sequence[ItemInUse], tested: Collection[UUID]) -> list[ItemInUse]:
    """The items after these were tested, if a test can tell something; their tests are not advised again.

    Swaps that were advised still are.
    """
    return [_once_tested(item) if item.id in tested else item for item in items]


def _once_tested(item: ItemInUse) -> ItemInUse:
    if item.tested is None:
        return item
    act = None if item.act is None or item.act.kind is ActKind.TEST else item.act
    return replace(item, bad=min(item.bad, item.tested.bad_then), tested=None, act=act, doubted=False)


def _turn(item: ItemInUse, order: ActOrder) -> tuple[bool, bool, float]:
    seconds = item.act.seconds if item.act and order is ActOrder.MINUTE else 1
    if item.known_bad and item.act:
        return False, False, item.act.bad_then if order is ActOrder.CHANCE else seconds
    return True, not item.doubted, -item.gain / seconds
