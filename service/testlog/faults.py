"""Faults of the log as rows, as JSON and in words."""

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from sqlalchemy.orm import Session

from service.gear.wirings import find_wiring
from service.testlog.core import Evidence
from service.testlog.models import FaultRow
from service.wiring.advice import Advice, say
from service.wiring.faults import Fault, FaultClass, as_faulty
from service.wiring.naming import title
from service.wiring.wirings import Wiring


def make_fault_rows(wiring: Wiring, faults: Iterable[Fault], evidence: Iterable[Evidence]) -> list[FaultRow]:
    """The rows of a test's faults: those that its readings prove, then those of its evidence."""
    rows = [*_rows_of_faults(wiring, faults), *_rows_of_evidence(evidence)]
    for position, row in enumerate(rows):
        row.position = position
    return rows


def _rows_of_faults(wiring: Wiring, faults: Iterable[Fault]) -> list[FaultRow]:
    """A row for each fault that the readings prove, with its first conductor and its lane for filters."""
    return [
        FaultRow(
            fault_class=fault.fault_class,
            end=fault.end,
            lane=_lane(wiring, fault),
            conductor=fault.conductors[0],
            conductors=list(fault.conductors),
            detail=_detail(fault),
        )
        for fault in faults
    ]


def _rows_of_evidence(evidence: Iterable[Evidence]) -> list[FaultRow]:
    """A row for each finding that is a fault."""
    return [
        FaultRow(
            fault_class=each.kind,
            end=each.end,
            lane=None,
            conductor=None,
            conductors=[],
            detail={"note": each.note} if each.note else None,
        )
        for each in evidence
        if each.kind is not FaultClass.FLEXED
    ]


def _lane(wiring: Wiring, fault: Fault) -> str | None:
    lanes = {wiring.by_name[name].lane for name in fault.conductors if name in wiring.by_name}
    return lanes.pop() if len(lanes) == 1 else None


def _detail(fault: Fault) -> dict[str, Any] | None:
    written = fault.to_json()
    return {name: written[name] for name in ("lanes", "map") if name in written} or None


def fault_in(row: FaultRow) -> Fault:
    """The `Fault` of a row."""
    return fault_as(row.fault_class, row.conductors, row.end, row.detail or {})


def fault_as(
    name: str, conductors: Sequence[str], end: str | None, detail: Mapping[str, Any] = MappingProxyType({})
) -> Fault:
    """The `Fault` from its stored parts. Only `lanes` and `map` of `detail` are used."""
    lanes, destinations = detail.get("lanes"), detail.get("map")
    fault_class = as_faulty(FaultClass(name))
    if fault_class is None:
        raise ValueError(f"{name} is no fault")
    return Fault(
        fault_class,
        tuple(conductors),
        end,
        tuple(lanes) if lanes else None,
        tuple(destinations.items()) if destinations else None,
    )


def as_json(row: FaultRow) -> dict[str, Any]:
    """The fault as in the JSON API; evidence with its note."""
    written = fault_in(row).to_json()
    note = (row.detail or {}).get("note")
    return written | ({"note": note} if note else {})


def titles(db: Session, wiring_key: str, rows: Sequence[FaultRow]) -> list[str]:
    """The title of each fault of a test."""
    if not rows:
        return []
    wiring = find_wiring(db, wiring_key)
    return [_title(wiring, row) for row in rows]


def advice(db: Session, wiring_key: str, rows: Sequence[FaultRow]) -> list[tuple[str, Advice]]:
    """The title of each fault of a test, and what to do about it."""
    if not rows:
        return []
    wiring = find_wiring(db, wiring_key)
    return [(_title(wiring, row), say(wiring, fault_in(row))) for row in rows]


def title_of(wiring: Wiring, fault: Fault, note: str | None) -> str:
    """The title of a fault with its note: "Conductor 2 (hot) is open"."""
    return title(wiring, fault) + (f" ({note})" if note else "")


def _title(wiring: Wiring, row: FaultRow) -> str:
    return title_of(wiring, fault_in(row), (row.detail or {}).get("note"))
