"""The sheet on which a test is entered, contact by contact, with the readings of a good cable as defaults. Pure.

A helper changes only what differs, so an open takes one tap (that contact reached nothing), a reversed pair two, a
short one (two contacts touch). A wiring with several lanes, or several pairs, is entered lane by lane: only the chosen
ones are shown, the others count as good.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

from service.kit.problems import invalid
from service.wiring.wirings import ALL, Bond, Conductor, Wiring, connector_of, is_shell, lanes_of

NOTHING = "-"
"""The value of a contact that reached nothing."""
SKIPPED = "{contact} was marked as not tested, and yet as found wrong. Choose one."

Pair = tuple[str, str]


@dataclass(frozen=True)
class ContactRow:
    """A contact at end A: its field `key` in the form, its role, where it should arrive, and what may be chosen."""

    key: str
    contact: str
    role: str
    good: str
    options: tuple[str, ...]


@dataclass(frozen=True)
class FormSheet:
    """A form: the `lanes` to choose from (none for a single channel), the `shown` ones, and their rows.

    `aside` are rows that hardly ever matter: a screen, an unused contact. `touch_a` and `touch_b` are pairs of contacts
    of one end that may touch each other, `shells` pairs of a shell and a contact.
    """

    lanes: tuple[str, ...]
    shown: tuple[str, ...]
    rows: tuple[ContactRow, ...]
    aside: tuple[ContactRow, ...]
    touch_a: tuple[Pair, ...]
    touch_b: tuple[Pair, ...]
    shells: tuple[Pair, ...]
    bonds: tuple[Bond, ...]


@dataclass(frozen=True)
class Entered:
    """What was entered, as far as it differs from a good cable.

    `landed` by a row's key; `touching` pairs of contacts; `unbonded` the later contacts of missing bonds; `skipped`
    the names of conductors that were not tested; `shells` whether the shells were tested too.
    """

    landed: Mapping[str, str] = field(default_factory=dict)
    touching: tuple[Pair, ...] = ()
    unbonded: frozenset[str] = frozenset()
    skipped: frozenset[str] = frozenset()
    shells: bool = False


def sheet(wiring: Wiring, shown: Sequence[str] = (), touching: Sequence[Pair] = ()) -> FormSheet:
    """The sheet for a wiring; for one with lanes (or several pairs), with the rows of the lanes in `shown`.

    Pairs that were marked as `touching` are always offered.
    """
    parts = lanes_of(wiring)
    if "" in parts:
        return _single(wiring)
    lanes = tuple(lane for lane in parts if lane in shown)
    wires = [wire for lane in lanes for wire in parts[lane]]
    destinations = _in_order(wiring, [wire.b for wire in wires])
    apart = [wire for wire in wiring.conductors if not any(wire in part for part in parts.values())]
    # For up to two lanes all pairs are offered; for more only those within a lane, or the page would be too long.
    groups = [wires] if len(lanes) <= 2 else [parts[lane] for lane in lanes]
    return FormSheet(
        lanes=tuple(parts),
        shown=lanes,
        rows=tuple(_row(wiring, wire, destinations) for wire in wires),
        aside=(*(_row(wiring, wire, (wire.b,)) for wire in apart), *_idle(wiring, destinations)),
        touch_a=_offered(wiring, [[wire.a for wire in group] for group in groups], touching),
        touch_b=_offered(wiring, [[wire.b for wire in group] for group in groups], touching),
        shells=tuple(_shell_pairs(wiring, [contact for wire in wires for contact in (wire.a, wire.b)])),
        bonds=wiring.bonds,
    )


def _single(wiring: Wiring) -> FormSheet:
    """The sheet of a single channel: all of it, unused contacts included."""
    destinations = [contact for contact in wiring.contacts("B") if contact in {wire.b for wire in wiring.conductors}]
    idle = _idle(wiring, destinations)
    options = _in_order(wiring, [*destinations, *loose(wiring, "B")])
    rows = [*(_row(wiring, wire, options) for wire in wiring.conductors), *idle]
    rows.sort(key=lambda row: wiring.position[row.contact])
    a = [row.contact for row in rows]
    return FormSheet(
        lanes=(),
        shown=(),
        rows=tuple(rows),
        aside=(),
        touch_a=_pairs(wiring, a),
        touch_b=_pairs(wiring, destinations),
        shells=tuple(_shell_pairs(wiring, [*a, *destinations])),
        bonds=wiring.bonds,
    )


def is_good(wiring: Wiring, entered: Entered) -> bool:
    """Whether everything that was entered is as in a good cable."""
    good = {row.key: row.good for row in _all_rows(wiring)}
    return (
        not entered.touching
        and not entered.unbonded
        and all(good.get(key) == landed for key, landed in entered.landed.items())
    )


def readings(wiring: Wiring, entered: Entered) -> tuple[list[list[str]], Any]:
    """What was entered, as groups of joined contacts, and the probed contacts.

    Raises:
        Invalid: something was entered for a contact that was not tested.
    """
    joined = [list(pair) for pair in entered.touching]
    joined += [
        [bond.earlier, bond.later] for bond in _tested_bonds(wiring, entered) if bond.later not in entered.unbonded
    ]
    names = {_key(wiring, wire): wire.name for wire in wiring.conductors}
    for row in _all_rows(wiring):
        landed = entered.landed.get(row.key, row.good)
        skipped = names.get(row.key) in entered.skipped
        if skipped and landed != row.good:
            raise invalid("skipped", SKIPPED.format(contact=row.contact))
        if landed != NOTHING and not skipped:
            joined.append([row.contact, landed])
    return joined, _probed(wiring, entered)


def _probed(wiring: Wiring, entered: Entered) -> Any:
    tested = [wire for wire in wiring.conductors if wire.name not in entered.skipped]
    used = {contact for wire in wiring.conductors for contact in (wire.a, wire.b)}
    used |= {bond.later for bond in wiring.bonds}
    reached = {contact for wire in tested for contact in (wire.a, wire.b)}
    reached |= {contact for bond in _tested_bonds(wiring, entered) for contact in (bond.earlier, bond.later)}
    reached |= {contact for pair in entered.touching for contact in pair}
    skipped = {_key(wiring, wiring.by_name[name]) for name in entered.skipped}
    reached |= {landed for key, landed in entered.landed.items() if key not in skipped and landed != NOTHING}
    shells = entered.shells or any(is_shell(contact) for pair in entered.touching for contact in pair)
    reached |= {contact for contact in wiring.all_contacts if contact not in used and (shells or not is_shell(contact))}
    return ALL if len(reached) == len(wiring.all_contacts) else _in_order(wiring, reached)


def _tested_bonds(wiring: Wiring, entered: Entered) -> list[Bond]:
    """The bonds that were tested: those of the contacts of a skipped conductor were not."""
    skipped = {contact for wire in wiring.conductors if wire.name in entered.skipped for contact in (wire.a, wire.b)}
    return [bond for bond in wiring.bonds if not skipped & {bond.earlier, bond.later}]


def _all_rows(wiring: Wiring) -> Iterator[ContactRow]:
    for wire in wiring.conductors:
        yield _row(wiring, wire, ())
    yield from _idle(wiring, ())


def _idle(wiring: Wiring, destinations: Sequence[str]) -> list[ContactRow]:
    """The rows of contacts without a conductor, which should reach nothing."""
    options = _in_order(wiring, [*destinations, *loose(wiring, "B")])
    return [
        ContactRow(f"l{wiring.position[contact]}", contact, "not in use", NOTHING, options)
        for contact in loose(wiring, "A")
    ]


def loose(wiring: Wiring, end: str) -> list[str]:
    """The unused contacts of an end."""
    return [contact for contact in wiring.loose_contacts if contact[0] == end and not is_shell(contact)]


def _row(wiring: Wiring, wire: Conductor, options: tuple[str, ...]) -> ContactRow:
    part = f"lane {wire.lane} " if len(wiring.lanes) > 1 else f"pair {wire.pair} " if len(wiring.pairs) > 1 else ""
    return ContactRow(
        _key(wiring, wire), wire.a, f"{part if wire.pair or wire.lane else ''}{wire.role}", wire.b, options
    )


def _key(wiring: Wiring, wire: Conductor) -> str:
    return f"c{wiring.conductors.index(wire)}"


def _pairs(wiring: Wiring, contacts: Sequence[str]) -> tuple[Pair, ...]:
    return tuple(combinations(_in_order(wiring, contacts), 2))


def _offered(wiring: Wiring, groups: Sequence[list[str]], touching: Sequence[Pair]) -> tuple[Pair, ...]:
    here = {contact for group in groups for contact in group}
    pairs = [pair for group in groups for pair in _pairs(wiring, group)]
    return tuple(dict.fromkeys([*pairs, *(pair for pair in touching if set(pair) <= here)]))


def _shell_pairs(wiring: Wiring, contacts: Sequence[str]) -> Iterator[Pair]:
    """Pairs of a shell and a contact of the same connector that no bond joins."""
    bonded = {(bond.earlier, bond.later) for bond in wiring.bonds}
    for shell in wiring.loose_contacts:
        if is_shell(shell):
            for contact in _in_order(wiring, contacts):
                beside = contact[0] == shell[0] and connector_of(contact) == connector_of(shell)
                if beside and (contact, shell) not in bonded:
                    yield contact, shell


def _in_order(wiring: Wiring, contacts: Sequence[str] | set[str]) -> tuple[str, ...]:
    return tuple(sorted(set(contacts), key=wiring.position.__getitem__))
