"""The survival curve of a class: the share still good over days of use.

Two lines over exposure days: the estimate without a model, as steps (dotted between two tests, where the time of a
failure is unknown), and the fitted model, smooth, with its 95 % range. The model is drawn as far as there are tests.
The steps end at the last test of an item that is still good: if the longest used item failed, the estimate falls to 0
there for lack of items, not because none lasts longer. Sentences and a table say the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from service.kit.quantities import format_share
from service.wear.axes import COUNTS, Axes, Tick, span, times_until, use_in_words
from service.wear.core.classes import Fitted
from service.wear.core.turnbull import Steps, SurvivalStep


@dataclass(frozen=True)
class Figure:
    """A row of the table: the use, how many of 100 are good by the model, with its range, and by the tests alone."""

    use: str
    model: str
    by_tests: str


@dataclass(frozen=True)
class Curve:
    """A drawn class: SVG paths, the marks of both axes and of whole seasons, and the same in sentences and figures."""

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


@dataclass(frozen=True)
class ClassShares:
    """A fitted class: its model, and its estimate without a model; `plural` is what its items are called."""

    name: str
    plural: str
    fitted: Fitted
    steps: Steps

    @property
    def seen(self) -> float:
        """The longest use that any test has seen."""
        return max((step.lower if step.upper is None else step.upper for step in self.steps.steps), default=0.0)

    @property
    def known_steps(self) -> Sequence[SurvivalStep]:
        """The steps after which some items are known to be good."""
        steps = self.steps.steps
        return steps if not steps or steps[-1].upper is None else steps[:-1]

    @property
    def known(self) -> float:
        """The last age at which an item was found good: beyond it the tests do not determine the share."""
        return self.steps.steps[-1].lower if self.steps.steps else 0.0

    def model(self, time: float) -> float:
        """The share still good by the fitted model."""
        return self.fitted.model.survival(time)

    def range(self, time: float) -> tuple[float, float]:
        """The least and the greatest share by the models of its 95 % confidence region."""
        shares = [model.survival(time) for model in (self.fitted.model, *self.fitted.edge)]
        return min(shares), max(shares)

    @property
    def lowest(self) -> float:
        """The least share that is drawn."""
        return min(self.model(self.seen), self.steps.survival(self.known)[1])

    def fit_line(self, axes: Axes) -> str:
        """The line of the model, as far as there are tests."""
        return "M" + axes.line((time, self.model(time)) for time in times_until(self.seen))

    def sentences(self, season_days: int) -> list[str]:
        """What the drawing shows, in sentences."""
        seasons = int(self.seen // season_days)
        sentences = [
            f"Of 100 such {self.plural} about {self._model(season_days)} last through a season ({season_days} "
            f"days in service), likely {self._likely(season_days)}."
        ]
        if seasons > 1:
            days = season_days * seasons
            sentences.append(
                f"About {self._model(days)} last through {COUNTS.get(seasons, f'{seasons} seasons')}, likely "
                f"{self._likely(days)}."
            )
        if self.seen < season_days:
            sentences.append(
                f"None was in service for longer than {self.seen:.0f} days so far: what is said beyond is the model's "
                "word alone, and not drawn."
            )
        return sentences

    def figure(self, day: int, season_days: int) -> Figure:
        """The row of figures of a day."""
        by_tests = "not known yet" if day > self.known else span(*self.steps.survival(day))
        return Figure(use_in_words(day, season_days), f"{self._model(day)} ({self._likely(day)})", by_tests)

    def _model(self, day: float) -> str:
        return format_share(self.model(day), *self.range(day))

    def _likely(self, day: float) -> str:
        return span(*self.range(day), self.model(day))


def draw(shares: ClassShares, season_days: int) -> Curve:
    """Draw a class by itself."""
    axes = Axes.holding(shares.seen, shares.lowest, season_days)
    times = times_until(shares.seen)
    least = axes.line((time, shares.range(time)[0]) for time in times)
    most = axes.line((time, shares.range(time)[1]) for time in times)
    back = axes.line((time, shares.range(time)[0]) for time in reversed(times))
    whole, between = _stepped(shares, axes)
    return Curve(
        shares.name,
        axes.shares,
        axes.days,
        axes.seasons,
        f"M{most}L{back}z",
        f"M{most}M{least}",
        shares.fit_line(axes),
        whole,
        between,
        shares.sentences(season_days),
        [shares.figure(day, season_days) for day in axes.marked_days],
    )


def _stepped(shares: ClassShares, axes: Axes) -> tuple[str, str]:
    """The estimate without a model: its level lines, and the lines that lead down between two tests."""
    level, way, at, share = "", "", 0.0, 1.0
    for step in shares.known_steps:
        level += f"M{axes.line([(at, share), (step.lower, share)])}"
        if step.upper is None:
            return level, way
        down = f"M{axes.line([(step.lower, share), (step.upper, share - step.share)])}"
        if step.upper == step.lower:
            level += down
        else:
            way += down
        at, share = step.upper, share - step.share
    return level + f"M{axes.line([(at, share), (max(at, shares.known), share)])}", way
