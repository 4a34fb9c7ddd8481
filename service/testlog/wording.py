"""Faults of the log in words: what was stored, read back and said plainly."""

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from sqlalchemy.orm import Session

from service.gear.wirings import find_wiring
from service.testlog.models import FaultRow
from service.wiring.advice import Advice, say
from service.wiring.faults import Fault, FaultClass, as_faulty
from service.wiring.naming import title
from service.wiring.wirings import Wiring


def fault_in(row: FaultRow) -> Fault:
    """The fault as diagnosis knows it, from its row."""
    return fault_as(row.fault_class, row.conductors, row.end, row.detail or {})


def fault_as(
    name: str, conductors: Sequence[str], end: str | None, detail: Mapping[str, Any] = MappingProxyType({})
) -> Fault:
    """The fault as diagnosis knows it, from what is written of it: of its `detail` counts `lanes` and `map`."""
    lanes, landings = detail.get("lanes"), detail.get("map")
    found = as_faulty(FaultClass(name))
    if found is None:
        raise ValueError(f"{name} is no fault")
    return Fault(
        found,
        tuple(conductors),
        end,
        tuple(lanes) if lanes else None,
        tuple(landings.items()) if landings else None,
    )


def as_json(row: FaultRow) -> dict[str, Any]:
    """The fault as the JSON API writes it; evidence has its note."""
    written = fault_in(row).to_json()
    note = (row.detail or {}).get("note")
    return written | ({"note": note} if note else {})


def titles(db: Session, wiring_key: str, rows: Sequence[FaultRow]) -> list[str]:
    """Each fault of a test in one line."""
    if not rows:
        return []
    wiring = find_wiring(db, wiring_key)
    return [_title(wiring, row) for row in rows]


def advice(db: Session, wiring_key: str, rows: Sequence[FaultRow]) -> list[tuple[str, Advice]]:
    """Each fault of a test in one line, and what to do about it."""
    if not rows:
        return []
    wiring = find_wiring(db, wiring_key)
    return [(_title(wiring, row), say(wiring, fault_in(row))) for row in rows]


def item_namer(wiring: Wiring, fault: Fault, note: str | None) -> str:
    """A fault in one line, with what was noted of it."""
    return title(wiring, fault) + (f" ({note})" if note else "")


def _title(wiring: Wiring, row: FaultRow) -> str:
    return item_namer(wiring, fault_in(row), (row.detail or {}).get("note"))
