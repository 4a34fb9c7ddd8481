"""What a forecast is asked and what it answers: items with their tests to come, and the share of them that will be bad.

Apart from `forecast`, since numpy would slow every start.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class PlannedSeason:
    """The days of a season, above 0, and the days, from its beginning to its last, on which everything is tested.

    `runs`: these are the days left of the current season.
    """

    days: float
    tests: tuple[float, ...]
    runs: bool = False

    def with_rounds(self, rounds: int) -> "PlannedSeason":
        """The same season with so many rounds, evenly spread."""
        first, apart = (1.0, (self.days - 1) / rounds) if self.runs else (self.days / rounds, self.days / rounds)
        return replace(self, tests=tuple(first + apart * number for number in range(rounds)))


@dataclass(frozen=True)
class Fleet:
    """Items of one class with the same tests to come: their `ages` now, and the ages, no greater, at which they
    `passed` last.
    """

    passed: tuple[float, ...]
    ages: tuple[float, ...]
    seasons: tuple[PlannedSeason, ...]


@dataclass(frozen=True)
class SeasonAhead:
    """The mean share of a season that items are failed and undetected, and its 95 % range.

    If that is above the target: the fewest `rounds` that keep it there, the fewest by the worst model of the range
    (`rounds_most`), and the numbers of the fewest items that keep it there if replaced before the season (`replaced`).
    Each is None if nothing of the kind does, or nothing is needed.
    """

    bad: float
    least: float
    most: float
    rounds: int | None = None
    rounds_most: int | None = None
    replaced: tuple[int, ...] | None = None
