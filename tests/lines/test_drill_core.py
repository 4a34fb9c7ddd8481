"""What a set-up drill measured, and what a season of them did."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.lines.drills.chart import BOTTOM, MOST_STEPS, TOP, draw
from service.lines.drills.core import DoneEntry, DrillPlug, DrillTimes, drill_times, observed, record
from tests.support.examples import examples

START = datetime(2026, 10, 3, 18, 0, tzinfo=UTC)
STATIONS = {"Frame 1": 3, "Frame 2": 1, "Mixer": 2}
PLUGS = [
    DrillPlug(UUID(int=100 * at + number), name, f"cable {at}{number}", f"socket {at}{number}", f"channel {number}")
    for at, (name, many) in enumerate(STATIONS.items(), 1)
    for number in range(1, many + 1)
]


def tap(seconds: float, station: str, number: int = 0, done: bool = True, key: int = 0) -> DoneEntry:
    """A tap on a station, or on the plug of it with this number."""
    plug = [each.id for each in PLUGS if each.station == station][number - 1] if number else None
    return DoneEntry(
        UUID(int=key or round(seconds * 1000) + 1), station, plug, done, START + timedelta(seconds=seconds)
    )


@st.composite
def taps(draw: st.DrawFn) -> list[DoneEntry]:
    station = st.sampled_from(sorted(STATIONS))
    made = []
    for key in range(1, draw(st.integers(0, 10)) + 1):
        at = draw(station)
        number = draw(st.integers(0, STATIONS[at]))
        made.append(tap(draw(st.integers(0, 90)), at, number, draw(st.sampled_from([True, True, False])), key))
    return made


@examples(80)
@given(taps().flatmap(lambda made: st.tuples(st.just(made), st.permutations(made))))
def test_times_do_not_depend_on_the_order_of_arrival_and_those_of_the_plugs_add_up(
    orders: tuple[list[DoneEntry], list[DoneEntry]],
) -> None:
    logged, arrived = orders
    times = drill_times(START, PLUGS, logged)
    assert times == drill_times(START, PLUGS, arrived)
    assert [plug.plug for station in times.stations for plug in station.plugs] == PLUGS
    for station in times.stations:
        about = [entry for entry in logged if entry.station == station.name]
        for plug in station.plugs:
            said = sorted((e.at, e.id, e.done) for e in about if e.plug in (None, plug.plug.id))
            assert (plug.in_s is not None) == (bool(said) and said[-1][2])
        inserted = [plug.in_s for plug in station.plugs if plug.in_s is not None]
        took = [plug.took_s for plug in station.plugs if plug.took_s is not None]
        assert sum(took) == pytest.approx(max(inserted, default=0))
        assert min(took, default=0) >= 0
    assert (times.seconds is not None) == (times.stations_done == len(STATIONS))
    if times.slowest:
        took = [plug.took_s for station in times.stations for plug in station.plugs if plug.took_s is not None]
        assert times.slowest.took_s == max(took)


def test_a_station_is_done_with_its_last_plug_and_the_slowest_joint_is_named() -> None:
    entries = [
        tap(20, "Frame 1", 2),
        tap(28, "Frame 1", 1),
        tap(70, "Frame 1", 3),
        tap(31, "Frame 2"),
        tap(50, "Mixer"),
    ]
    times = drill_times(START, PLUGS, entries)
    assert [station.done_s for station in times.stations] == [70, 31, 50]
    assert times.seconds == 70
    assert [station.name for station in times.by_time] == ["Frame 2", "Mixer", "Frame 1"]
    assert [plug.took_s for plug in times.stations[0].plugs] == [8, 20, 42]
    assert times.slowest is not None
    assert (times.slowest.plug.name, times.slowest.together) == ("cable 13 into socket 13", 1)
    assert [(plug.took_s, plug.together) for plug in times.stations[2].plugs] == [(25, 2), (25, 2)]


def test_what_was_taken_back_is_open_and_a_second_done_keeps_the_first_time() -> None:
    again = [tap(31, "Frame 2"), tap(40, "Frame 2")]
    assert drill_times(START, PLUGS, again).stations[1].done_s == 31
    back = [*again, tap(45, "Frame 2", done=False)]
    assert drill_times(START, PLUGS, back).stations[1].done_s is None
    assert drill_times(START, PLUGS, [*back, tap(60, "Frame 2", 1)]).stations[1].done_s == 60
    one = drill_times(START, PLUGS, [tap(10, "Frame 1"), tap(15, "Frame 1", 2, done=False)]).stations[0]
    assert ([plug.in_s for plug in one.plugs], one.done_s, one.plugs_in) == ([10, None, 10], None, 2)


def drill(*seconds: float) -> DrillTimes:
    """A drill whose stations were each done by one tap; fewer seconds than stations leave some open."""
    taps = [tap(at, name) for name, at in zip(STATIONS, seconds, strict=False)]
    return drill_times(START, PLUGS, taps)


def test_a_season_has_its_best_and_usual_times_and_its_slowest_joint() -> None:
    drills = [drill(90, 40, 60), drill(70, 80), drill(66, 30, 50)]
    found = record(drills)
    assert found.whole is not None
    assert (found.whole.best, found.whole.usual, found.whole.latest, found.whole.count) == (66, 66, 66, 2)
    assert {name: (times.best, times.usual, times.latest) for name, times in found.stations.items()} == {
        "Frame 1": (66, 66, 66),
        "Frame 2": (30, 30, 30),
        "Mixer": (50, 50, 50),
    }
    assert list(found.stations) == list(STATIONS)
    # The drill that was broken off does not count. The only plug of Frame 2 was timed by itself; others only share.
    assert (found.joints[0].plug.name, found.joints[0].times.usual, found.joints[0].shared) == (
        "cable 21 into socket 21",
        30,
        False,
    )
    assert all(joint.shared == (joint.plug.station != "Frame 2") for joint in found.joints)
    taps = [tap(5, "Frame 1", 1), tap(60, "Frame 1", 2), tap(62, "Frame 1", 3), tap(31, "Frame 2"), tap(40, "Mixer")]
    timed = drill_times(START, PLUGS, taps)
    slowest = record([*drills, timed]).joints[0]
    assert (slowest.plug.name, slowest.times.usual, slowest.times.count, slowest.shared) == (
        "cable 12 into socket 12",
        55,
        1,
        False,
    )
    assert observed(drills).whole == [90, 66]
    assert observed(drills).stations["Frame 2"] == [40, 30]
    assert record([]).whole is None
    assert observed([]).stations == {}


@examples(40)
@given(st.lists(st.lists(st.integers(1, 300), min_size=1, max_size=3), max_size=6))
def test_of_several_drills_only_whole_ones_count(seconds: list[list[int]]) -> None:
    found = record([drill(*each) for each in seconds])
    whole = [each for each in seconds if len(each) == len(STATIONS)]
    assert (found.whole.count if found.whole else 0) == len(whole)
    for number, name in enumerate(STATIONS):
        times = [each[number] for each in whole]
        assert (found.stations[name].best if name in found.stations else None) == min(times, default=None)
        if times:
            usual = found.stations[name].usual
            assert usual in times
            assert 2 * sum(one < usual for one in times) <= len(times)
            assert 2 * sum(one > usual for one in times) <= len(times)
    assert len(found.joints) == (len(PLUGS) if whole else 0)
    assert [joint.times.usual for joint in found.joints] == sorted(
        (joint.times.usual for joint in found.joints), reverse=True
    )


@examples(60)
@given(st.lists(st.floats(0, 90_000), min_size=1, max_size=40), st.integers(1, 14_400))
def test_the_picture_holds_every_drill_and_has_few_marks(seconds: list[float], window_s: int) -> None:
    picture = draw(seconds, window_s)
    assert [y for _, y in picture.points] == pytest.approx(
        [BOTTOM - (BOTTOM - TOP) * each / picture.marks[-1].seconds for each in seconds]
    )
    assert all(TOP - 1e-9 <= y <= BOTTOM for y in (*(y for _, y in picture.points), picture.window_y))
    assert 2 <= len(picture.marks) <= MOST_STEPS + 1
