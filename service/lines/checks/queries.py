"""Every query about line checks."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from service.gear.core import End, item_title
from service.gear.models import Port
from service.gear.queries import ports_of_items
from service.kit.problems import NotFound
from service.kit.quantities import Unit
from service.lines.checks.core.components import CauseKind, CheckedChannel, CheckedPiece, Experience, Rated
from service.lines.checks.core.kinds import CheckKind
from service.lines.checks.core.lessons import Lesson, right_at
from service.lines.checks.core.listening import HeardEntry, Sound
from service.lines.checks.models import CauseRow, HeardRow, LineCheck
from service.lines.inputs import queries as inputs
from service.lines.inputs.models import Channel, InputList, LineItemRow, LineRow
from service.lines.inputs.shown import ChannelShown, LineStep, shown
from service.season.models import Event, SeasonRow
from service.testlog.models import Swap
from service.wear.queries import failed_by, records

LISTED = 50
"""At most so many checks are listed, the latest first."""


def get_check(db: Session, check_id: UUID | None) -> LineCheck:
    """The line check with this id.

    Raises:
        NotFound: there is none.
    """
    check = db.get(LineCheck, check_id) if check_id else None
    if check is None or check.kind != CheckKind.CHECK:
        raise NotFound("There is no such line check. Look at the list of line checks.")
    return check


@dataclass(frozen=True)
class ListedCheck:
    """A line check, and how many channels were heard dead in it at any time."""

    check: LineCheck
    dead: int


def latest_checks(db: Session) -> list[ListedCheck]:
    """The latest line checks, the newest first."""
    checks = _latest(db)
    query = (
        select(HeardRow.check_id, func.count(HeardRow.channel_id.distinct()))
        .where(HeardRow.check_id.in_([check.id for check in checks]), HeardRow.heard == Sound.DEAD)
        .group_by(HeardRow.check_id)
    )
    dead = dict(db.execute(query).all())
    return [ListedCheck(check, dead.get(check.id, 0)) for check in checks]


def _latest(db: Session) -> Sequence[LineCheck]:
    query = select(LineCheck).where(LineCheck.kind == CheckKind.CHECK)
    return db.scalars(query.order_by(LineCheck.started_at.desc(), LineCheck.id).limit(LISTED)).all()


def lessons(db: Session) -> list[Lesson]:
    """What the latest line checks teach, the newest first."""
    checks = _latest(db)
    ids = [check.id for check in checks]
    entries: defaultdict[UUID, list[HeardEntry]] = defaultdict(list)
    for row in db.scalars(select(HeardRow).where(HeardRow.check_id.in_(ids))):
        entries[row.check_id].append(_entry(row))
    causes: defaultdict[UUID, list[CauseKind]] = defaultdict(list)
    query = select(CauseRow.check_id, CauseRow.kind).where(CauseRow.check_id.in_(ids))
    for check_id, kind in db.execute(query.order_by(CauseRow.at, CauseRow.id)):
        causes[check_id].append(CauseKind(kind))
    return [_lesson(check, entries[check.id], causes[check.id]) for check in checks]


def _lesson(check: LineCheck, entries: Sequence[HeardEntry], causes: Sequence[CauseKind]) -> Lesson:
    right = right_at(entries)
    return Lesson(
        check.id,
        check.input_list_id,
        check.started_at,
        check.window_s,
        max(0, round((right - check.started_at).total_seconds())) if right else None,
        len({entry.channel for entry in entries}),
        len({entry.channel for entry in entries if entry.sound is not Sound.GOOD}),
        tuple(causes),
    )


def list_names(db: Session) -> dict[UUID, str]:
    """Every input list with the name of its season or event, the newest first."""
    name = func.coalesce(Event.name, SeasonRow.name)
    query = (
        select(InputList.id, name)
        .outerjoin(Event, Event.id == InputList.event_id)
        .outerjoin(SeasonRow, SeasonRow.id == InputList.season_id)
        .order_by(InputList.created_at.desc(), InputList.id)
    )
    return {list_id: str(called) for list_id, called in db.execute(query)}


def event_on(db: Session, season_id: UUID | None, day: date) -> UUID | None:
    """The event of a season on a day; None if there is none."""
    query = select(Event.id).where(Event.season_id == season_id, Event.on == day).order_by(Event.id)
    return db.scalar(query.limit(1))


def was_checked(db: Session, event_id: UUID) -> bool:
    """Whether there was a line check at an event."""
    return db.scalar(select(LineCheck.id).where(LineCheck.event_id == event_id).limit(1)) is not None


def is_on_list(db: Session, channel_id: UUID, list_id: UUID) -> bool:
    """Whether a channel is, or was, one of an input list."""
    return db.scalar(select(Channel.id).where(Channel.id == channel_id, Channel.input_list_id == list_id)) is not None


def entries_of(db: Session, check_id: UUID) -> list[HeardEntry]:
    """All that was heard in a check."""
    query = select(HeardRow).where(HeardRow.check_id == check_id)
    return [_entry(row) for row in db.scalars(query)]


def _entry(row: HeardRow) -> HeardEntry:
    return HeardEntry(row.id, row.channel_id, Sound(row.heard), row.sounds_as, row.at, row.person_id)


def causes_of(db: Session, check_id: UUID) -> Sequence[CauseRow]:
    """The causes that were logged in a check, in order of time."""
    return db.scalars(select(CauseRow).where(CauseRow.check_id == check_id).order_by(CauseRow.at, CauseRow.id)).all()


def checked_channels(
    db: Session, list_id: UUID, at: datetime, today: date, zone: ZoneInfo, unit: Unit
) -> list[CheckedChannel]:
    """The channels of an input list as of a moment, with the pieces of their lines and the risk of each now."""
    rows = shown(db, inputs.channels(db, list_id, at))
    ids = {step.item.id for row in rows for step in row.steps}
    ports, pieces = ports_of_items(db, ids), inputs.pieces(db, ids)
    lanes = {item_id: max(1, len(piece.lanes)) for item_id, piece in pieces.items()}
    risks = failed_by(db, records(db, zone, only=ids), today) if ids else {}
    return [_channel(row, ports, lanes, risks, unit) for row in rows]


def _channel(
    row: ChannelShown,
    ports: Mapping[UUID, Sequence[Port]],
    lanes: Mapping[UUID, int],
    risks: Mapping[UUID, float],
    unit: Unit,
) -> CheckedChannel:
    channel = row.channel
    pieces = tuple(_piece(step, ports[step.item.id], lanes[step.item.id], risks, unit) for step in row.steps)
    return CheckedChannel(
        channel.id,
        channel.number,
        channel.source,
        channel.microphone,
        channel.phantom,
        channel.place,
        pieces,
        channel.line.mixer_stays if channel.line else False,
    )


def _piece(step: LineStep, ports: Sequence[Port], lanes: int, risks: Mapping[UUID, float], unit: Unit) -> CheckedPiece:
    leaves = End.B if step.entered is End.A else End.A
    return CheckedPiece(
        step.item.id,
        f"{item_title(step.item, unit)} {step.code[:3]} {step.code[3:]}",
        step.code,
        step.lane,
        lanes,
        step.stays,
        _plug(ports, step.entered, step.lane),
        _plug(ports, leaves, step.lane),
        risks.get(step.item.id),
        # Whose failure is open has no chance of failing any more: it has failed.
        step.suspect or step.item.id not in risks,
        step.item.place,
    )


def _plug(ports: Sequence[Port], end: End, lane: str | None) -> str:
    """The plug that a lane takes at an end: one of its own, or the one that all lanes share."""
    own = lane is not None and any(port.end == end and port.lane == lane for port in ports)
    return f"{end} lane {lane}" if own else str(end)


def swapped_in(db: Session, item_ids: Collection[UUID], since: datetime) -> dict[UUID, datetime]:
    """When each of these items last went in for a bad one, where that was after `since`."""
    query = select(Swap.spare_id, func.max(Swap.at)).where(Swap.spare_id.in_(item_ids), Swap.at > since)
    return dict(db.execute(query.group_by(Swap.spare_id)).all())


def experience(db: Session) -> Experience:
    """What all line checks of the program found, from the lines as they are laid now."""
    query = select(HeardRow.channel_id, func.count(HeardRow.check_id.distinct())).group_by(HeardRow.channel_id)
    checks = dict(db.execute(query).all())
    joints = _joints(db)
    with_phantom = set(db.scalars(select(Channel.id).where(Channel.phantom.is_(True))))
    met: Counter[Rated] = Counter()
    for channel_id, count in checks.items():
        for what in (Rated.MUTED, Rated.MICROPHONE, Rated.MIXER):
            met[what] += count
        met[Rated.PHANTOM] += count if channel_id in with_phantom else 0
        for stays in joints.get(channel_id, ()):
            met[Rated.KEPT_JOINT if stays else Rated.MADE_JOINT] += count
    causes: Counter[Rated] = Counter()
    for channel_id, kind, joint in db.execute(select(CauseRow.channel_id, CauseRow.kind, CauseRow.joint)):
        if joint is not None:
            laid = joints.get(channel_id, [])
            causes[Rated.KEPT_JOINT if joint < len(laid) and laid[joint] else Rated.MADE_JOINT] += 1
        elif kind in list(Rated):
            causes[Rated(kind)] += 1
    return Experience(met, causes)


def _joints(db: Session) -> dict[UUID, list[bool]]:
    """Of each channel with a line now: whether each joint stays plugged, from the microphone to the mixer."""
    query = (
        select(LineRow.channel_id, LineItemRow.stays)
        .join(LineItemRow, LineItemRow.line_id == LineRow.id)
        .where(LineRow.until.is_(None))
        .order_by(LineRow.channel_id, LineItemRow.position)
    )
    joints: dict[UUID, list[bool]] = {}
    for channel_id, stays in db.execute(query):
        joints.setdefault(channel_id, []).append(stays)
    for channel_id, stays in db.execute(select(LineRow.channel_id, LineRow.mixer_stays).where(LineRow.until.is_(None))):
        joints.setdefault(channel_id, []).append(stays)
    return joints


def laid_since(db: Session, channel_ids: Collection[UUID], since: datetime) -> dict[UUID, datetime]:
    """When the line of each of these channels was laid anew, where that was after `since`."""
    query = select(LineRow.channel_id, func.max(LineRow.since)).where(
        LineRow.channel_id.in_(channel_ids), LineRow.since > since
    )
    return dict(db.execute(query.group_by(LineRow.channel_id)).all())
