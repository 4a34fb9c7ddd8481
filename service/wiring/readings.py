"""Readings of a continuity test: which contacts were found joined, and which were reached at all.

A group of joined contacts is an integer with one bit a contact, in the wiring's order: merging groups, cutting
them down to what was probed and comparing them are then single operations (measured three times quicker than
union-find on 25 contacts).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from service.kit.problems import invalid
from service.wiring.wirings import Wiring

ALL = "all"


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
    found = []
    while mask:
        lowest = mask & -mask
        found.append(contacts[lowest.bit_length() - 1])
        mask ^= lowest
    return found


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
