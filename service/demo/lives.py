"""Lives of gear for a filled database: when each item was tested and repaired, and what was found. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random

from service.demo.faults import DemoFinding, pick
from service.demo.scenario import ZONE
from service.season.core import Season, What, split
from service.wiring.wirings import Wiring

FAILS = 0.04
"""The share of tests that fail."""
REPAIRED = 0.5
"""The share of the last failures that were repaired."""
MISSED_ONE, MISSED_TWO = 0.3, 0.05
"""The share of items that were not tested in the current round, and the share that were not in the one before, either.
"""
ROUNDS = 2
LENGTH, APART = timedelta(days=104), timedelta(days=182)
INTO_SEASON = timedelta(days=75)
"""How far today is into the last season."""
BEGINS, LASTS = time(18), timedelta(hours=3)
EVENINGS = (8, 15, 22)
"""Days after a round opens on which the crew tests."""


NOTHING = DemoFinding()


@dataclass(frozen=True)
class LifeStep:
    """A test (with what it found, on which evening) or a repair (neither)."""

    at: datetime
    what: What
    finding: DemoFinding = NOTHING
    evening: date | None = None


def seasons(today: date, tests_each: float) -> list[Season]:
    """As many seasons as an item needs for this many tests, one in each round; today is in the last one."""
    count = max(1, min(60, round(tests_each / ROUNDS)))
    starts = [today - INTO_SEASON - APART * back for back in reversed(range(count))]
    return [Season(start, start + LENGTH, split(start, start + LENGTH, ROUNDS)) for start in starts]


def evenings(rules: Sequence[Season], today: date) -> list[date]:
    """The evenings of tests up to yesterday, in order."""
    days = [each.opens + timedelta(days=day) for rule in rules for each in rule.rounds for day in EVENINGS]
    return [day for day in days if day < today]


def life(wiring: Wiring, tests: int, on: Sequence[date], random: Random) -> list[LifeStep]:
    """`tests` tests, spread over the evenings, and a repair between a failure and the test that follows it."""
    steps: list[LifeStep] = []
    first, luck = random.random(), random.random()
    if len(on) > 2 * len(EVENINGS):
        on = on[: len(on) - len(EVENINGS) * ((luck < MISSED_ONE) + (luck < MISSED_TWO))]
    for number in range(tests):
        position = (number + first) * len(on) / tests
        evening = on[int(position)]
        at = datetime.combine(evening, BEGINS, ZONE) + LASTS * (position % 1)
        if steps and steps[-1].what is What.FAIL:
            steps.append(LifeStep(steps[-1].at + (at - steps[-1].at) / 2, What.REPAIR))
        if random.random() < FAILS:
            steps.append(LifeStep(at, What.FAIL, pick(wiring, random), evening))
        else:
            steps.append(LifeStep(at, What.PASS, evening=evening))
    if steps and steps[-1].what is What.FAIL and random.random() < REPAIRED:
        steps.append(LifeStep(steps[-1].at + timedelta(minutes=5), What.REPAIR))
    return steps
