"""The most probable of all sets of bad components as the whole truth, with its rule for ties. Pure.

Against nothing being bad, each bad component costs its odds p/(1 - p), below 1. So the best sets are found like
probabilities, with products of odds and their maximum. Two are equally probable within `TIE`; then the one with fewer
components counts, then the one whose sorted names come first. Whether sets are that near to the best of all is only
known at the end, so each part keeps every choice that may still be it.

Logarithms are whole multiples of `_STEP`, so that sums of them are exact, in whatever order.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Final

from service.lines.core.branches import Cases, Part
from service.lines.core.groups import Group

TIE: Final = 1e-9
"""By how much of itself the probability of a set may be below the greatest and still be equal to it."""
_STEP: Final = 1e-12
"""What logarithms are rounded to."""
_NEAR: Final = round(TIE / _STEP)


@dataclass(frozen=True, slots=True)
class _Choice:
    """Bad components: the logarithm of their odds in steps, and their turn in a tie, the lower the better.

    The turn is (2^n for each of them) - (2^(n - 1 - i) for the i-th of all n names in order). Turns add up, fewer
    components have a lower one, and of as many, those whose sorted names come first.
    """

    odds: int
    turn: int


_NOTHING: Final = (_Choice(0, 0),)

_Choices = tuple[_Choice, ...]
"""From the most probable on, all within `TIE` of it; each less probable one has a lower turn."""


def explanation(groups: Sequence[Group], cases: Cases, probabilities: Mapping[str, float]) -> list[str]:
    """The names of the most probable explanation, in order; `probabilities` has all names."""
    names = sorted({name for group in groups for name in group.members})
    rank = {name: 1 << (len(names) - 1 - place) for place, name in enumerate(names)}
    each = 1 << len(names)
    of_group = [
        _best(_Choice(_log_odds(probabilities[name]), each - rank[name]) for name in group.members) for group in groups
    ]
    best: dict[Part, _Choices] = {}
    for case in cases:
        choices = _joint([of_group[case.group], *(best[part] for part in case.if_bad)])
        if case.if_good is not None:
            choices = _best((*choices, *_joint([best[part] for part in case.if_good])))
        best[case.part] = choices
    chosen = _joint([best[part] for part in cases.whole])[-1]
    # A turn of k components is k times 2^n, less the sum of their ranks.
    ranks = -chosen.turn % each
    return [name for name in names if ranks & rank[name]]


def _log_odds(probability: float) -> int:
    return round((math.log(probability) - math.log1p(-probability)) / _STEP)


def _joint(factors: Iterable[_Choices]) -> _Choices:
    """One choice from each."""
    return reduce(_two, factors, _NOTHING)


def _two(some: _Choices, others: _Choices) -> _Choices:
    if len(some) == len(others) == 1:  # no two are near each other, as mostly
        return (_Choice(some[0].odds + others[0].odds, some[0].turn + others[0].turn),)
    return _best(_Choice(one.odds + other.odds, one.turn + other.turn) for one in some for other in others)


def _best(choices: Iterable[_Choice]) -> _Choices:
    """Those that may be part of the best set of all, by `TIE` and turn."""
    ordered = sorted(choices, key=lambda choice: (-choice.odds, choice.turn))
    kept: list[_Choice] = []
    for choice in ordered:
        if choice.odds < ordered[0].odds - _NEAR:
            break
        if not kept or choice.turn < kept[-1].turn:
            kept.append(choice)
    return tuple(kept)
