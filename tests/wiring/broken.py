"""Cables for the tests: wirings of a program's own, faults to put in them, and what a tester then reads."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from hypothesis import strategies as st

from service.wiring.builtin import BUILTIN
from service.wiring.faults import Fault
from service.wiring.wirings import Conductor, Wiring, wiring
from tests.diagnosis.exhaustive import (
    Groups,
    Swapped,
    Thing,
    apart,
    cost,
    listed,
    order_of_names,
    simulate,
    swapped,
    units,
)

KINDS = ("open", "short", "reversed_pair", "crossed_pairs", "crossed_lanes", "miswire", "chain")


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
    kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=most))
    things: list[Thing] = []
    for kind in sorted(kinds, key=("crossed_lanes", "crossed_pairs", "reversed_pair", *_LATER).index):
        thing = draw(_options(made, kind, things))
        if thing is not None and thing not in things and _may_join(things, thing):
            things.append(thing)
    return tuple(listed(made, things))


_LATER = ("miswire", "chain", "open", "short")


def _may_join(things: list[Thing], thing: Thing) -> bool:
    return thing[0] != "miswire" or apart([*(one for one in things if one[0] == "miswire"), thing])


def _options(made: Wiring, kind: str, things: list[Thing]) -> st.SearchStrategy[Thing | None]:
    wires = [wire.name for wire in made.conductors]
    whole = [thing for thing in things if thing[0] not in ("miswire", "open", "short")]
    seats = swapped(made, listed(made, whole))  # in the order in which an answer applies them, not as drawn
    if kind == "open":
        opens: list[Thing] = [("open", (name,), None, ()) for name in wires]
        return st.sampled_from(opens + [("open", (bond.later,), bond.end, ()) for bond in made.bonds])
    if kind == "short":
        return st.sampled_from([None, "A", "B"]).flatmap(lambda end: _shorts(made, end, things))
    if kind == "miswire":
        return st.permutations(wires).flatmap(
            lambda cycle: st.integers(2, min(5, len(wires))).map(
                lambda size: _moved(made, None, dict(pairs_round(cycle[:size], seats.at_b)))
            )
        )
    if kind == "chain":
        return st.sampled_from("AB").flatmap(lambda end: _chains(made, end, seats))
    return _whole_units(made, kind)


def pairs_round(cycle: Sequence[str], at: Mapping[str, str]) -> list[tuple[str, str]]:
    """Each conductor of a cycle with the contact of the next."""
    return [(name, at[other]) for name, other in zip(cycle, [*cycle[1:], cycle[0]], strict=True)]


def _chains(made: Wiring, end: str, seats: Swapped) -> st.SearchStrategy[Thing | None]:
    tags = [contact for contact in made.loose_contacts if contact[0] == end]
    at = seats.at_a if end == "A" else seats.at_b
    if not tags:
        return st.none()
    wires = st.permutations([wire.name for wire in made.conductors])
    return st.tuples(wires, st.integers(1, 3), st.sampled_from(tags)).map(
        lambda drawn: _chain(made, end, drawn[0][: drawn[1]], drawn[2], at)
    )


def _chain(made: Wiring, end: str, wires: Sequence[str], tag: str, at: Mapping[str, str]) -> Thing | None:
    if any(at[one] == at[other] for one, other in pairwise(wires)):
        return None
    return _moved(made, end, {name: at[other] for name, other in pairwise(wires)} | {wires[-1]: tag})


def _moved(made: Wiring, end: str | None, goals: Mapping[str, str]) -> Thing:
    names = sorted(goals, key=order_of_names(made).__getitem__)
    return "miswire", tuple(names), end, tuple((name, goals[name]) for name in names)


def _shorts(made: Wiring, end: str | None, things: list[Thing]) -> st.SearchStrategy[Thing | None]:
    order = order_of_names(made)
    taken = swapped(made, listed(made, things)).taken
    names = [wire.name for wire in made.conductors]
    names += [one for one in made.all_contacts if one not in taken and end in (None, one[0])]
    members = st.sets(st.sampled_from(names), min_size=2, max_size=4)
    return members.map(lambda some: ("short", tuple(sorted(some, key=order.__getitem__)), end, ()))


def _whole_units(made: Wiring, kind: str) -> st.SearchStrategy[Thing | None]:
    found = [thing for thing in units(made) if thing[0] == kind]
    return st.sampled_from(found) if found else st.none()


def as_things(faults: tuple[Fault, ...]) -> tuple[Thing, ...]:
    """A diagnosis in the simulator's words."""
    return tuple((fault.fault_class.value, fault.conductors, fault.end, fault.destinations or ()) for fault in faults)


def total(things: tuple[Thing, ...]) -> int:
    """What they all cost."""
    return sum(map(cost, things))


def groups_of(made: Wiring, things: tuple[Thing, ...]) -> list[list[str]]:
    return [sorted(group) for group in simulate(made, things)]


def as_groups(joined: list[list[str]]) -> Groups:
    return frozenset(frozenset(group) for group in joined if len(group) > 1)
