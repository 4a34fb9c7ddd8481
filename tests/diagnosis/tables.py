"""The answers in a phone's table, as diagnosis gave them."""

from typing import Any, cast

from service.wiring.faults import Fault, FaultClass, Faulty
from tests.support.program import table_of


def joined(contacts: list[str], growth: str) -> list[list[str]]:
    """The groups of contacts that a key stands for, made apart from the code that writes the keys."""
    groups: dict[str, list[str]] = {}
    for contact, group in zip(contacts, growth, strict=True):
        groups.setdefault(group, []).append(contact)
    return list(groups.values())


def as_fault(written: dict[str, Any]) -> Fault:
    """The fault that a table names."""
    lanes, destinations = written.get("lanes"), written.get("map")
    return Fault(
        cast(Faulty, FaultClass(written["class"])),
        tuple(written["conductors"]),
        written["end"],
        tuple(lanes) if lanes else None,
        tuple(destinations.items()) if destinations else None,
    )


def explanations(key: str) -> dict[frozenset[frozenset[str]], tuple[tuple[Fault, ...], bool]]:
    """For each reading of all contacts of a built-in wiring that fits one table: its faults, and whether none are
    cheaper for certain.
    """
    made = table_of(key)
    faults = [as_fault(written) for written in made["faults"]]
    [table] = [table for table in made["tables"] if table["contacts"] == made["contacts"]]
    return {
        frozenset(frozenset(group) for group in joined(table["contacts"], growth) if len(group) > 1): (
            tuple(faults[index] for index in indices),
            least != [False],
        )
        for growth, (_, indices, *least) in table["results"].items()
    }
