"""One test set before the search: every contact gets the label of its group, every landing an estimate.

A conductor that joins two contacts of one group is worth 2: it need not be cut, and it saves a join. One with an
unprobed contact is worth 1: it need not be cut. One between two groups is worth 0: it must be cut.

An unprobed contact where several conductors or bonds meet is a *hub*: it belongs to some group, which is not known.
There is a case for each choice; a hub counts in it as if it had been probed and found there, or in a group of its
own, or of several hubs.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from itertools import product
from math import prod
from typing import Final

from service.wiring.readings import Readings
from service.wiring.search.plan import Landing, Plan

UNPROBED: Final = -1
_MOST_CASES: Final = 400
_MOST_CHOICES: Final = 10_000


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
    choices = [_choices(plan, label, hubs, number) for number in range(len(hubs))]
    total = prod(map(len, choices))
    while prod(map(len, choices)) > _MOST_CHOICES:
        longest = max(choices, key=len)
        longest.pop()
    likely = sorted(product(*(list(enumerate(some)) for some in choices)), key=_surprise)[:_MOST_CASES]
    made = []
    for chosen in likely:
        labeled = list(label)
        for contact, (_, group) in zip(hubs, chosen, strict=True):
            labeled[contact] = group
        made.append(Case(plan, labeled))
    return sorted(made, key=Case.floor), len(made) == total


def _surprise(chosen: Sequence[tuple[int, int]]) -> int:
    return sum(rank for rank, _ in chosen)


def _choices(plan: Plan, label: Sequence[int], hubs: Sequence[int], number: int) -> list[int]:
    """The groups that a hub may belong to, the likeliest first.

    Where a good cable leads from it, the most frequent first; a group of its own or of an earlier hub; groups of
    several contacts; the rest.
    """
    hub = hubs[number]
    links = [*zip(plan.a, plan.b, strict=True), *plan.bonds]
    near = Counter(label[one + other - hub] for one, other in links if hub in (one, other))
    sizes = Counter(label)
    ranked = [*(group for group, _ in near.most_common()), hub, *hubs[:number]]
    ranked += [group for group, _ in sizes.most_common()]
    return [group for group in dict.fromkeys(ranked) if group != UNPROBED]


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
