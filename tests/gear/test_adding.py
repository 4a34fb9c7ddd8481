"""Adding gear, by page and by API."""

import re
from typing import Any

import pytest

from tests.support.program import Running, op

CABLE = {"kind": "cable", "wiring": "xlr3", "length": "10 ft", "gauge_awg": 24, "place": "Frame 3", "price": "18.50"}


def body(**changed: Any) -> dict[str, Any]:
    """A request to add a cable, with something else than usual."""
    return {"id": op()} | CABLE | changed


def test_one_cable_comes_with_its_code_and_stands_as_untested(program: Running) -> None:
    answer = program.lead.post("/api/v1/items", json=body(label="", bought_on=None, count=1))
    assert answer.status_code == 201
    [item] = answer.json()
    assert re.fullmatch("[2-9A-Z]{6}", item["code"])
    assert item["length_mm"] == 3048
    assert (item["length"], item["price"], item["place"]) == ("10 ft", "18.50", "Frame 3")
    assert (item["state"], item["due"]["state"], item["in_service_on"]) == ("in_service", "untested", "2026-09-21")
    assert program.viewer.get(f"/api/v1/items/{item['code']}").json() == item
