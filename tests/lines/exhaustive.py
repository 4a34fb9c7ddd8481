"""What `blame` and `trace` have to answer, by looking at everything there is, in fractions: only for small cases."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import chain, combinations
from math import inf, prod
from typing import Any

from service.lines.core.blame import CheckedLine, Heard
from service.lines.core.trace import LinePart

TIE = Fraction(1, 10**9)


@dataclass(frozen=True)
class Truths:
    """The probability of each set of bad components that agrees with what was heard, before anybody listened."""

    of: Mapping[frozenset[str], Fraction]

    @property
    def evidence(self) -> Fraction:
        return sum(self.of.values(), Fraction(0))

    def bad(self, component: str) -> Fraction:
        return sum((p for names, p in self.of.items() if component in names), Fraction(0)) / self.evidence

    def explanation(self) -> list[str]:
        greatest = max(self.of.values())
        near = [sorted(names) for names, p in self.of.items() if p >= greatest * (1 - TIE)]
        return min(near, key=lambda names: (len(names), names))

    def given_heard(self, names: Sequence[str]) -> Fraction:
        return self.of[frozenset(names)] / self.evidence


def subsets(names: Sequence[str]) -> Iterator[frozenset[str]]:
    """All of them."""
    return map(frozenset, chain.from_iterable(combinations(names, count) for count in range(len(names) + 1)))


def truths(probabilities: Mapping[str, float], lines: Sequence[CheckedLine]) -> Truths:
    """All that may be so, by the contract: a line is dead where at least one of its components is bad."""
    exact = {name: Fraction(p) for name, p in probabilities.items()}
    return Truths(
        {
            bad: prod((p if name in bad else 1 - p for name, p in exact.items()), start=Fraction(1))
            for bad in subsets(list(exact))
            if all(
                line.heard is Heard.UNHEARD or (line.heard is Heard.DEAD) == bool(line.through & bad) for line in lines
            )
        }
    )


def quickscore(probabilities: Mapping[str, float], lines: Sequence[CheckedLine]) -> Fraction:
    """The probability of what was heard by inclusion and exclusion over the dead lines.

    Heckerman, "A tractable inference algorithm for diagnosing multiple diseases" (UAI 1989), equation from memory: the
    sum over sets of positive findings, with alternating signs, of the product over diseases of the chance that none of
    that set and none of the negative findings is caused.
    """
    dead = [line for line in lines if line.heard is Heard.DEAD]
    total = Fraction(0)
    for count in range(len(dead) + 1):
        for chosen in combinations(dead, count):
            silent = [*chosen, *(line for line in lines if line.heard is Heard.GOOD)]
            good = frozenset[str]().union(*(line.through for line in silent))
            total += (-1) ** count * prod((1 - Fraction(probabilities[name]) for name in good), start=Fraction(1))
    return total


Plan = dict[str, Any]


def plans(parts: Sequence[LinePart], listen_s: Mapping[int, float], bypass_s: float) -> list[Plan]:
    """Every plan there is, as `coilbook trace` writes them."""
    place = {part.name: number for number, part in enumerate(parts, 1)}

    def of(suspects: tuple[str, ...]) -> list[Plan]:
        every: list[Plan] = [] if bypass_s == inf else [{"do": "bypass"}]
        if len(suspects) == 1:
            return [*every, {"found": suspects[0]}]
        for part in suspects:
            rest = tuple(name for name in suspects if name != part)
            every += [{"do": "swap", "part": part, "good": {"found": part}, "dead": dead} for dead in of(rest)]
        for joint in listen_s:
            before = tuple(name for name in suspects if place[name] <= joint)
            after = tuple(name for name in suspects if place[name] > joint)
            if before and after:
                every += [
                    {"do": "listen", "joint": joint, "dead": dead, "good": good}
                    for dead in of(before)
                    for good in of(after)
                ]
        return every

    return of(tuple(place))


def least_seconds(parts: Sequence[LinePart], listen_s: Mapping[int, float], bypass_s: float) -> Fraction:
    """The least expected time, by trying everything that may be tried at each turn."""

    @cache
    def of(suspects: tuple[int, ...]) -> Fraction:
        """The same, times the weight of those that may be bad."""
        weight = sum((Fraction(parts[number].weight) for number in suspects), Fraction(0))
        ends = [] if bypass_s == inf else [Fraction(bypass_s) * weight]
        if len(suspects) == 1:
            return min([*ends, Fraction(parts[suspects[0]].swap_s) * weight])
        for number in suspects:
            rest = tuple(each for each in suspects if each != number)
            ends.append(Fraction(parts[number].swap_s) * weight + of(rest))
        for joint, listen in listen_s.items():
            before = tuple(each for each in suspects if each < joint)
            after = tuple(each for each in suspects if each >= joint)
            if before and after:
                ends.append(Fraction(listen) * weight + of(before) + of(after))
        return min(ends)

    return of(tuple(range(len(parts)))) / sum((Fraction(part.weight) for part in parts), Fraction(0))


def seconds(
    plan: Plan, bad: str, parts: Sequence[LinePart], listen_s: Mapping[int, float], bypass_s: float
) -> Fraction:
    """How long a plan takes where `bad` is the bad part, by doing it step by step."""
    place = {part.name: number for number, part in enumerate(parts, 1)}
    swap_s = {part.name: Fraction(part.swap_s) for part in parts}
    clock = Fraction(0)
    while True:
        match plan:
            case {"found": name}:
                assert name == bad
                return clock + swap_s[name]
            case {"do": "bypass"}:
                return clock + Fraction(bypass_s)
            case {"do": "swap", "part": name}:
                clock += swap_s[name]
                if name == bad:
                    assert plan["good"] == {"found": name}
                    return clock
                plan = plan["dead"]
            case {"do": "listen", "joint": joint}:
                clock += Fraction(listen_s[joint])
                plan = plan["dead" if place[bad] <= joint else "good"]
            case _:
                raise AssertionError(plan)


def expected_and_worst(
    plan: Plan, parts: Sequence[LinePart], listen_s: Mapping[int, float], bypass_s: float = inf
) -> tuple[Fraction, Fraction]:
    """The expected seconds of a plan and the longest that it may take, by doing it for each part that may be bad."""
    each = {part: seconds(plan, part.name, parts, listen_s, bypass_s) for part in parts}
    weights = sum((Fraction(part.weight) for part in parts), Fraction(0))
    return sum((Fraction(part.weight) * took for part, took in each.items()), Fraction(0)) / weights, max(each.values())
