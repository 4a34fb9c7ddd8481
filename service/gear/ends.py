"""What is at the two ends of an item, in words."""

from functools import lru_cache

from sqlalchemy.orm import Session

from service.gear.core import End
from service.gear.queries import ItemFacts
from service.gear.wirings import find_wiring, ports_of
from service.wiring.wirings import Wiring

_CONNECTORS = {"xlr3": "XLR", "trs": "TRS", "d25": "25-way D", "8p8c": "8P8C", "own": "own"}


def connectors(db: Session, item: ItemFacts) -> tuple[str, str]:
    """The connectors at end A and at end B: ("25-way D plug", "8 XLR sockets")."""
    return _connectors(item.wiring, find_wiring(db, item.wiring), item.kind)


@lru_cache(maxsize=256)
def _connectors(key: str, wiring: Wiring, kind: str) -> tuple[str, str]:
    ports = ports_of(key, wiring, kind)
    found = []
    for end in End:
        here = [port for port in ports if port["end"] == end]
        connector = f"{_CONNECTORS[here[0]['type']]} {here[0]['gender']}"
        found.append(connector if len(here) == 1 else f"{len(here)} {connector}s")
    return found[0], found[1]
