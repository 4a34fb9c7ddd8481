"""The rig of the demo: where its front ensemble stands."""

from datetime import datetime
from typing import Final

from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.demo import scenario
from service.demo.gear import FEET
from service.demo.replay import demo_id
from service.rig.actions import make_rig
from service.rig.plans import NEW

_STANDS: Final = (
    ("Xylophone", 8, 24, 1),
    ("Glockenspiel", 17, 24, 1),
    ("Vibraphone 1", 26, 24, 1),
    ("Vibraphone 2", 35, 24, 1),
    ("Vibraphone 3", 44, 24, 1),
    ("Marimba 1", 6, 14, 2),
    ("Marimba 2", 18, 14, 2),
    ("Marimba 3", 30, 14, 2),
    ("Marimba 4", 42, 14, 2),
    ("Drum set", 26, 34, 2),
)
"""What stands where, in feet from the left and from the front, with its microphones."""
_HUBS: Final = (("Hub left", 12, 19), ("Hub right", 38, 19))
_CABLES: Final = ((5, 900), (10, 1100), (15, 1300), (25, 1800), (50, 2900))
_TRUNKS: Final = ((25, 11000), (50, 16000), (100, 26000))
_CATEGORY: Final = ((25, 2400), (50, 3600), (100, 5800))
"""Lengths in feet, and what one costs in cents: cables, multicores, category cables."""


def add_rigs(db: Session, lead: Who, now: datetime) -> None:
    """Add the rig of the present season."""
    stations = [
        {"name": name, "x": round(x * FEET), "y": round(y * FEET), "mics": mics} for name, x, y, mics in _STANDS
    ]
    hubs = {name: {"x": round(x * FEET), "y": round(y * FEET), "lines": 8} for name, x, y in _HUBS}
    prices = {
        "cables": {str(round(feet * FEET)): cents for feet, cents in _CABLES},
        "trunks": {str(round(feet * FEET)): cents for feet, cents in _TRUNKS},
        "hub": 14500,
        "box": 26000,
    }
    plan = {
        **NEW,
        "stations": stations,
        "hubs": hubs,
        "mixer": {"x": round(26 * FEET), "y": 0},
        "box": {"x": round(26 * FEET), "y": round(8 * FEET)},
        "prices": prices,
        "category": {
            "trunk_stock": NEW["trunk_stock"],
            "trunks": {str(round(feet * FEET)): cents for feet, cents in _CATEGORY},
        },
    }
    make_rig(db, demo_id("rig", 1), "Front ensemble", plan, Actor(lead, now, scenario.ZONE))
