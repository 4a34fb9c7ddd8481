"""What to try first where one part of a dead line is to blame, and then, so that it works again in the least time on
average. Pure and exact.

Suspects are a set of parts; the bad one is among them with a probability in proportion to its weight. Listening at a
joint splits the set in two, swapping a part takes it out, a spare line ends it. So the least time of a set follows from
those of its subsets (dynamic programming over sets as bits, Bellman 1957):

    V(S) = min( listen_j W(S) + V(S before j) + V(S after j),  swap_k W(S) + V(S without k),  bypass W(S) )

where W(S) is the sum of the weights and V(S) is W(S) times the expected seconds. The last suspect costs its swap.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import frexp, inf, ldexp
from typing import Final

MOST_PARTS: Final = 16
"""Parts of a line that can be answered: 2^16 sets of suspects."""


@dataclass(frozen=True)
class LinePart:
    """A part of a line, with the weight of its being the bad one and the seconds to put a good one in and hear."""

    name: str
    weight: float
    swap_s: float


@dataclass(frozen=True)
class FoundPart:
    """The part that is bad; `seconds` is what is left to do."""

    part: str
    seconds: float


@dataclass(frozen=True)
class Bypass:
    """A spare line from the microphone to the mixer."""

    seconds: float


@dataclass(frozen=True)
class Listen:
    """Listen between part `joint` and the next one, counted from the source; then go on as `dead` or `good` says."""

    joint: int
    seconds: float
    dead: "Step"
    good: "Step"


@dataclass(frozen=True)
class SwapPart:
    """Swap a part; then it works again, or go on as `dead` says."""

    part: str
    seconds: float
    dead: "Step"


Step = FoundPart | Bypass | Listen | SwapPart


@dataclass(frozen=True)
class TracePlan:
    """What to do, with its expected seconds, which are the least of all plans, and the most that it may take."""

    first: Step
    expected_s: float
    worst_s: float


def trace(parts: Sequence[LinePart], listen_s: Mapping[int, float], bypass_s: float = inf) -> TracePlan:
    """The plan of least expected time for the `parts` of a line, from the source to the mixer.

    There are 1 to `MOST_PARTS` parts. `listen_s` has the seconds to listen at joint j, between part j and part j + 1
    (1 ≤ j < number of parts), where one can. All seconds and weights are above 0.
    """
    search = _Search(parts, listen_s, bypass_s)
    all_parts = (1 << len(parts)) - 1
    first = search.step(all_parts)
    return TracePlan(first, search.time[all_parts] / search.weight[all_parts], _worst(first))


class _Search:
    """The least times of all sets of suspects, as bits.

    Weights are scaled by a power of two, which is exact, so that sums and products of them stay in range.
    """

    def __init__(self, parts: Sequence[LinePart], listen_s: Mapping[int, float], bypass_s: float) -> None:
        self._parts, self._bypass_s = parts, bypass_s
        self._swap = [part.swap_s for part in parts]
        # The cheapest joint between the suspects a and b, where those between them are cleared.
        numbers = range(len(parts))
        self._joints = [
            [min(((listen_s.get(j, inf), j) for j in range(a + 1, b + 1)), default=(inf, 0)) for b in numbers]
            for a in numbers
        ]
        _, exponent = frexp(max(part.weight for part in parts))
        weight = [0.0]
        for part in parts:
            weight += [ldexp(part.weight, -exponent) + before for before in weight]
        self.weight = weight
        self.time = [0.0] * len(weight)
        self._choice = [0] * len(weight)
        for suspects in range(1, len(weight)):
            self._choose(suspects)

    def _choose(self, suspects: int) -> None:
        """Set the least time of `suspects`, and what to do first: -1 a spare line, j a joint, 16 + k part k."""
        time, weight = self.time, self.weight[suspects]
        best, choice = (inf, 0) if self._bypass_s == inf else (self._bypass_s * weight, -1)
        before, left, last = 0, suspects, -1
        while left:
            lowest = left & -left
            number = lowest.bit_length() - 1
            seconds = self._swap[number] * weight + time[suspects ^ lowest]
            if seconds < best:
                best, choice = seconds, MOST_PARTS + number
            if before:
                listen, joint = self._joints[last][number]
                seconds = listen * weight + time[before] + time[left]
                if seconds < best:
                    best, choice = seconds, joint
            before |= lowest
            left ^= lowest
            last = number
        time[suspects], self._choice[suspects] = best, choice

    def step(self, suspects: int) -> Step:
        """What to do where all that is known is that the bad part is one of `suspects`."""
        choice = self._choice[suspects]
        if choice < 0:
            return Bypass(self._bypass_s)
        if choice < MOST_PARTS:
            before = suspects & ((1 << choice) - 1)
            return Listen(choice, self._joints[choice - 1][choice][0], self.step(before), self.step(suspects ^ before))
        part, others = self._parts[choice - MOST_PARTS], suspects ^ (1 << choice - MOST_PARTS)
        if not others:
            return FoundPart(part.name, part.swap_s)
        return SwapPart(part.name, part.swap_s, self.step(others))


def _worst(step: Step) -> float:
    """The longest that a plan may take, from this step on."""
    match step:
        case FoundPart() | Bypass():
            return step.seconds
        case Listen():
            return step.seconds + max(_worst(step.dead), _worst(step.good))
        case SwapPart():
            return step.seconds + _worst(step.dead)
