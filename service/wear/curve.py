"""How a class lasts, drawn: the share still good after so many days of use, on a strip 320 wide.

Two lines over exposure days: what tests found, as steps with no model (dotted where a failure came between two tests
and nobody knows when), and the fitted model, smooth, with its 95 % range. What is drawn is told in words and in
figures as well.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from service.wear.core.classes import Fitted
from service.wear.core.turnbull import Steps

LEFT, RIGHT, TOP, BOTTOM = 40.0, 312.0, 24.0, 196.0
FINEST: Final = 56
"""Pieces of the smooth lines."""
STEPS: Final = (1, 2, 5, 10, 15, 20, 30, 50, 60, 100, 150, 200, 300, 500, 1000)
"""Days between two marks of the axis; there are at most five."""
FLOORS: Final = (0.9, 0.8, 0.5, 0.0)
"""Where the axis of shares may begin."""
COUNTS: Final = {1: "a season", 2: "two seasons", 3: "three seasons", 4: "four seasons"}


@dataclass(frozen=True)
class Tick:
    """A mark of an axis: where it is, and its words."""

    at: float
    words: str


@dataclass(frozen=True)
class Figure:
    """A row of figures: the use, how many of 100 are good by the model with its range, and by the tests alone."""

    use: str
    model: str
    by_tests: str


@dataclass(frozen=True)
class Curve:
    """A class, drawn: paths, the marks of both axes and of whole seasons, and the same in sentences and figures."""

    name: str
    shares: Sequence[Tick]
    days: Sequence[Tick]
    seasons: Sequence[Tick]
    band: str
    edges: str
    fit: str
    steps: str
    between: str
    sentences: Sequence[str]
    figures: Sequence[Figure]


def draw(name: str, plural: str, fitted: Fitted, steps: Steps, season_days: int) -> Curve:
    """Draw a class that was fitted; `plural` is what its items are called."""
    seen = max((step.lower if step.upper is None else step.upper for step in steps.steps), default=0.0)
    class_shares = _ClassShares(fitted, steps, seen)
    until = max(seen, 1.05 * season_days)
    lowest = min(class_shares.model(until), class_shares.by_tests(seen)[1])
    scale = _Scale(until, next(floor for floor in FLOORS if floor <= lowest))
    times = [until * (piece / FINEST) ** 1.5 for piece in range(FINEST + 1)]  # finer where it may fall at once
    least = scale.line((time, class_shares.range(time)[0]) for time in times)
    most = scale.line((time, class_shares.range(time)[1]) for time in times)
    back = scale.line((time, class_shares.range(time)[0]) for time in reversed(times))
    whole, between = _stepped(steps, scale)
    marks = [season_days * number for number in range(1, int(until // season_days) + 1)]
    days = _day_marks(until)
    return Curve(
        name,
        [Tick(scale.y(share), f"{100 * share:.0f} %") for share in _shares(scale.floor)],
        [Tick(scale.x(day), str(day)) for day in days],
        [Tick(scale.x(day), _season_words(number, len(marks))) for number, day in enumerate(marks, 1)],
        f"M{most}L{back}z",
        f"M{most}M{least}",
        "M" + scale.line((time, class_shares.model(time)) for time in times),
        whole,
        between,
        class_shares.sentences(plural, season_days, len(marks)),
        [class_shares.figure(day, season_days) for day in sorted({*days, *marks} - {0})],
    )


@dataclass(frozen=True)
class _ClassShares:
    """A class as model and tests tell it; `seen` is the longest use that tests know of."""

    fitted: Fitted
    steps: Steps
    seen: float

    def model(self, time: float) -> float:
        """The share still good by the fit."""
        return self.fitted.model.survival(time)

    def range(self, time: float) -> tuple[float, float]:
        """The same for the models that are plausible beside it: the least and the most."""
        shares = [model.survival(time) for model in (self.fitted.model, *self.fitted.edge)]
        return min(shares), max(shares)

    def by_tests(self, time: float) -> tuple[float, float]:
        """The same by the tests alone."""
        return self.steps.survival(time)

    def sentences(self, plural: str, season_days: int, seasons: int) -> list[str]:
        """What the drawing says."""
        least, most = (_of_100(share) for share in self.range(season_days))
        sentences = [
            f"Of 100 such {plural} about {_of_100(self.model(season_days))} live through a season "
            f"({season_days} days in service); {_span(least, most)} is plausible."
        ]
        if seasons > 1:
            last = self.model(season_days * seasons)
            sentences.append(f"About {_of_100(last)} live through {COUNTS.get(seasons, f'{seasons} seasons')}.")
        if self.seen < season_days:
            sentences.append(
                f"None was in service for longer than {self.seen:.0f} days so far: the rest is the model's word alone."
            )
        return sentences

    def figure(self, day: int, season_days: int) -> Figure:
        """A row of figures."""
        seasons, rest = divmod(day, season_days)
        use = f"{day} {'day' if day == 1 else 'days'}" + (
            "" if rest else f", {COUNTS.get(seasons, f'{seasons} seasons')}"
        )
        least, most = (_of_100(share) for share in self.range(day))
        by_tests = "not known yet" if day > self.seen else _span(*(_of_100(share) for share in self.by_tests(day)))
        return Figure(use, f"{_of_100(self.model(day))} ({_span(least, most)})", by_tests)


@dataclass(frozen=True)
class _Scale:
    """Days and shares as places on the strip."""

    until: float
    floor: float

    def x(self, time: float) -> float:
        """Where a time is, in exposure days."""
        return LEFT + (RIGHT - LEFT) * time / self.until

    def y(self, share: float) -> float:
        """Where a share is; what lies below the axis is drawn on it."""
        return TOP + (BOTTOM - TOP) * (1 - max(share, self.floor)) / (1 - self.floor)

    def line(self, points: Iterable[tuple[float, float]]) -> str:
        """A line through times and shares, as path data without its first letter."""
        return "L".join(f"{self.x(time):.1f} {self.y(share):.1f}" for time, share in points)


def _stepped(steps: Steps, scale: _Scale) -> tuple[str, str]:
    """What tests found: level where they tell, and the ways down between two tests."""
    level, way, at, share = "", "", 0.0, 1.0
    for step in steps.steps:
        level += f"M{scale.line([(at, share), (step.lower, share)])}"
        if step.upper is None:
            break
        down = f"M{scale.line([(step.lower, share), (step.upper, share - step.share)])}"
        if step.upper == step.lower:
            level += down
        else:
            way += down
        at, share = step.upper, share - step.share
    return level, way


def _day_marks(until: float) -> list[int]:
    step = next((step for step in STEPS if until / step <= 5), STEPS[-1])
    return list(range(0, int(until) + 1, step))


def _shares(floor: float) -> list[float]:
    return [1.0, (1 + floor) / 2, floor]


def _season_words(number: int, most: int) -> str:
    if most > 5:
        return str(number) if number % (most // 5 + 1) == 0 else ""
    return "1 season" if number == 1 else str(number)


def _of_100(share: float) -> int:
    """A share as a whole number of 100, which is 100 or 0 only where nothing is missing."""
    rounded = round(100 * share)
    if rounded == 100 and share < 0.9999:
        return 99
    return 1 if rounded == 0 and share > 0.0001 else rounded


def _span(least: int, most: int) -> str:
    return str(most) if least == most else f"{least} to {most}"
