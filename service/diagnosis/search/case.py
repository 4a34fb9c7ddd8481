"""One test set before the search: every contact gets the label of its group, every landing an estimate.

A conductor that joins two contacts of one group is worth 2: it need not be cut, and it saves a join. One with an
unprobed contact is worth 1: it need not be cut. One between two groups is worth 0: it must be cut.

An unprobed contact where several conductors or bonds meet is a *hub*: it belongs to some group, which is not known.
There is a case for each choice; a hub counts in it as if it had been probed and found there, or in a group of its
own, or of several hubs.

A contact of no conductor that the readings join to another may hold a wire: the shell's tag. At end B it is one more
position, with a *blank* conductor that starts nowhere; at end A a blank conductor starts there, whose own position is
nowhere. A wire that goes there changes places with the blank, so that the price of a chain is that of its exchanges.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from itertools import product
from math import prod
from typing import Final

from service.diagnosis.search.plan import Landing, WiringPlan
from service.wiring.wirings import Readings

UNPROBED: Final = -1
"""The label of a contact that was not probed."""
NOWHERE: Final = -1
"""In place of a contact: where a blank conductor starts, or where it has its position."""
_MOST_CASES: Final = 400
_MOST_CHOICES: Final = 10_000


class NumberedCable:
    """One cable by number: the label of each contact, and what each landing is worth.

    `tags` are the contacts of no conductor that the readings join to another. `a` and `b` are the plan's, and then
    those of the blank conductors: from a tag at A to nowhere, and from nowhere to a tag at B.
    """

    def __init__(self, plan: WiringPlan, label: Sequence[int], tags: Sequence[int] = ()) -> None:
        self.plan = plan
        self.label = label
        self.tagged = bool(tags)
        self.a = plan.a + tuple(tag if tag < plan.split else NOWHERE for tag in tags)
        self.b = plan.b + tuple(tag if tag >= plan.split else NOWHERE for tag in tags)
        self.straight: Landing = tuple(range(len(self.a)))
        self.starts: dict[int, list[int]] = defaultdict(list)
        self.positions: dict[int, list[int]] = defaultdict(list)
        for number, (a, b) in enumerate(zip(self.a, self.b, strict=True)):
            if a != NOWHERE:
                self.starts[label[a]].append(number)
            if b != NOWHERE:
                self.positions[label[b]].append(number)
        self.whole = not (self.starts.get(UNPROBED) or self.positions.get(UNPROBED))
        sizes = Counter(label)
        del sizes[UNPROBED]
        self._dearest = len(plan.a) + sizes.total() - len(sizes) + self._bonds()
        self._worth = [[self._worth_of(a, b) for b in self.b] for a in self.a]

    def _worth_of(self, a: int, b: int) -> int:
        if NOWHERE in (a, b):
            return 0
        start, end = self.label[a], self.label[b]
        return 1 if UNPROBED in (start, end) else 2 if start == end else 0

    def wires(self, landing: Landing) -> tuple[tuple[int, int], ...]:
        """The contact at A and the contact at B of each wire, as many as the wiring has conductors."""
        if not self.tagged:
            return tuple(zip(self.a, [self.b[position] for position in landing], strict=True))
        ends = [(self.a[seat], self.b[position]) for seat, position in enumerate(landing)]
        return tuple((a, b) for a, b in ends if a != NOWHERE and b != NOWHERE)

    def seats(self, landing: Landing) -> Landing:
        """The landing as far as it matters: whichever blank conductor is where, the wires are the same."""
        if not self.tagged:
            return landing
        return tuple(
            NOWHERE if self.b[position] == NOWHERE else position
            for seat, position in enumerate(landing)
            if self.a[seat] != NOWHERE
        )

    def holds(self, landing: Landing) -> bool:
        """Whether no blank conductor that starts nowhere has a position nowhere: a wire would be one too many."""
        return not any(
            self.a[seat] == NOWHERE == self.b[position]
            for seat, position in enumerate(landing[len(self.plan.a) :], len(self.plan.a))
        )

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
            if worth[wire][position] < 2 and self.a[wire] != NOWHERE and self.label[self.a[wire]] != UNPROBED
        ]

    def floor(self) -> int:
        """A cost that no explanation of this case can go below; a wire on a tag saves 2 for the price of 1."""
        best = 0
        spare = bool(self.positions.get(UNPROBED))
        for label, conductors in self.starts.items():
            wires, places = self._wires(conductors), self._wires(self.positions.get(label, ()))
            if label == UNPROBED:
                best += wires
                continue
            matched = min(wires, places)
            best += 2 * matched + (wires - matched if spare else 0)
            best += min(len(conductors), len(self.positions.get(label, ()))) - matched
        return self._dearest - best - self._free_joins()

    def _wires(self, numbers: Iterable[int]) -> int:
        """How many are conductors of the wiring, or their positions."""
        return sum(number < len(self.plan.a) for number in numbers)

    def double_joins(self, conductors: Iterable[int]) -> int:
        """At most so many joins could come free, from shorts along both halves of these conductors if cut."""
        labels = [self.label[self.a[conductor]] for conductor in conductors]
        return len(labels) - len(set(labels))

    def _free_joins(self) -> int:
        """As `double_joins`, of the conductors that must be cut wherever the others land."""
        at_a = at_b = 0
        for label in self.starts.keys() | self.positions.keys():
            starts, ends = self.starts.get(label, ()), self.positions.get(label, ())
            if label != UNPROBED:
                at_a += max(0, len(starts) - self._wires(ends) - 1)
                at_b += max(0, len(ends) - self._wires(starts) - 1)
        return min(at_a, at_b)

    def _bonds(self) -> int:
        """A bond within a group saves a join; one between groups must be opened."""
        total = 0
        for bond in self.plan.bonds:
            one, other = (self.label[contact] for contact in bond)
            if UNPROBED not in (one, other):
                total += -1 if one == other else 1
        return total


def cases(plan: WiringPlan, readings: Readings) -> tuple[list[NumberedCable], bool]:
    """The cases of a test, the most promising first, and whether these are all."""
    label = _labels(plan, readings)
    hubs = [contact for contact in plan.hubs if label[contact] == UNPROBED]
    choices = [_choices(plan, label, hubs, number) for number in range(len(hubs))]
    total = prod(map(len, choices))
    while prod(map(len, choices)) > _MOST_CHOICES:
        longest = max(choices, key=len)
        longest.pop()
    likely = sorted(product(*(list(enumerate(some)) for some in choices)), key=_surprise)[:_MOST_CASES]
    joined = 0
    for readings_group in readings.groups:
        joined |= readings_group
    tags = [contact for contact in plan.loose if joined >> contact & 1]
    made = []
    for chosen in likely:
        labeled = list(label)
        for contact, (_, group) in zip(hubs, chosen, strict=True):
            labeled[contact] = group
        made.append(NumberedCable(plan, labeled, tags))
    return sorted(made, key=NumberedCable.floor), len(made) == total


def _surprise(chosen: Sequence[tuple[int, int]]) -> int:
    return sum(rank for rank, _ in chosen)


def _choices(plan: WiringPlan, label: Sequence[int], hubs: Sequence[int], number: int) -> list[int]:
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


def _labels(plan: WiringPlan, readings: Readings) -> list[int]:
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
