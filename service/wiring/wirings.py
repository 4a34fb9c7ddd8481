"""Wirings (which contact of end A is meant to reach which contact of end B) and the readings of a test of one.

Contacts are written as the trade says them: `A1` is contact 1 of end A, `As` its shell, `B3.2` contact 2 of
connector 3 at end B. Their order is: end A before B, connector by connector, the contacts as listed, the
shell last. Conductors follow their A contact, then their B contact.

Readings say which contacts conduct to each other, and which were probed at all. A group of joined contacts is an
integer with one bit for each contact, in the wiring's order: merging groups, cutting them down to what was probed
and comparing them are then single operations (measured three times quicker than union-find on 25 contacts).

>>> lead = wiring(["1", "s"], ["1", "s"], [Conductor("1", "A1", "B1", "single")], [("A1", "As")])
>>> lead.contacts("A"), lead.bonds[0].later
(('A1', 'As'), 'As')
>>> canonical(lead, read(lead, [["A1", "B1"], ["B1", "As"]]))
{'joined': [['A1', 'As', 'B1']], 'probed': 'all'}
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, NoReturn

from service.kit.problems import invalid

ENDS: Final = ("A", "B")
SHELL: Final = "s"
ROLES: Final = ("shield", "hot", "cold", "single")
ALL: Final = "all"
"""What `probed` says where every contact was reached."""


@dataclass(frozen=True, slots=True)
class Conductor:
    """One intended connection between a contact at end A and a contact at end B."""

    name: str
    a: str
    b: str
    role: str
    pair: str | None = None
    lane: str | None = None


@dataclass(frozen=True, slots=True)
class Bond:
    """Two contacts of one end joined on purpose; known by the later of the two, in the wiring's order."""

    earlier: str
    later: str

    @property
    def end(self) -> str:
        """The end, "A" or "B", that holds both contacts."""
        return self.later[0]


@dataclass(frozen=True)
class Wiring:
    """A wiring with everything in order: from `builtin`, `own.parse_wiring` or `wiring(...)`."""

    ends: tuple[tuple[str, ...], tuple[str, ...]]
    conductors: tuple[Conductor, ...]
    bonds: tuple[Bond, ...]

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        """Kept, because plans and readings are looked up by wiring on every test."""
        return hash((self.ends, self.conductors, self.bonds))

    def contacts(self, end: str) -> tuple[str, ...]:
        """The contacts of end "A" or "B", shells included, in order."""
        return self.ends[ENDS.index(end)]

    @cached_property
    def all_contacts(self) -> tuple[str, ...]:
        """Every contact, end A first."""
        return self.ends[0] + self.ends[1]

    @cached_property
    def position(self) -> Mapping[str, int]:
        """Each contact's place in `all_contacts`, which is also its bit in a reading's masks."""
        return {contact: place for place, contact in enumerate(self.all_contacts)}

    @cached_property
    def bit(self) -> Mapping[str, int]:
        """Each contact as a mask with one bit."""
        return {contact: 1 << place for place, contact in enumerate(self.all_contacts)}

    @cached_property
    def by_name(self) -> Mapping[str, Conductor]:
        """Conductors by name."""
        return {conductor.name: conductor for conductor in self.conductors}

    @cached_property
    def lanes(self) -> Mapping[str, tuple[Conductor, ...]]:
        """Conductors by lane; lanes by number where all are numbers, else by their first conductor."""
        grouped = _grouped((conductor.lane, conductor) for conductor in self.conductors)
        if all(lane.isdecimal() for lane in grouped):
            return dict(sorted(grouped.items(), key=lambda item: int(item[0])))
        return grouped

    @cached_property
    def pairs(self) -> Mapping[str, tuple[Conductor, ...]]:
        """The two conductors of each pair, pairs by their first conductor."""
        return _grouped((conductor.pair, conductor) for conductor in self.conductors)

    @cached_property
    def name_order(self) -> Mapping[str, int]:
        """Names that may stand in a fault, by the order in which they are listed.

        Conductors stand at their A contact, contacts at their own place.
        """
        place = self.position
        keyed = {contact: (place[contact], -1) for contact in self.all_contacts}
        keyed |= {wire.name: (place[wire.a], place[wire.b]) for wire in self.conductors}
        return {name: at for at, name in enumerate(sorted(keyed, key=lambda name: (keyed[name], name)))}

    @cached_property
    def loose_contacts(self) -> tuple[str, ...]:
        """Contacts that belong to no conductor (most shells, contact 13 of a 25-way D), in order."""
        used = {conductor.a for conductor in self.conductors} | {conductor.b for conductor in self.conductors}
        return tuple(contact for contact in self.all_contacts if contact not in used)


def wiring(
    end_a: Sequence[str],
    end_b: Sequence[str],
    conductors: Iterable[Conductor],
    bonds: Iterable[tuple[str, str]] = (),
) -> Wiring:
    """A wiring put in order. `end_a` and `end_b` list contacts without their end letter ("1", "s", "3.2")."""
    ends = (_ordered("A", end_a), _ordered("B", end_b))
    place = {contact: number for number, contact in enumerate(ends[0] + ends[1])}
    return Wiring(
        ends=ends,
        conductors=tuple(sorted(conductors, key=lambda wire: (place[wire.a], place[wire.b], wire.name))),
        bonds=tuple(
            sorted(
                (Bond(*sorted(bond, key=place.__getitem__)) for bond in bonds),
                key=lambda bond: (place[bond.later], place[bond.earlier]),
            )
        ),
    )


def connector_of(contact: str) -> int | None:
    """The connector's number in a contact's name (`B3.2`: 3), or None where its end has a single one."""
    number, dot, _ = contact[1:].partition(".")
    return int(number) if dot and number.isdecimal() else None


def is_shell(contact: str) -> bool:
    """Whether the contact (`As`, `B3.s`) is a connector's shell."""
    return contact[1:] == SHELL or (connector_of(contact) is not None and contact.endswith("." + SHELL))


def lanes_of(wiring: Wiring) -> Mapping[str, tuple[Conductor, ...]]:
    """The conductors by lane, or by pair where no lane is named; all under no name where there is just one line."""
    for parts in (wiring.lanes, wiring.pairs):
        if len(parts) > 1:
            return parts
    return {"": wiring.conductors}


def _ordered(end: str, names: Sequence[str]) -> tuple[str, ...]:
    contacts = [end + name for name in names]
    return tuple(sorted(contacts, key=lambda contact: (connector_of(contact) or 0, is_shell(contact))))


def _grouped(keyed: Iterable[tuple[str | None, Conductor]]) -> dict[str, tuple[Conductor, ...]]:
    grouped: dict[str, tuple[Conductor, ...]] = {}
    for key, conductor in keyed:
        if key is not None:
            grouped[key] = (*grouped.get(key, ()), conductor)
    return grouped


@dataclass(frozen=True, slots=True)
class Readings:
    """Groups of two or more joined contacts, as disjoint masks by their first contact; and the probed contacts."""

    groups: tuple[int, ...]
    probed: int

    def within(self, probed: int) -> "Readings":
        """The same cable seen by a tester that reaches the contacts in `probed` only."""
        return Readings(tidy(group & probed for group in self.groups), self.probed & probed)


def read(wiring: Wiring, joined: object, probed: object = ALL) -> Readings:
    """Readings from groups of contact names and "all" or a list of names.

    Raises `Invalid` naming the first contact that the wiring lacks, or that is joined without being probed.
    """
    bit = wiring.bit
    masks = []
    try:
        for group in joined if isinstance(joined, (list, tuple)) else _refuse_joined():
            if not isinstance(group, (list, tuple)):
                _refuse_joined()
            mask = 0
            for contact in group:
                mask |= bit[contact]
            masks.append(mask)
    except (KeyError, TypeError):
        _refuse_contact(wiring, joined, "joined")
    if probed == ALL:
        return Readings(merge(masks), (1 << len(bit)) - 1)
    reached = _reached(wiring, probed)
    for mask in masks:
        if mask & ~reached:
            culprit = names(wiring, mask & ~reached)[0]
            sentence = f"Contact {culprit} is joined but not probed; add it to the probed contacts."
            raise invalid("joined", sentence)
    return Readings(merge(masks), reached)


def merge(masks: Iterable[int]) -> tuple[int, ...]:
    """Groups that share a contact become one; groups of fewer than two go; the rest by their first contact."""
    apart: list[int] = []
    seen = 0
    for mask in masks:
        if mask & seen:
            touching = [group for group in apart if group & mask]
            apart = [group for group in apart if not group & mask]
            for group in touching:
                mask |= group
        apart.append(mask)
        seen |= mask
    return tidy(apart)


def tidy(groups: Iterable[int]) -> tuple[int, ...]:
    """Disjoint groups in order, without those that hold fewer than two contacts."""
    return tuple(sorted((group for group in groups if group & (group - 1)), key=lambda group: group & -group))


def names(wiring: Wiring, mask: int) -> list[str]:
    """The contacts in a mask, in order."""
    contacts = wiring.all_contacts
    contacts_in_mask = []
    while mask:
        lowest = mask & -mask
        contacts_in_mask.append(contacts[lowest.bit_length() - 1])
        mask ^= lowest
    return contacts_in_mask


def canonical(wiring: Wiring, readings: Readings) -> dict[str, Any]:
    """Readings as they are kept and compared: `{"joined": groups in order, "probed": "all" or names in order}`."""
    everything = readings.probed == (1 << len(wiring.all_contacts)) - 1
    return {
        "joined": [names(wiring, group) for group in readings.groups],
        "probed": ALL if everything else names(wiring, readings.probed),
    }


def _reached(wiring: Wiring, probed: object) -> int:
    if not isinstance(probed, (list, tuple)):
        raise invalid("probed", f'"probed" must be "{ALL}" or a list of contacts, not {probed!r}.')
    reached = 0
    try:
        for contact in probed:
            reached |= wiring.bit[contact]
    except (KeyError, TypeError):
        _refuse_contact(wiring, [probed], "probed")
    return reached


def _refuse_joined() -> NoReturn:
    raise invalid("joined", '"joined" must be a list of groups of contacts, such as [["A1", "B1"]].')


def _refuse_contact(wiring: Wiring, groups: Any, field: str) -> NoReturn:
    culprit = next(contact for group in groups for contact in group if not _known(wiring, contact))
    ends = " and ".join(_span(wiring.contacts(end)) for end in "AB")
    raise invalid(field, f"This wiring has no contact {culprit!r}; it has {ends}.")


def _known(wiring: Wiring, contact: object) -> bool:
    return isinstance(contact, str) and contact in wiring.bit


def _span(contacts: Sequence[str]) -> str:
    return f"{contacts[0]} to {contacts[-1]}" if len(contacts) > 1 else "".join(contacts) or "none at one end"
