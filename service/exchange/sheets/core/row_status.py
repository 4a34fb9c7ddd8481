"""What becomes of each row of a sheet, as facts; `sheets.messages` puts them into words. Pure."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from service.gear.core import ItemState


class RowStatus(StrEnum):
    """What an import does with a row.

    `SKIPPED`: it has nothing to import. `NOT_TAKEN`: it is not certain that it is gear that is known here, so the other
    rows are imported without it. `ERROR`: one of its cells is wrong.
    """

    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    SKIPPED = "skipped"
    NOT_TAKEN = "not taken"
    ERROR = "error"


class BadRows(StrEnum):
    """What happens if some rows are wrong."""

    ALL = "all"
    GOOD = "good"


STAYS_OUT = (RowStatus.ERROR, RowStatus.NOT_TAKEN)
"""Rows that stay out; they can be downloaded, each with its reason."""


class HelpKind(StrEnum):
    """What a page of the service helps with."""

    NEW_WIRING = "new wiring"
    EARLIER_TEST = "earlier test"


@dataclass(frozen=True)
class HelpPage:
    """A page that helps with a row: its address, and the verdict of the test on it, if it shows a test."""

    kind: HelpKind
    href: str
    verdict: str = ""


class FactKind(StrEnum):
    """The kind of a fact about a row; beside each, the fields of `RowFact` that it has."""

    REFUSED_GEAR = "refused gear"  # field, value: the reader's sentence why a cell of a row of gear cannot be taken
    REFUSED_TEST = "refused test"  # the same for a row of tests
    LEFT_OUT = "left out"  # value: why the row is not an entry
    TAKEN_AS_LENGTH = "taken as length"  # value: the words
    TAKEN_AS_DAY = "taken as day"  # field, value: the day, was: the cell
    DAY_NUMBER = "day number"  # value: the day, was: the cell
    CONDITION = "condition"  # value: how the item looks
    BECOMES = "becomes"  # field, value, was
    NOTE_ADDED = "note added"  # value
    MATCHED_BY_LABEL = "matched by label"  # codes
    WIRING_STAYS = "wiring stays"  # value: the item's wiring
    OTHER_LANES = "other lanes"  # value: the row's words, number: its lanes, was: the item's
    FROM_SAME_ROW = "from the same row"  # codes, number: how many pieces
    CHANGED_SINCE = "changed since"
    NEW_ITEM = "new item"  # value: wiring, places, state
    NEW_PLACE = "new place"  # value: its name, was: what kind of place
    WIRING_BY_LANES = "wiring by lanes"  # value: the row's words, number
    WIRING_NAMED = "wiring named"  # value: the row's words, number, was: the lanes of the wiring
    NO_LENGTH_HERE = "no length here"  # value: the kind
    LABEL_OF_GONE = "label of gone"  # codes
    ALIKE_WITHOUT_LABEL = "alike without label"  # codes
    SAME_LABEL = "same label"  # value: the other lines
    EVIDENCE = "evidence"  # value: the fault class
    EARLIER_TEST = "earlier test"  # value: its verdict, was: its words
    WITH_REPAIR = "with repair"  # value: what was repaired
    REPAIR_STAYS = "repair stays"  # value: the sheet's words, was: the log's
    NOT_ADDED = "not added"  # value: words that a logged test does not get


@dataclass(frozen=True)
class RowFact:
    """One fact about a row: its field, the value in the sheet, and the value before."""

    kind: FactKind
    field: str = ""
    value: Any = None
    was: Any = None
    codes: tuple[str, ...] = ()
    number: int = 0


@dataclass(frozen=True)
class GearTitle:
    """The title of a row of gear. Its length is in millimeters; 0 if the kind has none."""

    kind: str
    length_mm: int
    label: str
    count: int = 1
    code: str = ""


@dataclass(frozen=True)
class EntryTitle:
    """The title of a row of tests: the item, the verdict or repair, and the day."""

    item: GearTitle
    what: str
    on: str


@dataclass(frozen=True)
class PlannedRow:
    """A row: the number of its line, what becomes of it, its title (its first cell, if nothing is known), and the
    facts.

    `ways` are the pages that help with it.
    """

    line: int
    status: RowStatus
    title: str | GearTitle | EntryTitle = ""
    facts: tuple[RowFact, ...] = ()
    ways: tuple[HelpPage, ...] = ()


@dataclass(frozen=True)
class RepairQuestion:
    """The question whether these passes (line and title) had a repair before them, and the states in which the items of
    the sheet end if they had, and if not.
    """

    passes: tuple[tuple[int, EntryTitle], ...]
    ends_if_repaired: Mapping[ItemState, int]
    ends_if_not: Mapping[ItemState, int]


def left_out(line: int, status: RowStatus, title: str, why: str) -> PlannedRow:
    """The plan of a row that is not an entry."""
    return PlannedRow(line, status, title, (RowFact(FactKind.LEFT_OUT, value=why),))


def counted(rows: Iterable[PlannedRow]) -> dict[RowStatus, int]:
    """How many rows have each status."""
    counts = dict.fromkeys(RowStatus, 0)
    for row in rows:
        counts[row.status] += 1
    return counts


def plan_digest(rows: Iterable[PlannedRow]) -> str:
    """A digest of the planned rows: it changes with every status and fact."""
    facts = "\n".join(map(repr, sorted(rows, key=lambda row: row.line)))
    return hashlib.sha256(facts.encode("utf-8", "replace")).hexdigest()


def errors_first(rows: Sequence[PlannedRow]) -> list[PlannedRow]:
    """The rows in the order of a dry run: those that need attention first, each status in the order of the file."""
    order = {
        status: at
        for at, status in enumerate(
            (
                RowStatus.ERROR,
                RowStatus.NOT_TAKEN,
                RowStatus.CHANGED,
                RowStatus.NEW,
                RowStatus.SKIPPED,
                RowStatus.SAME,
            )
        )
    }
    return sorted(rows, key=lambda row: (order[row.status], row.line))
