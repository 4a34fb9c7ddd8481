"""The gear of the Fernhollow Band Program and its places. All of it is invented."""

from dataclasses import dataclass

from service.gear.core import USUAL_KIND, PlaceKind

FEET = 304.8
"""Millimeters in a foot."""

OLD, MIDDLE, NEW = "Lot 1", "Lot 2", "Lot 3"
"""Purchase lots, the oldest first; the oldest wears out."""

PLACES = [
    *((f"Marimba {number}", PlaceKind.FRAME) for number in range(1, 6)),
    *((f"Vibraphone {number}", PlaceKind.FRAME) for number in range(1, 6)),
    ("Xylophone", PlaceKind.FRAME),
    ("Glockenspiel", PlaceKind.FRAME),
    ("Timpani", PlaceKind.FRAME),
    ("Drum set", PlaceKind.FRAME),
    *((f"Rack {number}", PlaceKind.FRAME) for number in range(1, 5)),
    ("Keyboard stand", PlaceKind.FRAME),
    ("Singers", PlaceKind.OTHER),
    ("Mixer cart", PlaceKind.OTHER),
    ("Spares case", PlaceKind.CASE),
    ("Truck 2, shelf A", PlaceKind.SHELF),
    ("Truck 2, shelf B", PlaceKind.SHELF),
]
"""Places in walking order, as the ensemble stands on the field, then the truck."""


@dataclass(frozen=True)
class Owned:
    """`count` equal items at a place (or from one place to the next), `bought` this many days after the first season
    began.
    """

    place: str
    count: int = 1
    feet: int = 10
    place_b: str = ""
    kind: str = USUAL_KIND
    wiring: str = "xlr3"
    gauge_awg: int | None = 24
    lot: str = MIDDLE
    cents: int = 1850
    label: str = ""
    spare: bool = False
    bought: int = 0


AGE = {OLD: 2500, MIDDLE: 0, NEW: 0}
"""How many days before the first season each lot was bought."""

PRICES = {5: 1400, 10: 1850, 15: 2150, 25: 2900, 50: 4400}
"""Cents for a microphone cable, by feet."""


def _frames() -> list[Owned]:
    owned = []
    for number in range(1, 6):
        owned.append(Owned(f"Marimba {number}", 2, 10, lot=OLD if number < 3 else MIDDLE))
        owned.append(Owned(f"Marimba {number}", 1, 5))
        owned.append(Owned(f"Vibraphone {number}", 1, 10, lot=OLD if number < 3 else MIDDLE))
        owned.append(Owned(f"Vibraphone {number}", 1, 5))
    for number in range(1, 4):
        owned.append(Owned(f"Marimba {number}", 1, 15, f"Marimba {number + 1}", label="chain"))
        owned.append(Owned(f"Vibraphone {number}", 1, 15, f"Vibraphone {number + 1}", label="chain"))
    for number in range(1, 5):
        owned.append(Owned(f"Rack {number}", 2, 10, bought=200 if number > 2 else 0))
    return owned


OWNED = [
    *_frames(),
    Owned("Xylophone", 1, 10),
    Owned("Glockenspiel", 1, 10),
    Owned("Timpani", 2, 25),
    Owned("Drum set", 4, 15),
    Owned("Keyboard stand", 2, 10, wiring="xlr3-to-trs", label="keyboards"),
    Owned("Singers", 3, 25, label="singers"),
    Owned("Mixer cart", 3, 5),
    Owned("Truck 2, shelf A", 2, 50),
    Owned("Spares case", 5, 10, spare=True),
    Owned("Spares case", 3, 5, spare=True),
    Owned("Spares case", 2, 15, spare=True, bought=200),
    Owned("Spares case", 2, 25, spare=True),
    Owned("Spares case", 1, 50, spare=True),
    Owned("Marimba 1", kind="hub", gauge_awg=None, wiring="d25-to-xlr8", feet=0, cents=14500, label="Hub 1"),
    Owned("Marimba 3", kind="hub", gauge_awg=None, wiring="d25-to-xlr8", feet=0, cents=14500, label="Hub 2"),
    Owned("Vibraphone 2", kind="hub", gauge_awg=None, wiring="d25-to-xlr8", feet=0, cents=14500, label="Hub 3"),
    Owned("Rack 2", kind="hub", gauge_awg=None, wiring="d25-to-xlr8", feet=0, cents=14500, label="Hub 4"),
    Owned("Drum set", kind="hub", gauge_awg=None, wiring="8p8c-to-xlr4", feet=0, cents=8900, label="Hub 5"),
    Owned("Singers", kind="hub", gauge_awg=None, wiring="8p8c-to-xlr4", feet=0, cents=8900, label="Hub 6"),
    Owned(
        "Truck 2, shelf B",
        3,
        100,
        kind="trunk",
        gauge_awg=None,
        wiring="d25x8-screened",
        cents=28900,
        label="multicore",
    ),
    Owned(
        "Truck 2, shelf B", 2, 100, kind="trunk", gauge_awg=None, wiring="8p8c-screened", cents=7900, label="category"
    ),
]
"""About ninety items: cables on the frames, spares in their case, hubs, trunks of both kinds."""

NEW_ITEMS = Owned("Singers", 4, 25, lot=NEW, label="new singers")
"""Items that were bought last week and not tested yet."""
