"""Ready for the day: the chance that every item in use works at an event, and what raises it most. Pure.

Items fail independently of each other, so all work with the product of the chances that each does. What is known to be
bad makes that 0 until something else is in its place. Each item has one act at the most that raises the chance: a test,
which proves it good or has it replaced or repaired, or a spare that goes in. Acts do not depend on each other, so the
best of so many are those with the largest gains in logarithms, however many they are: first what is needed before all
can work, then what is in doubt, which is likelier bad than its chance knows, then the others by gain.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from uuid import UUID

from service.wear.core.risk import gain, reaches, works

SWAP_SECONDS = 300
"""What it takes to put a spare in and strap it down (common practice, no source)."""
LEAST_GAIN = 1e-9
"""An act helps if it raises the logarithm of the chance by more than this."""


class ActKind(StrEnum):
    """What is done: the item is tested, a proven spare goes in for it, or a spare is tested and then goes in."""

    TEST = "test"
    SWAP = "swap"
    TEST_AND_SWAP = "test_and_swap"


@dataclass(frozen=True, slots=True)
class PossibleAct:
    """An act for an item: how long it takes, what goes in, and the chance, below 1, that what is there then is bad."""

    kind: ActKind
    seconds: int
    bad_then: float
    spare: UUID | None = None


@dataclass(frozen=True, slots=True)
class ItemInUse:
    """An item that has to work: the chance that it is bad by the event, which is 1 where it is known to be.

    `tested` is the act of testing it, where a test can tell something, and `act` what is advised, None where nothing
    is: it does not help, there is nothing to put in, or a lead declined it. `doubted`: it crackled, or was repaired, or
    failed together with others, and no pass has proved it since.
    """

    id: UUID
    bad: float
    tested: PossibleAct | None = None
    act: PossibleAct | None = None
    doubted: bool = False

    @property
    def known_bad(self) -> bool:
        """Whether nobody needs to look."""
        return self.bad >= 1

    @property
    def gain(self) -> float:
        """By how much its act raises the logarithm of the chance that all work."""
        if self.act is None:
            return 0.0
        return math.inf if self.known_bad else gain(self.bad, self.act.bad_then)


@dataclass(frozen=True, slots=True)
class Act:
    """An act that is advised: about which item, the chances before it and after it that what is there is bad, and those
    that all work which are not stuck (see `Readiness`).
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
    """Whether all is ready: the chance that all of `items` work as things are, and `others`, the same of those that are
    not known to be bad, of which `unseen` are bad on average.

    `acts` reach the target, or are all that help, the most useful first; `after` is the chance that all work then, and
    `others_after` that of what is not `stuck`: what is known to be bad, with nothing to put in. `gaps` is how many are
    known to be bad now.
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
        """How long the acts take, one after the other."""
        return sum(act.seconds for act in self.acts)

    @property
    def reached(self) -> bool:
        """Whether the target is reached once the acts are done."""
        return reaches(self.after, self.target)

    @property
    def is_ready(self) -> bool:
        """Whether it is reached as things are."""
        return reaches(self.chance, self.target)


def readiness(items: Sequence[ItemInUse], target: float) -> Readiness:
    """Whether all is ready, and the acts that make it so with a chance of `target`.

    Of equal acts the first in the order given comes first.
    """
    stuck = tuple(item.id for item in items if item.known_bad and item.act is None)
    sound = [item.bad for item in items if not item.known_bad]
    gaps = len(items) - len(sound)
    others, log, waiting = works(sound), math.fsum(math.log1p(-bad) for bad in sound), gaps - len(stuck)
    chance = 0.0 if waiting else others
    acts: list[Act] = []
    for item in sorted((item for item in items if item.gain > LEAST_GAIN), key=_turn):
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
    """The items once these were tested, as far as a test of them can tell something; their tests are not advised again.

    What is to be swapped still is.
    """
    return [_once_tested(item) if item.id in tested else item for item in items]


def _once_tested(item: ItemInUse) -> ItemInUse:
    if item.tested is None:
        return item
    act = None if item.act is None or item.act.kind is ActKind.TEST else item.act
    return replace(item, bad=min(item.bad, item.tested.bad_then), tested=None, act=act, doubted=False)


def _turn(item: ItemInUse) -> tuple[bool, bool, float]:
    if item.known_bad and item.act:
        return False, False, item.act.bad_then
    return True, not item.doubted, -item.gain
