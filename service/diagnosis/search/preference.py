"""Which of several explanations that cost the same is the answer, and in which order an answer lists its faults.

This is the one place where the contract's tie-breaking is written down; `shorts` and `mending` decide by the part of
it that concerns them.
"""

from collections.abc import Sequence
from typing import Final

from service.diagnosis.search.plan import WiringPlan
from service.wiring.faults import RANK, Fault, FaultClass

ENDS: Final = (None, "A", "B")
"""No end proven before A before B."""

Key = tuple[object, ...]


def preference(plan: WiringPlan, faults: Sequence[Fault], shells: int = 0, strays: int = 0) -> Key:
    """The tie-breaking rules as a key of faults in order: the preferred of two that cost the same is smaller.

    `shells` counts contacts named in shorts where a bonded conductor's name would do, `strays` chains that end on
    another connector than the one where they left a contact free. Where whole lanes and another exchange both
    rebuild, the lanes.
    """
    classes = [fault.fault_class for fault in faults]
    swaps = sum(1 for one in classes if one not in (FaultClass.OPEN, FaultClass.SHORT))
    ends = [fault.end for fault in faults if fault.end is not None and not fault.is_chain]
    return (
        len(faults),
        len(set(classes)),
        swaps,
        shells,
        *_far(ends),
        strays,
        swaps - classes.count(FaultClass.CROSSED_LANES),
        [_compared(plan, fault) for fault in faults],
    )


def preference_of_shorts(shorts: Sequence[tuple[str | None, tuple[int, ...]]], shells: int) -> Key:
    """The same of shorts alone, given as their ends and the ranks of their names."""
    ends = [end for end, _ in shorts if end is not None]
    return len(shorts), shells, *_far(ends), sorted((ranks, ENDS.index(end)) for end, ranks in shorts)


def listed_at(plan: WiringPlan, fault: Fault) -> Key:
    """Where a fault stands in an answer: by class, then by its first conductor; miswires of one then by end."""
    members = [plan.order[name] for name in fault.conductors]
    end = ENDS.index(fault.end)
    return RANK[fault.fault_class], members[0], end if fault.landings else 0, members, end


def _far(ends: Sequence[str]) -> tuple[int, int]:
    return len(ends), ends.count("B")


def _compared(plan: WiringPlan, fault: Fault) -> Key:
    place = plan.wiring.position
    members = [plan.order[name] for name in fault.conductors]
    goals = [place[contact] for _, contact in fault.landings or ()]
    return RANK[fault.fault_class], members, goals, ENDS.index(fault.end)
