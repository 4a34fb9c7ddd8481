"""Tables for phones, so that they can explain a test offline: each fault of a wiring with its drawing, and each kind of
evidence.

Faults are drawn one by one, since all combinations would not fit a phone's storage: see `layout.alone`.
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from service import diagnosis, drawing
from service import wiring as rules
from service.diagnosis.offline_tables import offline
from service.drawing import layout
from service.gear.core import End
from service.testlog.faults import fault_as, title_of
from service.testlog.form_reader import EVIDENCE, finding
from service.web.render import ENVIRONMENT, TEMPLATES
from service.wiring.advice import say
from service.wiring.faults import Fault
from service.wiring.wirings import Wiring

_HERE = Path(__file__).parent
MADE_BY = (
    *(Path(folder) for package in (rules, diagnosis, drawing) for folder in package.__path__),
    *(_HERE / f"{name}.py" for name in ("sheet", "form_reader", "faults", "phone_tables")),
    TEMPLATES / "drawing/drawing.html",
)
"""The files and folders on which the tables depend."""

_LINES = re.compile(r"\s*\n\s*")


def fault_tables(wiring: Wiring) -> dict[str, Any]:
    """The tables of `diagnosis.offline_tables`, each fault with its `drawing`; and `evidence`, the words and the
    drawing of each tick by the end that was named, "" if none was.
    """
    tables = offline(wiring)
    return tables | {
        "faults": [fault | {"drawing": _picture(wiring, _written(fault))} for fault in tables["faults"]],
        "evidence": {name: {end: _ticked(wiring, name, end) for end in ("", *End)} for name in EVIDENCE},
    }


def _ticked(wiring: Wiring, name: str, end: str) -> dict[str, str]:
    ticked = finding(name)
    fault = fault_as(ticked.kind, (), end or None)
    advice = say(wiring, fault)
    return {
        "title": title_of(wiring, fault, ticked.note),
        "on_stage": advice.on_stage,
        "look_first": advice.look_first,
        "after_repair": advice.after_repair,
        "drawing": _picture(wiring, fault),
    }


def _picture(wiring: Wiring, fault: Fault) -> str:
    """One fault as SVG."""
    draw = ENVIRONMENT.get_template("drawing/drawing.html").module.picture  # type: ignore[attr-defined]
    return _LINES.sub("", str(draw(layout.alone(wiring, fault))))


def _written(fault: Mapping[str, Any]) -> Fault:
    return fault_as(fault["class"], fault["conductors"], fault["end"], fault)
