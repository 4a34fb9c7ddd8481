"""Which items the rows of a sheet without codes are of: said where just one reading is left, asked otherwise. Pure.

The rows have one label and kind in common, and so have the items. An item that another row speaks of, by its code or
because it came from that very row, is none of `free`.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from itertools import islice
from uuid import UUID

COMPARED_MOST = 2_500
"""Rows times items of one label that are compared with each other; of more, the codes are asked for."""


@dataclass(frozen=True)
class Wanted:
    """A row: how many pieces of it are not here from the same row, what it has in common with rows that say the same
    as it, and whether it says itself that they are gone (retired or lost).
    """

    line: int
    count: int
    alike: str
    gone: bool = False


@dataclass(frozen=True)
class RowMatch:
    """The items that a row is of, the rest of its pieces being new; or those among which it is `unclear`."""

    items: tuple[UUID, ...] = ()
    unclear: tuple[UUID, ...] = ()


def match_rows(
    rows: Sequence[Wanted],
    free: Sequence[UUID],
    gone: Collection[UUID],
    same: Callable[[Wanted, UUID], bool],
    *,
    more: bool = False,
) -> list[RowMatch]:
    """What each row means among the `free` items; `same` tells whether a row says nothing new of an item.

    A row that says nothing new of an item is of it. What is left is clear where no item or only rows alike are left,
    and not more items than pieces: then it makes no difference which is which. An item that is gone is meant only by
    a row that says so. `more` says that further rows may mean one of the items, so that only the first rule holds.
    """
    left, items_of = dict.fromkeys(free), [list[UUID]() for _ in rows]

    def open_to(row: Wanted) -> tuple[UUID, ...]:
        return tuple(item for item in left if row.gone or item not in gone)

    if len(rows) * len(free) <= COMPARED_MOST:
        for row, mine in zip(rows, items_of, strict=True):
            mine += [item for item in open_to(row) if same(row, item)][: row.count]
            for item in mine:
                del left[item]
    unclear: dict[int, tuple[UUID, ...]] = {}
    may_be = {is_gone: open_to(Wanted(0, 0, "", is_gone)) for is_gone in (True, False)}
    waiting = [at for at, row in enumerate(rows) if len(items_of[at]) < row.count and may_be[row.gone]]
    if waiting:
        items, pieces = may_be[rows[waiting[0]].gone], sum(rows[at].count - len(items_of[at]) for at in waiting)
        if len({rows[at].alike for at in waiting}) == 1 and len(items) <= pieces and not more:
            turn = iter(items)
            for at in waiting:
                items_of[at] += islice(turn, rows[at].count - len(items_of[at]))
        else:
            unclear = {at: may_be[rows[at].gone] for at in waiting}
    return [RowMatch((), unclear[at]) if at in unclear else RowMatch(tuple(items_of[at])) for at in range(len(rows))]
