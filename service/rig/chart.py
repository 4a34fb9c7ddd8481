"""Price against set-up time as a picture, 320 wide. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

LEFT, RIGHT, TOP, BOTTOM = 52.0, 308.0, 16.0, 168.0
_STEPS_S: Final = (15, 30, 60, 120, 300)
_MOST_MARKS: Final = 6


@dataclass(frozen=True)
class PricePoint:
    """A rig: the key of its way, and where it stands."""

    key: str
    x: float
    y: float


@dataclass(frozen=True)
class PriceChart:
    """Where each rig stands, the marks of both axes, each with its position, and the band of the time that there is."""

    points: Sequence[PricePoint]
    seconds: Sequence[tuple[float, int]]
    cents: Sequence[tuple[float, int]]
    window: tuple[float, float]


def draw_prices(rigs: Sequence[tuple[str, float, int]], window_s: tuple[int, int]) -> PriceChart:
    """Draw rigs by the key of their way, their set-up time in seconds and their price in cents.

    The axis of prices begins below the cheapest one, so that they are told apart.
    """
    longest = max([window_s[1], *(seconds for _, seconds, _ in rigs)])
    step = next((step for step in _STEPS_S if longest <= step * _MOST_MARKS), 60 * ceil(longest / (60 * _MOST_MARKS)))
    last = step * ceil(longest / step)
    prices = [cents for *_, cents in rigs] or [0]
    rise = _round_up(max(100, (max(prices) - min(prices)) / 4))
    low, top = rise * (min(prices) // rise), rise * (max(prices) // rise + 1)

    def x(seconds: float) -> float:
        return LEFT + (RIGHT - LEFT) * seconds / last

    def y(cents: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (cents - low) / (top - low)

    return PriceChart(
        [PricePoint(key, x(seconds), y(cents)) for key, seconds, cents in rigs],
        [(x(moment), moment) for moment in range(0, last + 1, step)],
        [(y(cents), cents) for cents in range(low, top + 1, rise)],
        (x(window_s[0]), x(window_s[1])),
    )


def _round_up(cents: float) -> int:
    """The next 1, 2 or 5 times a power of ten."""
    power = 1
    while power * 10 < cents:
        power *= 10
    return next(power * digit for digit in (1, 2, 5, 10) if power * digit >= cents)
