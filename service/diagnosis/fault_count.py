"""A lower bound of the number of faults in any explanation of the readings, computed without a search.

Swaps can bring any conductor anywhere, so what is counted is what no swap can help: conductors that find no place in a
group of the readings and so must be opened, or put on a contact of no conductor by a chain; bonds between two groups;
and groups that hold together only by a short. Readings that need many faults are nonsense or a connector torn off,
for which the search may settle early.
"""

from collections import Counter
from dataclasses import dataclass

from service.diagnosis.miswires import UNPROBED, NumberedCable


def fewest_faults(case: NumberedCable) -> int:
    """A lower bound of the number of faults in any explanation of this case."""
    needs = _needs(case)
    saved = 1 if case.has_blanks else 0  # a chain is a swap, and may save an open
    with_swaps = 1 + needs.faults(max(0, needs.opens - saved))
    return min(needs.faults(_opens_without_swaps(case)), with_swaps)


@dataclass(frozen=True, slots=True)
class _Needs:
    """Lower bounds for every explanation: opens of conductors or chains, opens of bonds, and shorts.

    A short along both halves of opened conductors holds two groups together, but never more than `shareable` pairs.
    """

    opens: int
    bond_opens: int
    shorts: int
    shareable: int

    def faults(self, opens: int) -> int:
        """The number of faults if `opens` conductors are opened, less the shorts that pairs of them can share."""
        return opens + self.bond_opens + self.shorts - min(opens // 2, self.shareable)


def _needs(case: NumberedCable) -> _Needs:
    plan, label = case.plan, case.label
    bonds_within: Counter[int] = Counter()
    bond_opens = 0
    for one, other in plan.bonds:
        if label[one] == label[other]:
            bonds_within[label[one]] += 1
        elif UNPROBED not in (label[one], label[other]):
            bond_opens += 1
    at_a, sizes = Counter(label[: plan.split]), Counter(label)
    kept = len(case.starts.get(UNPROBED, ())) + len(case.positions.get(UNPROBED, ()))
    only_a = only_b = at_both = 0
    for group, size in sizes.items():
        if group == UNPROBED:
            continue
        starts, ends = case.starts.get(group, ()), case.positions.get(group, ())
        kept += min(case.wires_among(starts), case.wires_among(ends))
        if size - min(len(starts), len(ends)) - bonds_within[group] > 1:
            only_a += at_a[group] == size
            only_b += at_a[group] == 0
            at_both += 0 < at_a[group] < size
    shorts = only_a + only_b + at_both
    # A piece that reaches both ends keeps a conductor whole, so its group shares no short; unless one of its contacts
    # has two conductors.
    shareable = shorts // 2 if plan.tangled else min(only_a, only_b)
    return _Needs(max(0, len(plan.a) - kept), bond_opens, shorts, shareable)


def _opens_without_swaps(case: NumberedCable) -> int:
    ends = ((case.label[a], case.label[b]) for a, b in zip(case.plan.a, case.plan.b, strict=True))
    return sum(UNPROBED != one != other != UNPROBED for one, other in ends)
