"""Line checks: starting and ending one, what was heard, what the cause was, and how things stand."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor
from service.kit.dates import local_date
from service.kit.problems import invalid
from service.kit.quantities import Unit
from service.lines.checks import queries
from service.lines.checks.core.components import (
    CauseKind,
    CheckedChannel,
    Component,
    Experience,
    NewCause,
    components_of,
)
from service.lines.checks.core.judging import Judgement, judge
from service.lines.checks.core.listening import ChannelStanding, NewHeard, Sound, standings
from service.lines.checks.models import CauseRow, HeardRow, LineCheck
from service.lines.inputs.queries import get_input_list
from service.testlog.actions import call_suspect
from service.testlog.core import Method, NewTest, corrected
from service.testlog.form_reader import finding
from service.testlog.logging_tests import log_test


@dataclass(frozen=True)
class CheckState:
    """A line check with its channels, what stands for each, and what the program's checks taught."""

    check: LineCheck
    channels: list[CheckedChannel]
    standing: Mapping[UUID, ChannelStanding]
    experience: Experience

    def of(self, channel: CheckedChannel) -> ChannelStanding:
        """What stands for a channel; nothing if nobody listened."""
        return self.standing.get(channel.id, ChannelStanding())

    def counted(self, sound: Sound) -> int:
        """How many channels sound so."""
        return sum(self.of(channel).sound == sound for channel in self.channels)

    @property
    def left(self) -> int:
        """How many channels are still to be listened to."""
        return sum(self.of(channel).latest is None for channel in self.channels)

    def judged(self) -> Judgement:
        """What is to blame for what is dead."""
        return judge(self.channels, self.standing, self.experience)


def start_check(db: Session, check_id: UUID, list_id: UUID, window_s: int, actor: Actor) -> LineCheck:
    """Start a line check of an input list, for which there are so many seconds. It is one of the event whose list it
    is, or of that of today in its season.

    Raises:
        NotFound: there is no such list.
    """
    input_list = get_input_list(db, list_id)
    event_id = input_list.event_id or queries.event_on(db, input_list.season_id, local_date(actor.now, actor.zone))
    check = LineCheck(
        id=check_id,
        input_list_id=input_list.id,
        event_id=event_id,
        window_s=window_s,
        started_at=actor.now,
        ended_at=None,
        made_by=actor.who.id,
    )
    db.add(check)
    db.flush()
    return check


def end_check(db: Session, check_id: UUID, actor: Actor) -> None:
    """End a line check; one that ended before keeps its time.

    Raises:
        NotFound: there is no such check.
    """
    check = queries.get_check(db, check_id)
    check.ended_at = check.ended_at or actor.now


def log_heard(db: Session, new: NewHeard, actor: Actor) -> dict[str, Any]:
    """Log what somebody heard. It is taken even after the check ended: a phone may have been without a signal.

    Returns:
        The `id`, the `check`, the `channel`, what was `heard`, and `received_at`.

    Raises:
        NotFound: there is no such check.
        Invalid: a channel is not on its list, or it sounds as itself.
    """
    check = queries.get_check(db, new.check)
    at = corrected(new.at, new.sent_at, actor.now, "at", "entry")
    _check_channel(db, new.channel, check, "channel")
    if (new.sound is Sound.CROSSED) != (new.sounds_as is not None) or new.sounds_as == new.channel:
        raise invalid(
            "sounds_as", "Where channels are crossed, say which other channel it sounds as; else leave it out."
        )
    if new.sounds_as is not None:
        _check_channel(db, new.sounds_as, check, "sounds_as")
    db.add(
        HeardRow(
            id=new.id,
            check_id=check.id,
            channel_id=new.channel,
            heard=new.sound,
            sounds_as=new.sounds_as,
            at=at,
            received_at=actor.now,
            person_id=actor.who.id,
        )
    )
    return {
        "id": str(new.id),
        "check": str(check.id),
        "channel": str(new.channel),
        "heard": new.sound.value,
        "received_at": actor.now.isoformat(),
    }


def log_cause(db: Session, new: NewCause, actor: Actor) -> dict[str, Any]:
    """Log what silenced a channel, which is to be listened to again. An item on which something was found gets a failed
    test with that evidence, under the same id; one on which nothing was found yet is suspect.

    Returns:
        The `id`, the `check`, the `channel`, the `kind` of cause, how its item `stands` now, by its code, and
        `received_at`.

    Raises:
        NotFound: there is no such check.
        Invalid: the channel is not on its list, its line has no such component, or it is no item on which something can
            be found.
    """
    check = queries.get_check(db, new.check)
    _check_channel(db, new.channel, check, "channel")
    at = corrected(new.at, new.sent_at, actor.now, "at", "entry")
    cause = _component(db, check, new, actor)
    if new.evidence and not (cause and cause.code):
        raise invalid("evidence", "Something can be found on an item with a tag only. Leave it out here.")
    db.add(
        CauseRow(
            id=new.id,
            check_id=check.id,
            channel_id=new.channel,
            kind=cause.kind if cause else CauseKind.UNKNOWN,
            item_id=cause.item if cause else None,
            lane=cause.lane if cause else None,
            joint=cause.joint if cause else None,
            note=new.note,
            at=at,
            received_at=actor.now,
            person_id=actor.who.id,
        )
    )
    return {
        "id": str(new.id),
        "check": str(check.id),
        "channel": str(new.channel),
        "kind": cause.kind if cause else CauseKind.UNKNOWN,
        "stands": _log_on_item(db, new, cause.item, cause.code, at, actor) if cause and cause.item else {},
        "received_at": actor.now.isoformat(),
    }


def _component(db: Session, check: LineCheck, new: NewCause, actor: Actor) -> Component | None:
    """The component of the channel's line that the cause names; None where nobody knows."""
    if new.what == CauseKind.UNKNOWN:
        return None
    state = state_of(db, check, Unit.FEET, actor)
    for channel in state.channels:
        if channel.id == new.channel:
            for component in components_of(channel, state.experience):
                if component.key == new.what:
                    return component
    raise invalid("what", "The line was changed meanwhile. Choose again what it was.")


def _log_on_item(db: Session, new: NewCause, item_id: UUID, code: str, at: datetime, actor: Actor) -> dict[str, str]:
    """Log at the item what was found on it; return how it stands now, by its code."""
    if not new.evidence:
        call_suspect(db, item_id, new.id, "It silenced a channel at a line check.", actor.who, actor.now)
        return {code: "suspect"} if code else {}
    test = NewTest(
        id=new.id,
        item=code,
        method=Method.LISTENING,
        evidence=(finding(new.evidence, new.end),),
        note=f"At a line check. {new.note}".strip(),
        tested_at=at,
    )
    answer = log_test(db, test, actor.who, actor.now, actor.zone)
    return {code: answer["state"]}


def _check_channel(db: Session, channel_id: UUID, check: LineCheck, field: str) -> None:
    if not queries.is_on_list(db, channel_id, check.input_list_id):
        raise invalid(field, "This channel is not on the input list of this line check. Open the wall again.")


def state_of(db: Session, check: LineCheck, unit: Unit, actor: Actor) -> CheckState:
    """How a check stands: now, or when it ended."""
    at = check.ended_at or actor.now
    today = local_date(actor.now, actor.zone)
    channels = queries.checked_channels(db, check.input_list_id, at, today, actor.zone, unit)
    standing = standings(queries.entries_of(db, check.id), _repaired(db, check, channels))
    return CheckState(check, channels, standing, queries.experience(db))


def _repaired(db: Session, check: LineCheck, channels: list[CheckedChannel]) -> dict[UUID, datetime]:
    """When something was last done about each channel: a cause was logged, a spare went in, its line was laid anew."""
    items = {piece.item for channel in channels for piece in channel.pieces}
    swapped = queries.swapped_in(db, items, check.started_at)
    done = queries.laid_since(db, [channel.id for channel in channels], check.started_at)
    for cause in queries.causes_of(db, check.id):
        done[cause.channel_id] = max(cause.at, done.get(cause.channel_id, cause.at))
    for channel in channels:
        times = [swapped[piece.item] for piece in channel.pieces if piece.item in swapped]
        if times:
            done[channel.id] = max(*times, done.get(channel.id, times[0]))
    return done
