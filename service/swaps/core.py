"""Swap now: a spare takes the place of what went bad on a show day. What speaks against it, in sentences. Pure."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from service.gear.core import KINDS, USABLE, ItemState
from service.kit.problems import Conflict, invalid

SPARE_DAYS = 90
"""So many days a spare's pass counts, where a lead says nothing else (common practice, no source)."""


@dataclass(frozen=True)
class NewSwap:
    """A swap as it comes in; `id` is the client's own, `bad` and `spare` are codes.

    `at` and `sent_at` are the client's times; without the first it was done just now. `anyway` says that what speaks
    against it was seen.
    """

    id: UUID
    bad: str
    spare: str
    at: datetime | None = None
    sent_at: datetime | None = None
    anyway: bool = False


@dataclass(frozen=True)
class SwapPiece:
    """An item as a swap judges it. Length in millimeters, 0 where the kind has none."""

    id: UUID
    code: str
    kind: str
    wiring: str
    length_mm: int
    state: ItemState
    place: str
    suspect: bool = False


def refuse(bad: SwapPiece, spare: SwapPiece) -> None:
    """Refuse a swap that is not possible.

    Raises:
        Invalid: both codes are of one item.
        Conflict: one of them is out of use.
    """
    if bad.id == spare.id:
        raise invalid("spare", f"{spare.code} is the bad one itself. Scan the spare that goes in for it.")
    if bad.state in (ItemState.RETIRED, ItemState.LOST):
        raise Conflict(
            f"{bad.code} is {bad.state.value} in the book, so it holds no place. Put the spare in, and tell your lead."
        )
    if spare.state not in USABLE:
        raise Conflict(_UNFIT[spare.state].format(code=spare.code))


_UNFIT = {
    ItemState.QUARANTINED: "{code} is quarantined, so it must not be plugged in. Take another spare.",
    ItemState.IN_REPAIR: "{code} is in repair, and no test proves it yet. Take another spare.",
    ItemState.RETIRED: "{code} is retired. Take another spare.",
    ItemState.LOST: "{code} is lost in the book: you found it. Give it to your lead, and take another spare.",
}


def against(bad: SwapPiece, spare: SwapPiece) -> list[str]:
    """The objections to a swap, one sentence each. It may be done anyway."""
    objections = []
    if spare.kind != bad.kind:
        objections.append(f"{spare.code} is a {KINDS[spare.kind].page}, and {bad.code} a {KINDS[bad.kind].page}.")
    else:
        if spare.wiring != bad.wiring:
            objections.append(f"{spare.code} is wired {spare.wiring}, and {bad.code} {bad.wiring}.")
        if not KINDS[bad.kind].is_long_enough(spare.length_mm, bad.length_mm):
            objections.append(f"{spare.code} is shorter than {bad.code}.")
    if spare.state is ItemState.IN_SERVICE:
        where = f" at {spare.place}" if spare.place else ""
        objections.append(f"{spare.code} is no spare: it is in service{where}, and would leave a gap there.")
    if spare.suspect:
        objections.append(f"{spare.code} is suspect itself: somebody heard it crackle.")
    return objections
