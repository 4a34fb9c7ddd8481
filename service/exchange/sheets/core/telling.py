"""Sentences that a dry run of gear says of a row beside what changes. Pure."""

from collections.abc import Sequence

from service.exchange.sheets.core.sheet import SheetRow
from service.gear.core import PlaceKind, likely_kind

_TWINS_MOST = 3
"""More rows of one label were hardly typed twice: the label is a description."""
_PLACES = {
    PlaceKind.FRAME: "an instrument frame",
    PlaceKind.CASE: "a case",
    PlaceKind.SHELF: "a shelf",
    PlaceKind.OTHER: "none of frame, case and shelf",
}


def first_cell(line: SheetRow) -> str:
    """The first cell of a row that says something: what a row is called that is no entry."""
    return next((cell.strip() for cell in line.cells if cell.strip()), "")[:60]


def new_place(name: str) -> str:
    """What a place becomes that is new."""
    return f"“{name}” is a new place, {_PLACES[likely_kind(name)]} by its name; change that under Places."


def same_label(line: int, label: str | None, lines: Sequence[int]) -> list[str]:
    """That other rows of a kind have the label of this one: twins, or one piece that was typed twice."""
    others = [str(other) for other in lines if other != line]
    if not others or not label:
        return []
    if len(others) > _TWINS_MOST:
        return [f"{len(lines)} rows here have this label, so it tells none of them from another."]
    have = f"Line {others[0]} has" if len(others) == 1 else f"Lines {', '.join(others[:-1])} and {others[-1]} have"
    return [f"{have} this label too: if a piece was typed twice, take one row out."]
