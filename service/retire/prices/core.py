"""What gear costs, by sort: kind, wiring and length as bought. Pure."""

from dataclasses import dataclass
from datetime import date

from service.gear.core import KINDS


@dataclass(frozen=True)
class Sort:
    """What is bought as one and the same. Length in millimeters, 0 where the kind has none."""

    kind: str
    wiring: str
    length_mm: int

    @property
    def order(self) -> tuple[int, str, int]:
        """How lists go: by kind, wiring, length."""
        return list(KINDS).index(self.kind), self.wiring, self.length_mm

    @property
    def key(self) -> str:
        """What a form calls it."""
        return f"{self.kind}.{self.wiring}.{self.length_mm}"


@dataclass(frozen=True)
class Price:
    """Cents for one: as a lead `said`, else what was paid last, and when that was."""

    cents: int
    paid_on: date | None = None
    said: bool = False


@dataclass(frozen=True)
class Purchase:
    """An item as it was bought: its sort, when, and for how many cents, both None where nobody wrote it down."""

    sort: Sort
    on: date | None
    cents: int | None
