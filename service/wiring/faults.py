"""The classes of fault, and one fault as the test log keeps it.

The first six are proven by a continuity test at both ends; the last four come from other evidence, since no
continuity reading can prove them absent or present.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final


class FaultClass(StrEnum):
    """What can be wrong with a cable, in the order in which faults are listed."""

    OPEN = "open"
    SHORT = "short"
    REVERSED_PAIR = "reversed_pair"
    CROSSED_PAIRS = "crossed_pairs"
    CROSSED_LANES = "crossed_lanes"
    MISWIRE = "miswire"
    SPLIT_PAIR = "split_pair"
    HIGH_RESISTANCE = "high_resistance"
    INTERMITTENT = "intermittent"
    DAMAGE = "damage"


RANK: Final = {fault_class: rank for rank, fault_class in enumerate(FaultClass)}

CONTINUITY: Final = tuple(FaultClass)[:6]
"""The classes that a continuity reading proves."""

SWAPS: Final = frozenset(
    {FaultClass.REVERSED_PAIR, FaultClass.CROSSED_PAIRS, FaultClass.CROSSED_LANES, FaultClass.MISWIRE}
)
"""The classes in which conductors land where others belong."""

BLIND_TO: Final = (FaultClass.SPLIT_PAIR, FaultClass.INTERMITTENT, FaultClass.HIGH_RESISTANCE)
"""What no continuity reading can prove absent, on any verdict."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a cable.

    `conductors` names conductors, and contacts that belong to none, in the wiring's order. `end` is "A" or
    "B" where the readings prove it, else None. `lanes` only on crossed lanes; `landings` only on a miswire:
    pairs of a conductor and the B contact where it ends.
    """

    fault_class: FaultClass
    conductors: tuple[str, ...]
    end: str | None = None
    lanes: tuple[str, ...] | None = None
    landings: tuple[tuple[str, str], ...] | None = None

    @property
    def map(self) -> Mapping[str, str] | None:
        """Where each conductor of a miswire lands: {conductor: B contact}."""
        return None if self.landings is None else dict(self.landings)

    @property
    def cost(self) -> int:
        """How much this fault claims: conductors less one for shorts and miswires, 1 for every other."""
        if self.fault_class in (FaultClass.SHORT, FaultClass.MISWIRE):
            return len(self.conductors) - 1
        return 1

    def to_json(self) -> dict[str, Any]:
        """The fault as the JSON API and `coilbook diagnose` write it."""
        written: dict[str, Any] = {
            "class": self.fault_class.value,
            "conductors": list(self.conductors),
            "end": self.end,
        }
        if self.lanes is not None:
            written["lanes"] = list(self.lanes)
        if self.landings is not None:
            written["map"] = dict(self.landings)
        return written
