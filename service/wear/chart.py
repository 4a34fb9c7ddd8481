"""The classes of one kind in one picture: how each lasts by its model, distinguished by dashes and letters, not color.

It shows all fitted classes of the kind, with a table below. Each class also has a picture of its own with its 95 %
range and the test results: open at first if it is the only one or wears differently from the rest of its kind,
otherwise closed until somebody opens it.
"""

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from service.kit.quantities import format_share
from service.wear.axes import BOTTOM, RIGHT, TOP, Axes, Tick, use_in_words
from service.wear.curve import ClassShares, Curve, draw

LABEL: Final = 14.0
"""The least distance between letters at the ends of lines, and the width of one."""


@dataclass(frozen=True)
class ClassLine:
    """A class in a picture: its letter and the letter's position, its line, the lead from the line's end to the letter,
    and its own picture. `differs`: it wears differently from the rest of its kind.
    """

    letter: str
    at: tuple[float, float]
    fit: str
    way: str
    differs: bool
    curve: Curve


@dataclass(frozen=True)
class Picture:
    """The classes of a kind in one picture: lines, the marks of the axes, and a row of figures for each line."""

    name: str
    lines: Sequence[ClassLine]
    shares: Sequence[Tick]
    days: Sequence[Tick]
    seasons: Sequence[Tick]
    figures: Sequence[tuple[str, Sequence[str]]]


def draw_together(name: str, classes: Mapping[str, ClassShares], differs: Container[str], season_days: int) -> Picture:
    """Draw the classes of one kind, at least one, in one picture and each by itself; `classes` by their letters."""
    drawn = list(classes.values())
    until, lowest = max(each.seen for each in drawn), min(each.lowest for each in drawn)
    axes = Axes.holding(until, lowest, season_days, RIGHT - LABEL)
    ends = [(axes.x(each.seen), axes.y(each.model(each.seen))) for each in drawn]
    lines = [
        ClassLine(
            letter,
            place,
            shares.fit_line(axes),
            f"M{end[0]:.1f} {end[1]:.1f}L{place[0]:.1f} {place[1]:.1f}",
            letter in differs,
            draw(shares, season_days),
        )
        for (letter, shares), end, place in zip(classes.items(), ends, _apart(ends), strict=True)
    ]
    figures = [
        (
            use_in_words(day, season_days),
            [format_share(each.model(day)) if day <= each.seen else "not known yet" for each in drawn],
        )
        for day in axes.marked_days
    ]
    return Picture(name, lines, axes.shares, axes.days, axes.seasons, figures)


def _apart(ends: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Positions for the letters beside these line ends, without overlap and within the picture."""
    places: dict[int, tuple[float, float]] = {}
    for number in sorted(range(len(ends)), key=lambda number: ends[number][1]):
        x, y = ends[number][0] + 5, ends[number][1]
        near = [place[1] for place in places.values() if abs(place[0] - x) < LABEL]
        places[number] = x, max([y, *(above + LABEL for above in near)])
    over = max(0.0, max(y for _, y in places.values()) - BOTTOM)
    return [(places[number][0], max(places[number][1] - over, TOP)) for number in range(len(ends))]
