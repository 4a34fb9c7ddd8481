"""Joining the pieces of one group with the fewest and plainest shorts.

A piece is what conducts once every conductor that must be cut is cut. It can be named in a short along both halves
(by an uncut conductor or a loose contact), in one at end A (by an A half or a loose contact there) or in one at
end B. Any chain of shorts costs the pieces less one, so what is sought is the fewest shorts, conductors' names
before bonded shells', both halves before end A before end B, and the earliest names.
A contact on which no wire is, of no conductor or left by a chain, is *loose* here: it has its own name.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product

from service.wiring.faults import ENDS_BY_PREFERENCE, Key, preference_of_shorts

_MOST_FREE = 5


@dataclass(slots=True)
class ContactGroup:
    """Contacts that conduct to each other, by the names (as their rank in the wiring's order) that reach them."""

    whole: list[int] = field(default_factory=list)
    a_half: list[int] = field(default_factory=list)
    b_half: list[int] = field(default_factory=list)
    loose_a: list[int] = field(default_factory=list)
    loose_b: list[int] = field(default_factory=list)
    group: int | None = None
    """The group that the readings put it in; None where nothing of it was probed."""

    def take(self, other: "ContactGroup") -> None:
        """Grow by another piece that a short has joined to this one."""
        self.whole += other.whole
        self.a_half += other.a_half
        self.b_half += other.b_half
        self.loose_a += other.loose_a
        self.loose_b += other.loose_b

    @property
    def reach(self) -> int:
        """The shorts in which it can be named, as a mask: one along both halves 4, at end A 1, at end B 2."""
        if self.whole:
            return 7
        at_a = 5 if self.loose_a else 1 if self.a_half else 0
        return at_a | (6 if self.loose_b else 2 if self.b_half else 0)

    def name(self, end: str | None) -> tuple[bool, int] | None:
        """(whether it is a bonded shell's name, the name's rank) for a short at this end, or None."""
        if end is None:
            wires, loose = self.whole, self.loose_a + self.loose_b
        elif end == "A":
            wires, loose = self.whole + self.a_half, self.loose_a
        else:
            wires, loose = self.whole + self.b_half, self.loose_b
        if wires:
            return False, min(wires)
        if loose:
            return bool(self.a_half or self.b_half), min(loose)
        return None


Short = tuple[str | None, tuple[int, ...]]
"""The end, and the names' ranks in order."""


@dataclass(frozen=True, slots=True)
class Joined:
    """How the pieces of a group are joined: the cost, how many bonded shells are named, the shorts."""

    cost: int
    shells: int
    shorts: tuple[Short, ...]

    @property
    def key(self) -> Key:
        """Smaller is preferred."""
        return self.cost, *preference_of_shorts(self.shorts, self.shells)


def price(pieces: Sequence[ContactGroup]) -> int | None:
    """What `join` will cost, without working out which shorts: the pieces less one where they can be joined."""
    return len(pieces) - 1 if _connect(pieces) else None


def bridged(pieces: list[ContactGroup], spares: list[ContactGroup]) -> list[ContactGroup]:
    """The pieces, with the first of the unprobed `spares` that lets them be joined, if they need one; it is used up."""
    if _connect(pieces):
        return pieces
    for number, spare in enumerate(spares):
        if _connect([*pieces, spare]):
            return [*pieces, spares.pop(number)]
    return pieces


def _connect(pieces: Sequence[ContactGroup]) -> bool:
    """Whether the pieces hang together if every short that could name a piece does."""
    reach = [piece.reach for piece in pieces]
    joined = reach.pop()
    while reach:
        near = [ends for ends in reach if ends & joined]
        if not near:
            return False
        reach = [ends for ends in reach if not ends & joined]
        for ends in near:
            joined |= ends
    return True


def join(pieces: Sequence[ContactGroup]) -> Joined | None:
    """The preferred shorts that make one of `pieces`, or None if nothing can."""
    if len(pieces) == 1:
        return Joined(0, 0, ())
    found = _one(pieces) or _two(pieces) or _three(pieces)
    return min(found, key=lambda joined: joined.key) if found else None


def _one(pieces: Sequence[ContactGroup]) -> list[Joined]:
    return [made for end in ENDS_BY_PREFERENCE for made in _made([(end, pieces)])]


def _made(shorts: Sequence[tuple[str | None, Sequence[ContactGroup]]]) -> Iterator[Joined]:
    """The shorts over these pieces, if every piece can be named in them."""
    cost = shells = 0
    written = []
    for end, members in shorts:
        names = [piece.name(end) for piece in members]
        known = [name for name in names if name is not None]
        if len(known) < len(names) or len(names) < 2:
            return
        cost += len(names) - 1
        shells += sum(shell for shell, _ in known)
        written.append((end, tuple(sorted(rank for _, rank in known))))
    yield Joined(cost, shells, tuple(written))


def _two(pieces: Sequence[ContactGroup]) -> list[Joined]:
    found: list[Joined] = []
    for first, second in ((None, "A"), (None, "B"), ("A", "B")):
        in_first = [piece for piece in pieces if piece.name(first)]
        in_second = [piece for piece in pieces if piece.name(second)]
        if any(piece.name(first) is piece.name(second) is None for piece in pieces):
            continue
        both = [piece for piece in in_first if piece.name(second)]
        for link in both:
            others = [piece for piece in both if piece is not link]
            only_first = [piece for piece in in_first if not piece.name(second)]
            only_second = [piece for piece in in_second if not piece.name(first)]
            for left, right in _shared_out(others):
                split = [(first, [*only_first, link, *left]), (second, [*only_second, link, *right])]
                found += _made(split)
            if len(both) > _MOST_FREE:
                break
    return found


def _shared_out(pieces: Sequence[ContactGroup]) -> Iterator[tuple[list[ContactGroup], list[ContactGroup]]]:
    """Every way to put the pieces in one short or the other; all in the first where there are many."""
    if len(pieces) > _MOST_FREE:
        yield list(pieces), []
        return
    for sides in product((True, False), repeat=len(pieces)):
        left = [piece for piece, side in zip(pieces, sides, strict=True) if side]
        yield left, [piece for piece, side in zip(pieces, sides, strict=True) if not side]


def _three(pieces: Sequence[ContactGroup]) -> list[Joined]:
    """A short at each end, and one along both halves that ties them."""
    middle = [piece for piece in pieces if piece.name(None)]
    only_a = [piece for piece in pieces if not piece.name(None) and piece.name("A")]
    only_b = [piece for piece in pieces if not piece.name(None) and piece.name("B")]
    if len(middle) + len(only_a) + len(only_b) < len(pieces):
        return []
    links = middle[: _MOST_FREE + 1]
    return [
        made
        for at_a in links
        for at_b in links
        for made in _made([("A", [*only_a, at_a]), (None, middle), ("B", [*only_b, at_b])])
    ]
