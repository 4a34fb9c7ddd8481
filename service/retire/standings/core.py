"""The standing of an item before an event: what a pull list needs that follows from the item's own history. Pure.

What is not in a standing is read where it is shown: names and places, the due state of today, whether it is suspect,
prices, and leads' decisions.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Final, Protocol
from uuid import UUID

from service.gear.core import End
from service.retire.decisions.core import Gear, Limits, PastTest, is_at_risk, reasons_for
from service.season.core import Due, DueState
from service.testlog.core import FaultStatus
from service.wear.core.classes import Path
from service.wear.core.lives import Life
from service.wear.core.risk import Chance

VERSION: Final = 1
"""Counted up when a standing is worked out in another way, so that stored ones are made anew."""


@dataclass(frozen=True)
class Basis:
    """What standings rest on beside the item itself: the fit (its revision, None for one on the spot), the day of the
    event, today, the time zone's name, and the program's thresholds.
    """

    fit: int | None
    on: date
    today: date
    zone: str
    limits: Limits

    @property
    def text(self) -> str:
        """All of it, as it is stored beside a standing."""
        limits = "/".join(str(limit) for limit in asdict(self.limits).values())
        return f"{VERSION} {self.fit} {self.on} {self.today} {self.zone} {limits}"


@dataclass(frozen=True)
class Standing:
    """How an item stands before an event.

    `then` is its due state on that day, `fault` that of its open fault. `tests`, `bent_on` and `still_bent` are as in
    `Gear`, `path` and `lives` its class and its lives, `failures` how many of these failed. `chance` is that of an
    undetected failure by the day, None where it is known to have failed. `listed`: there is something to say about it.
    """

    then: Due
    fault: FaultStatus
    tests: tuple[PastTest, ...]
    bent_on: date | None
    still_bent: bool
    path: Path
    lives: tuple[Life, ...]
    failures: int
    chance: Chance | None
    listed: bool


class ItemToJudge(Protocol):
    """An item, as a row or as its facts."""

    @property
    def id(self) -> UUID: ...
    @property
    def kind(self) -> str: ...
    @property
    def wiring(self) -> str: ...
    @property
    def length_mm(self) -> int: ...
    @property
    def bought_on(self) -> date | None: ...


def gear_of(item: ItemToJudge, today: Due, standing: Standing, bought_mm: int, suspect: str | None) -> Gear:
    """An item as it is judged. `today` is its due state of today, `bought_mm` its length as bought."""
    return Gear(
        item.id,
        item.kind,
        item.wiring,
        item.length_mm,
        today,
        standing.then,
        standing.fault,
        suspect,
        standing.tests,
        standing.bent_on,
        standing.still_bent,
        bought_mm,
        item.bought_on,
        risk=standing.chance.failed if standing.chance else None,
    )


def is_listed(gear: Gear, limits: Limits, today: date) -> bool:
    """Whether a list has to look at an item, whatever else is known: it is at risk, or there is a reason."""
    return is_at_risk(gear, limits) or gear.fault is FaultStatus.OPEN or bool(reasons_for(gear, limits, today))


def as_facts(standing: Standing) -> dict[str, Any]:
    """The part of a standing that is stored as JSON, beside the columns of `StoredStanding`."""
    return {
        "then": [
            standing.then.state,
            standing.then.due_by.isoformat() if standing.then.due_by else None,
            standing.then.round,
        ],
        "fault": standing.fault,
        "tests": [[test.failed, sorted(test.ends)] for test in standing.tests],
        "bent_on": standing.bent_on.isoformat() if standing.bent_on else None,
        "still_bent": standing.still_bent,
        "path": list(standing.path),
        "lives": [[life.lower, life.upper] for life in standing.lives],
    }


def as_it_should_be(due: Due, chance: Chance | None, failures: int) -> Standing:
    """The standing of an item about which a list has nothing to say, without what it tested, its class and lives."""
    return Standing(due, FaultStatus.NONE, (), None, False, (), (), failures, chance, False)


def of_facts(facts: Mapping[str, Any], chance: Chance | None, failures: int, listed: bool) -> Standing:
    """A standing from what is stored of it."""
    state, due_by, number = facts["then"]
    return Standing(
        Due(DueState(state), date.fromisoformat(due_by) if due_by else None, number),
        FaultStatus(facts["fault"]),
        tuple(PastTest(failed, frozenset(End(end) for end in ends)) for failed, ends in facts["tests"]),
        date.fromisoformat(facts["bent_on"]) if facts["bent_on"] else None,
        facts["still_bent"],
        tuple(facts["path"]),
        tuple(Life(lower, upper) for lower, upper in facts["lives"]),
        failures,
        chance,
        listed,
    )
