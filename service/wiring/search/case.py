"""One test set before the search: every contact gets the label of its group, every landing an estimate.

A conductor that joins two contacts of one group is worth 2: it need not be cut, and it saves a join. One with an
unprobed contact is worth 1: it need not be cut. One between two groups is worth 0: it must be cut.

An unprobed contact where several conductors or bonds meet is a *hub*: it belongs to some group, which is not known.
There is a case for each choice; a hub counts in it as if it had been probed and found there.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import product
from typing import Final

from service.wiring.readings import Readings
from service.wiring.search.plan import Landing, Plan

UNPROBED: Final = -1
_MOST_CASES: Final = 400


class Case:
    """One cable by number: the label of each contact, and what each landing is worth."""

    def __init__(self, plan: Plan, label: Sequence[int]) -> None:
        self.plan = plan
        self.label = label
        self.starts: dict[int, list[int]] = defaultdict(list)
        self.positions: dict[int, list[int]] = defaultdict(list)
        for number, (a, b) in enumerate(zip(plan.a, plan.b, strict=True)):
            self.starts[label[a]].append(number)
            self.positions[label[b]].append(number)
        self.whole = not (self.starts.get(UNPROBED) or self.positions.get(UNPROBED))
        sizes = Counter(label)
        del sizes[UNPROBED]
        self._dearest = len(plan.a) + sizes.total() - len(sizes) + self._bonds()
        start_labels = [label[a] for a in plan.a]
        end_labels = [label[b] for b in plan.b]
        self._worth = [
            [1 if start == UNPROBED or end == UNPROBED else 2 if start == end else 0 for end in end_labels]
            for start in start_labels
        ]

    def worth(self, conductor: int, position: int) -> int:
        """2, 1 or 0, as above."""
        return self._worth[conductor][position]

    def estimate(self, landing: Landing) -> int:
        """The opens and joins that this landing leaves; exact where contacts are joined in one way only."""
        worth = self._worth
        return self._dearest - sum([worth[wire][position] for wire, position in enumerate(landing)])

    def restless(self, landing: Landing) -> list[int]:
        """Conductors that could be worth more elsewhere."""
        worth = self._worth
        return [
            wire
            for wire, position in enumerate(landing)
            if worth[wire][position] < 2 and self.label[self.plan.a[wire]] != UNPROBED
        ]

    def floor(self) -> int:
        """A cost that no explanation of this case can go below."""
        best = 0
        spare = bool(self.positions.get(UNPROBED))
        for label, conductors in self.starts.items():
            if label == UNPROBED:
                best += len(conductors)
                continue
            matched = min(len(conductors), len(self.positions.get(label, ())))
            best += 2 * matched + (len(conductors) - matched if spare else 0)
        return self._dearest - best - self._free_joins()

    def double_joins(self, conductors: Iterable[int]) -> int:
        """At most so many joins could come free, from shorts along both halves of these conductors if cut."""
        labels = [self.label[self.plan.a[conductor]] for conductor in conductors]
        return len(labels) - len(set(labels))

    def _free_joins(self) -> int:
        """As `double_joins`, of the conductors that must be cut wherever the others land."""
        at_a = at_b = 0
        for label in self.starts.keys() | self.positions.keys():
            starts, ends = len(self.starts.get(label, ())), len(self.positions.get(label, ()))
            if label != UNPROBED:
                at_a += max(0, starts - ends - 1)
                at_b += max(0, ends - starts - 1)
        return min(at_a, at_b)

    def _bonds(self) -> int:
        """A bond within a group saves a join; one between groups must be opened."""
        total = 0
        for bond in self.plan.bonds:
            one, other = (self.label[contact] for contact in bond)
            if UNPROBED not in (one, other):
                total += -1 if one == other else 1
        return total


def cases(plan: Plan, readings: Readings) -> tuple[list[Case], bool]:
    """The cases of a test, the most promising first, and whether these are all."""
    label = _labels(plan, readings)
    hubs = [contact for contact in plan.hubs if label[contact] == UNPROBED]
    groups = sorted({one for one in label if one != UNPROBED})
    choices = [[*groups, contact] for contact in hubs]
    complete = len(groups) ** len(hubs) <= _MOST_CASES
    if not complete:
        choices = [_neighbors(plan, label, contact) for contact in hubs]
    made = [Case(plan, labeled) for labeled in _spread(label, hubs, choices)]
    return sorted(made, key=Case.floor), complete


def _spread(
    label: Sequence[int], hubs: Sequence[int], choices: Sequence[Sequence[int]]
) -> Iterator[Sequence[int]]:
    for number, chosen in enumerate(product(*choices)):
        if number >= _MOST_CASES:
            return
        labeled = list(label)
        for contact, group in zip(hubs, chosen, strict=True):
            labeled[contact] = group
        yield labeled


def _neighbors(plan: Plan, label: Sequence[int], hub: int) -> list[int]:
    """The groups that an undisturbed cable would lead to from a hub, the most frequent first; or none of them."""
    links = [*zip(plan.a, plan.b, strict=True), *plan.bonds]
    far = [label[one + other - hub] for one, other in links if hub in (one, other)]
    return [*(group for group, _ in Counter(far).most_common() if group != UNPROBED), hub]


def _labels(plan: Plan, readings: Readings) -> list[int]:
    label = [
        contact if readings.probed >> contact & 1 else UNPROBED
        for contact in range(len(plan.wiring.all_contacts))
    ]
    for group in readings.groups:
        first = (group & -group).bit_length() - 1
        while group:
            lowest = group & -group
            label[lowest.bit_length() - 1] = first
            group ^= lowest
    return label
