"""What becomes of each row of a sheet: told before anything is written. Pure."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum


class Fate(StrEnum):
    """What an import does with a row.

    `SKIPPED`: there is nothing in it that an import takes. `NOT_TAKEN`: it is not surely gear that is known here, or
    no gear at all; the other rows come in without it. `ERROR`: a cell of it is wrong.
    """

    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    SKIPPED = "skipped"
    NOT_TAKEN = "not taken"
    ERROR = "error"


class BadRows(StrEnum):
    """What happens when some rows cannot be taken."""

    ALL = "all"
    GOOD = "good"


STAYS_OUT = (Fate.ERROR, Fate.NOT_TAKEN)
"""Rows that are given back, each with what would settle it."""

Ways = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class RowStatus:
    """A row: the number of its line, what becomes of it, what it is about, and what there is to say.

    `ways` are the addresses of pages here that help with it, each with the words that lead there.
    """

    line: int
    fate: Fate
    title: str = ""
    told: tuple[str, ...] = ()
    ways: Ways = ()


def counted(rows: Iterable[RowStatus]) -> dict[Fate, int]:
    """How many rows have each fate."""
    found = dict.fromkeys(Fate, 0)
    for row in rows:
        found[row.fate] += 1
    return found


def seal(rows: Iterable[RowStatus]) -> str:
    """What stands for these rows and all that is said of them: other fates or words, another seal."""
    said = "\n".join(map(spoken, sorted(rows, key=lambda row: row.line)))
    return hashlib.sha256(said.encode("utf-8", "replace")).hexdigest()


def spoken(row: RowStatus) -> str:
    """A row in one line, as the command line and a receipt say it."""
    said = " ".join(row.told)
    return f"line {row.line}: {row.fate}{f', {row.title}' if row.title else ''}{f': {said}' if said else ''}"


def in_words(counts: dict[Fate, int]) -> str:
    """The counts in a sentence: "12 new, 1 changed, 2 errors"."""
    words = {Fate.ERROR: ("error", "errors")}
    parts = [
        f"{count:,} {words.get(fate, (fate.value, fate.value))[count != 1]}" for fate, count in counts.items() if count
    ]
    return ", ".join(parts) or "nothing"


def errors_first(rows: Sequence[RowStatus]) -> list[RowStatus]:
    """The rows as a dry run lists them: what asks for a hand first, each kind in the order of the file."""
    order = {
        fate: at
        for at, fate in enumerate((Fate.ERROR, Fate.NOT_TAKEN, Fate.CHANGED, Fate.NEW, Fate.SKIPPED, Fate.SAME))
    }
    return sorted(rows, key=lambda row: (order[row.fate], row.line))
