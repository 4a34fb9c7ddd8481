"""The pull list of an event: what each item needs, which spare goes in for it, and changes since the print. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from uuid import UUID

from service.kit.quantities import Unit
from service.retire.decisions import core as decisions
from service.retire.decisions.core import COMES_OUT, Action, Gear, Limits, Reason, RetireReason
from service.season.core import is_ready

OLDEST_DAYS = 1000
"""A pass older than this counts as this old, which bounds the weights of `assigned`."""

Ports = tuple[tuple[str, int, str, str], ...]
"""The connectors of an item in order: end, number, type, gender."""
Shape = tuple[str, str, Ports]


@dataclass(frozen=True)
class FittingPiece:
    """What decides whether an item fits in place of another. Length in millimeters, 0 if the kind has none."""

    id: UUID
    code: str
    kind: str
    wiring: str
    ports: Ports
    length_mm: int

    @property
    def shape(self) -> Shape:
        """What has to be equal for one to go in for another."""
        return self.kind, self.wiring, self.ports


@dataclass(frozen=True)
class Spare:
    """A proven spare, and how many days before the event it passed."""

    piece: FittingPiece
    passed_days: int


@dataclass(frozen=True)
class JudgedItem:
    """An item in use: its record, what it fits, and the action that a lead decided instead of the advice."""

    gear: Gear
    piece: FittingPiece
    overruled: Action | None = None


@dataclass(frozen=True)
class InCase:
    """A spare in the case, with the day of its last pass (None: it never passed)."""

    gear: Gear
    piece: FittingPiece
    passed_on: date | None


@dataclass(frozen=True)
class Decided:
    """What to do about an item: the reasons, the action, and the spare that goes in, or that goes in if it fails."""

    gear: Gear
    retire_reasons: tuple[RetireReason, ...]
    action: Action
    spare: UUID | None = None

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """The reasons without their sentences."""
        return tuple(one.reason for one in self.retire_reasons)

    @property
    def why(self) -> tuple[str, ...]:
        """Why, a sentence each."""
        return tuple(one.why for one in self.retire_reasons)

    @property
    def comes_out(self) -> bool:
        """Whether the item is to be taken out, so that a spare has to go in."""
        return self.action in COMES_OUT


def decided(
    in_use: Sequence[JudgedItem],
    case: Sequence[InCase],
    limits: Limits,
    today: date,
    event: date,
    unit: Unit = Unit.FEET,
) -> list[Decided]:
    """What to do about the items in use that need something before the event, in the order given.

    Items that come out get their spares first, all at once; then items to be tested first, in case they fail, suspect
    ones before others; then items at risk, the riskiest first. A test needs no spare, so items without one are listed
    too.
    """
    reasons_of = {one.gear.id: decisions.reasons_for(one.gear, limits, today, unit) for one in in_use}
    action = {
        one.gear.id: one.overruled or decisions.action_of(reasons_of[one.gear.id])
        for one in in_use
        if one.overruled or reasons_of[one.gear.id]
    }
    free = [spare for one in case if (spare := ready(one, limits, today, event))]
    goes_in = assigned([one.piece for one in in_use if action.get(one.gear.id) in COMES_OUT], free)
    tested = [
        one.piece
        for one in sorted(in_use, key=lambda one: one.gear.suspect is None)
        if action.get(one.gear.id) is Action.TEST_FIRST
    ]
    for pieces in (tested, _riskiest(in_use, action, limits)):
        rest = [spare for spare in free if spare.piece.id not in goes_in.values()]
        goes_in |= assigned(fillable(pieces, rest), rest)
    codes = {one.piece.id: one.piece.code for one in case}
    rows = []
    for one in in_use:
        goes = goes_in.get(one.gear.id)
        reasons = [
            *reasons_of[one.gear.id],
            *_risk(one, reasons_of[one.gear.id], limits, codes.get(goes) if goes else None),
        ]
        if reasons or one.overruled:
            do = one.overruled or decisions.action_of(reasons)
            rows.append(Decided(one.gear, tuple(reasons), do, None if do is Action.WATCH else goes))
    return rows


def _risk(one: JudgedItem, reasons: Sequence[RetireReason], limits: Limits, spare: str | None) -> list[RetireReason]:
    """Its risk as a reason, if it stays in use and no other reason says that it is unproven."""
    comes_out = (one.overruled or (decisions.action_of(reasons) if reasons else None)) in COMES_OUT
    unproven = any(each.reason in (Reason.BLOCKED, Reason.UNTESTED) for each in reasons)
    if comes_out or unproven:
        return []
    risk = decisions.at_risk(one.gear, limits, spare, one.overruled in (None, Action.TEST_FIRST))
    return [risk] if risk else []


def ready(one: InCase, limits: Limits, today: date, event: date) -> Spare | None:
    """The spare if it is proven: nothing is to be done about it, and it passed recently and in this round.

    One that was cut counts with its length now.
    """
    if one.passed_on is None or decisions.is_at_risk(one.gear, limits):
        return None
    if not is_ready(one.gear.today.state, one.passed_on, event, limits.spare_days):
        return None
    if any(each.action is not Action.WATCH for each in _against(one.gear, limits, today)):
        return None
    return Spare(one.piece, max(0, (event - one.passed_on).days))


def _against(spare: Gear, limits: Limits, today: date) -> list[RetireReason]:
    """The reasons against a spare."""
    return [each for each in decisions.reasons_for(spare, limits, today) if each.reason is not Reason.SHORTENED]


def unproven(one: InCase, limits: Limits, today: date, event: date) -> bool:
    """Whether a spare lacks only a pass to be proven."""
    reasons = _against(one.gear, limits, today)
    waits = all(each.action in (Action.WATCH, Action.TEST_FIRST) for each in reasons)
    sound = one.gear.suspect is None and not decisions.is_at_risk(one.gear, limits)
    return waits and sound and ready(one, limits, today, event) is None


def would_fit(item: FittingPiece, waiting: Iterable[FittingPiece]) -> list[FittingPiece]:
    """The spares of `waiting` that fit an item, the shortest first."""
    return sorted((one for one in waiting if fits(one, item)), key=lambda one: (one.length_mm, one.code))


def _riskiest(in_use: Sequence[JudgedItem], listed: Mapping[UUID, Action], limits: Limits) -> list[FittingPiece]:
    stays = [one for one in in_use if not one.overruled and listed.get(one.gear.id, Action.WATCH) is Action.WATCH]
    risky = [one for one in stays if decisions.is_at_risk(one.gear, limits)]
    return [one.piece for one in sorted(risky, key=lambda one: (-(one.gear.risk or 0), one.piece.code))]


@dataclass(frozen=True)
class Printed:
    """A row of a print; `would_fit` names unproven spares that fit, if none goes in."""

    code: str
    name: str
    place: str
    action: Action
    spare: str
    why: tuple[str, ...] = ()
    spare_place: str = ""
    would_fit: str = ""


@dataclass(frozen=True)
class Changes:
    """What changed since the list was printed; `changed` has pairs of a row as printed and as it is now."""

    added: tuple[Printed, ...] = ()
    dropped: tuple[Printed, ...] = ()
    changed: tuple[tuple[Printed, Printed], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.added or self.dropped or self.changed)


def changes(before: Iterable[Printed], now: Iterable[Printed], done: Iterable[str]) -> Changes:
    """What changed between the print and the open rows now; items `done` since then (codes) are no change.

    A row has changed if its action, its spare or a place has; other words for the same reasons do not count.
    """
    was, is_now = {row.code: row for row in before}, {row.code: row for row in now}
    gone = was.keys() - is_now.keys() - set(done)
    return Changes(
        added=tuple(row for code, row in is_now.items() if code not in was),
        dropped=tuple(row for code, row in was.items() if code in gone),
        changed=tuple(
            (was[code], row)
            for code, row in is_now.items()
            if code in was and _without_text(was[code]) != _without_text(row)
        ),
    )


def _without_text(row: Printed) -> Printed:
    return replace(row, why=(), name="", spare_place="", would_fit="")


def fits(spare: FittingPiece, item: FittingPiece) -> bool:
    """Whether a spare can go in for an item: equal wiring, connectors and genders, and at least its length."""
    return spare.shape == item.shape and spare.length_mm >= item.length_mm


def assigned(items: Sequence[FittingPiece], spares: Sequence[Spare]) -> dict[UUID, UUID]:
    """The id of the spare for the id of each item that gets one; none is used twice.

    All are chosen at once, so that no long spare is wasted on a short item: the assignment problem (Kuhn 1955), solved
    by SciPy's `linear_sum_assignment` (Crouse 2016). The objectives, in this order: the most items filled; the least
    excess length; the most recent passes. Ties are broken by the codes, not by the order of the arguments.

    The 25 ft spare fits both, the 10 ft spare only one, so each gets its own:

    >>> from uuid import UUID
    >>> def piece(number, code, feet):
    ...     return FittingPiece(UUID(int=number), code, "cable", "xlr3", (), round(feet * 304.8))
    >>> spares = [Spare(piece(3, "C", 25), 0), Spare(piece(4, "D", 10), 0)]
    >>> chosen = assigned([piece(1, "A", 10), piece(2, "B", 25)], spares)
    >>> sorted((item.int, spare.int) for item, spare in chosen.items())
    [(1, 4), (2, 3)]
    """
    offered: dict[Shape, list[Spare]] = defaultdict(list)
    for spare in sorted(spares, key=lambda each: each.piece.code):
        offered[spare.piece.shape].append(spare)
    wanting: dict[Shape, list[FittingPiece]] = defaultdict(list)
    for item in sorted(items, key=lambda each: each.code):
        if item.shape in offered:
            wanting[item.shape].append(item)
    chosen: dict[UUID, UUID] = {}
    for shape, alike in wanting.items():
        chosen |= _assigned(alike, offered[shape])
    return chosen


def fillable(items: Iterable[FittingPiece], spares: Sequence[Spare]) -> list[FittingPiece]:
    """The items that can all be filled at the same time; earlier items are preferred.

    Fitting is nested: a spare that is long enough for one item is long enough for all shorter ones. So a set can be
    filled exactly if its items fit the longest spares one by one, both sorted by length.
    """
    lengths: dict[Shape, list[int]] = defaultdict(list)
    for spare in spares:
        lengths[spare.piece.shape].append(spare.piece.length_mm)
    taken: dict[Shape, list[int]] = defaultdict(list)
    chosen = []
    for item in items:
        longest = sorted([*taken[item.shape], item.length_mm], reverse=True)
        offered = sorted(lengths[item.shape], reverse=True)
        if len(longest) <= len(offered) and all(map(int.__ge__, offered, longest)):
            taken[item.shape].append(item.length_mm)
            chosen.append(item)
    return chosen


def _assigned(items: Sequence[FittingPiece], spares: Sequence[Spare]) -> dict[UUID, UUID]:
    import numpy as np
    from scipy.optimize import linear_sum_assignment  # both are loaded where they are used

    needed = np.array([item.length_mm for item in items], dtype=float)[:, None]
    excess = np.array([spare.piece.length_mm for spare in spares], dtype=float)[None, :] - needed
    passed = np.array([min(spare.passed_days, OLDEST_DAYS) for spare in spares], dtype=float)[None, :]
    # Each objective weighs more than all lower ones can add up to over all pairs.
    pairs = min(len(items), len(spares))
    millimeter = pairs * OLDEST_DAYS + 1.0
    unfilled = pairs * (max(excess.max(), 0.0) * millimeter + OLDEST_DAYS) + 1.0
    cost = np.where(excess >= 0, excess * millimeter + passed, unfilled)
    rows, columns = linear_sum_assignment(cost)
    pairing = zip(rows.tolist(), columns.tolist(), strict=True)
    return {items[row].id: spares[column].piece.id for row, column in pairing if excess[row, column] >= 0}
