"""Diagnosis: the least-cost faults that explain the readings of a two-ended continuity test exactly.

How an explanation is found:

1. *Read.* Contacts become numbers (`plan`), groups of joined contacts become labels (`miswires`). A contact that was
   not probed and where several conductors meet belongs to an unknown group: there is a *case* for each choice.
2. *Swaps.* In each case, find the *permutations*, that is, which conductor ends on which contact, that make the whole
   explanation cheapest: first crossings of whole lanes and pairs, then exchanges of two conductors (`swaps`).
3. *Opens and shorts.* For each permutation, a conductor between two groups must be broken, and the pieces of one group
   must be joined (`repairs`). Swaps, opens and shorts together are the cost of a candidate; what each fault class costs
   is the table `COSTS` in `service/wiring/faults.py`.
4. *Equal cost.* The cheapest search need not pass every permutation of that cost, so exchange two conductors in each
   candidate and keep what costs the same (`equal_cost`).
5. *Preference.* Name each candidate's permutation as reversed pairs and miswires, in every way, and sort by the
   contract's tie-breaking rules (`preference` in `service/wiring/faults.py`).
6. *Check.* Rebuild the cable from the faults. The first candidate that reads exactly like the test is the answer.

The problem contains the shortest product of exchanges, so its worst case is exponential. Branches that cannot match the
best cost known are left, and a limit on the steps keeps the time below a second. Below the limit an answer of up to
`PROVEN_FAULTS` faults is exact; any other carries `least: false`, unless a lower bound proves it. Readings that need
more faults than that (`fault_count`) are nonsense or a connector torn off, and get a fortieth of the steps.

>>> from service.wiring.builtin import BUILTIN
>>> from service.wiring.wirings import read
>>> lead = BUILTIN["xlr3"]
>>> answer = diagnose(lead, read(lead, [["A1", "B1"], ["A2", "B3"], ["A3", "B2"]]))
>>> answer.verdict, [fault.to_json() for fault in answer.faults]
('fail', [{'class': 'reversed_pair', 'conductors': ['2', '3'], 'end': None}])
"""

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product, repeat
from math import prod
from typing import Any, Final

from service.diagnosis.equal_cost import equal_cost_candidates
from service.diagnosis.fault_count import fewest_faults
from service.diagnosis.miswires import UNPROBED, NumberedCable, namings
from service.diagnosis.plan import WiringPlan, make_plan
from service.diagnosis.repairs import make_repairs
from service.diagnosis.swaps import Candidate, CrossingSearch, Effort
from service.kit.problems import Invalid, invalid
from service.wiring.faults import BLIND_TO, Fault, Key, explains, listing_key, preference
from service.wiring.wirings import Readings, Wiring

PROVEN_FAULTS: Final = 4
"""An explanation of so many faults is found exactly; a longer one only where its cost or the lower bound proves it."""


@dataclass(frozen=True, slots=True)
class StepLimits:
    """How many steps each search may take, and among how many explanations of that cost the plainest is chosen."""

    least_cost: int
    unprobed: int
    """For plainer explanations of the same cost, where contacts were not probed."""
    equal_cost: int
    """Among permutations of that cost."""
    named: int


LIMITS: Final = StepLimits(least_cost=8000, unprobed=3000, equal_cost=12000, named=200)
"""About half a second at most, and about a third of a second among permutations of equal cost."""
LIMITS_FOR_MANY: Final = StepLimits(least_cost=200, unprobed=60, equal_cost=200, named=8)
"""Where more than `PROVEN_FAULTS` faults are needed: about a hundredth of a second at most."""

_MOST_CASES: Final = 400
_MOST_CHOICES: Final = 10_000

_GAIN_THAT_PAYS: Final = 2
"""A swap costs 1, so that a gain of 2 makes the explanation cheaper."""


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
        """The diagnosis as the JSON API and `coilbook diagnose` write it."""
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

    Raises `Invalid` where only a short of a contact could explain them whose name one of the conductors has.
    """
    plan = make_plan(wiring)
    missed = plan.needed & ~readings.probed
    if not missed:
        if plan.good == frozenset(readings.groups):
            return _GOOD
    elif _good_as_far_as_probed(plan, readings):
        return Diagnosis("partial", unproven=_unproven(wiring, missed))
    faults, least = _explain(plan, readings)
    return Diagnosis("fail", faults, _unproven(wiring, missed), least)


def _good_as_far_as_probed(plan: WiringPlan, readings: Readings) -> bool:
    seen = {group & readings.probed for group in plan.good}
    return {group for group in seen if group & (group - 1)} == set(readings.groups)


def _unproven(wiring: Wiring, missed: int) -> tuple[str, ...]:
    bit = wiring.bit
    wires = [wire.name for wire in wiring.conductors if (bit[wire.a] | bit[wire.b]) & missed]
    bonds = [bond.later for bond in wiring.bonds if (bit[bond.earlier] | bit[bond.later]) & missed]
    return (*wires, *bonds)


def _explain(plan: WiringPlan, readings: Readings) -> tuple[tuple[Fault, ...], bool]:
    """The preferred faults, and whether they are proven least."""
    cases, complete = numbered_cases(plan, readings)
    limits = LIMITS if _may_be_few(cases) else LIMITS_FOR_MANY
    effort = Effort(limits.least_cost)
    candidates = _cheapest(cases, effort)
    if not candidates:
        raise _name_taken(plan.wiring)
    candidates = _with_equal_cost(plan, cases, candidates, limits, searched=not effort.spent)
    kept = _distinct(candidates)[: 1 if effort.spent else limits.named]
    for faults in _by_preference(plan, kept):
        if explains(plan.wiring, faults, readings):
            cost = kept[0].cost
            searched = not effort.spent and (len(faults) <= PROVEN_FAULTS or _cheaper_is_fewer(cost))
            return faults, cost == 1 or (complete and (searched or cost == cases[0].lower_bound))
    raise RuntimeError(f"No explanation rebuilds these readings: {readings}")


def _may_be_few(cases: Sequence[NumberedCable]) -> bool:
    """Whether so few faults may explain the readings that the answer must be exact."""
    if cases[0].fully_probed and cases[0].lower_bound <= PROVEN_FAULTS:
        return True  # the usual case, told sooner
    return min(map(fewest_faults, cases)) <= PROVEN_FAULTS


def _cheaper_is_fewer(cost: int) -> bool:
    """Whether anything cheaper has few enough faults to have been found: a fault costs 1 at least."""
    return cost - 1 <= PROVEN_FAULTS


def _name_taken(wiring: Wiring) -> Invalid:
    """The refusal where a conductor bears the name of a contact that a short would have to name."""
    name = next(name for name in wiring.by_name if name in wiring.position)
    return invalid(
        "wiring",
        f"Conductor {name!r} has the name of a contact, which these readings need for itself; give it another.",
    )


# 1. Read


def numbered_cases(plan: WiringPlan, readings: Readings) -> tuple[list[NumberedCable], bool]:
    """The cases of a test, the most promising first, and whether these are all.

    There is a case for each choice of groups for the unprobed junctions. A junction counts in it as if it had been
    probed and found in that group, or in a group of its own, or of several junctions.
    """
    label = _labels(plan, readings)
    junctions = [contact for contact in plan.junctions if label[contact] == UNPROBED]
    choices = [_choices(plan, label, junctions, number) for number in range(len(junctions))]
    total = prod(map(len, choices))
    while prod(map(len, choices)) > _MOST_CHOICES:
        longest = max(choices, key=len)
        longest.pop()
    likely = sorted(product(*(list(enumerate(some)) for some in choices)), key=_surprise)[:_MOST_CASES]
    joined = 0
    for group in readings.groups:
        joined |= group
    loose_joined = [contact for contact in plan.loose if joined >> contact & 1]
    cases = []
    for chosen in likely:
        labeled = list(label)
        for contact, (_, group) in zip(junctions, chosen, strict=True):
            labeled[contact] = group
        cases.append(NumberedCable(plan, labeled, loose_joined))
    return sorted(cases, key=lambda case: case.lower_bound), len(cases) == total


def _surprise(chosen: Sequence[tuple[int, int]]) -> int:
    return sum(rank for rank, _ in chosen)


def _choices(plan: WiringPlan, label: Sequence[int], junctions: Sequence[int], number: int) -> list[int]:
    """The groups that a junction may belong to, the likeliest first.

    First the groups where a good cable leads from it, the most frequent first; then a group of its own or of an earlier
    junction; then groups of several contacts; then the rest.
    """
    junction = junctions[number]
    links = [*zip(plan.a, plan.b, strict=True), *plan.bonds]
    near = Counter(label[one + other - junction] for one, other in links if junction in (one, other))
    sizes = Counter(label)
    ranked = [*(group for group, _ in near.most_common()), junction, *junctions[:number]]
    ranked += [group for group, _ in sizes.most_common()]
    return [group for group in dict.fromkeys(ranked) if group != UNPROBED]


def _labels(plan: WiringPlan, readings: Readings) -> list[int]:
    """The label of each contact: the first contact of its group, or `UNPROBED`."""
    label = [
        contact if readings.probed >> contact & 1 else UNPROBED for contact in range(len(plan.wiring.all_contacts))
    ]
    for group in readings.groups:
        first = (group & -group).bit_length() - 1
        while group:
            lowest = group & -group
            label[lowest.bit_length() - 1] = first
            group ^= lowest
    return label


# 2 and 3. Swaps, opens and shorts: the candidates of least cost


def _cheapest(cases: Sequence[NumberedCable], effort: Effort) -> list[Candidate]:
    """Candidates of least cost over all cases; several cases get an equal share of the steps first."""
    candidates: list[Candidate] = []
    if len(cases) > 1:
        candidates = _search(cases, [Effort(effort.left // len(cases)) for _ in cases], _GAIN_THAT_PAYS, None)
    known = min((candidate.cost for candidate in candidates), default=None)
    return candidates + _search(cases, repeat(effort), _GAIN_THAT_PAYS, known)


def _search(
    cases: Iterable[NumberedCable], efforts: Iterable[Effort], least_gain: int, known: int | None
) -> list[Candidate]:
    """The candidates of least cost over these cases, of those that cost at most `known`."""
    best: list[Candidate] = []
    for case, effort in zip(cases, efforts, strict=False):
        if known is not None and case.lower_bound > known:
            break
        candidates = CrossingSearch(case, effort, least_gain, known).search()
        if candidates:
            best = [*best, *candidates] if best and candidates[0].cost == best[0].cost else candidates
            known = candidates[0].cost
    return best


# 4. Equal cost


def _with_equal_cost(
    plan: WiringPlan, cases: Sequence[NumberedCable], candidates: list[Candidate], limits: StepLimits, *, searched: bool
) -> list[Candidate]:
    """The candidates of least cost, with others of the same cost that are reached by swaps that gain nothing.

    These matter where contacts were not probed or may be joined in two ways, or where a contact of no conductor may
    hold a wire.
    """
    unsure = [case for case in cases if not case.fully_probed]
    cost = _lowest(candidates)
    for least_gain in (1, 0):
        candidates = candidates + _search(unsure, repeat(Effort(limits.unprobed)), least_gain, cost)
    candidates = _of_least_cost(candidates)
    if searched and (unsure or plan.tangled or cases[0].has_blanks):
        candidates = candidates + equal_cost_candidates(candidates, Effort(limits.equal_cost))
    return _of_least_cost(candidates)


def _lowest(candidates: Iterable[Candidate]) -> int:
    return min(candidate.cost for candidate in candidates)


def _of_least_cost(candidates: Sequence[Candidate]) -> list[Candidate]:
    cost = _lowest(candidates)
    return [candidate for candidate in candidates if candidate.cost == cost]


def _distinct(candidates: Iterable[Candidate]) -> list[Candidate]:
    """Each candidate once, in the order in which they were reached, since the plainest are reached first."""
    distinct: dict[Hashable, Candidate] = {}
    for candidate in candidates:
        seats = candidate.case.seats(candidate.swapped.permutation)
        distinct.setdefault((id(candidate.case), candidate.crossings, seats), candidate)
    return list(distinct.values())


# 5. Preference


def _by_preference(plan: WiringPlan, candidates: Iterable[Candidate]) -> Iterator[tuple[Fault, ...]]:
    """The faults of the candidates, in every way to name them, the preferred first."""
    keyed = [named for candidate in candidates for named in _described(plan, candidate)]
    for _, faults in sorted(keyed, key=lambda item: item[0]):
        yield faults


def _described(plan: WiringPlan, candidate: Candidate) -> Iterator[tuple[Key, tuple[Fault, ...]]]:
    """The candidate's faults in listing order, with their preference, for each way to name its permutation."""
    for naming in namings(candidate.case, candidate.crossed, candidate.swapped.permutation):
        repairs = make_repairs(candidate.case, naming.seats)
        faults = [*(crossing.fault for crossing in candidate.crossings), *naming.faults, *repairs.faults]
        faults.sort(key=lambda fault: listing_key(plan.wiring, fault))
        yield preference(plan.wiring, faults, repairs.shells, naming.strays), tuple(faults)
