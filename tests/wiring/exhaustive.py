"""A least-cost search by brute force: every set of faults up to a cost, each rebuilt by a simulator of its own.

Shares nothing with the service but the names of a wiring: the published contract is written down here a second
time, in the plainest way. Only for small wirings.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, pairwise, permutations

from service.wiring.wirings import Wiring

CLASSES = ("open", "short", "reversed_pair", "crossed_pairs", "crossed_lanes", "miswire")
SWAP_ORDER = ("crossed_lanes", "crossed_pairs", "reversed_pair", "miswire")

Thing = tuple[str, tuple[str, ...], str | None, tuple[str, ...]]
"""Class, names in order, end, and for a miswire the cycle (each conductor takes the next one's position)."""
Groups = frozenset[frozenset[str]]


def order_of_names(wiring: Wiring) -> dict[str, tuple[int, int, str]]:
    """Conductors at their A contact, then their B contact; contacts of no conductor at their own place."""
    contacts = [*wiring.contacts("A"), *wiring.contacts("B")]
    order = {contact: (contacts.index(contact), -1, "") for contact in contacts}
    order |= {c.name: (contacts.index(c.a), contacts.index(c.b), c.name) for c in wiring.conductors}
    return order


def cost(thing: Thing) -> int:
    return len(thing[1]) - 1 if thing[0] in ("short", "miswire") else 1


def landings(wiring: Wiring, things: Sequence[Thing]) -> dict[str, str]:
    """Where each conductor ends once the swaps are made."""
    land = {c.name: c.b for c in wiring.conductors}
    wire = {c.name: c for c in wiring.conductors}
    for swap in SWAP_ORDER:
        for kind, names, _, cycle in things:
            if kind != swap:
                continue
            if kind == "miswire":
                taken = [land[name] for name in (*cycle[1:], cycle[0])]
                land.update(zip(cycle, taken, strict=True))
                continue
            unit = {"crossed_lanes": "lane", "crossed_pairs": "pair", "reversed_pair": "role"}[kind]
            ours = [name for name in names if getattr(wire[name], unit) == getattr(wire[names[0]], unit)]
            for name in ours:
                other = next(
                    n
                    for n in names
                    if n not in ours and (kind == "reversed_pair" or wire[n].role == wire[name].role)
                )
                land[name], land[other] = land[other], land[name]
    return land


def simulate(wiring: Wiring, things: Sequence[Thing]) -> Groups:
    """The groups of contacts that conduct: halves and contacts as nodes of a graph, walked from every contact."""
    land = landings(wiring, things)
    names = {c.name for c in wiring.conductors}
    opened = {thing[1][0] for thing in things if thing[0] == "open"}
    edges: list[tuple[object, object]] = []
    for c in wiring.conductors:
        edges += [(("A", c.name), c.a), (("B", c.name), land[c.name])]
        if c.name not in opened:
            edges.append((("A", c.name), ("B", c.name)))
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


def every_thing(wiring: Wiring, most: int) -> list[Thing]:
    """Every fault object that costs at most `most`."""
    order = order_of_names(wiring)
    wires = [c.name for c in wiring.conductors]
    things: list[Thing] = [("open", (name,), None, ()) for name in wires]
    things += [("open", (bond.later,), bond.later[0], ()) for bond in wiring.bonds]
    for end in (None, "A", "B"):
        loose = [contact for contact in wiring.loose_contacts if end in (None, contact[0])]
        names = sorted([*wires, *loose], key=order.__getitem__)
        for size in range(2, most + 2):
            things += [("short", some, end, ()) for some in combinations(names, size)]
    things += list(_swaps(wiring, most))
    return things


def _swaps(wiring: Wiring, most: int) -> Iterator[Thing]:
    order = order_of_names(wiring)
    pairs = [tuple(c.name for c in pair) for pair in wiring.pairs.values()]
    for pair in pairs:
        yield "reversed_pair", tuple(sorted(pair, key=order.__getitem__)), None, ()
    for kind, units in (("crossed_pairs", wiring.pairs), ("crossed_lanes", wiring.lanes)):
        for one, other in combinations(units.values(), 2):
            if sorted(c.role for c in one) == sorted(c.role for c in other):
                names = sorted((c.name for c in (*one, *other)), key=order.__getitem__)
                yield kind, tuple(names), None, ()
    wires = [c.name for c in wiring.conductors]
    for size in range(2, most + 2):
        for some in combinations(wires, size):
            if size == 2 and any(set(some) == set(pair) for pair in pairs):
                continue
            for rest in permutations(some[1:]):
                yield "miswire", some, None, (some[0], *rest)


def every_set(things: Sequence[Thing], most: int, start: int = 0) -> Iterator[tuple[Thing, ...]]:
    """Every set of fault objects, no two opens of one conductor, that costs at most `most`."""
    yield ()
    for number in range(start, len(things)):
        price = cost(things[number])
        if price <= most:
            for rest in every_set(things, most - price, number + 1):
                yield (things[number], *rest)


def preference(wiring: Wiring, things: Sequence[Thing]) -> tuple[object, ...]:
    """The tie-breaking of the contract: the smallest is the answer. Whole lanes go before any other exchange."""
    order = order_of_names(wiring)
    kinds = [thing[0] for thing in things]
    ends = [thing[2] for thing in things if thing[2]]
    listed = sorted(
        (CLASSES.index(kind), [order[name] for name in names], end or "", cycle)
        for kind, names, end, cycle in things
    )
    return (
        sum(map(cost, things)),
        len(things),
        len(set(kinds)),
        sum(kind in SWAP_ORDER for kind in kinds),
        _bonded_shells(wiring, things),
        len(ends),
        ends.count("B"),
        sum(kind in SWAP_ORDER[1:] for kind in kinds),
        listed,
    )


def _bonded_shells(wiring: Wiring, things: Sequence[Thing]) -> int:
    """Shorts' members that are loose contacts, bonded to a conductor whose name would do."""
    opened = {thing[1][0] for thing in things if thing[0] == "open"}
    bonded = walk([(bond.earlier, bond.later) for bond in wiring.bonds if bond.later not in opened])
    used = {c.a for c in wiring.conductors} | {c.b for c in wiring.conductors}
    shells = {contact for group in bonded if group & used for contact in group - used}
    return sum(name in shells for kind, names, *_ in things if kind == "short" for name in names)


class Table:
    """The preferred explanation of every reading that faults of at most `most` in all can give."""

    def __init__(self, wiring: Wiring, most: int) -> None:
        self.wiring = wiring
        self.sets = [
            (simulate(wiring, things), things) for things in every_set(every_thing(wiring, most), most)
        ]

    def answers(self, probed: Iterable[str] | None = None) -> dict[Groups, tuple[Thing, ...]]:
        best: dict[Groups, tuple[Thing, ...]] = {}
        price: dict[Groups, tuple[object, ...]] = {}
        for full, things in self.sets:
            groups = full if probed is None else cut_down(full, probed)
            known = price.get(groups)
            total = sum(map(cost, things))
            if known is not None and (known[0], known[1]) < (total, len(things)):
                continue
            key = preference(self.wiring, things)
            if known is None or key < known:
                best[groups], price[groups] = things, key
        return best
