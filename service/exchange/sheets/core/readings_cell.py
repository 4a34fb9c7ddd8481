"""Writing and reading the entered readings and evidence of a test in one cell of a sheet, as JSON like the API. Pure.

Without it a sheet has only the words for what was found, from which the readings cannot be restored.

>>> write_entered([["A1", "B1"]], ["A1", "B1"], [{"class": "damage", "end": None, "note": "cut jacket"}])
'{"joined":[["A1","B1"]],"probed":["A1","B1"],"evidence":[{"class":"damage","note":"cut jacket"}]}'
>>> read_entered('{"joined":null,"evidence":[{"class":"intermittent","end":"B"}]}').joined is None
True
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from service.gear.core import End
from service.kit.problems import invalid
from service.testlog.core import Evidence
from service.wiring.faults import FaultClass, as_evidence
from service.wiring.wirings import ALL


@dataclass(frozen=True)
class EnteredReadings:
    """Groups of joined contacts (None if nothing was read), the probed contacts ("all" or names), and the evidence."""

    joined: Sequence[Sequence[str]] | None
    probed: Any = ALL
    evidence: tuple[Evidence, ...] = ()


def write_entered(joined: Sequence[Sequence[str]], probed: Any, evidence: Sequence[dict[str, Any]]) -> str:
    """The text of the cell. In the log, nothing read is stored as nothing probed."""
    cell: dict[str, Any] = {"joined": joined if probed else None}
    if probed and probed != ALL:
        cell["probed"] = probed
    if evidence:
        cell["evidence"] = [{key: value for key, value in one.items() if value} for one in evidence]
    return json.dumps(cell, ensure_ascii=False, separators=(",", ":"))


def read_entered(cell: str) -> EnteredReadings:
    """The values that `write_entered` was given.

    Raises:
        Invalid: for `entered`.
    """
    try:
        written = json.loads(cell)
    except (ValueError, RecursionError):
        _refuse()
    if not isinstance(written, dict) or not {"joined"} <= written.keys() <= {"joined", "probed", "evidence"}:
        _refuse()
    joined, probed, evidence = written["joined"], written.get("probed", ALL), written.get("evidence", [])
    if joined is not None and not (isinstance(joined, list) and all(map(_is_names, joined))):
        _refuse()
    if not (probed == ALL or _is_names(probed)) or not isinstance(evidence, list):
        _refuse()
    return EnteredReadings(joined, probed, tuple(map(_evidence, evidence)))


def _evidence(written: Any) -> Evidence:
    if not isinstance(written, dict) or not {"class"} <= written.keys() <= {"class", "end", "note"}:
        _refuse()
    if not all(isinstance(value, str) for value in written.values()) or written["class"] not in list(FaultClass):
        _refuse()
    kind = as_evidence(FaultClass(written["class"]))
    if kind is None or written.get("end", "A") not in list(End):
        _refuse()
    return Evidence(kind, End(written["end"]) if "end" in written else None, written.get("note", ""))


def _is_names(written: Any) -> bool:
    return isinstance(written, list) and all(isinstance(name, str) for name in written)


def _refuse() -> NoReturn:
    raise invalid(
        "entered",
        "this is not as an export has it. Export the tests once more, or leave the cell empty: then the words count.",
    )
