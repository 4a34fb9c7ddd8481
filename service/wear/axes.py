"""The axes of the pictures of classes: the share still good over exposure days, 320 wide. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from service.kit.quantities import format_share

LEFT, RIGHT, TOP, BOTTOM = 40.0, 312.0, 24.0, 196.0
FINEST: Final = 56
"""Segments of the smooth lines."""
STEPS: Final = (1, 2, 5, 10, 15, 20, 30, 50, 60, 100, 150, 200, 300, 500, 1000)
"""Possible distances between two marks of the axis, in days; there are at most five marks."""
FLOORS: Final = (0.9, 0.8, 0.5, 0.0)
"""Possible lower ends of the axis of shares."""
COUNTS: Final = {1: "a season", 2: "two seasons", 3: "three seasons", 4: "four seasons"}


@dataclass(frozen=True)
class Tick:
    """A mark of an axis: its position and its text."""

    at: float
    words: str


@dataclass(frozen=True)
class Axes:
    """The axes of a picture: days until `until`, shares down to `floor`, and how many exposure days a season has."""

    until: float
    floor: float
    season_days: int
    right: float = RIGHT

    @classmethod
    def holding(cls, until: float, lowest: float, season_days: int, right: float = RIGHT) -> "Axes":
        """Axes that reach a day and go down to a share."""
        return cls(until, next(floor for floor in FLOORS if floor <= lowest), season_days, right)

    @property
    def whole_seasons(self) -> list[int]:
        """The days at which a whole number of seasons is over."""
        return [self.season_days * number for number in range(1, int(self.until // self.season_days) + 1)]

    @property
    def marked_days(self) -> list[int]:
        """The days of the marks and of whole seasons, in order, without 0: those that get a row of figures."""
        return sorted({*self._day_marks(), *self.whole_seasons} - {0})

    @property
    def shares(self) -> list[Tick]:
        """The marks of the axis of shares."""
        return [Tick(self.y(share), f"{100 * share:.0f} %") for share in (1.0, (1 + self.floor) / 2, self.floor)]

    @property
    def days(self) -> list[Tick]:
        """The marks of the axis of days."""
        return [Tick(self.x(day), str(day)) for day in self._day_marks()]

    @property
    def seasons(self) -> list[Tick]:
        """The marks of whole seasons."""
        most = len(self.whole_seasons)
        return [Tick(self.x(day), _season_words(number, most)) for number, day in enumerate(self.whole_seasons, 1)]

    def _day_marks(self) -> list[int]:
        step = next((step for step in STEPS if self.until / step <= 5), STEPS[-1])
        return list(range(0, int(self.until) + 1, step))

    def x(self, time: float) -> float:
        """The position of a time in exposure days."""
        return LEFT + (self.right - LEFT) * time / self.until

    def y(self, share: float) -> float:
        """The position of a share; a share below the axis is drawn on it."""
        return TOP + (BOTTOM - TOP) * (1 - max(share, self.floor)) / (1 - self.floor)

    def line(self, points: Iterable[tuple[float, float]]) -> str:
        """A line through pairs of time and share, as SVG path data without the first letter."""
        return "L".join(f"{self.x(time):.1f} {self.y(share):.1f}" for time, share in points)


def times_until(until: float) -> Sequence[float]:
    """The times at which a smooth line is drawn, denser near 0, where it may fall steeply."""
    return [until * (piece / FINEST) ** 1.5 for piece in range(FINEST + 1)]


def use_in_words(day: int, season_days: int) -> str:
    """Days of service in words: "210 days, two seasons"."""
    seasons, rest = divmod(day, season_days)
    return f"{day} {'day' if day == 1 else 'days'}" + ("" if rest else f", {COUNTS.get(seasons, f'{seasons} seasons')}")


def span(least: float, most: float, *beside: float) -> str:
    """A range of shares as how many of 100, "5 to 8", or one number if both look the same.

    It is as precise as the shares `beside` it.
    """
    low, high = format_share(least, most, *beside), format_share(most, least, *beside)
    return high if low == high else f"{low} to {high}"


def _season_words(number: int, most: int) -> str:
    if most > 5:
        return str(number) if number % (most // 5 + 1) == 0 else ""
    return "1 season" if number == 1 else str(number)
