"""Set-up drills as people do them: the stopwatch, several phones, what comes late, and the season."""

import re
from datetime import timedelta
from html import unescape
from typing import Any
from uuid import UUID

import pytest

from service.lines.drills.queries import observed_setup
from tests.lines.test_inputs import Inputs
from tests.support.program import Running, op, running


class Drill:
    """A drill of two channels through a hub and its multicore: the hub stands at Marimba 1, the mixer at the end."""

    def __init__(self, program: Running) -> None:
        self.program, self.crew, self.inputs = program, program.crew, Inputs(program)
        inputs = self.inputs
        self.channels = [
            inputs.add(1, inputs.one, inputs.hub, inputs.trunk, lane="1", place="Marimba 1")["id"],
            inputs.add(2, inputs.two, inputs.hub, inputs.trunk, lane="2", place="Marimba 1")["id"],
        ]
        for channel in self.channels:  # only the microphone and the multicore's end at the hub stay plugged
            joints = {"op": op(), "stays": ["0", "2"]}
            assert program.lead.post(f"/channels/{channel}/joints", data=joints).status_code == 303
        self.program.clock.ahead(minutes=1)
        self.started = program.clock.now
        self.path = self.start()
        self.id = self.path.rpartition("/")[2]

    def start(self) -> str:
        form = {"op": op(), "input_list": self.inputs.list, "minutes": "2.5"}
        started = self.crew.post("/drills", data=form)
        assert started.status_code == 303, started.text
        path = started.headers["location"]
        assert self.crew.post("/drills", data=form).headers["location"] == path
        return path

    def entry(self, station: str, **more: Any) -> dict[str, Any]:
        return {"id": op(), "drill": self.id, "station": station} | more

    def tap(self, station: str, seconds: float, who: Any = None, status: int = 201, **more: Any) -> Any:
        """Log a tap so many seconds after the start."""
        at = (self.started + timedelta(seconds=seconds)).isoformat()
        answer = (who or self.crew).post("/api/v1/stations-done", json=self.entry(station, at=at, **more))
        assert answer.status_code == status, answer.text
        return answer.json()

    def shown(self) -> Any:
        answer = self.crew.get(f"/api/v1{self.path}")
        assert answer.status_code == 200, answer.text
        return answer.json()

    def page(self, path: str = "") -> str:
        answer = self.crew.get(path or self.path)
        assert answer.status_code == 200, answer.text
        main = answer.text.partition("<main")[2].partition("</main>")[0]
        return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", main)))


@pytest.fixture
def drill(program: Running) -> Drill:
    drill = Drill(program)
    program.clock.ahead(minutes=10)
    return drill


def test_several_phones_log_each_tap_once_and_the_drill_ends_by_itself(drill: Drill) -> None:
    stations = drill.shown()["stations"]
    assert [(each["station"], len(each["plugs"])) for each in stations] == [("Marimba 1", 2), ("Mixer", 1)]
    first, second = (each["id"] for each in stations[0]["plugs"])
    entry = drill.entry("Marimba 1", plug=first, at=(drill.started + timedelta(seconds=20)).isoformat())
    answers = [drill.crew.post("/api/v1/stations-done", json=entry) for _ in range(2)]
    assert answers[0].status_code == 201
    assert answers[0].json() == answers[1].json()
    assert drill.crew.post("/api/v1/stations-done", json=entry | {"done": False}).status_code == 422
    assert "1 of 2 plugs in" in drill.page()
    drill.tap("Mixer", 151, drill.program.lead)
    drill.tap("Marimba 1", 95, plug=second)  # comes later than what was tapped after it
    shown = drill.shown()
    assert shown["seconds"] == 151
    assert [each["done_s"] for each in shown["stations"]] == [95, 151]
    page = drill.page()
    assert "All stations done in 2:31 ." in page
    assert "The slowest joint Mixer: end B of" in page
    drill.tap("Mixer", 160, done=False)
    assert "1 of 2 stations done" in drill.page()
    assert drill.shown()["stations"][1]["done_s"] is None


def test_a_phone_whose_clock_is_wrong_is_put_right(drill: Drill) -> None:
    wrong = timedelta(days=400)
    sent = drill.program.clock.now - wrong
    at = drill.started + timedelta(seconds=42) - wrong
    entry = drill.entry("Mixer", at=at.isoformat(), sent_at=sent.isoformat())
    assert drill.crew.post("/api/v1/stations-done", json=entry).status_code == 201
    assert drill.shown()["stations"][1]["done_s"] == pytest.approx(42)


def test_what_cannot_be_is_refused_with_the_field(drill: Drill) -> None:
    marimba, mixer = drill.shown()["stations"]
    assert "Rack 9 is not a station of this drill" in drill.tap("Rack 9", 1, status=422)["detail"]
    foreign = drill.tap("Mixer", 1, plug=marimba["plugs"][0]["id"], status=422)
    assert [error["field"] for error in foreign["errors"]] == ["plug"]
    assert drill.tap("Mixer", 1, drill=op(), status=404)
    late = drill.entry("Mixer", at=(drill.program.clock.now + timedelta(minutes=11)).isoformat())
    assert drill.crew.post("/api/v1/stations-done", json=late).status_code == 422
    assert drill.program.viewer.post("/api/v1/stations-done", json=drill.entry("Mixer")).status_code == 403
    for wrong in ({"minutes": "soon"}, {"minutes": "0"}):
        form = {"op": op(), "input_list": drill.inputs.list, "minutes": "3"} | wrong
        assert drill.crew.post("/drills", data=form).status_code == 422
    other = drill.inputs.make(event=str(drill.inputs.event))
    empty = drill.crew.post("/drills", data={"op": op(), "input_list": other, "minutes": "3"})
    assert empty.status_code == 422
    assert "No plug of this list is made at set-up" in empty.text
    assert mixer["plugs"][0]["channels"] == "channels 1 to 2"


def test_drills_and_line_checks_are_kept_apart(drill: Drill) -> None:
    assert drill.crew.get(f"/line-checks/{drill.id}").status_code == 404
    heard = {"id": op(), "check": drill.id, "channel": drill.channels[0], "heard": "good"}
    assert drill.crew.post("/api/v1/heard", json=heard).status_code == 404
    assert drill.id not in drill.crew.get("/line-checks").text
    assert drill.id not in drill.crew.get("/line-checks/lessons").text
    form = {"op": op(), "input_list": drill.inputs.list, "minutes": "3"}
    check = drill.crew.post("/line-checks", data=form).headers["location"].rpartition("/")[2]
    assert drill.crew.get(f"/drills/{check}").status_code == 404
    assert check not in drill.crew.get("/drills").text


def test_keys_work_without_script_and_gear_that_moves_later_changes_no_drill(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        drill = Drill(program)
        program.clock.ahead(seconds=30)
        form = {"op": op(), "station": "Marimba 1", "plug": "", "done": "yes"}
        assert drill.crew.post(f"{drill.path}/done", data=form).status_code == 303
        assert drill.crew.post(f"{drill.path}/done", data=form).status_code == 303
        assert "Done at 0:30" in drill.page()
        refused = drill.crew.post(f"{drill.path}/done", data={"op": op(), "station": "Rack 9", "done": "yes"})
        assert refused.status_code == 422
        for channel in drill.channels:
            program.lead.post(f"/channels/{channel}/end", data={"op": op()})
        program.clock.ahead(seconds=30)
        assert drill.crew.post(f"{drill.path}/end", data={"op": op()}).status_code == 303
        drill.tap("Mixer", 55)  # of a phone that was without a signal
        assert "All stations done in 0:55 ." in drill.page()
        assert "disabled" in drill.crew.get(drill.path).text


def test_a_season_shows_its_best_and_usual_times_and_what_a_rig_may_take_from_it(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        drill = Drill(program)
        assert "0 of 2 stations" in drill.page("/drills")
        times = ((50, 180), (40, 150), (45, 160))
        for number, (marimba, mixer) in enumerate(times):
            if number:
                program.clock.ahead(minutes=30)
                drill.started = program.clock.now
                drill.path = drill.start()
                drill.id = drill.path.rpartition("/")[2]
            program.clock.ahead(minutes=10)
            drill.tap("Marimba 1", marimba)
            drill.tap("Mixer", mixer)
        page = drill.page("/drills")
        assert "Best 2:30 Usual 2:40 , the median of 3 drills in which all stations were done Latest 2:40" in page
        assert "Marimba 1 0:40 0:45 0:45 Mixer 2:30 2:40 2:40" in page
        assert "The slowest joints Mixer: end B of" in page
        assert drill.page(f"/drills?season={drill.inputs.season}") == page
        with program.store.reading() as db:
            seen = observed_setup(db, drill.inputs.season)
            assert (seen.whole, seen.stations) == (
                [180, 150, 160],
                {"Marimba 1": [50, 40, 45], "Mixer": [180, 150, 160]},
            )
            assert observed_setup(db).whole == seen.whole
            assert observed_setup(db, UUID(op())).whole == []
        own = drill.inputs.make(event=str(drill.inputs.event), copy_of=drill.inputs.list)
        started = drill.crew.post("/drills", data={"op": op(), "input_list": own, "minutes": "3"})
        assert started.headers["location"] in drill.crew.get(f"/drills?season={drill.inputs.season}").text
        told = drill.crew.get("/api/v1/drills", params={"season": str(drill.inputs.season)})
        assert told.json() == {
            "seconds": [180, 150, 160],
            "stations": {"Marimba 1": [50, 40, 45], "Mixer": [180, 150, 160]},
        }
        assert drill.crew.get("/api/v1/drills", params={"season": op()}).status_code == 404
