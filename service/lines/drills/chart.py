"""The drills of a season as a picture: how long each took, in order of time, 320 wide. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

LEFT, RIGHT, TOP, BOTTOM = 40.0, 308.0, 16.0, 172.0
MOST_STEPS: Final = 5
STEPS_S: Final = (30, 60, 120, 300, 600, 1800)
"""Possible distances between two marks of the axis, in seconds."""


@dataclass(frozen=True)
class Mark:
    """A mark of the axis of time: its position and the seconds that it stands for."""

    y: float
    seconds: int


@dataclass(frozen=True)
class DrillPicture:
    """Where each drill stands, the line through them as SVG path data, the marks of the axis, and where the time that
    there is ends.
    """

    points: Sequence[tuple[float, float]]
    line: str
    marks: Sequence[Mark]
    window_y: float


def draw(seconds: Sequence[float], window_s: float) -> DrillPicture:
    """Draw the seconds that drills took, at least one, in order of time, with the seconds that there are."""
    longest = max(*seconds, window_s)
    hours = 3600 * ceil(longest / (3600 * MOST_STEPS))
    step = next((step for step in STEPS_S if longest <= step * MOST_STEPS), hours)
    top = step * ceil(longest / step)

    def y(moment: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * moment / top

    apart = (RIGHT - LEFT) / len(seconds)
    points = [(LEFT + apart * (number + 0.5), y(each)) for number, each in enumerate(seconds)]
    line = "M" + "L".join(f"{x:.1f} {at:.1f}" for x, at in points)
    marks = [Mark(y(moment), moment) for moment in range(0, top + 1, step)]
    return DrillPicture(points, line, marks, y(window_s))
