"""Wirings: which contact of end A is meant to reach which contact of end B.

Contacts are written as the trade says them: `A1` is contact 1 of end A, `As` its shell, `B3.2` contact 2 of
connector 3 at end B. Their order is: end A before B, connector by connector, the contacts as listed, the
shell last. Conductors follow their A contact, then their B contact.

>>> lead = wiring(["1", "s"], ["1", "s"], [Conductor("1", "A1", "B1", "single")], [("A1", "As")])
>>> lead.contacts("A"), lead.bonds[0].later
(('A1', 'As'), 'As')
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

ENDS: Final = ("A", "B")
SHELL: Final = "s"
ROLES: Final = ("shield", "hot", "cold", "single")


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


def _ordered(end: str, names: Sequence[str]) -> tuple[str, ...]:
    contacts = [end + name for name in names]
    return tuple(sorted(contacts, key=lambda contact: (connector_of(contact) or 0, is_shell(contact))))


def _grouped(keyed: Iterable[tuple[str | None, Conductor]]) -> dict[str, tuple[Conductor, ...]]:
    grouped: dict[str, tuple[Conductor, ...]] = {}
    for key, conductor in keyed:
        if key is not None:
            grouped[key] = (*grouped.get(key, ()), conductor)
    return grouped


def lanes_of(wiring: Wiring) -> Mapping[str, tuple[Conductor, ...]]:
    """The conductors by lane, or by pair where no lane is named; all under no name where there is just one line."""
    for parts in (wiring.lanes, wiring.pairs):
        if len(parts) > 1:
            return parts
    return {"": wiring.conductors}
