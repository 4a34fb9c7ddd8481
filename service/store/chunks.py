"""Many keys, asked for a chunk at a time."""

from collections.abc import Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")

_MOST = 400
"""How many are asked for in one query: well below any engine's bound on parameters."""


def chunks(keys: Iterable[T]) -> Iterator[list[T]]:
    """The keys in lists short enough for one query each.

    >>> [len(some) for some in chunks(range(1000))]
    [400, 400, 200]
    """
    every = list(keys)
    return (every[at : at + _MOST] for at in range(0, len(every), _MOST))
