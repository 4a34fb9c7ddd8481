"""The set-up drills of the demo: a few in two seasons, which get quicker, with every plug tapped as it went in."""

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from uuid import UUID

from sqlalchemy.orm import Session

from service.crew.core import Actor, Who
from service.demo import scenario
from service.demo.replay import demo_id
from service.kit.dates import local_date
from service.lines.drills import actions, queries
from service.lines.drills.core import DoneEntry, DrillPlug
from service.season.models import SeasonRow

STARTS = time(17, 5)
WINDOW_S = 180
PACES = ((7, 1.7), (21, 1.45), (35, 1.2)), ((5, 1.35), (12, 1.15), (19, 1.2), (26, 1.0))
"""Of each season: the day of a drill after the season's first, and how much longer than usual everything took."""
WALK_S = 14
"""From the start until somebody is at a station with the first plug."""
PLUG_S = (9, 12, 7, 10, 14)
MULTICORE_S = 31
"""How long the plug of a multicore takes: its ring has to be turned."""


def add_drills(db: Session, people: Sequence[Who], now: datetime) -> None:
    """Add the drills of the season before and of this one."""
    for number, paces in enumerate(PACES, 1):
        season = db.get_one(SeasonRow, demo_id("season", number))
        for days, pace in paces:
            day = season.starts + timedelta(days)
            if day < local_date(now, scenario.ZONE):
                began = datetime.combine(day, STARTS, scenario.ZONE)
                _add(db, people, demo_id("input list", number), began, pace)


def _add(db: Session, people: Sequence[Who], list_id: UUID, began: datetime, pace: float) -> None:
    actor = Actor(people[0], began, scenario.ZONE)
    drill = actions.start_drill(db, demo_id("drill", list_id, began), list_id, WINDOW_S, scenario.PROGRAM, actor)
    db.flush()
    for station in queries.times_of(db, drill).stations:
        plugs = [each.plug for each in station.plugs]
        for number, (plug, seconds) in enumerate(zip(plugs, _seconds(plugs), strict=True)):
            at = began + timedelta(seconds=round(seconds * pace, 1))
            entry = DoneEntry(demo_id("tap", plug.id), plug.station, plug.id, done=True, at=at)
            queries.add_done(db, entry, drill.id, people[number % 2].id, at)
    drill.ended_at = began + timedelta(seconds=2 * WINDOW_S)


def _seconds(plugs: Sequence[DrillPlug]) -> list[int]:
    """The seconds from the start until each plug of a station is in."""
    times, at = list[int](), WALK_S
    for number, plug in enumerate(plugs):
        carries_many = plug.channels.startswith("channels")
        at += MULTICORE_S if carries_many else PLUG_S[(number + len(plug.station)) % len(PLUG_S)]
        times.append(at)
    return times
