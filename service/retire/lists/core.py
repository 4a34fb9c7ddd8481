"""The pull list of an event: what each item needs, what goes in for it, and what changed since it was printed. Pure."""

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
"""A pass older than this counts as this old: no program lets its spares go untested for years."""

Ports = tuple[tuple[str, int, str, str], ...]
"""The connectors of an item in order: end, number, type, gender."""
Shape = tuple[str, str, Ports]


@dataclass(frozen=True)
class FittingPiece:
    """An item as far as fitting goes. Length in millimeters, 0 where the kind has none."""

    id: UUID
    code: str
    kind: str
    wiring: str
    ports: Ports
    length_mm: int

    @property
    def shape(self) -> Shape:
        """What has to be the same for one to go in for another."""
        return self.kind, self.wiring, self.ports


@dataclass(frozen=True)
class Spare:
    """A spare that may go in, and how many days before the event it passed."""

    piece: FittingPiece
    passed_days: int


@dataclass(frozen=True)
class JudgedItem:
    """An item that is judged: as gear with its record, as a piece that fits somewhere, and a lead's word on it."""

    gear: Gear
    piece: FittingPiece
    overruled: Action | None = None


@dataclass(frozen=True)
class InCase:
    """A spare in the case, and the day of its last pass (None: it never passed)."""

    gear: Gear
    piece: FittingPiece
    passed_on: date | None


@dataclass(frozen=True)
class Decided:
    """What is done about an item: the reasons, the action, and the spare that goes in, or that goes in if it fails."""

    gear: Gear
    retire_reasons: tuple[RetireReason, ...]
    action: Action
    spare: UUID | None = None

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """Why, each told apart."""
        return tuple(one.reason for one in self.retire_reasons)

    @property
    def why(self) -> tuple[str, ...]:
        """Why, a sentence each."""
        return tuple(one.why for one in self.retire_reasons)

    @property
    def comes_out(self) -> bool:
        """Whether it is taken out, so that something has to go in."""
        return self.action in COMES_OUT


def decided(
    in_use: Sequence[JudgedItem],
    case: Sequence[InCase],
    limits: Limits,
    today: date,
    event: date,
    unit: Unit = Unit.FEET,
) -> list[Decided]:
    """The lines for the items in use that need something before the event, in the order given.

    What comes out gets its spares first, all at once; then what is tested first, for the case that it fails; then
    what may have failed unseen, the riskiest first. A test needs no spare, so what none is left for is listed, too.
    """
    reasons_of = {one.gear.id: decisions.reasons_for(one.gear, limits, today, unit) for one in in_use}
    action = {
        one.gear.id: one.overruled or decisions.action_of(reasons_of[one.gear.id])
        for one in in_use
        if one.overruled or reasons_of[one.gear.id]
    }
    free = [spare for one in case if (spare := ready(one, limits, today, event))]
    goes_in = assigned([one.piece for one in in_use if action.get(one.gear.id) in COMES_OUT], free)
    tested = [one.piece for one in in_use if action.get(one.gear.id) is Action.TEST_FIRST]
    for pieces in (tested, _riskiest(in_use, action, limits)):
        rest = [spare for spare in free if spare.piece.id not in goes_in.values()]
        goes_in |= assigned(fillable(pieces, rest), rest)
    codes = {one.piece.id: one.piece.code for one in case}
    lines = []
    for one in in_use:
        goes = goes_in.get(one.gear.id)
        reasons = [
            *reasons_of[one.gear.id],
            *_risk(one, reasons_of[one.gear.id], limits, codes.get(goes) if goes else None),
        ]
        if reasons or one.overruled:
            do = one.overruled or decisions.action_of(reasons)
            lines.append(Decided(one.gear, tuple(reasons), do, None if do is Action.WATCH else goes))
    return lines


def _risk(one: JudgedItem, reasons: Sequence[RetireReason], limits: Limits, spare: str | None) -> list[RetireReason]:
    """Its risk as a reason, where it stays for now and no reason says already that nothing speaks for it."""
    comes_out = (one.overruled or (decisions.action_of(reasons) if reasons else None)) in COMES_OUT
    unproven = any(each.reason in (Reason.BLOCKED, Reason.UNTESTED) for each in reasons)
    if comes_out or unproven:
        return []
    risk = decisions.at_risk(one.gear, limits, spare, one.overruled in (None, Action.TEST_FIRST))
    return [risk] if risk else []


def ready(one: InCase, limits: Limits, today: date, event: date) -> Spare | None:
    """A spare that may go in: nothing is to be done about it, and it passed lately and in this round.

    One that was cut stands in for what it reaches.
    """
    if one.passed_on is None or decisions.is_at_risk(one.gear, limits):
        return None
    if any(each.action is not Action.WATCH for each in _against(one.gear, limits, today)):
        return None
    if not is_ready(one.gear.today.state, one.passed_on, event, limits.spare_days):
        return None
    return Spare(one.piece, max(0, (event - one.passed_on).days))


def _against(spare: Gear, limits: Limits, today: date) -> list[RetireReason]:
    """What speaks against a spare."""
    return [each for each in decisions.reasons_for(spare, limits, today) if each.reason is not Reason.SHORTENED]


def unproven(one: InCase, limits: Limits, today: date, event: date) -> bool:
    """Whether only a pass is missing before a spare may go in."""
    reasons = _against(one.gear, limits, today)
    waits = all(each.action in (Action.WATCH, Action.TEST_FIRST) for each in reasons)
    sound = one.gear.suspect is None and not decisions.is_at_risk(one.gear, limits)
    return waits and sound and ready(one, limits, today, event) is None


def would_fit(item: FittingPiece, waiting: Iterable[FittingPiece]) -> list[FittingPiece]:
    """Of the spares that are not proven those that fit an item, the shortest first."""
    return sorted((one for one in waiting if fits(one, item)), key=lambda one: (one.length_mm, one.code))


def _riskiest(in_use: Sequence[JudgedItem], listed: Mapping[UUID, Action], limits: Limits) -> list[FittingPiece]:
    stays = [one for one in in_use if not one.overruled and listed.get(one.gear.id, Action.WATCH) is Action.WATCH]
    risky = [one for one in stays if decisions.is_at_risk(one.gear, limits)]
    return [one.piece for one in sorted(risky, key=lambda one: (-(one.gear.risk or 0), one.piece.code))]


@dataclass(frozen=True)
class Printed:
    """A line as it stood on paper; `would_fit` is told of spares that are not proven, where none goes in."""

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
    """What changed since the list was printed; `changed` pairs how a line stood with how it stands."""

    added: tuple[Printed, ...] = ()
    dropped: tuple[Printed, ...] = ()
    changed: tuple[tuple[Printed, Printed], ...] = ()

    def __bool__(self) -> bool:
        return bool(self.added or self.dropped or self.changed)


def changes(before: Iterable[Printed], now: Iterable[Printed], done: Iterable[str]) -> Changes:
    """What changed from the paper to the list as it is open now; what was `done` since (codes) is no change.

    A line changes by what is done, what goes in and where; that its reasons are told otherwise does not matter.
    """
    was, is_now = {line.code: line for line in before}, {line.code: line for line in now}
    gone = was.keys() - is_now.keys() - set(done)
    return Changes(
        added=tuple(line for code, line in is_now.items() if code not in was),
        dropped=tuple(line for code, line in was.items() if code in gone),
        changed=tuple(
            (was[code], line)
            for code, line in is_now.items()
            if code in was and _without_text(was[code]) != _without_text(line)
        ),
    )


def _without_text(line: Printed) -> Printed:
    return replace(line, why=(), name="", spare_place="", would_fit="")


def fits(spare: FittingPiece, item: FittingPiece) -> bool:
    """Whether it can go in: the same wiring, connectors and genders at both ends, and as long or longer."""
    return spare.shape == item.shape and spare.length_mm >= item.length_mm


def assigned(items: Sequence[FittingPiece], spares: Sequence[Spare]) -> dict[UUID, UUID]:
    """The spare for each item that gets one, by their ids; none is used twice.

    All are chosen at once, so that no long spare is wasted on a short run: the assignment problem (Kuhn 1955), solved
    by SciPy's `linear_sum_assignment` (Crouse 2016). Best is, in this order: most items filled; the least excess
    length; the spares that passed last. Of equal answers the order of the codes decides, not that of the arguments.

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
    """Those of the items that can all be filled together; who comes first is preferred.

    What fits is nested: a spare that is long enough for one is so for all that are shorter. So a set can be filled
    just when its longest fit the longest spares, one by one.
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
    # Each step of the order weighs more than all below it can add up to, over as many pairs as there can be.
    pairs = min(len(items), len(spares))
    millimeter = pairs * OLDEST_DAYS + 1.0
    unfilled = pairs * (max(excess.max(), 0.0) * millimeter + OLDEST_DAYS) + 1.0
    cost = np.where(excess >= 0, excess * millimeter + passed, unfilled)
    rows, columns = linear_sum_assignment(cost)
    pairing = zip(rows.tolist(), columns.tolist(), strict=True)
    return {items[row].id: spares[column].piece.id for row, column in pairing if excess[row, column] >= 0}
