"""Finding rows of a sheet that are already in the test log, even if notes or repairs were added since. Pure.

A test is identified by its item, its instant, its verdict and its fault; a note or a repair only adds to it. Two equal
tests of one item on one day are two tests: each row is one test, and each test one row.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import product
from uuid import UUID

from service.exchange.sheets.core.cells import folded


@dataclass(frozen=True)
class LoggedTest:
    """A test in the log. `note` has all its notes, `repair` the words of the repair from its row; `by_sheet` says that
    it came from a sheet and is not voided.
    """

    id: UUID
    at: datetime
    verdict: str
    note: str
    repair: str = ""
    by_sheet: bool = False


@dataclass(frozen=True)
class LoggedRow:
    """A row of one item: when it was, its verdict, fault, note, repair, and its id, which depends on its position among
    rows that differ only in note and repair.
    """

    at: datetime
    verdict: str
    fault: str
    note: str
    id_of: Callable[[int], UUID]
    repair: str = ""


def ids_of(rows: Sequence[LoggedRow], there: Sequence[LoggedTest], taken: Collection[UUID] = ()) -> list[UUID]:
    """The id of each row of one item: that of the test in `there` that it is, or else a new one.

    `taken` are the tests of other rows, to which the sheet itself gives the id. A row is matched with a test of the
    same words first, then with one that has only its fault, then with one that came from a row of the same id.
    """
    free = {one.id for one in there}.difference(taken)
    used = {one.id for one in there}.union(taken)
    near: dict[tuple[datetime, str, frozenset[str]], list[LoggedTest]] = defaultdict(list)
    for one in there:
        if one.id in free:
            near[one.at, one.verdict, _lines(one.note)].append(one)
    ids: dict[int, UUID] = {}
    # Of two tests with the same words, the row is the one with the row's own repair.
    for filled_in, repaired_so in product((False, True), (True, False)):
        for at, row in enumerate(rows):
            if at in ids:
                continue
            alike = near.get((row.at, row.verdict, _lines(row.fault, "" if filled_in else row.note)), [])
            its = (one for one in alike if not repaired_so or folded(one.repair) == folded(row.repair))
            if (match := next(its, None)) is not None:
                ids[at] = match.id
                alike.remove(match)
                free.remove(match.id)
    turns: dict[UUID, int] = defaultdict(int)
    for at, row in enumerate(rows):
        if at not in ids:
            first = row.id_of(0)
            while (new := row.id_of(turns[first])) in used and new not in free:
                turns[first] += 1
            ids[at] = new
            free.discard(new)
            used.add(new)
    return [ids[at] for at in range(len(rows))]


def _lines(*texts: str) -> frozenset[str]:
    return frozenset(line for text in texts for line in map(folded, text.splitlines()) if line)
