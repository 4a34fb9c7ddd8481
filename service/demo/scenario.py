"""Three seasons of the Fernhollow Band Program, as a list of what happened. Pure.

All days are counted from today, and the random source has a fixed seed, so only the dates differ from day to day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random
from zoneinfo import ZoneInfo

from service.crew.core import ProgramFacts
from service.demo.faults import DemoFinding, pick
from service.demo.gear import OLD, Owned
from service.kit.quantities import Unit
from service.season.core import Round, Season, split
from service.wiring.builtin import BUILTIN
from service.wiring.faults import FaultClass

ZONE = ZoneInfo("America/New_York")
PROGRAM = ProgramFacts("Fernhollow Band Program", ZONE.key, Unit.FEET, "", None, "taped end", "plain end")
LEAD = "Robin"
HELPERS = ("Ash", "Bo", "Juno", "Remy", "Sam", "Tay")

SEASONS = (("Last fall season", -440, -336), ("Indoor season", -290, -200), ("Fall season", -75, 29))
"""Name, first and last day, in days from today; today is in the last one."""
NEXT_EVENING = 2
"""Days from today to the planned evening."""
NEXT_SEASON = ("Next indoor season", 48, 140)
EVENTS = (
    (2, "Home show", "show", -20),
    (2, "Lantern Field Competition", "competition", 12),
    (2, "Finale", "show", 26),
)
"""Season, name, kind, day."""
DECLINED = "Truck 2, shelf B", "It stays on the truck until we load, and is tested there."
"""The place of the item for which the lead declines advice until the day before the next event, and the reason."""
EVENINGS = (8, 15)
"""Days after the start of a round on which the crew tests half of the gear each."""
OVERLOOKED = "Keyboard stand"
"""What was not tested in the round before, so that it is overdue now."""
UNLUCKY = ("Glockenspiel", "Xylophone")
"""Places where the last evening certainly finds a fault: the first is repaired and waits for its test, the other one
waits for a repair."""


TROUBLES: tuple[tuple[str, tuple[tuple[int, str, int | None], ...]], ...] = (
    ("Marimba 5", ((-225, "B", 0), (-72, "B", 0), (-40, "B", 0))),
    ("Drum set", ((-391, "A", 190), (-247, "B", 210))),
    ("Marimba 2", ((-6, "A", None),)),
)
"""Troubles at rehearsals, by place, with the first item there: day, end, and the millimeters cut off in its repair
(None: not repaired yet)."""


@dataclass(frozen=True)
class Opened:
    """The lead opened an evening's session for these items."""

    at: datetime
    evening: date
    items: tuple[int, ...]


@dataclass(frozen=True)
class Closed:
    """The lead closed an evening's session."""

    at: datetime
    evening: date
    note: str


@dataclass(frozen=True)
class Tested:
    """Somebody tested an item, in the evening's session of that day or, with `evening` None, outside of a session."""

    at: datetime
    item: int
    finding: DemoFinding
    by: str
    evening: date | None


@dataclass(frozen=True)
class Repaired:
    """The lead repaired an item; millimeters cut off, cents spent."""

    at: datetime
    item: int
    end: str
    what: str
    cut_mm: int
    cents: int


@dataclass(frozen=True)
class SuspectStory:
    """A helper heard an item crackle."""

    at: datetime
    item: int
    by: str


@dataclass(frozen=True)
class Removed:
    """An item was retired or got lost, and why."""

    at: datetime
    item: int
    state: str
    why: str


@dataclass(frozen=True)
class TestedThrough:
    """Somebody tested these lanes through several items: a hub, its multicore and the hub at the other end."""

    at: datetime
    items: tuple[int, ...]
    lanes: tuple[str, ...]
    by: str


@dataclass(frozen=True)
class MarkedAsWrong:
    """The tester of an item marked that test as wrong, and no lead has decided yet."""

    at: datetime
    test: Tested
    note: str


Happening = Opened | Closed | Tested | Repaired | SuspectStory | Removed | TestedThrough | MarkedAsWrong


def season_rules(today: date) -> list[tuple[str, Season]]:
    """The seasons with two rounds each, the next one last."""
    rules = []
    for name, first, last in (*SEASONS, NEXT_SEASON):
        starts, ends = today + timedelta(first), today + timedelta(last)
        rules.append((name, Season(starts, ends, split(starts, ends, 2))))
    return rules


def happenings(owned: Sequence[Owned], today: date, random: Random) -> list[Happening]:
    """Everything that happened until this morning, in time order; an item is given by its index in `owned`."""
    story: list[Happening] = []
    rules = season_rules(today)[: len(SEASONS)]
    rounds = [each for _, rule in rules for each in rule.rounds]
    gone: set[int] = set()
    for number, each in enumerate(rounds):
        running, before = number == len(rounds) - 1, number == len(rounds) - 2
        story += _round(owned, each, number, running, before, gone, random)
        if not running:
            story += _losses(owned, each, number, gone)
    story += [step for trouble in TROUBLES for step in _trouble(owned, today, *trouble)]
    story += _yesterday(owned, today)
    story.append(SuspectStory(_at(today - timedelta(1), 19, 40), _first(owned, "Vibraphone 4"), "Juno"))
    return sorted(story, key=lambda one: one.at)


def _round(
    owned: Sequence[Owned],
    each: Round,
    number: int,
    running: bool,
    before: bool,
    gone: set[int],
    random: Random,
) -> Iterator[Happening]:
    tested = [item for item in range(len(owned)) if item not in gone]
    middle = len(tested) // 2
    halves = (tested[:middle], tested[middle:])
    if running:  # spares are tested first, because items that come out need a tested spare
        halves = (halves[0] + [item for item in halves[1] if owned[item].spare], halves[1])
    for half, days in zip(halves, EVENINGS, strict=True):
        day = each.opens + timedelta(days)
        if running and half is halves[1]:
            return  # the second evening of the current round is in the future
        yield Opened(_at(day, 18, 15), day, tuple(half))
        for turn, item in enumerate(half):
            if random.random() < 0.02 or (before and owned[item].place == OVERLOOKED):
                continue
            at = _at(day, 18, 30) + timedelta(seconds=70 * turn)
            yield from _test(owned[item], item, at, number, running, random)
        yield Closed(_at(day, 20, 0), day, random.choice(_CLOSINGS))


_CLOSINGS = ("All hands, done before dark.", "Two testers; the second needs a battery.", "Cold, but dry.")


def _test(one: Owned, item: int, at: datetime, number: int, running: bool, random: Random) -> Iterator[Happening]:
    by = random.choice(HELPERS)
    hazard = (0.06 + 0.035 * number) if one.lot == OLD else 0.04
    if random.random() >= hazard and not (running and one.place in UNLUCKY):
        yield Tested(at, item, DemoFinding(), by, at.date())
        return
    finding = pick(BUILTIN[one.wiring], random)
    yield Tested(at, item, finding, by, at.date())
    if running and one.place != UNLUCKY[0]:
        return  # not repaired yet
    repaired = _at(at.date() + timedelta(random.randint(1, 4)), 16, 10)
    end = finding.evidence[0][1] if finding.evidence else random.choice("AB")
    cut = 51 if one.feet > 5 else 0  # two inches
    yield Repaired(repaired, item, end, random.choice(_REPAIRS), cut, random.choice((0, 350, 480)))
    if not running:
        yield Tested(repaired + timedelta(days=1, hours=2), item, DemoFinding(), LEAD, None)


_REPAIRS = ("new connector, soldered", "resoldered, strain relief set", "contact straightened, latch cleaned")


def _trouble(
    owned: Sequence[Owned], today: date, place: str, troubles: Sequence[tuple[int, str, int | None]]
) -> Iterator[Happening]:
    """What fails at a rehearsal, is repaired the next day, and passes the day after."""
    item = _first(owned, place)
    for days, end, cut in troubles:
        at = _at(today + timedelta(days), 17, 20)
        crackles = DemoFinding(evidence=((FaultClass.INTERMITTENT, end, "crackles when bent"),))
        yield Tested(at, item, crackles, "Tay", None)
        if cut is not None:
            yield Repaired(at + timedelta(days=1), item, end, _REPAIRS[0], cut, 480)
            yield Tested(at + timedelta(days=2), item, DemoFinding(), LEAD, None)


def _yesterday(owned: Sequence[Owned], today: date) -> list[Happening]:
    """Three of four lanes of a line that pass while one is not tested, and a pass that its tester marked as wrong."""
    lines = [item for item, one in enumerate(owned) if one.label in ("Hub 5", "category", "Hub 6")]
    hub, far, trunk, *_ = lines
    day = today - timedelta(1)
    wrong = Tested(_at(day, 19, 20), _first(owned, "Timpani"), DemoFinding(), "Juno", None)
    return [
        wrong,
        MarkedAsWrong(_at(day, 19, 22), wrong, "I held the cable beside it."),
        TestedThrough(_at(day, 19, 30), (hub, trunk, far), ("1", "2", "3"), "Tay"),
    ]


def _losses(owned: Sequence[Owned], each: Round, number: int, gone: set[int]) -> Iterator[Happening]:
    """Between the rounds, items of the oldest lot are retired, and one cable gets lost."""
    at = _at(each.closes, 15, 0) - timedelta(days=1)
    old = [item for item, one in enumerate(owned) if one.lot == OLD and item not in gone]
    if number in (1, 3, 4) and old:
        gone.add(old[0])
        yield Removed(at, old[0], "retired", "Third repair at the same end; not worth another.")
    if number == 3:
        lost = _first(owned, "Spares case")
        gone.add(lost)
        yield Removed(at, lost, "lost", "Not in the case after the last show.")


def _first(owned: Sequence[Owned], place: str) -> int:
    return next(item for item, one in enumerate(owned) if one.place == place)


def _at(day: date, hour: int, minute: int) -> datetime:
    return datetime.combine(day, time(hour, minute), ZONE)
