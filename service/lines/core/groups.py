"""What could have made lines dead, reduced to what counts: which lines say something new, and which components they
cannot tell apart. Pure.

Two reductions, both exact:

- A dead line whose candidates are all candidates of another dead line makes that other one certain, so the other one
  is left out.
- Components that occur in exactly the same of the lines that are left are united into a group. What was heard tells of
  a group whether one of it is bad, and nothing of which one.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

ZERO, ONE = Decimal(0), Decimal(1)


@dataclass(frozen=True)
class Group:
    """Components that occur in exactly the same dead lines.

    `bad` is the probability that at least one of them is, `good` that none is. Each is reckoned by itself, by sums and
    products of positive terms, so that neither loses digits where it is tiny. Bit l of `lines` is set where the group
    is in line l.
    """

    members: tuple[str, ...]
    bad: Decimal
    good: Decimal
    lines: int


def groups_of(dead: Sequence[frozenset[str]], probabilities: Mapping[str, Decimal]) -> list[Group]:
    """The groups, given what each dead line could be dead of, those first that should be decided first.

    Candidates that only occur in lines which are certain anyway are in no group.
    """
    lines = _minimal(dead)
    occurs: defaultdict[str, int] = defaultdict(int)
    for number, candidates in enumerate(lines):
        for name in candidates:
            occurs[name] |= 1 << number
    members: defaultdict[int, list[str]] = defaultdict(list)
    for name in sorted(occurs):
        members[occurs[name]].append(name)
    return [
        Group(tuple(members[mask]), *_bad_and_good([probabilities[name] for name in members[mask]]), mask)
        for mask in _in_nested_order(list(members))
    ]


def bits(mask: int) -> Iterator[int]:
    """The numbers of the bits that are set, the lowest first."""
    while mask:
        lowest = mask & -mask
        yield lowest.bit_length() - 1
        mask ^= lowest


def _minimal(dead: Collection[frozenset[str]]) -> list[frozenset[str]]:
    """The sets that contain no other one, each once."""
    kept: list[frozenset[str]] = []
    for candidates in sorted(set(dead), key=lambda names: (len(names), sorted(names))):
        if not any(other <= candidates for other in kept):
            kept.append(candidates)
    return kept


def _bad_and_good(probabilities: Sequence[Decimal]) -> tuple[Decimal, Decimal]:
    bad, good = ZERO, ONE
    for probability in probabilities:
        bad, good = bad + good * probability, good * (ONE - probability)
    return bad, good


def _in_nested_order(masks: Sequence[int]) -> list[int]:
    """The groups' lines in reverse order of elimination: whoever shares lines with the fewest others goes last.

    This is minimum degree, the greedy order of variable elimination. Where rigs nest it eliminates what belongs to one
    line, then what belongs to one hub, then what all of them share.
    """
    shared = sorted((mask for mask in masks if mask.bit_count() > 1), key=lambda mask: (mask.bit_count(), mask))
    neighbors = [
        sum(1 << j for j, other in enumerate(shared) if j != i and mask & other) for i, mask in enumerate(shared)
    ]
    left, eliminated = set(range(len(shared))), sorted(mask for mask in masks if mask.bit_count() == 1)
    while left:
        chosen = min(left, key=lambda i: (neighbors[i].bit_count(), i))
        left.remove(chosen)
        for i in bits(neighbors[chosen]):
            neighbors[i] = (neighbors[i] | neighbors[chosen]) & ~(1 << i | 1 << chosen)
        eliminated.append(shared[chosen])
    return eliminated[::-1]
