"""Matching rows without codes with existing items: only if there is a single possibility; otherwise it is asked. Pure.

All rows have the same label and kind, and so have the items. An item that belongs to another row, by its code or
because it came from that row before, is not in `free`.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from itertools import islice
from uuid import UUID

COMPARED_MOST = 2_500
"""The most comparisons (rows times items) for one label; if there are more, the codes are asked for."""


@dataclass(frozen=True)
class UnmatchedRow:
    """A row: how many of its pieces did not come from the same row before, the key that it shares with equal rows, and
    whether it says that its pieces are gone (retired or lost).
    """

    line: int
    count: int
    common_key: str
    gone: bool = False


@dataclass(frozen=True)
class RowMatch:
    """The items of a row, while the rest of its pieces are new; or the items among which it is `unclear`."""

    items: tuple[UUID, ...] = ()
    unclear: tuple[UUID, ...] = ()


def match_rows(
    rows: Sequence[UnmatchedRow],
    free: Sequence[UUID],
    gone: Collection[UUID],
    same: Callable[[UnmatchedRow, UUID], bool],
    *,
    more: bool = False,
) -> list[RowMatch]:
    """The match of each row among the `free` items; `same` says whether a row says nothing new about an item.

    A row that says nothing new about an item is matched with it. The rest is clear if no item is left, or if all
    remaining rows are equal and there are not more items than pieces, since then the choice makes no difference. An
    item that is gone is matched only with a row that says so. `more` says that further rows may belong to one of the
    items; then only the first rule applies.
    """
    left, items_of = dict.fromkeys(free), [list[UUID]() for _ in rows]

    def open_to(row: UnmatchedRow) -> tuple[UUID, ...]:
        return tuple(item for item in left if row.gone or item not in gone)

    if len(rows) * len(free) <= COMPARED_MOST:
        for row, mine in zip(rows, items_of, strict=True):
            mine += [item for item in open_to(row) if same(row, item)][: row.count]
            for item in mine:
                del left[item]
    unclear: dict[int, tuple[UUID, ...]] = {}
    may_be = {is_gone: open_to(UnmatchedRow(0, 0, "", is_gone)) for is_gone in (True, False)}
    waiting = [at for at, row in enumerate(rows) if len(items_of[at]) < row.count and may_be[row.gone]]
    if waiting:
        items, pieces = may_be[rows[waiting[0]].gone], sum(rows[at].count - len(items_of[at]) for at in waiting)
        if len({rows[at].common_key for at in waiting}) == 1 and len(items) <= pieces and not more:
            turn = iter(items)
            for at in waiting:
                items_of[at] += islice(turn, rows[at].count - len(items_of[at]))
        else:
            unclear = {at: may_be[rows[at].gone] for at in waiting}
    return [RowMatch((), unclear[at]) if at in unclear else RowMatch(tuple(items_of[at])) for at in range(len(rows))]
