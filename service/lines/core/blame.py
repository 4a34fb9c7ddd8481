"""Which components are to blame for the channels that are dead, and how surely. Pure and exact.

Components are bad independently of each other; a line is dead where at least one of its components is bad. This is the
two-layer network of causes and noisy-or effects of Heckerman, "A tractable inference algorithm for diagnosing multiple
diseases" (UAI 1989), with effects that never fail. A line that was heard good clears all its components. What is left
is a sum over the cases in which every dead line has something bad: positive terms only, in numbers of 30 digits whose
exponents have no limit that matters, so that nothing cancels and nothing vanishes.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from enum import StrEnum
from math import prod
from typing import Final

from service.kit.problems import Problem
from service.lines.core.branches import Cases, Part
from service.lines.core.explanation import explanation
from service.lines.core.groups import ONE, Group, bits, groups_of

_DIGITS: Final = 30


class Heard(StrEnum):
    """What a line was like when somebody listened."""

    DEAD = "dead"
    GOOD = "good"
    UNHEARD = "unheard"


@dataclass(frozen=True)
class CheckedLine:
    """A line, the names of the components that it goes through, and what was heard."""

    name: str
    through: frozenset[str]
    heard: Heard


@dataclass(frozen=True)
class Blame:
    """What lines that were listened to tell.

    `evidence` is the probability of what was heard, `bad` that of each component to be bad, given what was heard, in
    order of names. `explanation` is the set of bad components that is most probable as the whole truth, in order of
    names, and `explanation_probability` its probability, given what was heard.
    """

    evidence: float
    bad: dict[str, float]
    explanation: list[str]
    explanation_probability: float


def blame(probabilities: Mapping[str, float], lines: Sequence[CheckedLine]) -> Blame:
    """What `lines` tell of the components, whose `probabilities` to be bad before are above 0 and below 0.5.

    Each line goes through components of `probabilities` only.

    Raises:
        Problem: where a line is dead and all that it goes through was heard good, where a line goes through nothing,
            or where what is to blame for one line hangs together too much with what is to blame for the others.
    """
    cleared: frozenset[str] = frozenset().union(*(line.through for line in lines if line.heard is Heard.GOOD))
    _refuse_impossible(lines, cleared)
    dead = [line.through - cleared for line in lines if line.heard is Heard.DEAD]
    with localcontext(Context(prec=_DIGITS)):
        before = {name: Decimal(probability) for name, probability in probabilities.items()}
        groups = groups_of(dead, before)
        cases = Cases(groups)
        sums = _sums(groups, cases)
        whole = prod((sums[part] for part in cases.whole), start=ONE)
        bad = {name: 0.0 if name in cleared else probabilities[name] for name in sorted(probabilities)}
        bad |= _bad(groups, cases, sums, before)
        explains = explanation(groups, cases, probabilities)
        truth = prod(
            (before[name] if name in explains else ONE - before[name] for name in before if name not in cleared),
            start=ONE,
        )
        good = prod((ONE - before[name] for name in cleared), start=ONE)
        return Blame(float(good * whole), bad, explains, float(truth / whole))


def _refuse_impossible(lines: Sequence[CheckedLine], cleared: frozenset[str]) -> None:
    for line in lines:
        if not line.through or (line.heard is Heard.DEAD and line.through <= cleared):
            raise Problem(f"nothing that line {line.name} goes through can be bad: all of it was heard good")


def _sums(groups: Sequence[Group], cases: Cases) -> dict[Part, Decimal]:
    """The probability that all lines of each part are dead."""
    sums: dict[Part, Decimal] = {}
    for case in cases:
        group = groups[case.group]
        probability = prod((sums[part] for part in case.if_bad), start=group.bad)
        if case.if_good is not None:
            probability += prod((sums[part] for part in case.if_good), start=group.good)
        sums[case.part] = probability
    return sums


def _bad(
    groups: Sequence[Group], cases: Cases, sums: Mapping[Part, Decimal], before: Mapping[str, Decimal]
) -> Iterator[tuple[str, float]]:
    """How probably each member of a group is bad, given that all lines are dead."""
    reached: defaultdict[Part, float] = defaultdict(float, dict.fromkeys(cases.whole, 1.0))
    decided_bad, freed = [0.0] * len(groups), [0.0] * len(groups)
    for case in reversed(cases):
        probability, group = reached[case.part], groups[case.group]
        if_bad = prod((sums[part] for part in case.if_bad), start=group.bad)
        share = probability * float(if_bad / sums[case.part])
        decided_bad[case.group] += share
        for part in case.if_bad:
            reached[part] += share
        for number in bits(case.freed):
            freed[number] += share
        if case.if_good is not None:
            if_good = prod((sums[part] for part in case.if_good), start=group.good)
            for part in case.if_good:
                reached[part] += probability * float(if_good / sums[case.part])
    for group, decided, free in zip(groups, decided_bad, freed, strict=True):
        # What was heard tells of a group only whether one of it is bad.
        after = Decimal(decided) / group.bad + Decimal(free)
        yield from ((name, float(before[name] * after)) for name in group.members)
