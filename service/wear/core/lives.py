"""Lives: what tests say about when an item failed, counted in exposure days since it was new or last repaired."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from service.kit.problems import invalid


@dataclass(frozen=True, slots=True)
class Life:
    """`count` items that failed after `lower` and not after `upper`, or at that moment where both are equal.

    `upper` is None for those still good at `lower`. Times are exposure days.
    """

    lower: float
    upper: float | None
    count: int = 1

    def __post_init__(self) -> None:
        shown = f"[{self.lower:g}, {'null' if self.upper is None else f'{self.upper:g}'}]"
        if self.lower < 0:
            raise invalid("lives", f"The life {shown} starts before 0; times count from new.")
        if self.upper is not None and self.upper < self.lower:
            raise invalid("lives", f"The life {shown} ends before it starts; swap the two.")
        if self.upper == 0:
            raise invalid("lives", f"The life {shown} failed before any use; its first test is the upper bound.")
        if self.count < 1:
            raise invalid("lives", f"The life {shown} counts {self.count} items; give 1 or more.")


def aggregated(lives: Iterable[Life]) -> list[Life]:
    """The same lives with equal ones counted together: tests come on few days, so few differ."""
    counts: Counter[tuple[float, float | None]] = Counter()
    for life in lives:
        counts[life.lower, life.upper] += life.count
    return [Life(lower, upper, count) for (lower, upper), count in counts.items()]
