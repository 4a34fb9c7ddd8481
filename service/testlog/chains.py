"""Checking that pieces can be plugged together in the order in which a test went through them.

Two ends mate if both have the same type of connector, one the socket and one the plug. Each piece may lie either way
round; the test enters it by one end and leaves it by the other.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

from sqlalchemy.orm import Session

from service.gear.core import KINDS, End
from service.gear.models import Port
from service.gear.queries import ports_of_items
from service.gear.wirings import CONNECTOR_NAMES
from service.kit.problems import invalid
from service.tags.queries import codes_of
from service.testlog.queries import PluggedItem, chain_of
from service.testlog.reach import PluggedChain

ANY = "own"
"""The type of the connectors of a program's own wiring: it is unknown, so they mate with everything."""

ORDERS_TRIED = 4
"""Up to so many pieces, another order is searched if theirs does not fit."""


@dataclass(frozen=True, slots=True)
class Plug:
    """The connectors at one end of a piece, all of one type: the type, its name, and "socket", "plug" or None.

    None if unknown: the multicore connector of a fan-out comes as either.
    """

    type: str
    name: str
    gender: str | None
    count: int = 1

    def __str__(self) -> str:
        word = f"{self.name} {self.gender or 'connector'}"
        return f"{self.count} {word}s" if self.count > 1 else f"{'an' if word[0] in '8AEIOUX' else 'a'} {word}"


@dataclass(frozen=True, slots=True)
class PluggedPiece:
    """A piece with its name in refusals, and its plugs at end A and at end B."""

    name: str
    ends: tuple[Plug, Plug]


def mate(one: Plug, other: Plug) -> bool:
    """Whether one end can be plugged into the other."""
    if ANY in (one.type, other.type):
        return True
    genders = {one.gender, other.gender}
    return one.type == other.type and (None in genders or len(genders) > 1)


def check(pieces: Sequence[PluggedPiece]) -> None:
    """Refuse pieces that cannot be plugged together in this order.

    Raises:
        Invalid: for `through`, with the two that do not mate, why, and an order that would fit, if there is one.
    """
    misfit = _misfit(pieces)
    if misfit is None:
        return
    at, free = misfit
    raise invalid("through", f"{_why_not(pieces[at], free, pieces[at + 1])} Nothing was logged. {_way_out(pieces)}")


def _misfit(pieces: Sequence[PluggedPiece]) -> tuple[int, list[Plug]] | None:
    """The number of the first piece that does not mate with the next one, and its free ends; None if all mate."""
    free = list(pieces[0].ends)
    for at, (_, following) in enumerate(pairwise(pieces)):
        left = [
            following.ends[1 - entered] for entered in (0, 1) if any(mate(end, following.ends[entered]) for end in free)
        ]
        if not left:
            return at, free
        free = left
    return None


def _why_not(one: PluggedPiece, free: Sequence[Plug], other: PluggedPiece) -> str:
    alike = next(
        (end for end in free for facing in other.ends if end.type == facing.type and end.gender == facing.gender), None
    )
    ends = f"{_ends(one, free)}, {_ends(other, other.ends)}"
    if alike is None:
        return f"{one.name} and {other.name} do not mate: {ends}."
    both = f"two {alike.name} {alike.gender}s do not plug together"
    return f"{one.name} and {other.name} do not mate: {ends}, and {both}."


def _ends(piece: PluggedPiece, ends: Sequence[Plug]) -> str:
    words = list(dict.fromkeys(str(end) for end in ends))
    left = " left" if len(ends) < len(piece.ends) else ""
    return f"{piece.name} has {' and '.join(words)}{left}"


def _way_out(pieces: Sequence[PluggedPiece]) -> str:
    if len(pieces) <= ORDERS_TRIED:
        for order in permutations(pieces):
            if _misfit(order) is None:
                names = ", ".join(piece.name for piece in order)
                return f"In this order they fit: {names}. Begin with {order[0].name}."
    return "Scan the pieces again, one after the other from the one half of the tester to the other."


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
