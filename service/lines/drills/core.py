"""What a set-up drill measured: when each plug was in and each station done, and which joint was the slowest. Pure.

A station is done when the last of its plugs is in. A tap is about one plug, or about its whole station: then about all
of its plugs that are not in yet, or if it takes back, about all of them. A plug took the seconds since the plug before
it at its station, or since the start; plugs that were tapped together share theirs equally. So the seconds of the plugs
of a station add up to when it was done.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from statistics import median_low
from uuid import UUID


@dataclass(frozen=True)
class DrillPlug:
    """A plug to make in a drill, as the plug cards had it when the drill began: its station, what one holds in the
    hand, the socket that it goes into, and the channels that it carries, in words.
    """

    id: UUID
    station: str
    hold: str
    socket: str
    channels: str

    @property
    def name(self) -> str:
        """The joint as pages say it."""
        return f"{self.hold} into {self.socket}"


@dataclass(frozen=True)
class NewDone:
    """What somebody tapped: all of a station, or one plug of it, is in, or is not in after all. `id` is the client's
    own, `at` and `sent_at` its own times.
    """

    id: UUID
    drill: UUID
    station: str
    plug: UUID | None = None
    done: bool = True
    at: datetime | None = None
    sent_at: datetime | None = None


@dataclass(frozen=True)
class DoneEntry:
    """One entry about a station, or about one plug of it."""

    id: UUID
    station: str
    plug: UUID | None
    done: bool
    at: datetime


@dataclass(frozen=True)
class PlugTime:
    """A plug with the seconds from the start until it was in, and how many of them it took; None while it is not in.
    `together` is how many plugs were tapped at once and share their seconds.
    """

    plug: DrillPlug
    in_s: float | None = None
    took_s: float | None = None
    together: int = 1


@dataclass(frozen=True)
class StationTime:
    """A station with its plugs in the order of its card."""

    name: str
    plugs: tuple[PlugTime, ...]

    @property
    def done_s(self) -> float | None:
        """The seconds from the start until its last plug was in; None while one is not in."""
        times = [plug.in_s for plug in self.plugs if plug.in_s is not None]
        return max(times) if len(times) == len(self.plugs) else None

    @property
    def plugs_in(self) -> int:
        """How many of its plugs are in."""
        return sum(plug.in_s is not None for plug in self.plugs)


@dataclass(frozen=True)
class DrillTimes:
    """The stations of a drill in walking order."""

    stations: tuple[StationTime, ...]

    @property
    def seconds(self) -> float | None:
        """The seconds from the start until all stations were done; None while one is not."""
        times = [station.done_s for station in self.stations if station.done_s is not None]
        return max(times) if times and len(times) == len(self.stations) else None

    @property
    def stations_done(self) -> int:
        """How many stations are done."""
        return sum(station.done_s is not None for station in self.stations)

    @property
    def by_time(self) -> list[StationTime]:
        """The stations that are done, in the order in which they were."""
        return sorted(
            (station for station in self.stations if station.done_s is not None), key=lambda each: each.done_s or 0.0
        )

    @property
    def slowest(self) -> PlugTime | None:
        """The joint that took the most seconds; the first one of several. None while no plug is in."""
        timed = [plug for station in self.stations for plug in station.plugs if plug.took_s is not None]
        return max(timed, key=lambda plug: plug.took_s or 0.0, default=None)


def drill_times(started_at: datetime, plugs: Sequence[DrillPlug], entries: Iterable[DoneEntry]) -> DrillTimes:
    """What a drill measured, whatever the order in which its entries arrived.

    Where entries about a plug differ, the latest one shows. Where several in a row say that it is in, it was so from
    the first of them on.
    """
    inserted = _inserted(plugs, entries)
    seconds = {key: max(0.0, (at - started_at).total_seconds()) for key, at in inserted.items()}
    stations: dict[str, list[DrillPlug]] = {}
    for plug in plugs:
        stations.setdefault(plug.station, []).append(plug)
    return DrillTimes(tuple(StationTime(name, _timed(here, seconds)) for name, here in stations.items()))


def _inserted(plugs: Sequence[DrillPlug], entries: Iterable[DoneEntry]) -> dict[UUID, datetime]:
    """Since when each plug is in that is."""
    at: defaultdict[str, list[UUID]] = defaultdict(list)
    for plug in plugs:
        at[plug.station].append(plug.id)
    since: dict[UUID, datetime] = {}
    for entry in sorted(entries, key=lambda entry: (entry.at, entry.id)):
        for plug_id in at[entry.station] if entry.plug is None else [entry.plug]:
            if entry.done:
                since.setdefault(plug_id, entry.at)
            else:
                since.pop(plug_id, None)
    return since


def _timed(plugs: Sequence[DrillPlug], seconds: Mapping[UUID, float]) -> tuple[PlugTime, ...]:
    """The plugs of a station with their times."""
    took: dict[UUID, tuple[float, int]] = {}
    before = 0.0
    arrived = sorted((plug for plug in plugs if plug.id in seconds), key=lambda plug: seconds[plug.id])
    for moment, group in groupby(arrived, key=lambda plug: seconds[plug.id]):
        together = [plug.id for plug in group]
        took |= dict.fromkeys(together, ((moment - before) / len(together), len(together)))
        before = moment
    return tuple(
        PlugTime(plug, seconds[plug.id], *took[plug.id]) if plug.id in took else PlugTime(plug) for plug in plugs
    )


@dataclass(frozen=True)
class BestAndUsual:
    """The shortest of some times, their median (the lower one of two) and the latest, in seconds; `count`: how many."""

    best: float
    usual: float
    latest: float
    count: int


@dataclass(frozen=True)
class JointRecord:
    """How long a joint took over several drills, as it was named last. `shared`: it was never tapped by itself, so the
    times are equal shares of those of plugs that were tapped together.
    """

    plug: DrillPlug
    times: BestAndUsual
    shared: bool


@dataclass(frozen=True)
class SetupRecord:
    """What several drills measured in which all stations were done; `whole` is None if there is none. Stations are in
    the order of the latest drill, joints with the slowest one first, by their usual times.
    """

    whole: BestAndUsual | None
    stations: Mapping[str, BestAndUsual]
    joints: Sequence[JointRecord]


@dataclass(frozen=True)
class ObservedSetup:
    """The seconds from the start of a drill that were observed, in order of time: until all stations were done, and by
    the name of a station, until that one was. Only drills in which all stations were done count.
    """

    whole: Sequence[float]
    stations: Mapping[str, Sequence[float]]


def observed(drills: Sequence[DrillTimes]) -> ObservedSetup:
    """What these drills observed; they are in order of time."""
    whole = _whole(drills)
    stations: dict[str, list[float]] = {station.name: [] for drill in reversed(whole) for station in drill.stations}
    for drill in whole:
        for station in drill.stations:
            if station.done_s is not None:
                stations[station.name].append(station.done_s)
    return ObservedSetup([drill.seconds for drill in whole if drill.seconds is not None], stations)


def _whole(drills: Sequence[DrillTimes]) -> list[DrillTimes]:
    """Those in which all stations were done: one that was broken off, with some taps by mistake, measured nothing."""
    return [drill for drill in drills if drill.seconds is not None]


def record(drills: Sequence[DrillTimes]) -> SetupRecord:
    """What these drills measured; they are in order of time. A joint is the same one as long as its station, its socket
    and its channels are: a cable that is exchanged does not make it another one.
    """
    seen = observed(drills)
    joints: defaultdict[tuple[str, str, str], list[PlugTime]] = defaultdict(list)
    for drill in _whole(drills):
        for station in drill.stations:
            for each in station.plugs:
                if each.took_s is not None:
                    joints[station.name, each.plug.socket, each.plug.channels].append(each)
    records = [_joint(times) for times in joints.values()]
    return SetupRecord(
        best_and_usual(seen.whole) if seen.whole else None,
        {name: best_and_usual(times) for name, times in seen.stations.items()},
        sorted(records, key=lambda each: (-each.times.usual, each.plug.station, each.plug.name)),
    )


def _joint(times: Sequence[PlugTime]) -> JointRecord:
    alone = [each for each in times if each.together == 1]
    seconds = [each.took_s for each in alone or times if each.took_s is not None]
    return JointRecord(times[-1].plug, best_and_usual(seconds), not alone)


def best_and_usual(seconds: Sequence[float]) -> BestAndUsual:
    """Of at least one time, in order of time."""
    return BestAndUsual(min(seconds), median_low(seconds), seconds[-1], len(seconds))
