"""Layouts for the tests of `coilbook rig`, and how they are answered."""

import json
from io import StringIO
from typing import Any

from service.rig.command import main

LAYOUT: dict[str, Any] = {
    "id": "any",
    "stations": [
        {"name": "Vibe 1", "x": 0, "y": 12000, "mics": 1},
        {"name": "Vibe 2", "x": 2500, "y": 12000, "mics": 1},
        {"name": "Marimba 1", "x": 2500, "y": 9500, "mics": 2, "half": 1524, "across": 3048},
    ],
    "mixer": {"x": 2500, "y": 0},
    "way": "hubs",
    "box": {"x": 2500, "y": 6000},
    "into": {"Vibe 1": "Vibe 2", "Vibe 2": "Marimba 1", "Marimba 1": "hub A"},
    "hubs": {"hub A": {"x": 2500, "y": 8000, "lines": 8}},
    "stock": [1524, 3048, 4572, 7620, 15240],
    "trunk_stock": [7620, 15240, 30480],
    "rules": {"half": 1524, "across": 3048, "slack": 1.1, "gap": 3000},
    "prices": {"cables": {"1524": 1100}, "hub": 9800, "box": 25000, "trunks": {"15240": 16000}},
    "crew": {"walk_mm_s": 1200, "plug_s": 4, "hands": 2, "ready_s": 20},
}
"""The contract's example."""

ALL_PRICES = {
    "cables": {"1524": 1100, "3048": 1300, "4572": 1500, "7620": 1900, "15240": 3200},
    "hub": 9800,
    "trunks": {"7620": 9000, "15240": 16000, "30480": 27000},
}


def run(*lines: Any) -> tuple[int, list[dict[str, Any]]]:
    """The exit status and the answers to `lines`."""
    out = StringIO()
    status = main(StringIO("\n".join(json.dumps(line) for line in lines)), out)
    return status, [json.loads(line) for line in out.getvalue().splitlines()]


def rig_of(**change: Any) -> dict[str, Any]:
    """The answer to the contract's example with other fields."""
    status, [answer] = run({**LAYOUT, **change})
    assert status == 0, answer
    return answer
