"""One test set before the search: every contact gets the label of its group, every landing an estimate.

A conductor that joins two contacts of one group is worth 2: it need not be cut, and it saves a join. One with an
unprobed contact is worth 1: it need not be cut. One between two groups is worth 0: it must be cut.
"""

from collections import defaultdict

from service.wiring.readings import Readings
from service.wiring.search.plan import Landing, Plan

UNPROBED = -1
EFFORT = 6000
"""How many steps a search may take before it settles for the best that it has (about half a second)."""


class Case:
    """Readings of one cable by number: labels, sizes and what each landing would be worth."""

    def __init__(self, plan: Plan, readings: Readings) -> None:
        self.plan = plan
        self.readings = readings
        self.effort = EFFORT
        self.label = _labels(plan, readings)
        self.size: dict[int, int] = defaultdict(int)
        for label in self.label:
            self.size[label] += 1
        self.starts: dict[int, list[int]] = defaultdict(list)
        self.positions: dict[int, list[int]] = defaultdict(list)
        for number, (a, b) in enumerate(zip(plan.a, plan.b, strict=True)):
            self.starts[self.label[a]].append(number)
            self.positions[self.label[b]].append(number)
        self.whole = UNPROBED not in self.size
        self.plain = self.whole and not plan.tangled
        self._dearest = len(plan.a) + sum(group.bit_count() - 1 for group in readings.groups) + self._bonds()
        self.hub_joins = 0 if self.whole else self._hub_joins()

    def worth(self, conductor: int, position: int) -> int:
        """2, 1 or 0, as above."""
        start = self.label[self.plan.a[conductor]]
        end = self.label[self.plan.b[position]]
        if start == UNPROBED or end == UNPROBED:
            return 1
        return 2 if start == end else 0

    def estimate(self, landing: Landing) -> int:
        """The opens and joins that this landing leaves; exact on plain cases where no short spans two groups."""
        return self._dearest - sum(map(self.worth, range(len(landing)), landing))

    def restless(self, landing: Landing) -> list[int]:
        """Conductors that could be worth more elsewhere."""
        found = []
        for conductor, position in enumerate(landing):
            start = self.label[self.plan.a[conductor]]
            if start != UNPROBED and self.worth(conductor, position) < 2:
                found.append(conductor)
        return found

    def floor(self) -> int:
        """A cost that no explanation can go below."""
        best = 0
        spare = bool(self.positions.get(UNPROBED))
        for label, conductors in self.starts.items():
            if label == UNPROBED:
                best += len(conductors)
                continue
            matched = min(len(conductors), len(self.positions.get(label, ())))
            best += 2 * matched + (len(conductors) - matched if spare else 0)
        return self._dearest - best - self.double_joins(range(len(self.plan.a))) - self.hub_joins

    def double_joins(self, conductors: "list[int] | range") -> int:
        """At most so many joins could come free, from shorts along both halves of cut conductors."""
        labels = [self.label[self.plan.a[conductor]] for conductor in conductors]
        return len(labels) - len(set(labels))

    def _bonds(self) -> int:
        total = 0
        for one, other in self.plan.bonds:
            labels = {self.label[one], self.label[other]}
            if UNPROBED not in labels:
                total += 1 if len(labels) == 2 else -1
        return total

    def _hub_joins(self) -> int:
        """Joins that may run through unprobed contacts."""
        degree: dict[int, int] = defaultdict(int)
        for contact in (*self.plan.a, *self.plan.b, *(end for bond in self.plan.bonds for end in bond)):
            if self.label[contact] == UNPROBED:
                degree[contact] += 1
        return sum(count - 1 for count in degree.values())


def _labels(plan: Plan, readings: Readings) -> list[int]:
    total = len(plan.wiring.all_contacts)
    label = [UNPROBED] * total
    for contact in range(total):
        if readings.probed >> contact & 1:
            label[contact] = contact
    for group in readings.groups:
        first = (group & -group).bit_length() - 1
        while group:
            lowest = group & -group
            label[lowest.bit_length() - 1] = first
            group ^= lowest
    return label
