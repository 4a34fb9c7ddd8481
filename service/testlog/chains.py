"""Checking items by their stored connectors: whether they can be plugged together in this order."""

from collections import defaultdict
from collections.abc import Sequence

from sqlalchemy.orm import Session

from service.gear.core import KINDS, End
from service.gear.models import Port
from service.gear.queries import ports_of_items
from service.gear.wirings import CONNECTOR_NAMES
from service.tags.queries import codes_of
from service.testlog.mating import Plug, PluggedPiece, check
from service.testlog.queries import PluggedItem, chain_of
from service.testlog.reach import PluggedChain


def check_plugged(db: Session, items: Sequence[PluggedItem]) -> None:
    """Refuse items that cannot be plugged together in this order, by their stored connectors.

    Raises:
        Invalid: for `through`, with the two that do not mate.
    """
    ids = [item.id for item in items]
    codes, ports = codes_of(db, ids), ports_of_items(db, ids)
    check([piece_of(codes[item.id], item.kind, ports[item.id]) for item in items])


def plugged(db: Session, items: Sequence[PluggedItem]) -> PluggedChain:
    """The pieces plugged together in this order.

    Raises:
        Invalid: as `check_plugged`.
    """
    if len(items) > 1:
        check_plugged(db, items)
    return chain_of(db, items)


def piece_of(code: str, kind: str, ports: Sequence[Port]) -> PluggedPiece:
    """An item as a piece. Whether a fan-out's multicore connector is a socket or a plug is unknown."""
    at: dict[str, list[Port]] = defaultdict(list)
    for port in ports:
        at[port.end].append(port)
    one_way = not KINDS[kind].is_box and len(at[End.A]) < len(at[End.B])
    ends = [
        Plug(
            here[0].type,
            CONNECTOR_NAMES.get(here[0].type, here[0].type),
            None if end is End.A and one_way else here[0].gender,
            len(here),
        )
        for end, here in ((end, at[end]) for end in End)
    ]
    return PluggedPiece(f"{KINDS[kind].page} {code}", (ends[0], ends[1]))
