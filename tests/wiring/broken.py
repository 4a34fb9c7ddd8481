"""Cables for the tests: wirings of a program's own, faults to put in them, and what a tester then reads."""

from hypothesis import strategies as st

from service.wiring.builtin import BUILTIN
from service.wiring.faults import Fault, FaultClass
from service.wiring.wirings import Conductor, Wiring, wiring
from tests.wiring.exhaustive import Groups, Thing, landings, order_of_names, simulate

KINDS = ("open", "short", "reversed_pair", "crossed_pairs", "crossed_lanes", "miswire")


@st.composite
def own_wirings(draw: st.DrawFn) -> Wiring:
    """Up to seven conductors, some on shared contacts, some in pairs and lanes, with up to two bonds."""
    ends = {end: [str(number) for number in range(1, draw(st.integers(2, 7)) + 1)] + ["s"] for end in "AB"}
    count = draw(st.integers(2, 7))
    lands = [draw(st.tuples(st.sampled_from(ends["A"]), st.sampled_from(ends["B"]))) for _ in range(count)]
    conductors = []
    for number, (a, b) in enumerate(lands):
        paired = number // 2 * 2 + 1 < count and number < 4
        role = ("hot", "cold")[number % 2] if paired else "single"
        unit = str(number // 2) if paired else None
        conductors.append(Conductor(f"c{number}", f"A{a}", f"B{b}", role, unit, unit))
    bonds = {}
    for end in draw(st.lists(st.sampled_from("AB"), max_size=2)):
        places = sorted(draw(st.sets(st.integers(0, len(ends[end]) - 1), min_size=2, max_size=2)))
        bonds[end, places[1]] = (end + ends[end][places[0]], end + ends[end][places[1]])
    return wiring(ends["A"], ends["B"], conductors, bonds.values())


wirings = st.one_of(st.sampled_from(list(BUILTIN.values())), own_wirings())


@st.composite
def broken(draw: st.DrawFn, made: Wiring, most: int = 4) -> tuple[Thing, ...]:
    """Up to `most` faults of every class that the wiring allows, swaps in the order in which they are applied."""
    kinds = sorted(draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=most)), key=KINDS.index)
    things: list[Thing] = []
    for kind in kinds:
        options = _options(made, kind)
        thing = draw(options) if options is not None else None
        if thing is not None and thing not in things:
            things.append(thing)
    return tuple(sorted(things, key=lambda thing: _listed(made, thing)))


def _listed(made: Wiring, thing: Thing) -> tuple[object, ...]:
    order = order_of_names(made)
    return KINDS.index(thing[0]), [order[name] for name in thing[1]]


def _options(made: Wiring, kind: str) -> st.SearchStrategy[Thing] | None:
    order = order_of_names(made)
    wires = [wire.name for wire in made.conductors]
    if kind == "open":
        opens: list[Thing] = [("open", (name,), None, ()) for name in wires]
        return st.sampled_from(opens + [("open", (bond.later,), bond.end, ()) for bond in made.bonds])
    if kind == "short":
        return st.sampled_from([None, "A", "B"]).flatmap(lambda end: _shorts(made, end))
    if kind == "miswire":
        return st.permutations(wires).flatmap(
            lambda cycle: st.integers(2, min(5, len(wires))).map(
                lambda size: (
                    "miswire",
                    tuple(sorted(cycle[:size], key=order.__getitem__)),
                    None,
                    tuple(cycle[:size]),
                )
            )
        )
    return _whole_units(made, kind)


def _shorts(made: Wiring, end: str | None) -> st.SearchStrategy[Thing]:
    order = order_of_names(made)
    names = [wire.name for wire in made.conductors]
    names += [contact for contact in made.loose_contacts if end in (None, contact[0])]
    members = st.sets(st.sampled_from(names), min_size=2, max_size=4)
    return members.map(lambda some: ("short", tuple(sorted(some, key=order.__getitem__)), end, ()))


def _whole_units(made: Wiring, kind: str) -> st.SearchStrategy[Thing] | None:
    order = order_of_names(made)
    units = list((made.lanes if kind == "crossed_lanes" else made.pairs).values())
    if kind == "reversed_pair":
        chosen = [list(unit) for unit in units]
    else:
        chosen = [
            [*one, *other]
            for at, one in enumerate(units)
            for other in units[at + 1 :]
            if sorted(wire.role for wire in one) == sorted(wire.role for wire in other)
        ]
    things: list[Thing] = [
        (kind, tuple(sorted((wire.name for wire in some), key=order.__getitem__)), None, ())
        for some in chosen
    ]
    return st.sampled_from(things) if things else None


def cost(things: tuple[Thing, ...]) -> int:
    return sum(len(names) - 1 if kind in ("short", "miswire") else 1 for kind, names, *_ in things)


def as_things(faults: tuple[Fault, ...], made: Wiring) -> tuple[Thing, ...]:
    """A diagnosis in the simulator's words: a miswire as a cycle, each conductor taking the next one's position."""
    things: list[Thing] = []
    for fault in faults:
        cycle: tuple[str, ...] = ()
        if fault.fault_class is FaultClass.MISWIRE:
            cycle = _cycle(fault, landings(made, things))
        things.append((fault.fault_class.value, fault.conductors, fault.end, cycle))
    return tuple(things)


def _cycle(fault: Fault, present: dict[str, str]) -> tuple[str, ...]:
    """The conductors in the order in which each takes the next one's present contact."""
    left = list(fault.conductors)
    cycle = [left.pop(0)]
    while left:
        contact = fault.map[cycle[-1]]  # type: ignore[index]
        cycle.append(left.pop(next(at for at, name in enumerate(left) if present[name] == contact)))
    assert fault.map[cycle[-1]] == present[cycle[0]]  # type: ignore[index]
    return tuple(cycle)


def groups_of(made: Wiring, things: tuple[Thing, ...]) -> list[list[str]]:
    return [sorted(group) for group in simulate(made, things)]


def as_groups(joined: list[list[str]]) -> Groups:
    return frozenset(frozenset(group) for group in joined if len(group) > 1)
