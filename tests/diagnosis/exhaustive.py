"""A least-cost search by brute force: every set of faults up to a cost, each rebuilt by a simulator of its own.

Shares nothing with the service but the names of a wiring: the published contract is written down here a second
time, in the plainest way. Only for small wirings.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise, permutations

from service.wiring.wirings import Wiring, connector_of

CLASSES = ("open", "short", "reversed_pair", "crossed_pairs", "crossed_lanes", "miswire")
SWAP_ORDER = ("crossed_lanes", "crossed_pairs", "reversed_pair", "miswire")
ENDS = (None, "A", "B")

Thing = tuple[str, tuple[str, ...], str | None, tuple[tuple[str, str], ...]]
"""Class, names in order, end, and for a miswire the map: each conductor and the contact where it goes."""
Groups = frozenset[frozenset[str]]


def order_of_names(wiring: Wiring) -> dict[str, tuple[int, int, str]]:
    """Conductors at their A contact, then their B contact; contacts at their own place."""
    contacts = [*wiring.contacts("A"), *wiring.contacts("B")]
    order = {contact: (contacts.index(contact), -1, "") for contact in contacts}
    order |= {c.name: (contacts.index(c.a), contacts.index(c.b), c.name) for c in wiring.conductors}
    return order


def is_chain(thing: Thing) -> bool:
    """Whether it is a miswire that ends on a contact of no conductor."""
    return thing[0] == "miswire" and thing[2] is not None


def cost(thing: Thing) -> int:
    if is_chain(thing):
        return len(thing[1])
    return len(thing[1]) - 1 if thing[0] in ("short", "miswire") else 1


@dataclass(frozen=True)
class Swapped:
    """Where each conductor sits at A and at B once the swaps are made, and the contact that each chain left."""

    at_a: Mapping[str, str]
    at_b: Mapping[str, str]
    left: tuple[str, ...]

    @cached_property
    def taken(self) -> frozenset[str]:
        """Contacts with a half on them."""
        return frozenset([*self.at_a.values(), *self.at_b.values()])


def swapped(wiring: Wiring, things: Sequence[Thing]) -> Swapped:
    """The swaps, class by class, each on the present permutations."""
    at_a = {c.name: c.a for c in wiring.conductors}
    at_b = {c.name: c.b for c in wiring.conductors}
    left = []
    for swap in SWAP_ORDER:
        for thing in things:
            kind, names, end, moves = thing
            if kind != swap:
                continue
            if kind == "miswire":
                seats = at_a if end == "A" else at_b
                goals = [contact for _, contact in moves]
                left += [seats[name] for name in names if seats[name] not in goals] if end else []
                seats.update(moves)
                continue
            for one, other in exchanged(wiring, thing):
                at_b[one], at_b[other] = at_b[other], at_b[one]
    return Swapped(at_a, at_b, tuple(left))


def exchanged(wiring: Wiring, thing: Thing) -> Iterator[tuple[str, str]]:
    """The conductors that change places, two by two, role by role."""
    kind, names, _, _ = thing
    wire = {c.name: c for c in wiring.conductors}
    unit = {"crossed_lanes": "lane", "crossed_pairs": "pair", "reversed_pair": "role"}[kind]
    ours = [name for name in names if getattr(wire[name], unit) == getattr(wire[names[0]], unit)]
    others = [name for name in names if name not in ours]
    for name in ours:
        other = next(n for n in others if kind == "reversed_pair" or wire[n].role == wire[name].role)
        others.remove(other)
        yield name, other


def simulate(wiring: Wiring, things: Sequence[Thing]) -> Groups:
    """The groups of contacts that conduct: halves and contacts as nodes of a graph, walked from every contact."""
    return _conducts(wiring, swapped(wiring, things), things)


def _conducts(wiring: Wiring, seats: Swapped, things: Sequence[Thing]) -> Groups:
    names = {c.name for c in wiring.conductors}
    opened = {thing[1][0] for thing in things if thing[0] == "open"}
    edges: list[tuple[object, object]] = []
    for name in names:
        edges += [(("A", name), seats.at_a[name]), (("B", name), seats.at_b[name])]
        if name not in opened:
            edges.append((("A", name), ("B", name)))
    edges += [(bond.earlier, bond.later) for bond in wiring.bonds if bond.later not in opened]
    for kind, members, end, _ in things:
        if kind == "short":
            for side in end or "AB":
                nodes = [(side, name) if name in names else name for name in members]
                edges += list(pairwise(nodes))
    return walk(edges)


def walk(edges: Iterable[tuple[object, object]]) -> Groups:
    near: dict[object, list[object]] = {}
    for one, other in edges:
        near.setdefault(one, []).append(other)
        near.setdefault(other, []).append(one)
    groups = set()
    left = set(near)
    while left:
        waiting = [left.pop()]
        group = set(waiting)
        while waiting:
            for node in near[waiting.pop()]:
                if node in left:
                    left.discard(node)
                    group.add(node)
                    waiting.append(node)
        groups.add(frozenset(node for node in group if isinstance(node, str)))
    return frozenset(group for group in groups if len(group) > 1)


def cut_down(groups: Groups, probed: Iterable[str]) -> Groups:
    reached = set(probed)
    return frozenset(group & reached for group in groups if len(group & reached) > 1)


def opens(wiring: Wiring) -> list[Thing]:
    """Every conductor or bond broken."""
    found: list[Thing] = [("open", (c.name,), None, ()) for c in wiring.conductors]
    return found + [("open", (bond.later,), bond.later[0], ()) for bond in wiring.bonds]


def shorts(wiring: Wiring, seats: Swapped, most: int) -> Iterator[Thing]:
    """Every short that costs at most `most`: of conductors, and of contacts that no half is on."""
    order = order_of_names(wiring)
    wires = [c.name for c in wiring.conductors]
    for end in ENDS:
        bare = [contact for contact in wiring.all_contacts if contact not in seats.taken and end in (None, contact[0])]
        names = sorted([*wires, *bare], key=order.__getitem__)
        for size in range(2, most + 2):
            for some in combinations(names, size):
                yield "short", some, end, ()


def units(wiring: Wiring) -> list[Thing]:
    """Every exchange of whole lanes or pairs, and of the two of a pair, in the order in which they are made."""
    order = order_of_names(wiring)
    found: list[Thing] = []
    for kind, groups in (("crossed_lanes", wiring.lanes), ("crossed_pairs", wiring.pairs)):
        for one, other in combinations(groups.values(), 2):
            if sorted(c.role for c in one) == sorted(c.role for c in other):
                names = sorted((c.name for c in (*one, *other)), key=order.__getitem__)
                found.append((kind, tuple(names), None, ()))
    for pair in wiring.pairs.values():
        names = sorted((c.name for c in pair), key=order.__getitem__)
        found.append(("reversed_pair", tuple(names), None, ()))
    return sorted(found, key=lambda thing: (SWAP_ORDER.index(thing[0]), [order[n] for n in thing[1]]))


def miswires(wiring: Wiring, seats: Swapped, most: int) -> Iterator[Thing]:
    """Every cycle, and every chain at either end, that costs at most `most`, from the present permutations."""
    order = order_of_names(wiring)
    wires = [c.name for c in wiring.conductors]
    pairs = [{c.name for c in pair} for pair in wiring.pairs.values()]
    used = {c.a for c in wiring.conductors} | {c.b for c in wiring.conductors}
    for size in range(2, most + 2):
        for some in combinations(wires, size):
            for rest in permutations(some[1:]):
                cycle = (some[0], *rest)
                goals = {name: seats.at_b[other] for name, other in pairwise((*cycle, cycle[0]))}
                if not any(set(some) == pair for pair in pairs):
                    yield "miswire", some, None, tuple((name, goals[name]) for name in some)
    for end, at in (("A", seats.at_a), ("B", seats.at_b)):
        loose = [contact for contact in wiring.contacts(end) if contact not in used]
        for size in range(1, most + 1):
            for chain in permutations(wires, size):
                if any(at[one] == at[other] for one, other in pairwise(chain)):
                    continue
                for last in loose:
                    goals = {name: at[other] for name, other in pairwise(chain)} | {chain[-1]: last}
                    names = tuple(sorted(chain, key=order.__getitem__))
                    yield "miswire", names, end, tuple((name, goals[name]) for name in names)


def every_set(things: Sequence[Thing], most: int, start: int = 0) -> Iterator[tuple[Thing, ...]]:
    """Every set of fault objects that costs at most `most`."""
    yield ()
    for number in range(start, len(things)):
        price = cost(things[number])
        if price <= most:
            for rest in every_set(things, most - price, number + 1):
                yield (things[number], *rest)


def every_swap(wiring: Wiring, most: int) -> Iterator[tuple[Thing, ...]]:
    """Every set of swaps that costs at most `most` and keeps the rules of miswires among each other."""
    for whole in every_set(units(wiring), most):
        left = most - sum(map(cost, whole))
        possible = list(miswires(wiring, swapped(wiring, whole), left))
        for some in every_set(possible, left):
            if apart(some):
                yield (*whole, *some)


def apart(some: Sequence[Thing]) -> bool:
    """Miswires at one end share no conductor, and no two chains a contact."""
    for one, other in combinations(some, 2):
        if (one[2] == "A") == (other[2] == "A") and set(one[1]) & set(other[1]):
            return False
        if is_chain(one) and is_chain(other) and _last(one) & _last(other):
            return False
    return True


def _last(chain: Thing) -> set[str]:
    return {contact for _, contact in chain[3]}


def every_explanation(wiring: Wiring, most: int) -> Iterator[tuple[Groups, tuple[Thing, ...]]]:
    """What conducts with every set of faults that costs at most `most`, and the set."""
    broken = opens(wiring)
    for swaps in every_swap(wiring, most):
        seats = swapped(wiring, swaps)
        left = most - sum(map(cost, swaps))
        for rest in every_set([*broken, *shorts(wiring, seats, left)], left):
            things = (*rest, *swaps)
            yield _conducts(wiring, seats, things), things


def ends_joined(wiring: Wiring, things: Sequence[Thing], groups: Groups) -> bool:
    """Whether the readings join every contact of no conductor on which a chain ends to another."""
    used = {c.a for c in wiring.conductors} | {c.b for c in wiring.conductors}
    lasts = {contact for thing in things if is_chain(thing) for contact in _last(thing)} - used
    return lasts <= frozenset().union(*groups)


def listed(wiring: Wiring, things: Iterable[Thing]) -> list[Thing]:
    """Fault objects in the order in which an answer gives them."""
    order = order_of_names(wiring)
    return sorted(
        things,
        key=lambda thing: (
            CLASSES.index(thing[0]),
            order[thing[1][0]],
            ENDS.index(thing[2]) if thing[0] == "miswire" else 0,
            [order[name] for name in thing[1]],
            ENDS.index(thing[2]),
        ),
    )


def preference(wiring: Wiring, things: Sequence[Thing]) -> tuple[object, ...]:
    """The tie-breaking of the contract: the smallest is the answer. Whole lanes go before any other exchange."""
    order = order_of_names(wiring)
    kinds = [thing[0] for thing in things]
    ends = [thing[2] for thing in things if thing[2] and thing[0] != "miswire"]
    return (
        sum(map(cost, things)),
        len(things),
        len(set(kinds)),
        sum(kind in SWAP_ORDER for kind in kinds),
        _bonded_shells(wiring, things),
        len(ends),
        ends.count("B"),
        _strays(wiring, things),
        sum(kind in SWAP_ORDER[1:] for kind in kinds),
        [
            (
                CLASSES.index(kind),
                [order[name] for name in names],
                [order[c] for _, c in moves],
                ENDS.index(end),
            )
            for kind, names, end, moves in listed(wiring, things)
        ],
    )


def _strays(wiring: Wiring, things: Sequence[Thing]) -> int:
    """Chains that end on another connector than the one where they left a contact free."""
    return sum(
        is_chain(thing)
        and not {connector_of(contact) for contact in _left_by(wiring, things, thing)}
        & {connector_of(contact) for contact in _last(thing) if contact in wiring.loose_contacts}
        for thing in things
    )


def _left_by(wiring: Wiring, things: Sequence[Thing], chain: Thing) -> tuple[str, ...]:
    swaps = [thing for thing in things if thing[0] in SWAP_ORDER[:3]]
    return swapped(wiring, [*swaps, chain]).left


def _bonded_shells(wiring: Wiring, things: Sequence[Thing]) -> int:
    """Shorts' members that are contacts without a half, bonded to one whose conductor's name would do."""
    opened = {thing[1][0] for thing in things if thing[0] == "open"}
    bonded = walk([(bond.earlier, bond.later) for bond in wiring.bonds if bond.later not in opened])
    taken = swapped(wiring, things).taken
    shells = {contact for group in bonded if group & taken for contact in group - taken}
    return sum(name in shells for kind, names, *_ in things if kind == "short" for name in names)


class Table:
    """The preferred explanation of every reading that faults of at most `most` in all can give."""

    def __init__(self, wiring: Wiring, most: int) -> None:
        self.wiring = wiring
        self.sets = list(every_explanation(wiring, most))

    def answers(self, probed: Iterable[str] | None = None) -> dict[Groups, tuple[Thing, ...]]:
        best: dict[Groups, tuple[Thing, ...]] = {}
        price: dict[Groups, tuple[object, ...]] = {}
        for full, things in self.sets:
            groups = full if probed is None else cut_down(full, probed)
            known = price.get(groups)
            if known is not None and known[:2] < (sum(map(cost, things)), len(things)):
                continue
            if not ends_joined(self.wiring, things, groups):
                continue
            key = preference(self.wiring, things)
            if known is None or key < known:
                best[groups], price[groups] = things, key
        return best


def obeys(wiring: Wiring, things: Sequence[Thing], groups: Groups) -> bool:
    """Whether an answer keeps every rule of the contract for what may stand in one, apart from its cost."""
    swaps = [thing for thing in things if thing[0] in SWAP_ORDER]
    moved = [thing for thing in swaps if thing[0] == "miswire"]
    start = swapped(wiring, [thing for thing in swaps if thing[0] != "miswire"])
    taken = swapped(wiring, swaps).taken
    wires = {c.name for c in wiring.conductors}
    named = [
        name in wires or (name not in taken and end in (None, name[0]))
        for kind, names, end, _ in things
        if kind == "short"
        for name in names
    ]
    broken = [thing for thing in things if thing[0] == "open"]
    return (
        list(things) == listed(wiring, things)
        and len(set(things)) == len(things)
        and {thing for thing in swaps if thing[0] != "miswire"} <= set(units(wiring))
        and all(_is_walk(wiring, thing, start.at_a if thing[2] == "A" else start.at_b) for thing in moved)
        and apart(moved)
        and ends_joined(wiring, things, groups)
        and all(named)
        and set(broken) <= set(opens(wiring))
    )


def _is_walk(wiring: Wiring, thing: Thing, at: Mapping[str, str]) -> bool:
    """Whether a miswire is one cycle, or one chain to a contact of no conductor, from the present permutations."""
    _, names, end, moves = thing
    goals = dict(moves)
    loose = [contact for contact in goals.values() if contact in wiring.loose_contacts and contact[0] == end]
    if tuple(goals) != names or len(loose) != (end is not None):
        return False
    last = loose[0] if loose else at[names[0]]
    walked = []
    for _ in names:
        near = [name for name, goal in goals.items() if goal == last and name not in walked]
        if not near:
            return False
        walked.append(near[0])
        last = at[near[0]]
    return end is not None or (len(names) > 1 and last == at[names[0]])
