"""What a pass does not prove: each single fault is built into the cable, and the method asked whether it sees it.

A class of faults is proven absent only if every fault of it that the wiring can have would have been seen. The
classes of `BLIND_TO` are never proven absent by a pass.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from service.wiring.faults import BLIND_TO, Fault, FaultClass, Faulty, rebuild
from service.wiring.naming import listed
from service.wiring.singles import any_of, kind, single_faults
from service.wiring.visibility import Visibility, alike, view
from service.wiring.wirings import Readings, Wiring

VISIBILITY_OF_METHOD: Mapping[str, Visibility] = MappingProxyType(
    {
        "two_ended": Visibility.CROSS,
        "phantom": Visibility.PHANTOM,
        "meter": Visibility.METER,
        "listening": Visibility.LISTENING,
    }
)
"""How each `method` of a test looks, where the program has not described its own tester."""

CANCELLING = "two swaps in different pieces that cancel each other"


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a pass proves absent on a wiring; the single faults that it would have missed, by class.

    `unseen` are the classes of which it would have missed every one.
    """

    proven: tuple[Faulty, ...]
    unseen: tuple[Faulty, ...]
    missed: Mapping[Faulty, tuple[Fault, ...]]


@lru_cache
def coverage(wiring: Wiring, visibility: Visibility, mistaken: frozenset[Readings] = frozenset()) -> Coverage:
    """What a pass proves, seen so. `mistaken` are faulty readings that the tester shows as it shows a good cable.

    Classes that the wiring cannot have (crossed lanes where there is one line) are in neither.
    """
    sound = view(wiring, visibility, rebuild(wiring, ()))
    possible = Counter[Faulty]()
    missed: dict[Faulty, list[Fault]] = {}
    for fault in single_faults(wiring):
        possible[fault.fault_class] += 1
        readings = rebuild(wiring, [fault])
        if alike(sound, view(wiring, visibility, readings)) or _taken(readings, mistaken):
            missed.setdefault(fault.fault_class, []).append(fault)
    return Coverage(
        tuple(fault_class for fault_class in possible if fault_class not in missed),
        tuple(fault_class for fault_class, faults in missed.items() if len(faults) == possible[fault_class]),
        MappingProxyType({fault_class: tuple(faults) for fault_class, faults in missed.items()}),
    )


def not_proven(
    wiring: Wiring, visibility: Visibility, mistaken: frozenset[Readings] = frozenset(), *, pieces: int = 1
) -> list[str]:
    """What a pass leaves open, in words; `pieces` is how many items it went through."""
    covered = coverage(wiring, visibility, mistaken)
    kinds = [
        any_of(fault.fault_class) if fault.fault_class in covered.unseen else kind(wiring, fault)
        for faults in covered.missed.values()
        for fault in faults
    ]
    if pieces > 1:
        kinds.append(CANCELLING)
    kinds += [any_of(blind) for blind in BLIND_TO if blind is not FaultClass.SPLIT_PAIR or len(wiring.pairs) > 1]
    return list(dict.fromkeys(kinds))


def pass_words(
    wiring: Wiring, visibility: Visibility, mistaken: frozenset[Readings] = frozenset(), *, pieces: int = 1
) -> str:
    """One sentence to stand under a pass."""
    return f"Not ruled out by this test: {listed(not_proven(wiring, visibility, mistaken, pieces=pieces))}."


def _taken(readings: Readings, mistaken: frozenset[Readings]) -> bool:
    return any(readings.within(other.probed) == other for other in mistaken)
