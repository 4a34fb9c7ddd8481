"""What a phone needs to name faults without a signal: the diagnosis of every reading that can be entered on it.

Nothing is worked out on the phone. `tables` holds answers of `diagnose` itself, part by part: a wiring with lanes (or
several pairs without lanes) is cut into them, and what belongs to none is a part of its own, called "". A table is
for the `contacts` of its part as far as they are in `probed`, with every other part reading good. A reading is
looked up by the group that each of the contacts is in, counted as they first come:

    contacts A1 A2 A3 B1 B2 B3, joined A1-B1 and A3-B3   ->   "012032" is A1 0, A2 1, A3 2, B1 0, B2 3, B3 2

An answer is the verdict and the faults, by their place in `faults`, which carry their words, then False where a
cheaper explanation was not ruled out. `unproven` goes with every answer of its table. Whatever is not found so, be it
that two parts are joined, that more than one has trouble or that contacts of a multicore were left out, is kept by
the phone and answered by the service (`"otherwise": "ask"`).
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, combinations
from typing import Any, Final

from service.diagnosis.diagnosis import diagnose
from service.wiring.advice import SAFETY, say
from service.wiring.faults import Fault
from service.wiring.naming import conductor_words
from service.wiring.wirings import Conductor, Readings, Wiring, canonical, is_shell, merge

MOST_CONTACTS: Final = 8
"""The most contacts that a table is made for: 4140 readings, worked out in a few seconds."""

Growth = tuple[int, ...]
"""The group of each contact, groups counted as they first come."""


@dataclass(frozen=True, slots=True)
class TablePart:
    """Conductors that are looked up together, their contacts in order, and the links that are good elsewhere."""

    name: str
    wires: tuple[Conductor, ...]
    contacts: tuple[str, ...]
    elsewhere: tuple[int, ...]


def offline(wiring: Wiring) -> dict[str, Any]:
    """The tables of a wiring, with what it is made of and the words of every fault in them."""
    faults: dict[Fault, int] = {}
    cut = parts(wiring)
    few = len(cut) == 1 and len(wiring.all_contacts) <= MOST_CONTACTS
    tables = [
        _table(wiring, part, probed, faults)
        for part in cut
        for probed in (_every_reach(wiring) if few else [reach(wiring)])
        if sum(1 for contact in part.contacts if wiring.bit[contact] & probed) <= MOST_CONTACTS
    ]
    return {
        "contacts": list(wiring.all_contacts),
        "conductors": [_conductor(wiring, wire) for wire in wiring.conductors],
        "bonds": [[bond.earlier, bond.later] for bond in wiring.bonds],
        "lanes": list(wiring.lanes),
        "safety": SAFETY,
        "faults": [_words(wiring, fault) for fault in faults],
        "tables": tables,
        "otherwise": "ask",
    }


def parts(wiring: Wiring) -> list[TablePart]:
    """The parts of a wiring: its lanes, else its pairs where there are several, else all of it as one."""
    named = next((named_parts for named_parts in (wiring.lanes, wiring.pairs) if len(named_parts) > 1), {})
    taken = {wire for wires in named.values() for wire in wires}
    rest = tuple(wire for wire in wiring.conductors if wire not in taken)
    cut = [*named.items(), *([("", rest)] if rest else [])]
    return [_part(wiring, name, wires, whole=not named) for name, wires in cut]


def reach(wiring: Wiring, skipped: Sequence[Conductor] = (), *, shells: bool = False) -> int:
    """What is reached, as a mask, where the `skipped` conductors were left out and bare `shells` tested or not."""
    left_out = {contact for wire in skipped for contact in (wire.a, wire.b)}
    reached = {contact for wire in wiring.conductors if wire not in skipped for contact in (wire.a, wire.b)}
    bonded = {bond.later for bond in wiring.bonds}
    for bond in wiring.bonds:
        if not left_out & {bond.earlier, bond.later}:
            reached |= {bond.earlier, bond.later}
    reached |= {
        contact for contact in wiring.loose_contacts if contact not in bonded and (shells or not is_shell(contact))
    }
    return sum(wiring.bit[contact] for contact in reached)


def growth_of(groups: Sequence[int], contacts: Sequence[int]) -> str:
    """By what a reading is looked up: the group of each contact (a mask each), groups counted as they first come."""
    counted: dict[int, int] = {}
    for contact in contacts:
        group = next((group for group in groups if group & contact), contact)
        counted.setdefault(group, len(counted))
    numbers = [counted[next((group for group in groups if group & contact), contact)] for contact in contacts]
    return "".join(str(number) for number in numbers)


def growths(size: int) -> Iterator[Growth]:
    """Every way in which `size` contacts can be joined."""
    if size == 0:
        yield ()
        return
    for head in growths(size - 1):
        for group in range(max(head, default=-1) + 2):
            yield (*head, group)


def _part(wiring: Wiring, name: str, wires: tuple[Conductor, ...], *, whole: bool) -> TablePart:
    held = {contact for wire in wires for contact in (wire.a, wire.b)}
    contacts = tuple(contact for contact in wiring.all_contacts if whole or contact in held)
    others = [(wire.a, wire.b) for wire in wiring.conductors if wire not in wires]
    others += [(bond.earlier, bond.later) for bond in wiring.bonds if not {bond.earlier, bond.later} <= set(contacts)]
    return TablePart(name, wires, contacts, tuple(wiring.bit[one] | wiring.bit[other] for one, other in others))


def _every_reach(wiring: Wiring) -> list[int]:
    """What may be reached of a single line: any of its conductors left out, its bare shells tested or not."""
    wires = wiring.conductors
    subsets = chain.from_iterable(combinations(wires, size) for size in range(len(wires) + 1))
    reaches = [reach(wiring, skipped, shells=shells) for skipped in subsets for shells in (False, True)]
    return list(dict.fromkeys(reaches))


def _table(wiring: Wiring, part: TablePart, probed: int, faults: dict[Fault, int]) -> dict[str, Any]:
    contacts = [contact for contact in part.contacts if wiring.bit[contact] & probed]
    bits = [wiring.bit[contact] for contact in contacts]
    elsewhere = [group & probed for group in part.elsewhere]
    results: dict[str, list[Any]] = {}
    unproven: tuple[str, ...] = ()
    for growth in growths(len(contacts)):
        groups: dict[int, int] = defaultdict(int)
        for bit, group in zip(bits, growth, strict=True):
            groups[group] |= bit
        readings = Readings(merge([*groups.values(), *elsewhere]), probed)
        key = "".join(str(group) for group in growth)
        if growth_of(readings.groups, bits) != key:
            continue  # another part joins these contacts, so no cable reads so with that part good
        diagnosis = diagnose(wiring, readings)
        unproven = diagnosis.unproven
        answer = [diagnosis.verdict, [faults.setdefault(fault, len(faults)) for fault in diagnosis.faults]]
        results[key] = answer if diagnosis.least else [*answer, False]
    return {
        "part": part.name,
        "contacts": contacts,
        "probed": canonical(wiring, Readings((), probed))["probed"],
        "unproven": list(unproven),
        "results": results,
    }


def _conductor(wiring: Wiring, wire: Conductor) -> Mapping[str, str | None]:
    return {
        "name": wire.name,
        "a": wire.a,
        "b": wire.b,
        "role": wire.role,
        "pair": wire.pair,
        "lane": wire.lane,
        "words": conductor_words(wiring, wire.name),
    }


def _words(wiring: Wiring, fault: Fault) -> dict[str, Any]:
    advice = say(wiring, fault)
    return fault.to_json() | {
        "title": advice.title,
        "on_stage": advice.on_stage,
        "look_first": advice.look_first,
        "after_repair": advice.after_repair,
    }
