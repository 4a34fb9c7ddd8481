"""Gear to judge, made in short."""

from datetime import date
from typing import Any
from uuid import UUID

from service.retire.decisions.core import Action, Gear
from service.retire.lists.core import FittingPiece, InCase, JudgedItem
from service.season.core import Due, DueState

TODAY = date(2026, 10, 1)
EVENT = date(2026, 10, 13)
CURRENT, BLOCKED, UNTESTED = Due(DueState.CURRENT), Due(DueState.BLOCKED), Due(DueState.UNTESTED)
DUE = Due(DueState.DUE, date(2026, 10, 16), 0)
OVERDUE = Due(DueState.OVERDUE, date(2026, 10, 16), 0)


def gear(number: int, today: Due = CURRENT, then: Due | None = None, length: int = 3048, **more: Any) -> Gear:
    return Gear(UUID(int=number), "cable", "xlr3", length, today, then or today, **({"bought_mm": length} | more))


def piece(found: Gear) -> FittingPiece:
    return FittingPiece(found.id, f"C{found.id.int:05}", found.kind, found.wiring, (), found.length_mm)


def used(*found: Gear, said: Action | None = None) -> list[JudgedItem]:
    return [JudgedItem(one, piece(one), said) for one in found]


def case(*found: Gear, passed: date | None = date(2026, 9, 20)) -> list[InCase]:
    return [InCase(one, piece(one), passed) for one in found]
