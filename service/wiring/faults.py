"""The classes of what a test finds, and one fault as the test log keeps it.

Whatever holds something for each class is a `match` that ends in `assert_never`, or sorts the rest into a type: a
class that one of them leaves out is refused by the type checker.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, Literal, TypeAlias, assert_never


class FaultClass(StrEnum):
    """What a test can find, in the order in which it is listed: faults, and `flexed`, which speaks for the item."""

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
    FLEXED = "flexed"


ByReadings: TypeAlias = Literal[
    FaultClass.OPEN,
    FaultClass.SHORT,
    FaultClass.REVERSED_PAIR,
    FaultClass.CROSSED_PAIRS,
    FaultClass.CROSSED_LANES,
    FaultClass.MISWIRE,
]
"""What a continuity test at both ends proves."""

ByEvidence: TypeAlias = Literal[
    FaultClass.SPLIT_PAIR, FaultClass.HIGH_RESISTANCE, FaultClass.INTERMITTENT, FaultClass.DAMAGE
]
"""What comes from other evidence: no continuity reading can prove it absent or present."""

Note: TypeAlias = Literal[FaultClass.FLEXED]
"""What is noted of a test and is no fault."""

Faulty: TypeAlias = Literal[ByReadings, ByEvidence]
Told: TypeAlias = Literal[ByEvidence, Note]
"""What is told besides the readings."""


def by_readings(found: FaultClass) -> ByReadings | None:
    """The class, if readings prove it."""
    match found:
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return None
        case FaultClass.FLEXED:
            return None
        case _:
            return found


def told(found: FaultClass) -> Told | None:
    """The class, if it is told besides the readings."""
    match found:
        case FaultClass.OPEN | FaultClass.SHORT | FaultClass.REVERSED_PAIR | FaultClass.CROSSED_PAIRS:
            return None
        case FaultClass.CROSSED_LANES | FaultClass.MISWIRE:
            return None
        case _:
            return found


def faulty(found: FaultClass) -> Faulty | None:
    """The class, if it is a fault."""
    return None if found is FaultClass.FLEXED else found


def _swap_turn(found: Faulty) -> int:
    """When a swap is applied to a cable that is rebuilt; 0 where no conductor lands where another belongs."""
    match found:
        case FaultClass.CROSSED_LANES:
            return 1
        case FaultClass.CROSSED_PAIRS:
            return 2
        case FaultClass.REVERSED_PAIR:
            return 3
        case FaultClass.MISWIRE:
            return 4
        case FaultClass.OPEN | FaultClass.SHORT:
            return 0
        case FaultClass.SPLIT_PAIR | FaultClass.HIGH_RESISTANCE | FaultClass.INTERMITTENT | FaultClass.DAMAGE:
            return 0
        case _:
            assert_never(found)


RANK: Final = {fault_class: rank for rank, fault_class in enumerate(FaultClass)}

FAULTS: Final = tuple(found for found in map(faulty, FaultClass) if found)
"""The classes that are faults."""

CONTINUITY: Final = tuple(found for found in map(by_readings, FaultClass) if found)
"""The classes that a continuity reading proves."""

TOLD: Final = tuple(found for found in map(told, FaultClass) if found)
"""The classes that are told besides the readings."""

SWAPS: Final = tuple(sorted(filter(_swap_turn, FAULTS), key=_swap_turn))
"""The classes in which conductors land where others belong, in the order in which they are applied."""

BLIND_TO: Final = (FaultClass.SPLIT_PAIR, FaultClass.INTERMITTENT, FaultClass.HIGH_RESISTANCE)
"""What no continuity reading can prove absent, on any verdict."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a cable.

    `conductors` names conductors, and contacts that no conductor is on, in the wiring's order. `end` is "A" or
    "B" where the readings prove it, else None. `lanes` only on crossed lanes; `landings` only on a miswire:
    pairs of a conductor and the contact where it goes, at end B, or at `end` for a chain of which one wire
    sits on a contact that belongs to no conductor.
    """

    fault_class: Faulty
    conductors: tuple[str, ...]
    end: str | None = None
    lanes: tuple[str, ...] | None = None
    landings: tuple[tuple[str, str], ...] | None = None

    @property
    def map(self) -> Mapping[str, str] | None:
        """Where each conductor of a miswire goes: {conductor: contact}."""
        return None if self.landings is None else dict(self.landings)

    @property
    def is_chain(self) -> bool:
        """Whether it is a miswire that ends on a contact of no conductor: a wire on the shell's tag."""
        return self.landings is not None and self.end is not None

    @property
    def cost(self) -> int:
        """How much this fault claims: conductors less one for shorts and cycles, all of a chain, 1 for the others."""
        if self.is_chain:
            return len(self.conductors)
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
