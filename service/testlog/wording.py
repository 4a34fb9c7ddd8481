"""Faults of the log in words: what was stored, read back and said plainly."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from service.gear.wirings import find_wiring
from service.testlog.models import FaultRow
from service.wiring.advice import Advice, say, title
from service.wiring.faults import Fault, FaultClass, faulty
from service.wiring.wirings import Wiring


def fault_in(row: FaultRow) -> Fault:
    """The fault as diagnosis knows it, from its row."""
    detail: dict[str, Any] = row.detail or {}
    lanes, landings = detail.get("lanes"), detail.get("map")
    found = faulty(FaultClass(row.fault_class))
    if found is None:
        raise ValueError(f"{row.fault_class} is no fault")
    return Fault(
        found,
        tuple(row.conductors),
        row.end,
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


def _title(wiring: Wiring, row: FaultRow) -> str:
    note = (row.detail or {}).get("note")
    return title(wiring, fault_in(row)) + (f" ({note})" if note else "")
