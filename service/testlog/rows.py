"""Faults and evidence as they are kept."""

from collections.abc import Iterable, Sequence
from typing import Any

from service.testlog.core import Evidence
from service.testlog.models import FaultRow
from service.wiring.faults import Fault, FaultClass
from service.wiring.wirings import Wiring


def fault_rows(wiring: Wiring, faults: Iterable[Fault]) -> list[FaultRow]:
    """A row for each fault that the readings prove, with its first conductor and its lane, to be asked by."""
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


def evidence_rows(evidence: Iterable[Evidence]) -> list[FaultRow]:
    """A row for each finding that speaks against the item."""
    return [
        FaultRow(
            fault_class=one.kind,
            end=one.end,
            lane=None,
            conductor=None,
            conductors=[],
            detail={"note": one.note} if one.note else None,
        )
        for one in evidence
        if one.kind is not FaultClass.FLEXED
    ]


def raw_evidence(evidence: Sequence[Evidence]) -> list[dict[str, Any]]:
    """Evidence as it was entered."""
    return [{"class": one.kind.value, "end": one.end, "note": one.note} for one in evidence]


def _lane(wiring: Wiring, fault: Fault) -> str | None:
    lanes = {wiring.by_name[name].lane for name in fault.conductors if name in wiring.by_name}
    return lanes.pop() if len(lanes) == 1 else None


def _detail(fault: Fault) -> dict[str, Any] | None:
    written = fault.to_json()
    return {name: written[name] for name in ("lanes", "map") if name in written} or None
