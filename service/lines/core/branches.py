"""The cases that dead lines leave: a group is decided to be bad or good, and what is left falls into parts that have
nothing to do with each other. Pure.

This is recursive conditioning (Darwiche, "Recursive conditioning", Artificial Intelligence 126, 2001): a part is the
lines that nothing bad was decided for yet, with the groups that are undecided and go through them. Parts that come up
again are the same part, so that the cases are as few as variable elimination in the same order has entries.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from service.kit.problems import Problem
from service.lines.core.groups import Group, bits

MOST_CASES: Final = 30_000
"""More are refused."""

Part = tuple[int, int]
"""Lines that are dead of something undecided, and the undecided groups that go through them, as bits."""


@dataclass(frozen=True, slots=True)
class Case:
    """One part with its first group decided.

    Bad, the group leaves the parts `if_bad`, and the groups `freed`, about which nothing is known any more. Good, it
    leaves `if_good`; None where a line then has nothing left to be dead of.
    """

    part: Part
    group: int
    if_bad: tuple[Part, ...]
    freed: int
    if_good: tuple[Part, ...] | None


class Cases:
    """All cases of `groups`; decides them in their order.

    Raises:
        Problem: where there are more than `most`.
    """

    def __init__(self, groups: Sequence[Group], most: int = MOST_CASES) -> None:
        self._lines_of = [group.lines for group in groups]
        lines = 0
        for group in groups:
            lines |= group.lines
        self._groups_of = [
            sum(1 << number for number, group in enumerate(groups) if group.lines >> line & 1)
            for line in range(lines.bit_length())
        ]
        self.whole = self._parts(lines, (1 << len(groups)) - 1) or ()
        """The parts that all lines fall into. Each line has a group, so there is no contradiction."""
        self._cases = self._all(most)

    def __iter__(self) -> Iterator[Case]:
        """Each case after all that it leads to."""
        return iter(self._cases)

    def __reversed__(self) -> Iterator[Case]:
        """Each case before all that it leads to."""
        return reversed(self._cases)

    def _all(self, most: int) -> list[Case]:
        cases: dict[Part, Case] = {}
        pending = list(self.whole)
        while pending:
            part = pending.pop()
            if part in cases:
                continue
            if len(cases) >= most:
                raise Problem("too entangled")
            cases[part] = case = self._case(part)
            pending += case.if_bad + (case.if_good or ())
        # What a case leads to has fewer groups left.
        return sorted(cases.values(), key=lambda case: case.part[1].bit_count())

    def _case(self, part: Part) -> Case:
        lines, groups = part
        first = groups & -groups
        number, others = first.bit_length() - 1, groups ^ first
        if_bad = self._parts(lines & ~self._lines_of[number], others) or ()
        freed = others
        for _, undecided in if_bad:
            freed ^= undecided
        return Case(part, number, if_bad, freed, self._parts(lines, others))

    def _parts(self, lines: int, groups: int) -> tuple[Part, ...] | None:
        """What `lines` and `groups` fall into; None where a line has no group left."""
        parts = []
        while lines:
            reached, through = self._reached(lines, groups)
            if not through:
                return None
            parts.append((reached, through))
            lines ^= reached
        return tuple(parts)

    def _reached(self, lines: int, groups: int) -> Part:
        """All that hangs together with the first of `lines`."""
        reached = ahead = lines & -lines
        through = 0
        while ahead:
            first = ahead & -ahead
            ahead ^= first
            new = self._groups_of[first.bit_length() - 1] & groups & ~through
            through |= new
            for number in bits(new):
                more = self._lines_of[number] & lines & ~reached
                reached |= more
                ahead |= more
        return reached, through
