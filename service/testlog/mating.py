"""Which ends of pieces can be plugged together, and which way round each piece lies in a chain. Pure.

Two ends mate if both have the same type of connector, one the socket and one the plug. Each piece may lie either way
round; a signal or a test enters it by one end and leaves it by the other.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations

from service.kit.problems import invalid

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
    why = misfit(pieces)
    if why is not None:
        raise invalid("through", f"{why} Nothing was logged. {way_out(pieces)}")


def misfit(pieces: Sequence[PluggedPiece]) -> str | None:
    """The sentence that names the first two pieces that do not mate in this order, and why; None if all mate."""
    first = _misfit(pieces)
    if first is None:
        return None
    at, free = first
    return _why_not(pieces[at], free, pieces[at + 1])


def entered(pieces: Sequence[PluggedPiece]) -> list[int]:
    """The end by which each piece is entered, 0 for end A and 1 for end B, the first one by end A if both fit.

    The pieces mate in this order: see `misfit`.
    """
    reached: list[set[int]] = [{0, 1}]
    for one, other in pairwise(pieces):
        free = [one.ends[1 - way] for way in reached[-1]]
        reached.append({way for way in (0, 1) if any(mate(end, other.ends[way]) for end in free)})
    ways = [min(reached[-1])]
    for one, possible in zip(reversed(pieces[:-1]), reversed(reached[:-1]), strict=True):
        following = pieces[len(pieces) - len(ways)].ends[ways[-1]]
        ways.append(min(way for way in possible if mate(one.ends[1 - way], following)))
    return ways[::-1]


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


def way_out(pieces: Sequence[PluggedPiece]) -> str:
    """The sentence that says in which order the pieces fit, if one is found."""
    if len(pieces) <= ORDERS_TRIED:
        for order in permutations(pieces):
            if _misfit(order) is None:
                names = ", ".join(piece.name for piece in order)
                return f"In this order they fit: {names}. Begin with {order[0].name}."
    return "Scan the pieces again, one after the other from the one half of the tester to the other."
