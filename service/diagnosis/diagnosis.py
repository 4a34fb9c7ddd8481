"""Diagnosis: the least-cost faults that explain the readings of a two-ended continuity test exactly.

>>> from service.wiring.builtin import BUILTIN
>>> from service.wiring.wirings import read
>>> lead = BUILTIN["xlr3"]
>>> found = diagnose(lead, read(lead, [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]]))
>>> found.verdict, [fault.to_json() for fault in found.faults]
('fail', [{'class': 'reversed_pair', 'conductors': ['2', '3'], 'end': None}])
"""

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass
from itertools import repeat
from typing import Any, Final

from service.diagnosis.search.case import NumberedCable, cases
from service.diagnosis.search.crossings import Crosser, CrossingCandidate
from service.diagnosis.search.equal_cost import level_with
from service.diagnosis.search.moves import namings
from service.diagnosis.search.permutations import Effort
from service.diagnosis.search.plan import WiringPlan, plan
from service.diagnosis.search.repairs import mend
from service.kit.problems import Invalid, invalid
from service.wiring.faults import BLIND_TO, Fault, Key, explains, listing_key, preference
from service.wiring.wirings import Readings, Wiring

PROVEN_FAULTS: Final = 4
"""An explanation of so many faults is found exactly; of more, it is least only where that or the floor proves it."""

EFFORT: Final = 8000
"""Steps of the search for the least cost; at most about half a second."""
EVEN_EFFORT: Final = 3000
"""Steps of the search for plainer explanations of the same cost, where contacts were not probed."""
LEVEL_EFFORT: Final = 12000
"""Steps among landings of that cost; at most about a third of a second."""


_MOST_CANDIDATES: Final = 200


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """`verdict` is "pass", "partial" or "fail"; `unproven` names conductors and bonds with an unprobed contact.

    `least` is False where the faults explain the readings exactly, but a cheaper explanation was not ruled out.
    """

    verdict: str
    faults: tuple[Fault, ...] = ()
    unproven: tuple[str, ...] = ()
    least: bool = True

    def to_json(self) -> dict[str, Any]:
        """As the JSON API and `coilbook diagnose` write it."""
        written: dict[str, Any] = {
            "verdict": self.verdict,
            "faults": [fault.to_json() for fault in self.faults],
            "unproven": list(self.unproven),
            "blind_to": [fault_class.value for fault_class in BLIND_TO],
        }
        if not self.least:
            written["least"] = False
        return written


_GOOD: Final = Diagnosis("pass")


def diagnose(wiring: Wiring, readings: Readings) -> Diagnosis:
    """What the readings prove of a cable of this wiring.

    Raises `Invalid` where only a short of a contact could explain them whose name one of the conductors bears.
    """
    prepared = plan(wiring)
    missed = prepared.needed & ~readings.probed
    if not missed:
        if prepared.good == frozenset(readings.groups):
            return _GOOD
    elif _good_as_far_as_probed(prepared, readings):
        return Diagnosis("partial", unproven=_unproven(wiring, missed))
    faults, least = _explain(prepared, readings)
    return Diagnosis("fail", faults, _unproven(wiring, missed), least)


def _good_as_far_as_probed(prepared: WiringPlan, readings: Readings) -> bool:
    seen = {group & readings.probed for group in prepared.good}
    return {group for group in seen if group & (group - 1)} == set(readings.groups)


def _unproven(wiring: Wiring, missed: int) -> tuple[str, ...]:
    bit = wiring.bit
    wires = [wire.name for wire in wiring.conductors if (bit[wire.a] | bit[wire.b]) & missed]
    bonds = [bond.later for bond in wiring.bonds if (bit[bond.earlier] | bit[bond.later]) & missed]
    return (*wires, *bonds)


def _explain(prepared: WiringPlan, readings: Readings) -> tuple[tuple[Fault, ...], bool]:
    """The preferred faults, and whether they are proven least."""
    every_case, complete = cases(prepared, readings)
    effort = Effort(EFFORT)
    found: list[CrossingCandidate] = []
    if len(every_case) > 1:
        found = _search(every_case, [Effort(EFFORT // len(every_case)) for _ in every_case], 2, None)
    found += _search(every_case, repeat(effort), 2, min((one.cost for one in found), default=None))
    if not found:
        raise _name_taken(prepared.wiring)
    cost = min(one.cost for one in found)
    unsure = [case for case in every_case if not case.whole]
    for least_gain in (1, 0):
        found += _search(unsure, repeat(Effort(EVEN_EFFORT)), least_gain, cost)
    cost = min(one.cost for one in found)
    if (unsure or prepared.tangled or every_case[0].tagged) and not effort.spent:
        found += level_with([one for one in found if one.cost == cost], Effort(LEVEL_EFFORT))
        cost = min(one.cost for one in found)
    candidates: dict[Hashable, CrossingCandidate] = {}  # in the order found: the plainest come first
    for one in found:
        if one.cost == cost:
            candidates.setdefault((id(one.case), one.crossings, one.case.seats(one.settled.landing)), one)
    kept = list(candidates.values())[: 1 if effort.spent else _MOST_CANDIDATES]
    written = [made for candidate in kept for made in _written(prepared, candidate)]
    for _, faults in sorted(written, key=lambda item: item[0]):
        if explains(prepared.wiring, faults, readings):
            searched = not effort.spent and (len(faults) <= PROVEN_FAULTS or _cheaper_is_fewer(cost))
            proven = cost == 1 or (complete and (searched or cost == every_case[0].floor()))
            return faults, proven
    raise RuntimeError(f"No explanation rebuilds these readings: {readings}")


def _name_taken(wiring: Wiring) -> Invalid:
    """What these readings lack: a short of a contact whose name a conductor bears."""
    name = next(name for name in wiring.by_name if name in wiring.position)
    return invalid(
        "wiring",
        f"Conductor {name!r} has the name of a contact, which these readings need for itself; give it another.",
    )


def _cheaper_is_fewer(cost: int) -> bool:
    """Whether anything cheaper has few enough faults to have been found: a fault costs 1 at least."""
    return cost - 1 <= PROVEN_FAULTS


def _search(
    every_case: list[NumberedCable], efforts: Iterable[Effort], least_gain: int, known: int | None
) -> list[CrossingCandidate]:
    """The candidates of least cost over all cases, of those that cost at most `known`."""
    best: list[CrossingCandidate] = []
    for case, effort in zip(every_case, efforts, strict=False):
        if known is not None and case.floor() > known:
            break
        found = Crosser(case, effort, least_gain, known).search()
        if found:
            best = [*best, *found] if best and found[0].cost == best[0].cost else found
            known = found[0].cost
    return best


def _written(prepared: WiringPlan, candidate: CrossingCandidate) -> Iterator[tuple[Key, tuple[Fault, ...]]]:
    """The candidate's faults in order, and the key by which the preferred candidate is smallest."""
    for named in namings(candidate.case, candidate.crossed, candidate.settled.landing):
        mending = mend(candidate.case, named.seats)
        faults = [*(crossing.fault for crossing in candidate.crossings), *named.faults, *mending.faults]
        faults.sort(key=lambda fault: listing_key(prepared.wiring, fault))
        yield preference(prepared.wiring, faults, mending.shells, named.strays), tuple(faults)
