"""The line checks of the demo: of rehearsals and events in two seasons, with what was dead and why, and one that
goes on now, with one channel dead.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.crew.core import Who
from service.demo import drills, scenario
from service.demo.replay import demo_id
from service.kit.dates import local_date
from service.lines.checks.core.components import CauseKind
from service.lines.checks.core.listening import Sound
from service.lines.checks.models import CauseRow, HeardRow, LineCheck
from service.lines.inputs.queries import ChannelFacts, channels
from service.season.models import Event, SeasonRow

STARTS = time(17, 40)
FIRST, APART = 10, 14
"""Days from the start of a season to its first line check, and from one to the next."""
WINDOW_S = 180
EACH_S = 6
"""From one channel to the next."""
DEAD_NOW = 11
"""The channel that is dead now: Vibraphone 3."""
NOW_S = 150
"""So long ago the present line check began."""


@dataclass(frozen=True)
class DeadChannel:
    """A channel that was dead at a line check, after how many seconds it worked again, and what it was; the number of
    the joint, where it was one.
    """

    number: int
    repaired_s: int
    kind: CauseKind
    joint: int | None = None


STORIES = (
    (DeadChannel(4, 70, CauseKind.JOINT, 1), DeadChannel(9, 20, CauseKind.MUTED)),
    (DeadChannel(2, 45, CauseKind.JOINT, 2), DeadChannel(13, 80, CauseKind.MICROPHONE)),
    (DeadChannel(14, 15, CauseKind.MUTED),),
    (DeadChannel(7, 30, CauseKind.JOINT, 1),),
    (),
    (DeadChannel(5, 25, CauseKind.PHANTOM),),
)
"""What was dead at each check, in order of time; then it begins again."""


def add_checks(db: Session, people: Sequence[Who], now: datetime) -> None:
    """Add the line checks of the season before and of this one, the present one, and the set-up drills."""
    today = local_date(now, scenario.ZONE)
    events = [today + timedelta(days) for *_, days in scenario.EVENTS]
    turn = 0
    for number in (1, 2):
        season = db.get_one(SeasonRow, demo_id("season", number))
        rehearsals = range(FIRST, (min(season.ends, today) - season.starts).days, APART)
        days = {season.starts + timedelta(day) for day in rehearsals}
        days |= {day for day in events if season.starts <= day < today and day <= season.ends}
        for day in sorted(days):
            started_at = datetime.combine(day, STARTS, scenario.ZONE)
            event = db.scalar(select(Event.id).where(Event.season_id == season.id, Event.on == day))
            _Replayed(db, people, demo_id("input list", number), started_at).add(STORIES[turn % len(STORIES)], event)
            turn += 1
    _Replayed(db, people, demo_id("input list", 2), now - timedelta(seconds=NOW_S)).add_present(DEAD_NOW)
    drills.add_drills(db, people, now)


class _Replayed:
    """One line check, with two people who listen."""

    def __init__(self, db: Session, people: Sequence[Who], list_id: UUID, started_at: datetime) -> None:
        self._db, self._people, self._list, self._started_at = db, people, list_id, started_at
        self._id = demo_id("line check", started_at.date(), list_id)

    def add(self, story: Sequence[DeadChannel], event_id: UUID | None) -> None:
        """Add a check in which these channels were dead, and then worked."""
        laid = self._channels()
        dead = {each.number: each for each in story}
        self._start(event_id, self._at(WINDOW_S - 10))
        for seconds, channel in laid:
            each = dead.get(channel.number)
            self._hear(channel, Sound.DEAD if each else Sound.GOOD, seconds)
            if each:
                self._find(channel, each, seconds + each.repaired_s)
                self._hear(channel, Sound.GOOD, seconds + each.repaired_s + 5)

    def add_present(self, dead: int) -> None:
        """Add a check that is going on, with one channel dead."""
        laid = self._channels()
        self._start(None, None)
        for seconds, channel in laid:
            self._hear(channel, Sound.DEAD if channel.number == dead else Sound.GOOD, seconds)

    def _channels(self) -> list[tuple[int, ChannelFacts]]:
        return [(number * EACH_S, each) for number, each in enumerate(channels(self._db, self._list, self._started_at))]

    def _at(self, seconds: int) -> datetime:
        return self._started_at + timedelta(seconds=seconds)

    def _start(self, event_id: UUID | None, ended_at: datetime | None) -> None:
        self._db.add(
            LineCheck(
                id=self._id,
                input_list_id=self._list,
                event_id=event_id,
                window_s=WINDOW_S,
                started_at=self._started_at,
                ended_at=ended_at,
                made_by=self._people[0].id,
            )
        )
        self._db.flush()

    def _hear(self, channel: ChannelFacts, sound: Sound, seconds: int) -> None:
        at = self._at(seconds)
        self._db.add(
            HeardRow(
                id=demo_id("heard", self._id, channel.id, seconds),
                check_id=self._id,
                channel_id=channel.id,
                heard=sound,
                sounds_as=None,
                at=at,
                received_at=at,
                person_id=self._people[channel.number % 2].id,
            )
        )

    def _find(self, channel: ChannelFacts, each: DeadChannel, seconds: int) -> None:
        at = self._at(seconds)
        self._db.add(
            CauseRow(
                id=demo_id("cause", self._id, channel.id),
                check_id=self._id,
                channel_id=channel.id,
                kind=each.kind,
                item_id=None,
                lane=None,
                joint=each.joint,
                note="",
                at=at,
                received_at=at,
                person_id=self._people[0].id,
            )
        )
